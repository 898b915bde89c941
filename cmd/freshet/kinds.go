package main

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"text/tabwriter"

	"freshet/ingest/store"
	"freshet/report"

	"github.com/spf13/cobra"
)

// kinds groups the shop's words for job kinds.
func (a *app) kinds() *cobra.Command {
	c := &cobra.Command{Use: "kinds", Short: "See and group the words that the shop uses for job kinds", Args: noSuchCommand,
		Long: `Lists the kinds of jobs: each is a group of words that your files use for one thing.
Every answer counts by these groups. Records keep the words as they were imported,
so that any change can be taken back.`,
		Example: `  freshet kinds
  freshet kinds suggest
  freshet kinds merge "AC" "A/C unit" --into "air conditioning"`,
		RunE: func(c *cobra.Command, _ []string) error { return a.withStore(c, a.showKinds) }}
	suggest := &cobra.Command{Use: "suggest", Short: "Say which kinds may mean one thing, and why", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error { return a.withStore(c, a.suggestKinds) }}
	var into string
	merge := &cobra.Command{Use: `merge KIND… --into KIND`, Short: "Put kinds, or single words, into one group", Args: cobra.MinimumNArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			if into == "" {
				return usage{errors.New(`--into: need the name of the group, have none`)}
			}
			return a.changeKinds(c, func(ctx context.Context, db *store.Store) error { return db.Merge(ctx, args, into, a.now()) })
		}}
	merge.Flags().StringVar(&into, "into", "", "the group's `NAME`, old or new")
	rename := &cobra.Command{Use: "rename KIND NAME", Short: "Give a kind another name", Args: cobra.ExactArgs(2),
		RunE: func(c *cobra.Command, args []string) error {
			return a.changeKinds(c, func(ctx context.Context, db *store.Store) error { return db.Rename(ctx, args[0], args[1], a.now()) })
		}}
	split := &cobra.Command{Use: "split KIND", Short: "Take a kind, or one word out of it, apart again", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return a.changeKinds(c, func(ctx context.Context, db *store.Store) error { return db.Split(ctx, args[0], a.now()) })
		}}
	undo := &cobra.Command{Use: "undo", Short: "Take the newest change of kinds back", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return a.changeKinds(c, func(ctx context.Context, db *store.Store) error {
				step, err := db.UndoKinds(ctx, a.now())
				if err == nil && !a.json {
					fmt.Fprintf(a.out, "Taken back: %s of %s.\n", step.What, strings.Join(step.Words, ", "))
				}
				return err
			})
		}}
	c.AddCommand(suggest, merge, rename, split, undo)
	return c
}

func (a *app) withStore(c *cobra.Command, f func(context.Context, *store.Store) error) error {
	db, err := a.open(c.Context())
	if err != nil {
		return err
	}
	defer db.Close()
	return f(c.Context(), db)
}

// changeKinds changes the grouping and shows it.
func (a *app) changeKinds(c *cobra.Command, change func(context.Context, *store.Store) error) error {
	return a.withStore(c, func(ctx context.Context, db *store.Store) error {
		if err := change(ctx, db); err != nil {
			return err
		}
		return a.showKinds(ctx, db)
	})
}

func (a *app) showKinds(ctx context.Context, db *store.Store) error {
	kinds, err := db.Kinds(ctx)
	if err != nil {
		return err
	}
	if a.json {
		return a.writeJSON(map[string]any{"schema": 1, "kinds": kinds})
	}
	w := tabwriter.NewWriter(a.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "kind\tjobs\tlast seen\twords")
	for _, k := range kinds {
		var words []string
		for _, word := range k.Words {
			words = append(words, fmt.Sprintf("%s (%d)", named(word.Word), word.Jobs))
		}
		fmt.Fprintf(w, "%s\t%d\t%s\t%s\n", named(k.Name), k.Jobs, k.LastSeen, strings.Join(words, ", "))
	}
	return w.Flush()
}

// named gives jobs without a kind a name to be read.
func named(kind string) string {
	if kind == "" {
		return "(none said)"
	}
	return kind
}

func (a *app) suggestKinds(ctx context.Context, db *store.Store) error {
	all, err := db.Suggest(ctx)
	if err != nil {
		return err
	}
	if a.json {
		return a.writeJSON(map[string]any{"schema": 1, "suggestions": all})
	}
	if len(all) == 0 {
		fmt.Fprintln(a.out, "No two kinds look as if they meant one thing.")
	}
	for _, s := range all {
		fmt.Fprintf(a.out, "%s (%s) may be %s: %s.\n  freshet kinds merge %q --into %q\n", s.Kind, report.Count(float64(s.Jobs), "job"), s.Into, s.Why, s.Kind, s.Into)
	}
	return nil
}
