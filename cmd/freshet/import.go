package main

import (
	"cmp"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"freshet/cmd/freshet/internal/desk"
	"freshet/forecast"
	"freshet/ingest"
	"freshet/ingest/store"
	"freshet/ingest/xlsx"

	"github.com/spf13/cobra"
)

// importing is how a call wants its files read.
type importing struct {
	as      string
	maps    []string
	dates   string
	guesses bool
	sheet   string
}

func (a *app) importFiles() *cobra.Command {
	var how importing
	c := &cobra.Command{Use: "import FILE…", Short: "Take in the shop's files", Args: cobra.MinimumNArgs(1),
		Long: `Takes in CSV files and Excel workbooks of drop-offs, crew, time off and events.
Every row is accounted for: added, updated, unchanged, or rejected with its line
and reason. Importing a file twice changes nothing.`,
		RunE: func(c *cobra.Command, files []string) error { return a.takeIn(c, files, how) }}
	f := c.Flags()
	f.StringVar(&how.as, "as", "", "what the rows are: drop-offs, crew, time-off or events (default: told from the headers)")
	f.StringArrayVar(&how.maps, "map", nil, "`\"Their Name=field\"`: which column is which; once for each")
	f.StringVar(&how.dates, "dates", "", "how 3/4/2025 is meant: mdy or dmy")
	f.BoolVar(&how.guesses, "accept-guesses", false, "accept columns that are named much like a known one")
	f.StringVar(&how.sheet, "sheet", "", "which sheet of a workbook (default the first)")
	return c
}

// imported is the answer to import.
type imported struct {
	Schema   int            `json:"schema"`
	Files    []importedFile `json:"files"`
	Warnings []string       `json:"warnings,omitempty"`
}

