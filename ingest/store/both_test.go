package store

import (
	"context"
	"database/sql"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"freshet/ingest/store/pgtest"
)

// Tests of what a store does, and not of its file, hold for both databases: with
// FRESHET_TEST_DB=postgres they are run on PostgreSQL, and the others skipped.
func onPostgres() bool { return os.Getenv("FRESHET_TEST_DB") == "postgres" }

// lasting is a test's part that doesn't end with it.
type lasting struct{ testing.TB }

func (lasting) Cleanup(func()) {}

var shared struct {
	sync.Once
	address string
}

func database(t testing.TB) string {
	shared.Do(func() { shared.address = pgtest.Database(lasting{t}) })
	return shared.address
}

// OfAFile says that the rest of a test is about SQLite's file.
func OfAFile(t testing.TB) {
	t.Helper()
	if onPostgres() {
		t.Skip("about a file")
	}
}

// Empty gives a store with nothing in it.
func Empty(t testing.TB) *Store {
	t.Helper()
	path := filepath.Join(t.TempDir(), "a shop?#1.db")
	if onPostgres() { // a database for all, as one takes longer to make than a schema
		var err error
		if path, err = AddressOf(database(t), pgtest.Name()); err != nil {
			t.Fatal(err)
		}
	}
	s, err := Open(context.Background(), path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

// Raw gives the tables past the store, without what keeps references whole.
func Raw(t testing.TB, s *Store) *sql.DB {
	t.Helper()
	if s.group != nil {
		return s.w.DB
	}
	db, err := sql.Open(sqlite, dsn(s.path, ""))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	return db
}

// Reader gives what the store reads with.
func Reader(s *Store) *sql.DB { return s.r.DB }

// Unguarded lifts what keeps a table's rows from being changed.
func Unguarded(t testing.TB, s *Store, table string) {
	t.Helper()
	db := Raw(t, s)
	if s.group != nil {
		var links []string // from rows of other tables: only a superuser may disable these
		rows, err := db.Query(`SELECT format('ALTER TABLE %s DROP CONSTRAINT %I', conrelid::regclass, conname) FROM pg_constraint WHERE contype = 'f' AND confrelid = $1::regclass`, table)
		if err != nil {
			t.Fatal(err)
		}
		for rows.Next() {
			var link string
			if err := rows.Scan(&link); err != nil {
				t.Fatal(err)
			}
			links = append(links, link)
		}
		if err := rows.Err(); err != nil {
			t.Fatal(err)
		}
		for _, q := range append(links, "ALTER TABLE "+table+" DISABLE TRIGGER USER") {
			if _, err := db.Exec(q); err != nil {
				t.Fatal(err)
			}
		}
		return
	}
	rows, err := db.Query("SELECT name FROM sqlite_schema WHERE type = 'trigger' AND tbl_name = ?", table)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for rows.Next() {
		var name string
		if err := rows.Scan(&name); err != nil {
			t.Fatal(err)
		}
		names = append(names, name)
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	for _, name := range names {
		if _, err := db.Exec("DROP TRIGGER " + name); err != nil {
			t.Fatal(err)
		}
	}
}

// Tables lists all columns of all tables.
func Tables(t testing.TB, s *Store) (all string) {
	t.Helper()
	query := "SELECT name || ' ' || coalesce(sql, '') FROM sqlite_schema ORDER BY name"
	if s.group != nil {
		query = "SELECT table_name || ' ' || column_name || ' ' || data_type FROM information_schema.columns WHERE table_schema = current_schema() ORDER BY table_name, ordinal_position"
	}
	rows, err := Raw(t, s).Query(query)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	for rows.Next() {
		var one string
		if err := rows.Scan(&one); err != nil {
			t.Fatal(err)
		}
		all += one + "\n"
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	return all
}
