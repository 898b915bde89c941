package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"path/filepath"
	"strings"
	"time"
	"unicode/utf8"

	"freshet/cmd/freshet/internal/desk"
	"freshet/forecast"
	"freshet/ingest"
	"freshet/ingest/store"

	"github.com/spf13/cobra"
)

// importing is how a call wants its files read.
type importing struct {
	as      string
	maps    []string
	dates   string
	guesses bool
	sheet   string
	preview bool
	demo    bool
	who     string
}

func (a *app) importFiles() *cobra.Command {
	var how importing
	c := &cobra.Command{Use: "import FILE…", Short: "Take in the shop's files", Args: cobra.MinimumNArgs(1),
		Long: `Takes in CSV files and Excel workbooks of drop-offs, crew, time off and events, and
calendars (.ics) of time off. Every row is accounted for: added, updated, unchanged,
or rejected with its line and reason. Importing a file twice changes nothing.

Which column is which is told from its header, in English, German, French or Spanish,
and from what stands below it. What isn't sure is said, and nothing is taken in
before --map or --accept-guesses; the answer is remembered for the next file with
such headers.

A drop-offs file has a line a job. It needs ro_number (the repair order's number) and
dropped_off, and may have kind, unit, quoted_hours, clocked_hours, billed_hours,
parts_wait_days, emergency, deferrable, comeback_of, promised, ready, picked_up,
status and note. A crew file needs name and weekly_hours, and may have productivity
(the share of paid hours that go on jobs, 0 to 1), skills (all, or kinds apart by
semicolons, commas or line breaks), from, until and hourly_cost. A time-off file has name (shop: a day on
which all is closed), from and until. An events file has name, from, until and effect:
one-time (it won't come again), yearly, or known (it will come).

A time with a zone, such as 2026-03-02T02:30:00Z, counts on the day that it then is in
the shop's zone; midnight in UTC is taken for a day without a time.`,
		Example: `  freshet import drop-offs.csv crew.csv time-off.csv
  freshet import --preview export.xlsx
  freshet import export.xlsx --map "Work Order=ro_number" --map "Bay=ignore" --dates mdy
  freshet import vacation.ics --who "Ansel"`,
		RunE: func(c *cobra.Command, files []string) error { return a.takeIn(c, files, how) }}
	f := c.Flags()
	f.StringVar(&how.as, "as", "", "what the `ROWS` are: drop-offs, crew, time-off or events (default: told from the headers)")
	f.StringArrayVar(&how.maps, "map", nil, "which column is which, `\"Their Name=field\"`; once for each column, with ignore as the field of one to leave alone")
	f.StringVar(&how.dates, "dates", "", "which `ORDER` the dates have: mdy if 3/4/2025 is March 4, dmy if it is April 3")
	f.BoolVar(&how.guesses, "accept-guesses", false, "accept the guesses, the first for each column and field; --preview shows them")
	f.StringVar(&how.sheet, "sheet", "", "which `SHEET` of a workbook (default the first that fits)")
	f.StringVar(&how.who, "who", "", "whose time off a calendar (.ics) holds: a `NAME` on the crew, or shop")
	f.BoolVar(&how.demo, "into-demo", false, "take files into the invented shop of 'freshet demo' all the same")
	f.BoolVar(&how.preview, "preview", false, "show which column would be taken for what, and take nothing in")
	return c
}

// imported is the answer to import.
type imported struct {
	Schema   int            `json:"schema"`
	Files    []importedFile `json:"files"`
	Warnings []string       `json:"warnings,omitempty"`
}

type importedFile struct {
	File      string             `json:"file"`
	Kind      string             `json:"kind"`
	Rows      int                `json:"rows"`
	Added     int                `json:"added"`
	Updated   int                `json:"updated"`
	Unchanged int                `json:"unchanged"`
	Warned    int                `json:"warned"`
	Rejected  int                `json:"rejected"`
	Rejects   []rejectJSON       `json:"rejects"`
	Ignored   []string           `json:"ignored_columns"`
	Sheets    []string           `json:"ignored_sheets,omitempty"`
	toMend    []*ingest.RowError // of Rejects
	noRecords int                // of Rejected
	warnings  []error
	doubts    []string
}

