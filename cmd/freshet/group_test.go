package main

import (
	"bytes"
	"context"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"go.yaml.in/yaml/v3"

	"freshet/cmd/freshet/internal/week"
	"freshet/ingest/store"
	"freshet/ingest/store/pgtest"
)

// TestGroup sets a group up as its owner would: shops, an area, a user, a file
// handed in; serves its pages and its numbers; and refuses what can't be.
func TestGroup(t *testing.T) {
	address := pgtest.Database(t)
	t.Setenv("FRESHET_DB", address)
	words := filepath.Join(t.TempDir(), "words")
	if err := os.WriteFile(words, []byte("four words to get in\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "jobs.csv")
	if err := os.WriteFile(file, []byte("ro_number,dropped_off,kind\n1,2026-11-02,brakes\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer taken.Close()
	now := func() time.Time { return time.Date(2026, 11, 23, 9, 0, 0, 0, time.UTC) }
	for _, c := range []struct {
		args   string
		status int
		says   string
	}{
		{"group", done, "no shop in this database yet. Make one with 'freshet group add SHOP'"},
		{"shop --shop east --name East", failed, `no shop "east"; it has none yet`},
		{"group add east west", done, "west is made"},
		{"group add north East", failed, "small letters"},
		{"group add north west", failed, "a shop west already"},
		{"group add north north", misuse, "need each shop once, have north twice"},
		{"group user pat --owner east --counter west,east", misuse, "need each shop once, have east twice"},
		{"shop --shop east --name East", done, "East"},
		{"shop --shop west --name West", done, "West"},
		{"import --shop eats " + file, failed, `no shop "eats": did you mean east?`},
		{"import --shop south " + file, failed, `no shop "south"; it has east, west` + "\n"},
		{"serve --shop south", failed, "no shop"},
		{"import " + file, misuse, "the group has east, west"},
		{"group --shop east", misuse, "leave out --shop"},
		{"work --shop east", misuse, "leave out --shop"},
		{"group", done, "no report yet"},
		{"group area north east west", done, ""},
		{"group area north south", failed, "south"},
		{"group user pat --owner east", misuse, "needs a passphrase"},
		{"group user pat --owner east --counter west --passphrase-file " + words, done, "counter"},
		{"group user", done, "pat"},
		{"group user pta --remove", failed, "no user pta"},
		{"group user pat --remove", done, "let in no more"},
		{"group user pat --remove", failed, "no user pat"},
		{"group file east " + file, done, "jobs.csv waits for a worker"},
		{"group --json", done, `"area":"north"`},
		{"group", done, "east: the file jobs.csv waits for a worker."},
		{"access --shop east", done, "freshet group user"},
		{"shop --shop east", done, "freshet group file"},
		{"shop --shop east --folder " + filepath.Dir(file), misuse, "freshet group file"},
		{"work --at-once 0", misuse, "at-once"},
		{"serve --metrics 0.0.0.0:8138", misuse, "this machine alone"},
		{"serve --metrics 127.0.0.1:0 --listen " + taken.Addr().String(), failed, "--listen names another address"},
		{"serve --listen 127.0.0.1:0 --metrics " + taken.Addr().String(), failed, "--metrics names another address"},
		{"group --db " + filepath.Join(t.TempDir(), "shop.db"), misuse, "postgres://"},
	} {
		var out, errs bytes.Buffer
		status := run(t.Context(), strings.Fields(c.args), &out, &errs, now)
		if said := out.String() + errs.String(); status != c.status || !strings.Contains(said, c.says) {
			t.Errorf("freshet %s: want %d and %q, have %d\n%s", c.args, c.status, c.says, status, said)
		}
	}

	r, w := io.Pipe()
	served := make(chan int, 1)
	ctx, stop := context.WithCancel(t.Context())
	go func() {
		served <- run(ctx, []string{"serve", "--listen", "127.0.0.1:0", "--metrics", "127.0.0.1:18138"}, w, os.Stderr, now)
		w.Close()
	}()
	line := make([]byte, 200)
	n, err := r.Read(line)
	if err != nil {
		t.Fatal(err)
	}
	home := strings.Fields(string(line[:n]))[1]
	for url, want := range map[string]string{home + "/readyz": "ready", home + "/group": "Passphrase", "http://127.0.0.1:18138/metrics": `freshet_jobs{state="available"} 1`} {
		answer, err := http.Get(url)
		if err != nil {
			t.Fatal(err)
		}
		body, err := io.ReadAll(answer.Body)
		answer.Body.Close()
		if err != nil || !strings.Contains(string(body), want) {
			t.Errorf("%s: want %q, have %s (%v)", url, want, body, err)
		}
	}
	if answer, err := http.Get(home + "/metrics"); err != nil || answer.StatusCode == http.StatusOK && strings.Contains(answer.Request.URL.Path, "metrics") {
		t.Errorf("the numbers are served with the pages: %v %v", answer, err)
	}
	stop()
	if status := <-served; status != done {
		t.Errorf("served until told to stop: %d", status)
	}
}

// The compose file has a database, the pages and two workers that wait for it,
// no password of its own, and the pages alone can be reached, from this machine.
func TestCompose(t *testing.T) {
	text, err := os.ReadFile("compose.yaml")
	if err != nil {
		t.Fatal(err)
	}
	type service struct {
		Build, Image string
		Command      []string
		Environment  map[string]string
		Ports        []string
		DependsOn    map[string]map[string]string `yaml:"depends_on"`
		Deploy       struct{ Replicas int }
		Volumes      []string
		Restart      string
		Healthcheck  map[string]any
	}
	var file struct {
		Services map[string]service
		Volumes  map[string]any
	}
	d := yaml.NewDecoder(bytes.NewReader(text))
	d.KnownFields(true)
	if err := d.Decode(&file); err != nil {
		t.Fatal(err)
	}
	db, pages, workers := file.Services["database"], file.Services["pages"], file.Services["work"]
	if version, err := strconv.Atoi(strings.TrimPrefix(db.Image, "postgres:")); err != nil || version < store.OldestServer {
		t.Errorf("need PostgreSQL %d or newer, have %s", store.OldestServer, db.Image)
	}
	if len(file.Services) != 3 || db.Healthcheck["test"] == nil || workers.Deploy.Replicas != 2 {
		t.Errorf("have %+v", file.Services)
	}
	if len(db.Ports)+len(workers.Ports) > 0 || len(pages.Ports) != 1 || !strings.HasPrefix(pages.Ports[0], "127.0.0.1:") {
		t.Errorf("want the pages alone reached, from this machine: %v, %v, %v", db.Ports, pages.Ports, workers.Ports)
	}
	for name, s := range map[string]service{"serve": pages, "work": workers} {
		if s.Build != "../.." || s.Command[0] != name || s.DependsOn["database"]["condition"] != "service_healthy" || !store.Shared(s.Environment["FRESHET_DB"]) {
			t.Errorf("%s: have %+v", name, s)
		}
		c := (&app{}).root()
		if _, _, err := c.Find(s.Command); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	for _, s := range file.Services {
		for name, value := range s.Environment {
			if strings.Contains(name, "PASSWORD") && !strings.HasPrefix(value, "${") {
				t.Errorf("%s stands in the file", name)
			}
		}
	}
}

// TestFileHandedIn has a worker take in a file that was handed in on another
// machine, and leave one that it can't read, which the group's overview says.
func TestFileHandedIn(t *testing.T) {
	address := pgtest.Database(t)
	t.Setenv("FRESHET_DB", address)
	file := filepath.Join(t.TempDir(), "jobs.csv")
	if err := os.WriteFile(file, []byte("ro_number,dropped_off,kind\n1,2026-11-02,brakes\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	odd := filepath.Join(filepath.Dir(file), "odd.csv")
	if err := os.WriteFile(odd, []byte("colour;size\nred;4\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, args := range [][]string{{"group", "add", "east"}, {"group", "file", "east", file, odd}} {
		if status, _, errs := call(t, args...); status != done {
			t.Fatalf("%v: %d %s", args, status, errs)
		}
	}
	ctx, stop := context.WithCancel(t.Context())
	worked := make(chan int, 1)
	var log bytes.Buffer
	go func() { worked <- run(ctx, []string{"work"}, io.Discard, &log, time.Now) }()
	east, err := store.OpenThere(ctx, address+"&shop=east")
	if err != nil {
		t.Fatal(err)
	}
	defer east.Close()
	if err := east.Set(ctx, week.SettingFolder, "/exports"); err != nil { // that it watched before it was moved
		t.Fatal(err)
	}
	var in []store.Batch
	var wrong []store.Failure
	for deadline := time.Now().Add(10 * time.Second); (len(in) == 0 || len(wrong) == 0) && time.Now().Before(deadline); time.Sleep(50 * time.Millisecond) {
		if in, err = east.Batches(ctx, 9); err != nil {
			t.Fatal(err)
		}
		if wrong, err = east.Failures(ctx); err != nil {
			t.Fatal(err)
		}
	}
	stop()
	if status := <-worked; status != done || len(in) != 1 || in[0].File != "jobs.csv" || in[0].Added != 1 {
		t.Errorf("want the file taken in, have %+v, and a worker that ended with %d\n%s", in, status, &log)
	}
	if !strings.Contains(log.String(), "shop=east job=file try=1") {
		t.Errorf("want a line on the file that can't be read, have\n%s", &log)
	}
	for args, want := range map[string]string{"group": "the file odd.csv waits. It failed", "group --json": `"what":"the file odd.csv","tries":`, "group file east": "odd.csv: It waits. It failed", "group file  east": ": need to be told what the rows are (drop-offs, crew, time-off, events), have headers that fit none: colour, size\njobs.csv: 1 row: 1 added", "shop --shop east": "folder     a group's shop watches none"} {
		if _, out, errs := call(t, strings.Fields(args)...); !strings.Contains(out, want) {
			t.Errorf("%s: want %q, have\n%s%s", args, want, out, errs)
		}
	}
}

// A newer freshet may have written one of the shops: an older one says so at its
// start and by its name, and does nothing.
func TestNewerShop(t *testing.T) {
	address := pgtest.Database(t)
	t.Setenv("FRESHET_DB", address)
	if status, _, errs := call(t, "group", "add", "east", "west"); status != done {
		t.Fatal(errs)
	}
	c, err := pgx.Connect(t.Context(), address)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close(context.WithoutCancel(t.Context()))
	if _, err := c.Exec(t.Context(), "INSERT INTO shop_west.goose_db_version(version_id, is_applied) VALUES(999, true)"); err != nil {
		t.Fatal(err)
	}
	for _, args := range [][]string{{"serve", "--listen", "127.0.0.1:0", "--metrics", "127.0.0.1:0"}, {"work"}, {"kinds", "--shop", "west"}} {
		if status, _, errs := call(t, args...); status != failed || !strings.Contains(errs, "a newer freshet wrote the tables of west") || !strings.Contains(errs, "pg_restore") {
			t.Errorf("%v: have %d %s", args, status, errs)
		}
	}
	if status, _, errs := call(t, "check", "--shop", "east"); status != done {
		t.Errorf("want the other shop open, have %d %s", status, errs)
	}
}

// A shop is taken away, with its records, when its name is said twice; one whose
// schema was brought back from a dump is taken in with them.
func TestGroupShops(t *testing.T) {
	address := pgtest.Database(t)
	t.Setenv("FRESHET_DB", address)
	say := func(want int, says string, args ...string) {
		t.Helper()
		status, out, errs := call(t, args...)
		if status != want || !strings.Contains(out+errs, says) {
			t.Errorf("%v: want %d and %q, have %d\n%s%s", args, want, says, status, out, errs)
		}
	}
	say(done, "east is made, with nothing", "group", "add", "east", "west")
	say(done, "", "import", "--shop", "east", "--accept-guesses", filepath.Join("..", "..", "testdata", "shop", "odd-export.csv"))
	say(misuse, "pg_dump -n shop_east", "group", "remove", "east")
	say(misuse, "pg_dump -n shop_east", "group", "remove", "east", "--for-good", "west")
	say(failed, "did you mean east", "group", "remove", "eest", "--for-good", "eest")
	say(done, "", "check", "--shop", "east")

	// As after psql on what pg_dump wrote: the schema is there, and no shop of it.
	c, err := pgx.Connect(t.Context(), address)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close(context.WithoutCancel(t.Context()))
	if _, err := c.Exec(t.Context(), "DELETE FROM freshet.shops WHERE name = 'east'"); err != nil {
		t.Fatal(err)
	}
	say(failed, `no shop "east"`, "check", "--shop", "east")
	say(done, "east was in the database", "group", "add", "east")
	_, kinds, _ := call(t, "kinds", "--shop", "east")
	if !strings.Contains(kinds, "Water pump") {
		t.Errorf("want its records back, have\n%s", kinds)
	}

	say(done, "east is gone", "group", "remove", "east", "--for-good", "east")
	say(failed, `no shop "east"`, "kinds", "--shop", "east")
	say(done, "east is made, with nothing", "group", "add", "east")
	if status, out, _ := call(t, "kinds", "--shop", "east"); status == done && out == kinds {
		t.Errorf("its records are still there:\n%s", out)
	}
}
