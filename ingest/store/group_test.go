package store_test

import (
	"context"
	"errors"
	"strings"
	"testing"

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
