package workers

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"freshet/cmd/freshet/internal/desk"
	"freshet/forecast"
	"freshet/ingest"
	"freshet/ingest/demo"
	"freshet/ingest/store"
	"freshet/ingest/store/pgtest"
)

var (
	shops   = flag.Int("shops", 0, "how many shops of five years TestNight works for")
	years   = flag.Int("years", 5, "how many years of records they have")
	kinds   = flag.Int("job-kinds", 8, "how many job kinds they have: 3, 8 or 16")
	profile = flag.String("profile", "", "folder for a profile of each of its workers")
)

// fill makes a group of invented shops: some are generated and taken in by the
// usual way, and the rest are copies of their rows.
func fill(t testing.TB, g *store.Group, n, years int, until forecast.Date) {
	t.Helper()
	ctx := context.Background()
	const models = 10
	names, begun := make([]string, n), time.Now()
	for i := range n {
		if i%100 == 0 && i > 0 {
			t.Logf("%d shops are filled after %.0f s", i, time.Since(begun).Seconds())
		}
		names[i] = fmt.Sprintf("shop%04d", i)
		db, err := g.Add(ctx, names[i])
		if err != nil {
			t.Fatal(err)
		}
		if err := g.SetArea(ctx, names[i], fmt.Sprint("area ", i/20)); err != nil {
			t.Fatal(err)
		}
		if i < models {
			takeInShop(t, db, demo.Spec{Seed: uint64(100 + i), Region: uint64(1 + i/5), From: forecast.NewDate(until.Year()-years, until.Time().Month(), until.Time().Day()), Until: until})
		} else {
			copyShop(t, g, names[i%models], names[i])
		}
		if err := db.Set(ctx, desk.SettingName, names[i]); err != nil {
			t.Fatal(err)
		}
		db.Close()
	}
}

func takeInShop(t testing.TB, db *store.Store, spec demo.Spec) {
	t.Helper()
	shop := demo.Generate(spec)
	rename(&shop, *kinds)
	for _, f := range shop.Files() {
		var text strings.Builder
		if err := f.Write(&text); err != nil {
			t.Fatal(err)
		}
		if _, err := db.TakeIn(context.Background(), store.HandIn{Name: f.Name, File: strings.NewReader(text.String()), Size: int64(text.Len()), As: ingest.RowKind(f.Kind), Guesses: true}, spec.Until+1, spec.Until.Time(), nil); err != nil {
			t.Fatal(f.Name, err)
		}
	}
	if err := db.Set(context.Background(), desk.SettingZone, demo.Zone); err != nil {
		t.Fatal(err)
	}
}

// rename gives the job kinds, of which the invented shop has eight, fewer names or
// more.
func rename(s *demo.Shop, names int) {
	of := map[string][]string{}
	for i := range s.Lines {
		l := &s.Lines[i]
		if of[l.Kind] == nil {
			n := len(of)
			for k := n % names; k < names; k += 8 {
				of[l.Kind] = append(of[l.Kind], fmt.Sprint("kind ", k))
			}
		}
		l.Kind = of[l.Kind][l.RO%len(of[l.Kind])]
	}
	for i := range s.Crew {
		if t := &s.Crew[i]; t.Skills != "all" {
			var can []string
			for k := range strings.SplitSeq(t.Skills, ";") {
				can = append(can, of[k]...)
			}
			t.Skills = strings.Join(can, ";")
		}
	}
}

// copyShop fills a shop's empty tables with another's rows.
func copyShop(t testing.TB, g *store.Group, from, to string) {
	t.Helper()
	ctx := context.Background()
	tx, err := g.Pool().Begin(ctx)
	if err != nil {
		t.Fatal(err)
	}
	defer tx.Rollback(ctx)
	run := func(query string) {
		t.Helper()
		if _, err := tx.Exec(ctx, query); err != nil {
			t.Fatal(query, err)
		}
	}
	rows, err := tx.Query(ctx, "SELECT c.relname FROM pg_class c WHERE c.relnamespace = $1::regnamespace AND c.relkind = 'r' AND c.relname NOT LIKE 'goose%'", "shop_"+from)
	if err != nil {
		t.Fatal(err)
	}
	tables, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range tables {
		run(fmt.Sprintf("ALTER TABLE shop_%s.%s DISABLE TRIGGER USER", to, name))
	}
	for waiting := tables; len(waiting) > 0; { // those first that others refer to
		name := waiting[0]
		waiting = waiting[1:]
		err := pgx.BeginFunc(ctx, tx, func(tx pgx.Tx) error {
			if _, err := tx.Exec(ctx, fmt.Sprintf("DELETE FROM shop_%s.%s", to, name)); err != nil {
				return err
			}
			_, err := tx.Exec(ctx, fmt.Sprintf("INSERT INTO shop_%s.%s OVERRIDING SYSTEM VALUE SELECT * FROM shop_%s.%s", to, name, from, name))
			return err
		})
		if refers := new(pgconn.PgError); errors.As(err, &refers) && refers.Code == "23503" { // a foreign key
			waiting = append(waiting, name)
		} else if err != nil {
			t.Fatal(name, err)
		}
	}
	for _, name := range tables {
		run(fmt.Sprintf("ALTER TABLE shop_%s.%s ENABLE TRIGGER USER", to, name))
	}
	run(fmt.Sprintf(`DO $$ DECLARE s record; BEGIN FOR s IN SELECT table_name t, column_name c FROM information_schema.columns WHERE table_schema = 'shop_%[1]s' AND is_identity = 'YES' LOOP
		EXECUTE format('SELECT setval(pg_get_serial_sequence(''shop_%[1]s.%%s'', %%L), coalesce(max(%%I), 0) + 1, false) FROM shop_%[1]s.%%I', s.t, s.c, s.c, s.t); END LOOP; END $$`, to))
	if err := tx.Commit(ctx); err != nil {
		t.Fatal(err)
	}
}