type rejectJSON struct {
	Line   int    `json:"line"`
	Column string `json:"column"`
	Value  string `json:"value"`
	Reason string `json:"reason"`
}

func (a *app) takeIn(c *cobra.Command, files []string, how importing) error {
	ctx := c.Context()
	db, err := a.create(ctx)
	if err != nil {
		return err
	}
	defer db.Close()
	loc, err := (&desk.Desk{Store: db}).Zone(ctx)
	if err != nil {
		return err
	}
	tomorrow := forecast.DateOf(a.now().In(loc)) + 1
	if how.preview {
		return a.preview(ctx, db, files, how, loc, tomorrow)
	}
	if marked, err := db.Setting(ctx, desk.SettingDemo, ""); err != nil {
		return err
	} else if marked != "" && !how.demo {
		return fmt.Errorf("%s holds the invented shop of 'freshet demo': need another --db for your own files, or --into-demo to mix them in", db.Path())
	}
	ctx, stop := signal.NotifyContext(ctx, os.Interrupt)
	defer stop()
	out := imported{Schema: 1, Files: []importedFile{}}
	for i, name := range files {
		one, err := a.takeInFile(ctx, db, name, how, loc, tomorrow)
		if rest := files[i+1:]; err != nil && len(rest) > 0 {
			return fmt.Errorf("%w\nNor were these after it taken in: %s", err, strings.Join(rest, ", "))
		} else if err != nil {
			return err
		}
		out.Files = append(out.Files, one)
		for _, doubt := range one.doubts {
			out.Warnings = append(out.Warnings, one.File+": "+doubt)
			fmt.Fprintf(a.err, "note: %s: %s\n", one.File, doubt)
		}
		if !a.json {
			a.showImported(one)
		}
	}
	if a.json {
		return a.writeJSON(out)
	}
	return nil
}

func (a *app) takeInFile(ctx context.Context, db *store.Store, name string, how importing, loc *time.Location, tomorrow forecast.Date) (importedFile, error) {
	h, err := how.handIn(name, loc)
	if err != nil {
		return importedFile{}, err
	}
	f, err := openFile(name, &h)
	if err != nil {
		return importedFile{}, err
	}
	defer f.Close()
	tell, told := a.progress(h.Name)
	b, err := db.TakeIn(ctx, h, tomorrow, a.now(), tell)
	told()
	if errors.Is(err, context.Canceled) {
		return importedFile{}, fmt.Errorf("%s: given up, and nothing of it was taken in", h.Name)
	} else if err != nil {
		advised := advise(err)
		if advised != err && !strings.Contains(advised.Error(), h.Name) {
			advised = fmt.Errorf("%s: %w", h.Name, advised) // it's about the file
		}
		return importedFile{}, advised
	}
	one := importedFile{File: b.File, Kind: string(b.Kind), Rows: b.Rows, Added: b.Added, Updated: b.Updated, Unchanged: b.Unchanged, Warned: b.Warned, Rejected: b.Rejected,
		Rejects: []rejectJSON{}, Ignored: b.Ignored, Sheets: b.Sheets, toMend: b.ToMend(), noRecords: b.NoRecords, warnings: b.Warnings, doubts: b.Doubts}
	for _, r := range b.Rejects {
		one.Rejects = append(one.Rejects, rejectJSON{r.Line, r.Column, r.Value, r.Reason})
	}
	return one, nil
}

func openFile(name string, h *store.HandIn) (*os.File, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	info, err := f.Stat()
	if err != nil {
		f.Close()
		return nil, err
	}
	h.File, h.Size = f, info.Size()
	return f, nil
}

// handIn says about a file what the flags say.
func (how importing) handIn(name string, loc *time.Location) (h store.HandIn, err error) {
	h = store.HandIn{Name: filepath.Base(name), Sheet: how.sheet, Guesses: how.guesses, Who: how.who, Zone: loc}
	if how.dates != "" {
		if h.Dates, err = ingest.ParseDateOrder(how.dates); err != nil {
			return h, usage{fmt.Errorf("--dates: %w", err)}
		}
	}
	if how.as != "" {
		if h.As, err = ingest.ParseRowKind(how.as); err != nil {
			return h, usage{fmt.Errorf("--as: %w", err)}
		}
	}
	for _, m := range how.maps {
		theirs, ours, ok := strings.Cut(m, "=")
		if !ok {
			return h, usage{fmt.Errorf("--map: need \"Their Name=field\", have %q", m)}
		}
		h.Columns = append(h.Columns, ingest.Column{Header: strings.TrimSpace(theirs), Field: strings.TrimSpace(ours)})
	}
	return h, nil
}

