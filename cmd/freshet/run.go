package main

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"time"

	"freshet/cmd/freshet/internal/desk"
	"freshet/cmd/freshet/internal/week"
	"freshet/forecast"
	"freshet/ingest/store"

	"github.com/agnivade/levenshtein"
	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
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

	db       string
	shopName string // of a group
	asOf     string
	json     bool
	seed     uint64
	weeks    int
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
	c, err := root.ExecuteContextC(ctx)
	if none := (*store.NoShop)(nil); errors.As(err, &none) {
		err = noShop(none)
	}
	switch {
	case err == nil:
		return done
	case errors.As(err, new(usage)):
		fmt.Fprintf(stderr, "freshet: %s\nRun '%s' for what there is.\n", week.Plain(err), strings.Replace(c.CommandPath(), "freshet", "freshet help", 1))
		return misuse
	}
	fmt.Fprintf(stderr, "freshet: %s\n", week.Plain(err))
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
	root.SetFlagErrorFunc(misspelt)
	f := root.PersistentFlags()
	f.StringVar(&a.db, "db", "", "`FILE` of the shop's database, or postgres://… where several shops share one (default $FRESHET_DB, else in the user-data folder)")
	f.StringVar(&a.shopName, "shop", "", "`NAME` of the shop, where --db is a PostgreSQL that several share")
	f.StringVar(&a.asOf, "as-of", "", "pretend that this `DAY`, YYYY-MM-DD, begins now (default today)")
	f.BoolVar(&a.json, "json", false, "answer for programs, as JSON")
	f.Uint64Var(&a.seed, "seed", 0, "`NUMBER` that the dice start from: the same gives the same answer (default made of the day)")
	f.IntVar(&a.weeks, "weeks", 13, fmt.Sprintf("how many `WEEKS` to look ahead, 1 to %d", desk.MaxWeeks))
	for _, group := range []struct {
		title    string
		commands []*cobra.Command
	}{
		{"Ask what is coming:", []*cobra.Command{a.outlook(), a.crew(), a.watch(), a.quote(), a.report(), a.score()}},
		{"Take records in, and keep them safe:", append(a.keeping(), a.importFiles(), a.kinds())},
		{"Set it up, and keep it running:", []*cobra.Command{a.demo(), a.serve(), a.service(), a.shop(), a.mail(), a.access()}},
		{"Several shops in one database:", []*cobra.Command{a.group(), a.work()}},
		{"And:", []*cobra.Command{a.guide(), a.series(), a.version(), a.manual()}},
	} {
		root.AddGroup(&cobra.Group{ID: group.title, Title: group.title})
		for _, c := range group.commands {
			c.GroupID = group.title
			root.AddCommand(c)
		}
		root.SetHelpCommandGroupID(group.title) // help stands in the last
	}
	root.SetUsageTemplate(strings.NewReplacer("Global Flags:", "Flags of every command:", "Available Commands:", "Commands:",
		`Use "{{.CommandPath}} [command] --help" for more information about a command.`, "'{{.CommandPath}} COMMAND --help' says more about one.").Replace(root.UsageTemplate()))
	root.Args = noSuchCommand
	root.SetHelpCommand(help())
	misuseOfArgs(root)
	return root
}

// help shows what a command says of itself.
func help() *cobra.Command {
	return &cobra.Command{Use: "help [COMMAND]", Short: "Say more about a command", RunE: func(c *cobra.Command, args []string) error {
		about, rest, err := c.Root().Find(args)
		if err != nil {
			return usage{err}
		}
		if len(rest) > 0 {
			return noSuchCommand(about, rest)
		}
		return about.Help()
	}}
}

// refusesDay keeps --as-of out of the help of a command that refuses it.
func (a *app) refusesDay(c *cobra.Command) {
	c.Flags().StringVar(&a.asOf, "as-of", "", "")
	c.Flags().Lookup("as-of").Hidden = true
}

// notBoth makes two flags of a command together an error of the call.
func notBoth(c *cobra.Command, one, other string) {
	c.PreRunE = func(c *cobra.Command, _ []string) error {
		if c.Flags().Changed(one) && c.Flags().Changed(other) {
			return usage{fmt.Errorf("need --%s or --%s, have both", one, other)}
		}
		return nil
	}
}

// misuseOfArgs makes wrong arguments of a command, and of those below it, an
// error of the call that says how it is called.
func misuseOfArgs(c *cobra.Command) {
	if inner := c.Args; inner != nil {
		c.Args = func(c *cobra.Command, args []string) error {
			if err := inner(c, args); err != nil && !errors.As(err, new(usage)) {
				_, more, _ := strings.Cut(c.Use, " ")
				return usage{fmt.Errorf("need '%s', have '%s'", strings.TrimSpace(c.CommandPath()+" "+more), strings.Join(append([]string{c.CommandPath()}, args...), " "))}
			} else {
				return err
			}
		}
	}
	for _, below := range c.Commands() {
		misuseOfArgs(below)
	}
}