// TestNight has two workers do a night's work for a group, and logs what it
// took. With -shops 0 it is left out.
func TestNight(t *testing.T) {
	if *shops == 0 {
		t.Skip("measures only: -shops 50")
	}
	ctx := t.Context()
	address := pgtest.Database(t)
	g, err := store.OpenGroup(ctx, address)
	if err != nil {
		t.Fatal(err)
	}
	defer g.Close()
	if err := Prepare(ctx, g); err != nil {
		t.Fatal(err)
	}
	until := forecast.NewDate(2026, 11, 23)
	begun := time.Now()
	fill(t, g, *shops, *years, until)
	var size int64
	if err := g.Pool().QueryRow(ctx, "SELECT pg_database_size(current_database())").Scan(&size); err != nil {
		t.Fatal(err)
	}
	t.Logf("%d shops of %d years filled in %.0f s; %.1f MB a shop", *shops, *years, time.Since(begun).Seconds(), float64(size)/1e6/float64(*shops))
	program, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	server := serverCPU(t, g)
	begun = time.Now()
	var workers []*os.Process
	for range 2 {
		p, err := os.StartProcess(program, []string{program}, &os.ProcAttr{Env: append(os.Environ(), workHere+"="+address, workAt+"="+until.Time().Add(10*time.Hour).Format(time.RFC3339), "GOMAXPROCS=1", atOnce+"=1", profileTo+"="+*profile), Files: []*os.File{nil, os.Stderr, os.Stderr}})
		if err != nil {
			t.Fatal(err)
		}
		workers = append(workers, p)
	}
	var done, said int
	for done < *shops {
		time.Sleep(time.Second)
		if done >= said+100 {
			said = done
			t.Logf("%d shops are done after %.0f s", done, time.Since(begun).Seconds())
		}
		if err := g.Pool().QueryRow(ctx, "SELECT count(*) FROM freshet.briefs").Scan(&done); err != nil {
			t.Fatal(err)
		}
	}
	took := time.Since(begun)
	server = serverCPU(t, g) - server
	cpu, kB := time.Duration(0), int64(0)
	for _, p := range workers {
		p.Signal(syscall.SIGTERM)
		s, err := p.Wait()
		if err != nil {
			t.Fatal(err)
		}
		cpu += s.UserTime() + s.SystemTime()
		kB = max(kB, s.SysUsage().(*syscall.Rusage).Maxrss)
	}
	var after int64
	if err := g.Pool().QueryRow(ctx, "SELECT pg_database_size(current_database())").Scan(&after); err != nil {
		t.Fatal(err)
	}
	t.Logf("a night of two workers: %.0f s, %.2f s of their CPU a shop and %.2f s of the server's, %.0f MB of memory at most; the database grew by %.2f MB a shop", took.Seconds(), cpu.Seconds()/float64(*shops), server.Seconds()/float64(*shops), float64(kB)/1024, float64(after-size)/1e6/float64(*shops))
}

// serverCPU gives the time that the database server has worked, all of its
// processes; 0 where it isn't on this machine, or this is no Linux.
func serverCPU(t *testing.T, g *store.Group) time.Duration {
	t.Helper()
	var pid int
	if err := g.Pool().QueryRow(t.Context(), "SELECT pg_backend_pid()").Scan(&pid); err != nil {
		t.Fatal(err)
	}
	main, _ := used(strconv.Itoa(pid))
	processes, err := filepath.Glob("/proc/[0-9]*")
	if err != nil {
		t.Fatal(err)
	}
	var sum time.Duration
	for _, p := range processes {
		parent, cpu := used(filepath.Base(p))
		if main > 1 && (parent == main || filepath.Base(p) == strconv.Itoa(main)) {
			sum += cpu
		}
	}
	return sum
}

// used gives a process's parent, and the time that it and its children that
// ended have worked: fields of proc(5)'s stat, in hundredths of a second.
func used(pid string) (parent int, cpu time.Duration) {
	text, err := os.ReadFile(filepath.Join("/proc", pid, "stat"))
	_, after, ok := strings.Cut(string(text), ") ")
	if err != nil || !ok {
		return 0, 0
	}
	fields := strings.Fields(after) // from the third on
	parent, _ = strconv.Atoi(fields[1])
	for _, f := range fields[11:15] {
		n, _ := strconv.Atoi(f)
		cpu += time.Duration(n) * 10 * time.Millisecond
	}
	return parent, cpu
}
