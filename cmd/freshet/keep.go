package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"freshet/cmd/freshet/internal/desk"
	"freshet/forecast"
	"freshet/ingest"
	"freshet/ingest/store"
	"freshet/report"

	"github.com/spf13/cobra"
)

// keeping lists the commands that look after the database.
func (a *app) keeping() []*cobra.Command {
	return []*cobra.Command{a.undo(), a.rejects(), a.export(), a.backup(), a.restore(), a.move(), a.check()}
}

func (a *app) undo() *cobra.Command {
	return &cobra.Command{Use: "undo", Short: "Take back the file that was imported last", Args: cobra.NoArgs,
		Long: `Takes back the newest import that stands: what it added goes, what it updated says
again what it said before. Once more, and the import before it is taken back.`,
		Example: `  freshet undo`,
		RunE: func(c *cobra.Command, _ []string) error {
			db, err := a.open(c.Context())
			if err != nil {
				return err
			}
			defer db.Close()
			b, err := db.Undo(c.Context(), a.now())
			if err != nil {
				return err
			}
			if a.json {
				return a.writeJSON(map[string]any{"schema": 1, "file": b.File, "kind": b.Kind, "removed": b.Added, "put_back": b.Updated})
			}
			fmt.Fprintf(a.out, "%s: undone, %s of %s removed, %d put back as they were\n", b.File, many(b.Added, "row"), b.Kind, b.Updated)
			return nil
		}}
}

func (a *app) rejects() *cobra.Command {
	var out string
	var id int64
	c := &cobra.Command{Use: "rejects", Short: "Write the rows that could not be taken, to mend and import", Args: cobra.NoArgs,
		Long: `Writes the rejected rows of the newest import that has some to mend, or of the one
that --batch names, as CSV with the columns of their file and the reasons in a last one.
Mended, it can be imported like any other file. Totals lines and repeated headers
are left out: there is nothing in them to mend.`,
		Example: `  freshet rejects --out mend.csv`,
		RunE: func(c *cobra.Command, _ []string) error {
			if a.json {
				return usage{errors.New("rejects are written as CSV: need no --json")}
			}
			ctx := c.Context()
			db, err := a.open(ctx)
			if err != nil {
				return err
			}
			defer db.Close()
			b, err := rejecting(ctx, db, id)
			if err != nil {
				return err
			}
			var n int
			write := func(w io.Writer) (err error) {
				n, err = db.ExportRejects(ctx, b, w)
				return err
			}
			if out == "" {
				return write(a.out)
			}
			if err := writeFile(out, write); err != nil {
				return err
			}
			fmt.Fprintf(a.out, "%s: %s of %s\n", out, many(n, "rejected row"), b.File)
			return a.sayOthers(ctx, db, b)
		}}
	c.Flags().StringVar(&out, "out", "", "write to this `FILE`")
	c.Flags().Int64Var(&id, "batch", 0, "`NUMBER` of the import (default the newest with rows to mend)")
	return c
}

// sayOthers names the other files of which rows are still to be mended.
func (a *app) sayOthers(ctx context.Context, db *store.Store, b store.Batch) error {
	rejects, err := db.Rejects(ctx, math.MaxInt32)
	if err != nil {
		return err
	}
	waiting := map[int64]int{}
	for _, r := range rejects {
		waiting[r.Batch]++
	}
	delete(waiting, b.ID)
	batches, err := db.Batches(ctx, math.MaxInt32)
	if err != nil {
		return err
	}
	for _, o := range batches {
		if n := waiting[o.ID]; n > 0 {
			fmt.Fprintf(a.out, "%s of %s: --batch %d\n", many(n, "more rejected row"), o.File, o.ID)
		}
	}
	return nil
}