// noSuchCommand refuses arguments of a command that only has commands below
// it, and names the one that may be meant.
func noSuchCommand(c *cobra.Command, args []string) error {
	if len(args) == 0 {
		return nil
	}
	c.SuggestionsMinimumDistance = mostTypos
	return usage{fmt.Errorf("need a command, have %q%s", args[0], didYouMean(c.SuggestionsFor(args[0])))}
}

func didYouMean(names []string) string {
	if len(names) == 0 {
		return ""
	}
	return ": did you mean " + strings.Join(names, " or ") + "?"
}

// misspelt is the error of a flag that there isn't, with the one that may be
// meant, or of one that can't be read.
func misspelt(c *cobra.Command, err error) error {
	if wrong := (*pflag.InvalidValueError)(nil); errors.As(err, &wrong) {
		need, ok := map[string]string{"float64": "a number such as 2.5", "int": "a whole number", "int64": "a whole number", "uint64": "a whole number"}[wrong.GetFlag().Value.Type()]
		if ok {
			err = fmt.Errorf("need %s for --%s, have %q", need, wrong.GetFlag().Name, wrong.GetValue())
		}
		return usage{err}
	}
	var unknown *pflag.NotExistError
	if !errors.As(err, &unknown) {
		return usage{err}
	}
	var near []string
	if about, _, err := c.Root().Find([]string{unknown.GetSpecifiedName()}); err == nil && about != c.Root() {
		near = append(near, "'"+about.CommandPath()+"'")
	}
	c.Flags().VisitAll(func(f *pflag.Flag) {
		if !f.Hidden && levenshtein.ComputeDistance(f.Name, unknown.GetSpecifiedName()) <= mostTypos {
			near = append(near, "--"+f.Name)
		}
	})
	return usage{fmt.Errorf("%w%s", err, didYouMean(near))}
}

// mostTypos is how many letters a command, a flag or a shop's name may be off, as
// cobra's own suggestions have it.
const mostTypos = 2

// noShop says that a group hasn't got a shop, and names those that may be meant.
func noShop(none *store.NoShop) error {
	const most = 8
	have := "none yet: 'freshet group add' makes one"
	if n := len(none.Have); n > most {
		have = fmt.Sprintf("%s and %d more: 'freshet group' lists them", strings.Join(none.Have[:most], ", "), n-most)
	} else if n > 0 {
		have = strings.Join(none.Have, ", ")
	}
	if none.Name == "" {
		return usage{fmt.Errorf("--shop: need the name of a shop; the group has %s", have)}
	}
	var near []string
	for _, name := range none.Have {
		if levenshtein.ComputeDistance(name, none.Name) <= mostTypos {
			near = append(near, name)
		}
	}
	if near != nil {
		return fmt.Errorf("the group has no shop %q%s", none.Name, didYouMean(near))
	}
	return fmt.Errorf("the group has no shop %q; it has %s", none.Name, have)
}

// quoteFirst makes the first word of a flag's usage, its unit, what help shows
// beside the flag.
func quoteFirst(usage string) string { return firstWord.ReplaceAllString(usage, "`$0`") }

var firstWord = regexp.MustCompile(`^\w+`)

// open opens the database that the call names, for commands that need what
// is in it. A misspelt name makes no empty one.
func (a *app) open(ctx context.Context) (*store.Store, error) {
	path, err := a.path()
	if err != nil {
		return nil, err
	}
	db, err := store.OpenThere(ctx, path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("there is no database at %s: import a file first, or name another with --db", path)
	}
	return db, err
}

// create opens the database that the call names, and makes it if there is
// none. A group's shop has to be there: 'freshet group add' makes one.
func (a *app) create(ctx context.Context) (*store.Store, error) {
	path, err := a.path()
	if err != nil {
		return nil, err
	}
	if store.Shared(path) {
		return store.OpenThere(ctx, path)
	}
	return store.Open(ctx, path)
}

func (a *app) path() (string, error) {
	if db := cmp.Or(a.db, os.Getenv("FRESHET_DB")); db != "" {
		switch {
		case a.shopName == "":
			return db, nil
		case store.Shared(db):
			return store.AddressOf(db, a.shopName)
		}
	}
	if a.shopName != "" {
		return "", usage{errors.New("--shop: need --db with the address of a group's database, postgres://…")}
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
	return ask, a.checkWeeks()
}

// checkWeeks refuses a number of weeks that can't be looked ahead.
func (a *app) checkWeeks() error {
	if err := (desk.Ask{Weeks: a.weeks}).Check(); err != nil {
		return usage{fmt.Errorf("--weeks: %w", err)}
	}
	return nil
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

// atDesk opens the shop for a question.
func (a *app) atDesk(c *cobra.Command, question func(*desk.Desk, desk.Ask) error) error {
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
	return question(d, ask)
}

// answer asks, and writes the answer: as JSON or by show, with warnings on
// standard error.
func answer[T any](a *app, c *cobra.Command, question func(*desk.Desk, desk.Ask) (T, []string, error), show func(T) error) error {
	return a.atDesk(c, func(d *desk.Desk, ask desk.Ask) error {
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
	})
}

func (a *app) writeJSON(v any) error {
	e := json.NewEncoder(a.out)
	e.SetEscapeHTML(false)
	return e.Encode(v)
}