type importedFile struct {
	File      string       `json:"file"`
	Kind      string       `json:"kind"`
	Rows      int          `json:"rows"`
	Added     int          `json:"added"`
	Updated   int          `json:"updated"`
	Unchanged int          `json:"unchanged"`
	Warned    int          `json:"warned"`
	Rejected  int          `json:"rejected"`
	Rejects   []rejectJSON `json:"rejects"`
	Ignored   []string     `json:"ignored_columns"`
	Sheets    []string     `json:"ignored_sheets,omitempty"`
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
	db, err := a.open(ctx)
	if err != nil {
		return err
	}
	defer db.Close()
	loc, err := (&desk.Desk{Store: db}).Zone(ctx)
	if err != nil {
		return err
	}
	tomorrow := forecast.DateOf(a.now().In(loc)) + 1
	out := imported{Schema: 1, Files: []importedFile{}}
	for _, name := range files {
		one, err := a.takeInFile(ctx, db, name, how, tomorrow)
		if err != nil {
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

func (a *app) takeInFile(ctx context.Context, db *store.Store, name string, how importing, tomorrow forecast.Date) (importedFile, error) {
	f, err := os.Open(name)
	if err != nil {
		return importedFile{}, err
	}
	defer f.Close()
	sum := sha256.New()
	if _, err := io.Copy(sum, f); err != nil {
		return importedFile{}, err
	}
	base := filepath.Base(name)
	sheet, others, err := openSheet(base, f, how.sheet)
	if err != nil {
		return importedFile{}, err
	}
	layout, confirmed, err := a.layout(ctx, db, sheet, how)
	if err != nil {
		return importedFile{}, err
	}
	rows, err := sheet.Read(layout, tomorrow)
	if err != nil {
		var ambiguous *ingest.AmbiguousDates
		if errors.As(err, &ambiguous) {
			return importedFile{}, fmt.Errorf("%w: say --dates mdy for month first, --dates dmy for day first", err)
		}
		return importedFile{}, err
	}
	b, err := db.Import(ctx, store.Batch{File: base, Kind: layout.Kind, SHA256: store.Hash(sum.Sum(nil)), TakenIn: a.now(),
		Headers: sheet.Headers, Delimiter: sheet.Delimiter, Mended: sheet.Mended}, rows, a.progress(base))
	if err != nil {
		return importedFile{}, err
	}
	if confirmed {
		if err := db.KeepLayout(ctx, layout.Signature(), layout); err != nil {
			return importedFile{}, err
		}
	}
	one := importedFile{File: b.File, Kind: string(b.Kind), Rows: b.Rows, Added: b.Added, Updated: b.Updated, Unchanged: b.Unchanged, Warned: b.Warned, Rejected: b.Rejected,
		Rejects: []rejectJSON{}, Ignored: layout.Ignored(), Sheets: others, warnings: b.Warnings, doubts: b.Doubts}
	for _, r := range b.Rejects {
		one.Rejects = append(one.Rejects, rejectJSON{r.Line, r.Column, r.Value, r.Reason})
	}
	return one, nil
}

// openSheet opens a file of text, or one sheet of a workbook: the one named, or
// the first. others names the workbook's other sheets.
func openSheet(name string, f *os.File, wanted string) (_ *ingest.Sheet, others []string, err error) {
	magic := make([]byte, len(xlsx.Magic))
	if _, err := f.ReadAt(magic, 0); err != nil && err != io.EOF {
		return nil, nil, err
	}
	if string(magic) != xlsx.Magic {
		if wanted != "" {
			return nil, nil, usage{fmt.Errorf("--sheet: need a workbook, have %s", name)}
		}
		if _, err := f.Seek(0, io.SeekStart); err != nil {
			return nil, nil, err
		}
		sheet, err := ingest.Open(name, f)
		return sheet, nil, err
	}
	info, err := f.Stat()
	if err != nil {
		return nil, nil, err
	}
	book, err := xlsx.Open(f, info.Size())
	if err != nil {
		return nil, nil, fmt.Errorf("%s: %w", name, err)
	}
	sheets := book.Sheets()
	if wanted == "" {
		wanted = sheets[0]
	} else if !slices.Contains(sheets, wanted) {
		return nil, nil, usage{fmt.Errorf("--sheet: need one of %q, have %q", sheets, wanted)}
	}
	sheet, err := ingest.OpenText(name, book.Text(wanted), ingest.Text{Delimiter: ',', Date1904: book.Date1904(), Short: true})
	return sheet, slices.DeleteFunc(sheets, func(s string) bool { return s == wanted }), err
}

// layout settles which column is which: as the call says, as was confirmed for
// such headers before, or as their names say. confirmed tells that a person
// had a say now.
func (a *app) layout(ctx context.Context, db *store.Store, sheet *ingest.Sheet, how importing) (l ingest.Layout, confirmed bool, err error) {
	confirmed = len(how.maps) > 0 || how.dates != "" || how.guesses
	var order ingest.DateOrder
	if how.dates != "" {
		if order, err = ingest.ParseDateOrder(how.dates); err != nil {
			return l, false, usage{fmt.Errorf("--dates: %w", err)}
		}
	}
	if len(how.maps) == 0 && !how.guesses {
		var known ingest.Layout
		ok, err := db.Layout(ctx, ingest.Propose(sheet.Headers, sheet.Sample, ingest.DropOffs).Signature(), &known)
		if err != nil {
			return l, false, err
		}
		if ok && (how.as == "" || how.as == string(known.Kind)) {
			known.DateOrder = cmp.Or(order, known.DateOrder)
			return known, confirmed, nil
		}
	}
	switch kind, err := ingest.ParseRowKind(how.as); {
	case how.as != "" && err != nil:
		return l, false, usage{fmt.Errorf("--as: %w", err)}
	case how.as != "":
		l = ingest.Propose(sheet.Headers, sheet.Sample, kind)
	case len(how.maps) > 0:
		l = ingest.Propose(sheet.Headers, sheet.Sample, ingest.DropOffs)
	default:
		if l, err = ingest.Detect(sheet.Headers, sheet.Sample); err != nil {
			return l, false, fmt.Errorf("%w: say which column is which with --map \"Their Name=field\", or what the rows are with --as", err)
		}
	}
	for _, m := range how.maps {
		theirs, ours, ok := strings.Cut(m, "=")
		if !ok {
			return l, false, usage{fmt.Errorf("--map: need \"Their Name=field\", have %q", m)}
		}
		if l, err = l.With(strings.TrimSpace(theirs), strings.TrimSpace(ours)); err != nil {
			return l, false, usage{fmt.Errorf("--map: %w", err)}
		}
	}
	l.DateOrder = order
	if how.guesses {
		l = l.AcceptGuesses()
	}
	if !confirmed && len(l.Guesses) > 0 {
		// Taken in without them, the rows would stand under other keys than
		// with them, and be doubled later.
		var say strings.Builder
		for _, g := range l.Guesses {
			fmt.Fprintf(&say, "\n  --map %q", g.Header+"="+g.Field)
		}
		return l, false, fmt.Errorf("%s: need a word on columns that are named much like known ones; say those that are right (or --accept-guesses for the first of each, or \"Their Name=ignore\"):%s", sheet.Name, say.String())
	}
	return l, confirmed, nil
}

// progress tells a person at a terminal that a long file is on its way.
func (a *app) progress(name string) func(int) {
	f, ok := a.err.(*os.File)
	if !ok || a.json {
		return nil
	}
	if info, err := f.Stat(); err != nil || info.Mode()&os.ModeCharDevice == 0 {
		return nil
	}
	return func(rows int) { fmt.Fprintf(f, "\r%s: %d rows ", name, rows) }
}

func (a *app) showImported(one importedFile) {
	fmt.Fprintf(a.out, "%s: %d rows of %s: %d added, %d updated, %d unchanged, %d rejected\n", one.File, one.Rows, one.Kind, one.Added, one.Updated, one.Unchanged, one.Rejected)
	if len(one.Ignored) > 0 {
		fmt.Fprintf(a.out, "  columns left alone: %s\n", strings.Join(one.Ignored, ", "))
	}
	if len(one.Sheets) > 0 {
		fmt.Fprintf(a.out, "  sheets left alone (see --sheet): %s\n", strings.Join(one.Sheets, ", "))
	}
	const most = 10
	for i, r := range one.Rejects {
		if i == most {
			fmt.Fprintf(a.out, "  and %d more rejected rows; 'freshet rejects' writes them all\n", one.Rejected-most)
			break
		}
		fmt.Fprintln(a.out, "  rejected:", &ingest.RowError{File: one.File, Line: r.Line, Column: r.Column, Value: r.Value, Reason: r.Reason})
	}
	for i, w := range one.warnings {
		if i == most {
			fmt.Fprintf(a.out, "  and doubts about %d rows more\n", one.Warned-most)
			break
		}
		fmt.Fprintln(a.out, "  doubtful:", w)
	}
}
