package store_test

import (
	"context"
	"errors"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"freshet/ingest"
	"freshet/ingest/store"
	"freshet/ingest/store/pgtest"
)

// A shop in PostgreSQL is found by its name, and one that isn't there isn't
// made.
func TestGroup(t *testing.T) {
	ctx, address := context.Background(), pgtest.Database(t)
	var none *store.NoShop
	if _, err := store.OpenThere(ctx, address+"&shop=north"); !errors.As(err, &none) || none.Name != "north" || len(none.Have) > 0 {
		t.Fatalf("want no shop north, have %v", err)
	}
	north, err := store.Open(ctx, address+"&shop=north")
	if err != nil {
		t.Fatal(err)
	}
	take(t, north, export)
	if err := north.Close(); err != nil {
		t.Fatal(err)
	}
	group, err := store.OpenGroup(ctx, address)
	if err != nil {
		t.Fatal(err)
	}
	defer group.Close()
	if _, err := group.Add(ctx, "south"); err != nil {
		t.Fatal(err)
	}
	if shops, err := group.Shops(ctx); err != nil || strings.Join(shops, " ") != "north south" {
		t.Errorf("want both shops, have %q, %v", shops, err)
	}
	for name, want := range map[string]int{"north": 1, "south": 0} {
		s, err := group.Open(ctx, name)
		if err != nil {
			t.Fatal(err)
		}
		defer s.Close()
		if batches, err := s.Batches(ctx, 10); err != nil || len(batches) != want {
			t.Errorf("want %d files taken in at %s, have %+v, %v", want, s.Path(), batches, err)
		}
	}
	for _, name := range []string{"", "North", "x;y", strings.Repeat("x", 51)} {
		if _, err := group.Add(ctx, name); err == nil {
			t.Errorf("want the name %q refused", name)
		}
	}
}

// Two shops share one connection, and ask the same questions in turn and at the
// same time: each sees its own rows alone, whatever the connection was used for
// before. That is what keeps shops apart, so that no statement need name one.
func TestShopsAreApart(t *testing.T) {
	ctx := context.Background()
	group, err := store.OpenGroup(ctx, pgtest.Database(t)+"&pool_max_conns=2")
	if err != nil {
		t.Fatal(err)
	}
	defer group.Close()
	shops := map[string]*store.Store{}
	for _, name := range []string{"north", "south"} {
		if shops[name], err = group.Add(ctx, name); err != nil {
			t.Fatal(err)
		}
		defer shops[name].Close()
		take(t, shops[name], strings.ReplaceAll(export, "plumbing", name))
	}
	own := func(name string) {
		s := shops[name]
		if kinds, err := s.Kinds(ctx); err != nil || !slices.ContainsFunc(kinds, func(k store.Kind) bool { return k.Name == name }) || len(kinds) != 4 {
			t.Errorf("%s: have %+v, %v", name, kinds, err)
		}
		if err := s.Set(ctx, "name", name); err != nil {
			t.Error(err)
		}
		if have, err := s.Setting(ctx, "name", ""); err != nil || have != name {
			t.Errorf("%s: have %q, %v", name, have, err)
		}
	}
	var together sync.WaitGroup
	for name := range shops {
		together.Go(func() {
			for range 50 {
				own(name)
			}
		})
	}
	together.Wait()
	for range 10 { // and after one that failed
		broken := errors.New("the file breaks off")
		if _, err := shops["north"].Import(ctx, store.Batch{Kind: ingest.DropOffs, TakenIn: at}, &failing{7, broken}, nil); !errors.Is(err, broken) {
			t.Error(err)
		}
		own("south")
		own("north")
	}
	// Who takes a connection past the shops sees none of their tables.
	var n int
	if err := group.Pool().QueryRow(ctx, "SELECT count(*) FROM job_lines").Scan(&n); err == nil {
		t.Errorf("want no table of a shop outside of it, have %d lines", n)
	}
	if err := group.Pool().QueryRow(ctx, "SELECT count(*) FROM shops").Scan(&n); err != nil || n != 2 {
		t.Errorf("have %d shops, %v", n, err)
	}
}

