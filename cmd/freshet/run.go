package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"freshet/cmd/freshet/internal/desk"
	"freshet/forecast"
	"freshet/ingest/store"

	"github.com/spf13/cobra"
)

// Exit statuses.
const (
	done   = 0
	failed = 1 // it could not be done
	misuse = 2
)

// app is one call of freshet: what every command shares.
type app struct {
	out, err io.Writer
	now      func() time.Time

	db    string
	asOf  string
	json  bool
	seed  uint64
	weeks int
}

// usage is an error of the call itself.
type usage struct{ error }

// run is freshet as a function: what main does, with everything that it
// touches as an argument.
func run(ctx context.Context, args []string, stdout, stderr io.Writer, now func() time.Time) int {
	a := &app{out: stdout, err: stderr, now: now}
	root := a.root()
	root.SetArgs(args)
	root.SetOut(stdout)
	root.SetErr(stderr)
	err := root.ExecuteContext(ctx)
	switch {
	case err == nil:
		return done
	case errors.As(err, new(usage)):
		fmt.Fprintf(stderr, "freshet: %v\nRun 'freshet help' for what there is.\n", err)
		return misuse
	}
	fmt.Fprintf(stderr, "freshet: %v\n", err)
	return failed
}

func (a *app) root() *cobra.Command {
	root := &cobra.Command{
		Use:   "freshet",
		Short: "See a repair shop's work coming",
		Long: `freshet reads a repair shop's own drop-off records, forecasts drop-offs and
labor hours week by week with honest ranges, sets them against the crew's hours,
and says what to decide by when.

Try it: 'freshet demo' opens an invented shop in your browser.`,
		SilenceUsage:  true,
		SilenceErrors: true,
		Args:          cobra.NoArgs,
		RunE:          func(c *cobra.Command, _ []string) error { return c.Help() },
	}
	root.CompletionOptions.HiddenDefaultCmd = true
	root.SetFlagErrorFunc(func(_ *cobra.Command, err error) error { return usage{err} })
	f := root.PersistentFlags()
	f.StringVar(&a.db, "db", "", "the shop's database (default $FRESHET_DB, else in the user-data folder)")
	f.StringVar(&a.asOf, "as-of", "", "pretend that this day, YYYY-MM-DD, begins now (default today)")
	f.BoolVar(&a.json, "json", false, "answer as JSON")
	f.Uint64Var(&a.seed, "seed", 0, "seed of the simulation (default from --as-of)")
	f.IntVar(&a.weeks, "weeks", 13, fmt.Sprintf("weeks ahead, 1 to %d", desk.MaxWeeks))
	for _, c := range append(a.keeping(), a.demo(), a.serve(), a.importFiles(), a.shop(), a.outlook(), a.crew(), a.watch(), a.report(), a.mail(), a.score(), a.series(), a.version()) {
		if inner := c.Args; inner != nil {
			c.Args = func(c *cobra.Command, args []string) error {
				if err := inner(c, args); err != nil {
					return usage{err}
				}
				return nil
			}
		}
		root.AddCommand(c)
	}
	root.Args = func(c *cobra.Command, args []string) error {
		if len(args) > 0 {
			return usage{fmt.Errorf("need a command, have %q", args[0])}
		}
		return nil
	}
	return root
}

// open opens the database that the call names.
func (a *app) open(ctx context.Context) (*store.Store, error) {
	path, err := a.path()
	if err != nil {
		return nil, err
	}
	return store.Open(ctx, path)
}

func (a *app) path() (string, error) {
	if a.db != "" {
		return a.db, nil
	}
	if env := os.Getenv("FRESHET_DB"); env != "" {
		return env, nil
	}
	dir, err := os.UserConfigDir()
	if err != nil {
		return "", fmt.Errorf("need --db or FRESHET_DB to say where the database is: %w", err)
	}
	return filepath.Join(dir, "freshet", "shop.db"), nil
}

// ask reads the flags that say what a question is about.
func (a *app) ask(c *cobra.Command, d *desk.Desk) (desk.Ask, error) {
	loc, err := d.Zone(c.Context())
	if err != nil {
		return desk.Ask{}, err
	}
	ask := desk.Ask{Weeks: a.weeks, Seed: a.seed}
	if ask.AsOf, err = a.today(loc); err != nil {
		return ask, err
	}
	if !c.Flags().Changed("seed") {
		ask.Seed = desk.Seed(ask.AsOf)
	}
	if err := ask.Check(); err != nil {
		return ask, usage{fmt.Errorf("--weeks: %w", err)}
	}
	return ask, nil
}

// today gives the day that --as-of names, or the present one.
func (a *app) today(loc *time.Location) (forecast.Date, error) {
	if a.asOf == "" {
		return forecast.DateOf(a.now().In(loc)), nil
	}
	d, err := forecast.ParseDate(a.asOf)
	if err != nil {
		return 0, usage{fmt.Errorf("--as-of: need a day as YYYY-MM-DD, have %q", a.asOf)}
	}
	return d, nil
}

// answer opens the shop, asks, and writes the answer: as JSON or by show, with
// warnings on standard error.
func answer[T any](a *app, c *cobra.Command, question func(*desk.Desk, desk.Ask) (T, []string, error), show func(T) error) error {
	db, err := a.open(c.Context())
	if err != nil {
		return err
	}
	defer db.Close()
	d := &desk.Desk{Store: db}
	ask, err := a.ask(c, d)
	if err != nil {
		return err
	}
	v, warnings, err := question(d, ask)
	if err != nil {
		return err
	}
	for _, w := range warnings {
		fmt.Fprintln(a.err, "note:", w)
	}
	if a.json {
		return a.writeJSON(v)
	}
	return show(v)
}

func (a *app) writeJSON(v any) error {
	e := json.NewEncoder(a.out)
	e.SetEscapeHTML(false)
	return e.Encode(v)
}
