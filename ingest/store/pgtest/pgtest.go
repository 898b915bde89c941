// Package pgtest gives tests a PostgreSQL of their own: a server on a socket in
// a temporary folder, started by the first test of a program that asks for it,
// which ends with the program. Where FRESHET_POSTGRES has the address of a
// running server, that one is used; where there is none to be had, the test is
// skipped with a word.
//
// The server keeps nothing safe (no fsync), and sorts texts as people do, so
// that a test notices where the store needs them sorted by their bytes. Its user
// is an ordinary one who may make databases, and owns those alone.
package pgtest

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
)

// Database gives the address of a new and empty database, which goes when the
// test ends.
func Database(t testing.TB) string {
	t.Helper()
	ctx := context.Background()
	server, err := start()
	if errors.Is(err, exec.ErrNotFound) {
		t.Skipf("there is no PostgreSQL here: need Debian's package postgresql, or FRESHET_POSTGRES: %v", err)
	}
	if err != nil {
		t.Fatal(err)
	}
	name := Name()
	if err := run(ctx, server, "CREATE DATABASE "+name); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := run(ctx, server, "DROP DATABASE "+name+" WITH (FORCE)"); err != nil {
			t.Error(err)
		}
	})
	u, err := url.Parse(server)
	if err != nil {
		t.Fatal(err)
	}
	u.Path = "/" + name
	return u.String()
}

// Program gives the path of one of the server's own programs, such as pg_dump;
// where it is missing the test is skipped.
func Program(t testing.TB, name string) string {
	t.Helper()
	folder, err := programs()
	if err == nil {
		name, err = exec.LookPath(filepath.Join(folder, name))
	}
	if err != nil {
		t.Skipf("need PostgreSQL's programs: %v", err)
	}
	return name
}

// Name gives a name that no other test's database or schema has.
func Name() string { return fmt.Sprintf("test_%d_%d", os.Getpid(), count.Add(1)) }

var count atomic.Int64

func run(ctx context.Context, server, query string) error {
	c, err := pgx.Connect(ctx, server)
	if err != nil {
		return err
	}
	defer c.Close(ctx)
	_, err = c.Exec(ctx, query)
	return err
}

// start gives the server's address.
var start = sync.OnceValues(func() (string, error) {
	if address := os.Getenv("FRESHET_POSTGRES"); address != "" {
		return address, nil
	}
	folder, err := programs()
	if err != nil {
		return "", err
	}
	dir, err := os.MkdirTemp("", "freshet-postgres-")
	if err != nil {
		return "", err
	}
	// It ends when its input does, which is when this program ends, however it
	// ends.
	const script = `"$0/initdb" -D "$1/data" -U postgres -A trust -E UTF8 --locale-provider=icu --icu-locale=en-US --locale=C.UTF-8 --no-sync >"$1/log" 2>&1 || exit 1
"$0/postgres" -D "$1/data" -k "$1" -c listen_addresses= -c fsync=off -c full_page_writes=off -c max_connections=200 >>"$1/log" 2>&1 <&- &
cat >"$1/ended"; kill -TERM $! && kill -INT $!; wait; cd /; rm -rf "$1"`
	args := []string{"sh", "-c", script, folder, dir}
	if os.Getuid() == 0 { // as which it refuses to run
		if out, err := exec.Command("chown", "postgres", dir).CombinedOutput(); err != nil {
			return "", fmt.Errorf("pgtest: %w: %s", err, out)
		}
		args = append([]string{"setpriv", "--reuid=postgres", "--regid=postgres", "--clear-groups"}, args...)
	}
	server := exec.Command(args[0], args[1:]...)
	server.Dir = dir
	if _, err := server.StdinPipe(); err != nil {
		return "", err
	}
	if err := server.Start(); err != nil {
		return "", err
	}
	go server.Wait() // which keeps its input from being collected, and so closed
	address := func(user string) string {
		return (&url.URL{Scheme: "postgres", Path: "/postgres", RawQuery: url.Values{"host": {dir}, "user": {user}}.Encode()}).String()
	}
	for deadline := time.Now().Add(time.Minute); ; time.Sleep(20 * time.Millisecond) {
		err := run(context.Background(), address("postgres"), "CREATE ROLE freshet LOGIN CREATEDB")
		if err == nil {
			return address("freshet"), nil
		}
		if time.Now().After(deadline) {
			log, _ := os.ReadFile(filepath.Join(dir, "log"))
			return "", fmt.Errorf("pgtest: %w: %s", err, log)
		}
	}
})

// programs gives the folder of the server's programs, the newest version's.
func programs() (string, error) {
	folders, err := filepath.Glob("/usr/lib/postgresql/*/bin/initdb")
	if err != nil {
		return "", err
	}
	if len(folders) == 0 {
		path, err := exec.LookPath("initdb")
		return filepath.Dir(path), err
	}
	slices.SortFunc(folders, func(a, b string) int { return cmp.Or(cmp.Compare(len(a), len(b)), strings.Compare(a, b)) }) // 9.6 before 15
	return filepath.Dir(folders[len(folders)-1]), nil
}
