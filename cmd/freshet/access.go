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
			said := accessJSON{Schema: 1, Passphrases: map[string]bool{}}
			roles := []string{"owner", "counter"}
			for _, role := range roles {
				if reset {
					if err := db.SetPassphrase(ctx, role, "", a.now()); err != nil {
						return err
					}
				}
				hash, _, err := db.Passphrase(ctx, role)
				if err != nil {
					return err
				}
				said.Passphrases[role] = hash != ""
			}
			on, err := db.Setting(ctx, web.SettingNetwork, "")
			if err != nil {
				return err
			}
			if said.Network = on != ""; a.json {
				return a.writeJSON(said)
			}
			for _, role := range roles {
				fmt.Fprintf(a.out, "%-8s %s\n", role, map[bool]string{true: "has a passphrase", false: "no passphrase"}[said.Passphrases[role]])
			}
			if store.Shared(db.Path()) {
				defer fmt.Fprintln(a.out, "That is where this shop is served alone, with 'freshet serve --shop'. Who may open the group's pages, 'freshet group user' says.")
			}
			fmt.Fprintf(a.out, "%-8s %s\n", "network", map[bool]string{true: "other machines are served", false: "this machine alone"}[said.Network])
			return nil
		}}
	c.Flags().BoolVar(&reset, "reset", false, "take passphrases away and switch the network off")
	return c
}

// accessJSON is the answer for programs.
type accessJSON struct {
	Schema      int             `json:"schema"`
	Passphrases map[string]bool `json:"passphrases"` // whether a role has one
	Network     bool            `json:"network"`     // whether other machines are served
}