// Who reads can't write, and writers of one shop wait for each other, in several
// processes too; those of another don't.
func TestOneWriterAShop(t *testing.T) {
	ctx, address := context.Background(), pgtest.Database(t)
	var north [2]*store.Store
	for i := range north {
		var err error
		if north[i], err = store.Open(ctx, address+"&shop=north"); err != nil {
			t.Fatal(err)
		}
		defer north[i].Close()
	}
	south, err := store.Open(ctx, address+"&shop=south")
	if err != nil {
		t.Fatal(err)
	}
	defer south.Close()
	if _, err := store.Reader(north[0]).Exec("INSERT INTO settings(name, value) VALUES('a', 'b')"); err == nil || !strings.Contains(err.Error(), "read-only") {
		t.Errorf("want a reader that can't write, have %v", err)
	}
	wrote := make(chan string, 3)
	if _, err := north[0].Import(ctx, store.Batch{Kind: ingest.DropOffs, TakenIn: at}, &during{failing: failing{n: 3}, do: func() {
		go func() {
			if err := north[1].Set(ctx, "name", "north"); err != nil {
				t.Error(err)
			}
			wrote <- "north"
		}()
		if err := south.Set(ctx, "name", "south"); err != nil {
			t.Error(err)
		}
		wrote <- "south"
		if batches, err := north[1].Batches(ctx, 9); err != nil || len(batches) != 0 {
			t.Errorf("want nothing seen of an import under way, have %v, %v", batches, err)
		}
		wrote <- "import"
	}}, nil); err != nil {
		t.Fatal(err)
	}
	if order := <-wrote + " " + <-wrote + " " + <-wrote; order != "south import north" {
		t.Errorf("have %s", order)
	}
}

// during gives rows, and does something once in between.
type during struct {
	failing
	do func()
}

func (d *during) Next() bool {
	if d.do != nil {
		d.do()
		d.do = nil
	}
	return d.failing.Next()
}

// A shop's schema, and a whole group, go into a dump of PostgreSQL's and come
// back as they were, by the hands of an ordinary user: as DEVELOPERS.md has it.
func TestDump(t *testing.T) {
	ctx, address, other := t.Context(), pgtest.Database(t), pgtest.Database(t)
	do := func(program string, args ...string) {
		t.Helper()
		if out, err := exec.Command(pgtest.Program(t, program), args...).CombinedOutput(); err != nil {
			t.Fatalf("%s %v: %v: %s", program, args, err, out)
		}
	}
	open := func(address, shop string) *store.Store {
		t.Helper()
		s, err := store.OpenThere(ctx, address+"&shop="+shop)
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { s.Close() })
		return s
	}
	// whole tells whether a shop is as it was, and takes files as before.
	whole := func(s *store.Store) {
		t.Helper()
		if h, err := s.Check(ctx); err != nil || len(h.Faults) > 0 || h.Records["job_lines"] != 4 {
			t.Errorf("have %+v, %v", h, err)
		}
		if b := take(t, s, strings.ReplaceAll(export, "41", "91")); b.Added != 4 {
			t.Errorf("have %+v", b)
		}
		if _, err := s.Undo(ctx, time.Unix(1e9, 0)); err != nil {
			t.Error(err)
		}
	}
	for _, name := range []string{"north", "south"} {
		s, err := store.Open(ctx, address+"&shop="+name)
		if err != nil {
			t.Fatal(err)
		}
		take(t, s, export)
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
	}
	all, one := filepath.Join(t.TempDir(), "all.dump"), filepath.Join(t.TempDir(), "north.dump")
	do("pg_dump", "-Fc", "-f", all, "-d", address)
	do("pg_dump", "-Fc", "-n", "shop_north", "-f", one, "-d", address)
	do("pg_restore", "-1", "-d", other, all)
	whole(open(other, "north"))
	whole(open(other, "south"))

	g, err := store.OpenGroup(ctx, address)
	if err != nil {
		t.Fatal(err)
	}
	defer g.Close()
	if _, err := g.Pool().Exec(ctx, "DROP SCHEMA shop_north CASCADE"); err != nil {
		t.Fatal(err)
	}
	// Whoever looks meanwhile makes no empty shop in its place.
	gone := (*store.Gone)(nil)
	if _, err := store.OpenThere(ctx, address+"&shop=north"); !errors.As(err, &gone) || gone.Shop != "north" {
		t.Errorf("want a shop that is gone, have %v", err)
	}
	do("pg_restore", "-1", "-d", address, one)
	whole(open(address, "north"))
	whole(open(address, "south"))

	third := pgtest.Database(t)
	do("pg_restore", "-1", "-d", third, one)
	new, err := store.OpenGroup(ctx, third)
	if err != nil {
		t.Fatal(err)
	}
	defer new.Close()
	if _, err := new.Add(ctx, "north"); err != nil {
		t.Fatal(err)
	}
	whole(open(third, "north"))
	if _, err := new.Pool().Exec(ctx, "DROP SCHEMA shop_north CASCADE"); err != nil {
		t.Fatal(err)
	}
	if err := new.Remove(ctx, "north"); err != nil {
		t.Errorf("want a shop that is gone taken off the list, have %v", err)
	}
}