// rejecting finds a batch, or the newest with rows that are still to be mended.
func rejecting(ctx context.Context, db *store.Store, id int64) (store.Batch, error) {
	if id == 0 {
		rejects, err := db.Rejects(ctx, 1)
		if err != nil {
			return store.Batch{}, err
		}
		if len(rejects) == 0 {
			return store.Batch{}, errors.New("need an import with rejected rows to mend, have none")
		}
		id = rejects[0].Batch
	}
	batches, err := db.Batches(ctx, math.MaxInt32)
	if err != nil {
		return store.Batch{}, err
	}
	i := slices.IndexFunc(batches, func(b store.Batch) bool { return id == b.ID })
	switch {
	case i < 0:
		return store.Batch{}, fmt.Errorf("--batch: there is no import %d", id)
	case batches[i].Rejected == 0:
		return store.Batch{}, fmt.Errorf("--batch: need an import with rejected rows, have %s without", batches[i].File)
	}
	return batches[i], nil
}

func (a *app) export() *cobra.Command {
	return &cobra.Command{Use: "export FOLDER", Short: "Write all records as CSV files", Args: cobra.ExactArgs(1),
		Long: `Writes drop-offs, crew, time off and events as CSV files into a folder. Imported
into an empty database, they make the same records. Notes on alerts are written
beside them, to be read. Texts that begin like a formula
get an apostrophe before them, so that a spreadsheet doesn't run them.`,
		Example: `  freshet export records`,
		RunE: func(c *cobra.Command, args []string) error {
			db, err := a.open(c.Context())
			if err != nil {
				return err
			}
			defer db.Close()
			if err := os.MkdirAll(args[0], 0o700); err != nil {
				return err
			}
			rows := map[string]int{}
			for _, kind := range ingest.RowKinds() {
				path := filepath.Join(args[0], string(kind)+".csv")
				if err := writeFile(path, func(w io.Writer) (err error) {
					rows[string(kind)], err = db.Export(c.Context(), kind, w)
					return err
				}); err != nil {
					return err
				}
				if !a.json {
					fmt.Fprintf(a.out, "%s: %s\n", filepath.ToSlash(path), many(rows[string(kind)], "row"))
				}
			}
			const notes = "notes"
			path := filepath.Join(args[0], notes+".csv")
			if err := writeFile(path, func(w io.Writer) (err error) {
				rows[notes], err = db.ExportNotes(c.Context(), w)
				return err
			}); err != nil {
				return err
			}
			if a.json {
				return a.writeJSON(map[string]any{"schema": 1, "folder": args[0], "rows": rows})
			}
			fmt.Fprintf(a.out, "%s: %s\n", filepath.ToSlash(path), many(rows[notes], "row"))
			return nil
		}}
}

func (a *app) backup() *cobra.Command {
	return &cobra.Command{Use: "backup FILE", Short: "Make a verified copy of the database", Args: cobra.ExactArgs(1),
		Long: `Copies the database, in use or not, into a file, and checks the copy record by
record before it takes the place of an older one of that name. A shop in PostgreSQL is
backed up by PostgreSQL's own means: pg_dump --schema=shop_NAME.`,
		Example: `  freshet backup /media/stick/shop-backup.db`,
		RunE: func(c *cobra.Command, args []string) error {
			db, err := a.open(c.Context())
			if err != nil {
				return err
			}
			defer db.Close()
			instead := ""
			if old, err := os.Stat(args[0]); err == nil {
				instead = ", in place of one of " + report.LongDay(forecast.DateOf(old.ModTime()))
			}
			h, err := db.Backup(c.Context(), args[0], a.now())
			if err != nil {
				return err
			}
			if a.json {
				return a.writeJSON(map[string]any{"schema": 1, "file": args[0], "batches": h.Batches, "records": h.Records})
			}
			fmt.Fprintf(a.out, "%s: a checked copy of %s, %s%s\n", args[0], many(h.Batches, "import"), records(h), instead)
			return nil
		}}
}

func (a *app) restore() *cobra.Command {
	return &cobra.Command{Use: "restore FILE", Short: "Bring back the records of a backup", Args: cobra.ExactArgs(1),
		Long: `Checks the backup, keeps what there is now beside the database, and puts the
backup's records in its place. End 'freshet serve' first.`,
		Example: `  freshet restore /media/stick/shop-backup.db`,
		RunE: func(c *cobra.Command, args []string) error {
			path, err := a.path()
			if err != nil {
				return err
			}
			lock, err := store.Lock(path)
			if err != nil {
				return err
			}
			defer lock.Close()
			h, kept, err := store.Restore(c.Context(), path, args[0], a.now())
			if err != nil {
				return err
			}
			if a.json {
				return a.writeJSON(map[string]any{"schema": 1, "file": args[0], "kept": kept, "batches": h.Batches, "records": h.Records})
			}
			fmt.Fprintf(a.out, "%s: restored, %s, %s\n", args[0], many(h.Batches, "import"), records(h))
			if kept != "" {
				fmt.Fprintf(a.out, "What was there before is in %s\n", kept)
			}
			return nil
		}}
}

