package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"freshet/cmd/freshet/internal/desk"
	"freshet/cmd/freshet/internal/week"
	"freshet/ingest/demo"
	"freshet/ingest/store"

	"github.com/spf13/cobra"
)

func (a *app) demo() *cobra.Command {
	var listen, files string
	c := &cobra.Command{Use: "demo", Short: "Show an invented shop", Args: cobra.NoArgs,
		Long: `Makes the records of an invented shop, six years of them until yesterday, in a
fresh database (or the one that --db names) and serves its pages. With --files it
only writes the shop's files, to look at and to import. With --as-of the pages
take that day for today, and say so.`,
		Example: `  freshet demo
  freshet demo --as-of 2026-11-23
  freshet demo --files sample`,
		RunE: func(c *cobra.Command, _ []string) error {
			if files != "" {
				return a.writeDemo(files)
			}
			if err := a.pretend(); err != nil {
				return err
			}
			if a.db == "" {
				dir, err := os.MkdirTemp("", "freshet-demo-")
				if err != nil {
					return err
				}
				defer os.RemoveAll(dir)
				a.db = filepath.Join(dir, "demo.db")
			}
			db, err := a.create(c.Context())
			if err != nil {
				return err
			}
			defer db.Close()
			if err := a.makeDemo(c, db); err != nil {
				return err
			}
			w := a.week(c, db)
			w.Backups = "" // it can be made again
			return a.servePages(c, w, listen)
		}}
	c.Flags().StringVar(&listen, "listen", "", "`ADDRESS` to serve on (default "+usualListen+", or all of this machine's once the network is switched on)")
	c.Flags().StringVar(&files, "files", "", "only write the invented shop's files into this `FOLDER`")
	return c
}

// pretend sets the clock to the day that --as-of names, at the present time of
// day in the invented shop's zone. It goes on from there.
func (a *app) pretend() error {
	if a.asOf == "" {
		return nil
	}
	zone, err := time.LoadLocation(demo.Zone)
	if err != nil {
		return err
	}
	day, err := a.today(zone)
	if err != nil {
		return err
	}
	real := a.now
	now := real().In(zone)
	date := day.Time()
	ahead := time.Date(date.Year(), date.Month(), date.Day(), now.Hour(), now.Minute(), now.Second(), now.Nanosecond(), zone).Sub(now)
	a.now = func() time.Time { return real().Add(ahead) }
	return nil
}

// writeDemo writes the invented shop's files.
func (a *app) writeDemo(dir string) error {
	asOf, err := a.today(time.UTC)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	for _, f := range demo.Generate(demo.SixYears(demoSeed, asOf)).Files() {
		if err := writeFile(filepath.Join(dir, f.Name), f.Write); err != nil {
			return err
		}
		fmt.Fprintln(a.out, filepath.ToSlash(filepath.Join(dir, f.Name)))
	}
	return nil
}

// demoSeed makes the invented shop that everyone sees.
const demoSeed = 2

// makeDemo fills the database with the invented shop, by the same way in that
// a shop's own files take. It refuses a database that holds a real shop.
func (a *app) makeDemo(c *cobra.Command, db *store.Store) error {
	ctx := c.Context()
	batches, err := db.Batches(ctx, 1)
	if err != nil {
		return err
	}
	name, err := db.Setting(ctx, desk.SettingName, "")
	if err != nil {
		return err
	}
	if marked, err := db.Setting(ctx, desk.SettingDemo, ""); err != nil {
		return err
	} else if marked == "" && (len(batches) > 0 || name != "") {
		return fmt.Errorf("%s holds a shop of your own: need another --db for the demo", db.Path())
	}
	for _, kv := range [][2]string{{desk.SettingName, demo.Name}, {desk.SettingZone, demo.Zone}, {desk.SettingDemo, "yes"}} {
		if err := db.Set(ctx, kv[0], kv[1]); err != nil {
			return err
		}
	}
	ask, err := a.ask(c, &desk.Desk{Store: db})
	if err != nil {
		return err
	}
	dir, err := os.MkdirTemp("", "freshet-files-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	for _, f := range demo.Generate(demo.SixYears(demoSeed, ask.AsOf)).Files() {
		path := filepath.Join(dir, f.Name)
		if err := writeFile(path, f.Write); err != nil {
			return err
		}
		if _, err := a.takeInFile(ctx, db, path, importing{as: f.Kind}, time.UTC, ask.AsOf); err != nil {
			return err
		}
	}
	return nil
}

// inventedShop makes the demo shop, its report in it, in a folder of its own.
func (a *app) inventedShop(c *cobra.Command, ctx context.Context) (*store.Store, error) {
	dir, err := os.MkdirTemp("", "freshet-demo-")
	if err != nil {
		return nil, err
	}
	db, err := store.Open(ctx, filepath.Join(dir, "demo.db"))
	if err != nil {
		return nil, errors.Join(err, os.RemoveAll(dir))
	}
	if err = a.makeDemo(c, db); err == nil {
		w := a.week(c, db)
		w.Backups = ""
		if failed := w.Do(ctx, week.Anew); len(failed) > 0 {
			err = failed[0]
		}
	}
	if err != nil {
		return nil, errors.Join(err, db.Close(), os.RemoveAll(dir))
	}
	return db, nil
}
