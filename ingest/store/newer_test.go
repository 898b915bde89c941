package store

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"freshet/ingest/store/pgtest"
)

// A shop that a newer freshet wrote isn't opened, all of them are named, and the
// way back is the group's own.
func TestNewerInAGroup(t *testing.T) {
	ctx := context.Background()
	g, err := OpenGroup(ctx, pgtest.Database(t))
	if err != nil {
		t.Fatal(err)
	}
	defer g.Close()
	for _, shop := range []string{"east", "north", "west"} {
		s, err := g.Add(ctx, shop)
		if err != nil {
			t.Fatal(err)
		}
		s.Close()
	}
	if err := g.Readable(ctx); err != nil {
		t.Fatal(err)
	}
	newest, err := newestOf(groupMigrations, shopMigrations)
	if err != nil || newest == 0 {
		t.Fatal(newest, err)
	}
	for _, shop := range []string{"east", "west"} {
		if _, err := g.own.Exec(fmt.Sprintf("INSERT INTO shop_%s.goose_db_version(version_id, is_applied) VALUES(%d, true)", shop, newest+1)); err != nil {
			t.Fatal(err)
		}
	}
	var n *Newer
	if err := g.Readable(ctx); !errors.As(err, &n) || !slices.Equal(n.Shops, []string{"east", "west"}) || n.Have != newest+1 || n.Need != newest {
		t.Errorf("have %v", err)
	}
	n = nil
	if _, err := g.Open(ctx, "west"); !errors.As(err, &n) || !slices.Equal(n.Shops, []string{"west"}) || !strings.Contains(err.Error(), "pg_restore") || strings.Contains(err.Error(), "freshet restore") {
		t.Errorf("have %v", err)
	}
	s, err := g.Open(ctx, "north")
	if err != nil {
		t.Fatal(err)
	}
	s.Close()
}

func TestOldServer(t *testing.T) {
	for version, ok := range map[string]bool{"14.20": false, "9.6.24 (Debian 9.6.24-1)": false, "15.14 (Debian 15.14-0+deb12u1)": true, "19beta1": true, "15devel": true} {
		if err := checkServer(version); (err == nil) != ok {
			t.Errorf("%s: have %v", version, err)
		}
	}
}
