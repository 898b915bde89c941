package main

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"text/tabwriter"

	"freshet/cmd/freshet/internal/post"
	"freshet/cmd/freshet/internal/web"
	"freshet/ingest/store"

	"github.com/spf13/cobra"
)

// groupUser lets people into the pages of shops.
func (a *app) groupUser() *cobra.Command {
	var owner, counter, out []string
	var file string
	var remove bool
	c := &cobra.Command{Use: "user [NAME]", Short: "See who may open which shops' pages, or change it", Args: cobra.MaximumNArgs(1),
		Long: `Without a name it lists the group's users and their shops. With one, it makes a user or
changes what he or she may see: as owner everything of a shop, at the counter nothing
of money. A new user needs a passphrase, in a file that you alone can read.`,
		RunE: func(c *cobra.Command, args []string) error {
			ctx := c.Context()
			return a.withGroup(c, func(g *store.Group) error {
				if len(args) == 0 {
					return a.showUsers(ctx, g)
				}
				name := args[0]
				if remove {
					if had, err := g.RemoveUser(ctx, name); err != nil || !had {
						return cmp.Or(err, fmt.Errorf("there is no user %s: 'freshet group user' lists them", name))
					}
					fmt.Fprintf(a.out, "%s is let in no more.\n", name)
					return nil
				}
				all := slices.Concat(owner, counter, out)
				if err := known(ctx, g, all); err != nil {
					return err
				}
				for i, shop := range all {
					if slices.Contains(all[:i], shop) {
						return usage{fmt.Errorf("--owner, --counter, --out: need each shop once, have %s twice", shop)}
					}
				}
				if file != "" {
					text, err := post.ReadPassword(file)
					if err != nil {
						return err
					}
					hash, err := web.Hash(string(text))
					if err != nil {
						return err
					}
					if err := g.SetUser(ctx, name, hash, a.now()); err != nil {
						return err
					}
				} else if hash, _, err := g.User(ctx, name); err != nil || hash == "" {
					return cmp.Or(err, error(usage{fmt.Errorf("--passphrase-file: there is no user %s yet, and a new one needs a passphrase", name)}))
				}
				for role, shops := range map[string][]string{"owner": owner, "counter": counter, "": out} {
					for _, shop := range shops {
						if err := g.SetMember(ctx, name, shop, role); err != nil {
							return err
						}
					}
				}
				return a.showUsers(ctx, g)
			})
		}}
	c.Flags().StringSliceVar(&owner, "owner", nil, "`SHOPS`, apart by commas, of which the user sees and changes everything")
	c.Flags().StringSliceVar(&counter, "counter", nil, "`SHOPS` at whose counter the user stands")
	c.Flags().StringSliceVar(&out, "out", nil, "`SHOPS` that the user may no longer see")
	c.Flags().StringVar(&file, "passphrase-file", "", "`FILE` with the user's new passphrase")
	c.Flags().BoolVar(&remove, "remove", false, "forget the user")
	return c
}

func (a *app) showUsers(ctx context.Context, g *store.Group) error {
	members, err := g.Members(ctx)
	if err != nil {
		return err
	}
	w := tabwriter.NewWriter(a.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "user\tshop\tas")
	for _, m := range members {
		fmt.Fprintf(w, "%s\t%s\t%s\n", m.User, cmp.Or(m.Shop, "none"), m.Role)
	}
	return w.Flush()
}
