package main

import (
	"fmt"

	"freshet/cmd/freshet/internal/web"
	"freshet/ingest/store"

	"github.com/spf13/cobra"
)

// access is for an owner who forgot the passphrase: whoever sits at the machine
// is let in.
func (a *app) access() *cobra.Command {
	var reset bool
	c := &cobra.Command{Use: "access", Short: "See who may open the pages, or take passphrases away", Args: cobra.NoArgs,
		Long: `Says whether the owner and the counter have passphrases for the pages, and whether
other machines are served. With --reset it takes the passphrases away and switches
the network off: the pages then open on this machine alone, without one. Passphrases
are set on the page Settings.`,
		Example: `  freshet access
  freshet access --reset    let in an owner who forgot the passphrase`,
		RunE: func(c *cobra.Command, _ []string) error {
			ctx := c.Context()
			db, err := a.open(ctx)
			if err != nil {
				return err
			}
			defer db.Close()
			if reset {
				if err := db.Set(ctx, web.SettingNetwork, ""); err != nil {
					return err
				}
			}
			for _, role := range []string{"owner", "counter"} {
				if reset {
					if err := db.SetPassphrase(ctx, role, "", a.now()); err != nil {
						return err
					}
				}
				hash, _, err := db.Passphrase(ctx, role)
				if err != nil {
					return err
				}
				fmt.Fprintf(a.out, "%-8s %s\n", role, map[bool]string{true: "has a passphrase", false: "no passphrase"}[hash != ""])
			}
			on, err := db.Setting(ctx, web.SettingNetwork, "")
			if err != nil {
				return err
			}
			if store.Shared(db.Path()) {
				defer fmt.Fprintln(a.out, "That is where this shop is served alone, with 'freshet serve --shop'. Who may open the group's pages, 'freshet group user' says.")
			}
			fmt.Fprintf(a.out, "%-8s %s\n", "network", map[bool]string{true: "other machines are served", false: "this machine alone"}[on != ""])
			return nil
		}}
	c.Flags().BoolVar(&reset, "reset", false, "take passphrases away and switch the network off")
	return c
}