func records(h store.Health) string {
	s := fmt.Sprintf("%s, %s of crew, %d of time off, %s", many(h.Records["job_lines"], "job line"), many(h.Records["crew"], "spell"), h.Records["absences"], many(h.Records["events"], "event"))
	if h.Notes > 0 {
		s += ", " + many(h.Notes, "note") + " on alerts"
	}
	return s
}

// are is many with its verb.
func are(n int, word string) string {
	if n == 1 {
		return many(n, word) + " is"
	}
	return many(n, word) + " are"
}

// many puts a number before a word, which takes an s unless it is one.
func many(n int, word string) string {
	if n != 1 {
		word += "s"
	}
	return fmt.Sprint(n, " ", word)
}

// oldBackup is how old the last backup may be without a word: a day, and half
// an hour for the night's own to be made.
const oldBackup = 24*time.Hour + 30*time.Minute

func (a *app) check() *cobra.Command {
	return &cobra.Command{Use: "check", Short: "Check that the database and its settings are sound", Args: cobra.NoArgs,
		Long: `Reads all of the database and checks it page by page and record by record against
what was taken in, and the settings; says how old the last backup is. The exit status
is 1 if anything is wrong, or if the last backup is more than a day old although
'freshet serve' is running.`,
		Example: `  freshet check`,
		RunE: func(c *cobra.Command, _ []string) error {
			db, err := a.open(c.Context())
			if err != nil {
				return err
			}
			defer db.Close()
			h, err := db.Check(c.Context())
			if err != nil {
				return err
			}
			faults := slices.Clone(h.Faults)
			if _, err := (&desk.Desk{Store: db}).Zone(c.Context()); err != nil {
				faults = append(faults, err.Error())
			}
			warnings := []string{}
			var backedUp *string
			fresh := ""
			switch {
			case store.Shared(db.Path()): // backed up by PostgreSQL's own means
			case h.Backup.IsZero() && h.Batches > 0:
				warnings = append(warnings, "there is no backup yet: 'freshet backup FILE' makes one")
			case h.Batches > 0:
				at := h.Backup.Format(time.RFC3339)
				backedUp = &at
				if age := a.now().Sub(h.Backup); age > oldBackup {
					old := fmt.Sprintf("the last backup is of %s, %s ago", h.Backup.Format("2006-01-02 15:04 MST"), report.Count(age.Hours(), "hour"))
					if lock, err := store.Lock(db.Path()); errors.Is(err, store.ErrServed) {
						faults = append(faults, old+", though 'freshet serve' should make one each night: what does it say?")
					} else {
						if err == nil { // else it can't be locked where it is, nor served
							lock.Close()
						}
						warnings = append(warnings, old)
					}
				} else {
					fresh = "; the last backup is " + report.Count(age.Hours(), "hour") + " old"
				}
			}
			for _, w := range warnings {
				fmt.Fprintln(a.err, "note:", w)
			}
			if a.json {
				err = a.writeJSON(map[string]any{"schema": 1, "ok": len(faults) == 0, "faults": append([]string{}, faults...), "backup_at": backedUp, "batches": h.Batches, "records": h.Records, "notes": h.Notes, "warnings": warnings})
			} else {
				fmt.Fprintf(a.out, "%s: %s, %s%s\n", filepath.ToSlash(db.Path()), many(h.Batches, "import"), records(h), fresh)
			}
			if err == nil && len(faults) > 0 {
				back := "'freshet restore'"
				if store.Shared(db.Path()) {
					back = "pg_restore"
				}
				return fmt.Errorf("%s: not all is well:\n  %s\n%s brings back a backup if records are damaged", db.Path(), strings.Join(faults, "\n  "), back)
			}
			return err
		}}
}