// advise adds the flags that help to what a file lacks.
func advise(err error) error {
	var (
		undecided  *store.Undecided
		undetected *store.Undetected
		noSheet    *store.NoSheet
		unmapped   *ingest.Unmapped
	)
	switch {
	case errors.As(err, &undecided):
		var say strings.Builder
		for _, g := range undecided.Guesses {
			fmt.Fprintf(&say, "\n  --map %q", g.Header+"="+g.Field)
		}
		return fmt.Errorf("%w; --preview shows them. Say those that are right (or --accept-guesses for the first of each, or \"Their Name=ignore\"):%s", err, say.String())
	case errors.As(err, &undetected):
		return fmt.Errorf("%w: see it with --preview, then say which column is which with --map \"Their Name=field\", or what the rows are with --as", err)
	case errors.As(err, new(*ingest.AmbiguousDates)):
		return fmt.Errorf("%w: say --dates mdy for month first, --dates dmy for day first", err)
	case errors.As(err, &noSheet):
		return usage{fmt.Errorf("--sheet: %w", err)}
	case errors.As(err, new(*store.NoPerson)):
		return fmt.Errorf("%w: say --who with a name on the crew, or --who shop for days on which it is closed", err)
	case errors.As(err, &unmapped):
		return usage{fmt.Errorf("--map: %w", err)}
	}
	return err
}

// progress gives what tells a person at a terminal that a long file is on its
// way, nil where there is none, and what clears the line once it is.
func (a *app) progress(name string) (tell func(rows int), told func()) {
	f, ok := a.err.(*os.File)
	if !ok || a.json {
		return nil, func() {}
	}
	if info, err := f.Stat(); err != nil || info.Mode()&os.ModeCharDevice == 0 {
		return nil, func() {}
	}
	return counting(f, name)
}

// counting writes how many rows are done over and over on one line, and clears it.
func counting(w io.Writer, name string) (tell func(rows int), told func()) {
	longest := 0
	tell = func(rows int) {
		line := fmt.Sprintf("%s: %d rows", name, rows)
		longest = max(longest, utf8.RuneCountInString(line))
		fmt.Fprint(w, "\r", line)
	}
	return tell, func() {
		if longest > 0 {
			fmt.Fprintf(w, "\r%*s\r", longest, "")
		}
	}
}

func (a *app) showImported(one importedFile) {
	fmt.Fprintf(a.out, "%s: %s of %s: %d added, %d updated, %d unchanged, %d rejected\n", one.File, many(one.Rows, "row"), one.Kind, one.Added, one.Updated, one.Unchanged, one.Rejected)
	if len(one.Ignored) > 0 {
		fmt.Fprintf(a.out, "  columns left alone: %s\n", strings.Join(one.Ignored, ", "))
	}
	if len(one.Sheets) > 0 {
		fmt.Fprintf(a.out, "  sheets left alone (see --sheet): %s\n", strings.Join(one.Sheets, ", "))
	}
	const most = 10
	for i, r := range one.toMend {
		if i == most {
			fmt.Fprintf(a.out, "  and %d more rejected rows\n", one.Rejected-one.noRecords-most)
			break
		}
		fmt.Fprintln(a.out, "  rejected:", r)
	}
	if one.noRecords > 0 {
		fmt.Fprintf(a.out, "  rejected: %s with totals or the header again: nothing to mend\n", many(one.noRecords, "line"))
	}
	if one.Rejected > one.noRecords {
		fmt.Fprintln(a.out, "  'freshet rejects --out mend.csv' writes the rejected rows with their reasons: mend them there and import that file")
	}
	for i, w := range one.warnings {
		if i == most {
			fmt.Fprintf(a.out, "  and doubts about %d rows more\n", one.Warned-most)
			break
		}
		fmt.Fprintln(a.out, "  doubtful:", w)
	}
}
