package main

import (
	"errors"
	"fmt"
	"io"
	"path/filepath"

	"freshet/ingest/store"

	"github.com/spf13/cobra"
)

func (a *app) move() *cobra.Command {
	var from, to string
	c := &cobra.Command{Use: "move --from DATABASE --to DATABASE", Short: "Copy a shop from a file into a PostgreSQL that several share, or back", Args: cobra.NoArgs,
		Long: `Copies all of a shop (records, history, settings, letters, reports) into another
database, which must have nothing in it, and reads the copy back: each table has to
have the same number of rows and the same hash over them. All is copied, or nothing.
The first database stays as it is: go on with the second one alone, and end 'freshet
serve' on the first one before.

A shop in PostgreSQL has an address such as postgres://user@host/database?shop=north.
It is backed up by PostgreSQL's own means: pg_dump --schema=shop_north.`,
		Example: `  freshet move --from shop.db --to postgres://freshet@db.example/shops --shop north
  freshet move --from 'postgres://freshet@db.example/shops?shop=north' --to north.db`,
		RunE: func(c *cobra.Command, _ []string) (err error) {
			if from == "" || to == "" {
				return usage{errors.New("need --from and --to, each a file or an address such as postgres://user@host/database?shop=name")}
			}
			if err := a.shopOf(&from, &to); err != nil {
				return err
			}
			old, err := store.OpenThere(c.Context(), from)
			if err != nil {
				return err
			}
			defer old.Close()
			lock, err := unserved(old)
			if err != nil {
				return err
			}
			defer lock.Close()
			fresh, err := store.Open(c.Context(), to)
			if err != nil {
				return err
			}
			defer func() { err = errors.Join(err, fresh.Close()) }()
			tell, told := a.progress(filepath.ToSlash(fresh.Path()))
			before := 0 // rows of the tables that are done
			last, rows := "", 0
			moved, err := store.Move(c.Context(), old, fresh, func(table string, n int) {
				if table != last {
					before, last = before+rows, table
				}
				if rows = n; tell != nil {
					tell(before + rows)
				}
			})
			told()
			if full := (*store.NotEmpty)(nil); errors.As(err, &full) {
				return fmt.Errorf("%s has %s of %s: need one with nothing in it, so that two shops don't mix", filepath.ToSlash(full.Path), many(full.Rows, "row"), full.Table)
			}
			if err != nil {
				return err
			}
			if a.json {
				return a.writeJSON(map[string]any{"schema": 1, "from": old.Path(), "to": fresh.Path(), "tables": moved})
			}
			fmt.Fprintf(a.out, "%s: %d rows of %d tables, read back and the same as in %s\n", filepath.ToSlash(fresh.Path()), before+rows, len(moved), filepath.ToSlash(old.Path()))
			return nil
		}}
	c.Flags().StringVar(&from, "from", "", "`DATABASE` to copy: a file or postgres://…")
	c.Flags().StringVar(&to, "to", "", "`DATABASE` to copy into, with nothing in it: a file or postgres://…")
	return c
}

// shopOf puts the shop that --shop names into the addresses of groups, and refuses
// one that names none then.
func (a *app) shopOf(addresses ...*string) (err error) {
	used := a.shopName == ""
	for _, address := range addresses {
		if !store.Shared(*address) || store.NamesShop(*address) {
			continue
		}
		if a.shopName == "" {
			return usage{errors.New("--shop: need the name of the shop in the group's database")}
		}
		if *address, err = store.AddressOf(*address, a.shopName); err != nil {
			return usage{err}
		}
		used = true
	}
	if !used {
		return usage{errors.New("--shop: need --from or --to with a group's address, postgres://…, that names no shop yet")}
	}
	return nil
}

// unserved keeps a database from being served while it is copied, if it could
// be.
func unserved(db *store.Store) (io.Closer, error) {
	if db.Refusal() != nil { // there may be no place for a lock, and nobody writes
		return io.NopCloser(nil), nil
	}
	return store.Lock(db.Path())
}
