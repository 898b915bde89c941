package week

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"freshet/cmd/freshet/internal/desk"
	"freshet/cmd/freshet/internal/post"
	"freshet/forecast"
	"freshet/ingest"
	"freshet/ingest/demo"
	"freshet/ingest/store"
	"freshet/report/html"
	"freshet/report/mail"
)

// shop is a shop with a watched folder, and a clock that stands still.
type shop struct {
	*Week
	t      *testing.T
	folder string
	now    time.Time
	log    bytes.Buffer
}

var morning = time.Date(2026, 9, 14, 9, 0, 0, 0, time.UTC) // a Monday

func open(t *testing.T) *shop {
	t.Helper()
	dir := t.TempDir()
	db, err := store.Open(t.Context(), filepath.Join(dir, "shop.db"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	s := &shop{t: t, folder: filepath.Join(dir, "exports"), now: morning}
	if err := os.Mkdir(s.folder, 0o755); err != nil {
		t.Fatal(err)
	}
	s.set(SettingFolder, s.folder, db)
	s.set(desk.SettingZone, "UTC", db)
	s.Week = &Week{Store: db, Now: func() time.Time { return s.now }, Getenv: func(string) string { return "" }, Log: slog.New(slog.NewTextHandler(&s.log, nil)), Version: "test",
		Backups: filepath.Join(dir, "backups"), Keep: store.UsualKeep,
		Ask: func(context.Context) (desk.Ask, error) {
			day := forecast.DateOf(s.now)
			return desk.Ask{AsOf: day, Weeks: 13, Seed: desk.Seed(day)}, nil
		}}
	return s
}

func (s *shop) set(name, value string, db *store.Store) {
	s.t.Helper()
	if err := db.Set(s.t.Context(), name, value); err != nil {
		s.t.Fatal(err)
	}
}

// drop writes a file into the folder as if at a time.
func (s *shop) drop(name, text string, written time.Time) {
	s.t.Helper()
	path := filepath.Join(s.folder, name)
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		s.t.Fatal(err)
	}
	if err := os.Chtimes(path, written, written); err != nil {
		s.t.Fatal(err)
	}
}

// look takes in what is due, and gives how it stands with each file and what
// the step said.
func (s *shop) look() (map[string]store.FolderFile, error) {
	s.t.Helper()
	_, failure := s.takeIn(s.t.Context(), Due)
	files, err := s.Store.FolderFiles(s.t.Context())
	if err != nil {
		s.t.Fatal(err)
	}
	out := map[string]store.FolderFile{}
	for _, f := range files {
		out[f.Name] = f
	}
	return out, failure
}

func (s *shop) batches() int {
	s.t.Helper()
	b, err := s.Store.Batches(s.t.Context(), 1000)
	if err != nil {
		s.t.Fatal(err)
	}
	return len(b)
}

const crew = "name,weekly_hours\nAnsel,40\n"

// A new export is taken in once, be it looked at again, written again, dropped
// under another name, or taken back out by a person.
func TestFolderOnce(t *testing.T) {
	s := open(t)
	s.drop("crew.csv", crew, morning.Add(-time.Hour))
	s.drop("notes.pdf", "no export", morning.Add(-time.Hour))
	s.drop(".crew.csv", crew, morning.Add(-time.Hour))
	if err := os.Symlink("/etc/passwd", filepath.Join(s.folder, "link.csv")); err != nil && !os.IsPermission(err) {
		t.Fatal(err)
	}
	files, err := s.look()
	if f := files["crew.csv"]; err != nil || len(files) != 1 || f.State != store.FolderTaken || !strings.Contains(f.Said, "1 added") {
		t.Fatalf("want the crew alone taken in, have %+v, %v", files, err)
	}
	if _, err := s.Store.Undo(t.Context(), s.now); err != nil {
		t.Fatal(err)
	}
	for range 3 {
		s.now = s.now.Add(25 * time.Hour)
		s.drop("crew.csv", crew, s.now.Add(-time.Minute))
		s.drop("crew again.csv", crew, s.now.Add(-time.Minute))
		if files, err = s.look(); err != nil || files["crew again.csv"].State != store.FolderTaken {
			t.Fatalf("have %+v, %v", files, err)
		}
	}
	if n := s.batches(); n != 1 {
		t.Errorf("want one import, have %d", n)
	}
	if people, err := s.Store.Crew(t.Context()); err != nil || len(people) != 0 {
		t.Errorf("want what was taken back to stay out, have %v, %v", people, err)
	}
	s.drop("crew.csv", crew+"Brika,32\n", s.now.Add(-time.Minute))
	if _, err := s.look(); err != nil || s.batches() != 2 {
		t.Errorf("want the changed file taken in, have %d, %v", s.batches(), err)
	}
	if err := os.Remove(filepath.Join(s.folder, "crew.csv")); err != nil {
		t.Fatal(err)
	}
	if files, err := s.look(); err != nil || len(files) != 1 {
		t.Errorf("want a file that is gone forgotten, have %+v, %v", files, err)
	}
}

// A file that is still being written is waited for, by its time of writing, or
// where that says nothing, by watching it.
func TestFolderWaits(t *testing.T) {
	s := open(t)
	s.drop("crew.csv", crew, s.now)
	s.drop("tomorrow.csv", "name,from,until\nshop,2026-12-24,2026-12-26\n", s.now.Add(24*time.Hour))
	for i, want := range []store.FolderState{store.FolderSeen, store.FolderSeen, store.FolderTaken} {
		files, err := s.look()
		for name, f := range files {
			if err != nil || f.State != want {
				t.Errorf("%s after %d s: want it %s, have %+v, %v", name, 5*i, want, f, err)
			}
		}
		s.now = s.now.Add(5 * time.Second)
	}
	s.drop("late.csv", "name,from", s.now)
	s.look()
	s.now = s.now.Add(9 * time.Second)
	s.drop("late.csv", "name,from,until\nshop,2027-01-01,2027-01-01\n", s.now) // it goes on
	s.now = s.now.Add(9 * time.Second)
	if files, err := s.look(); err != nil || files["late.csv"].State != store.FolderSeen {
		t.Errorf("want it waited for, have %+v, %v", files["late.csv"], err)
	}
	s.now = s.now.Add(9 * time.Second)
	if files, err := s.look(); err != nil || files["late.csv"].State != store.FolderTaken || !strings.Contains(files["late.csv"].Said, "1 added") {
		t.Errorf("want it taken in whole, have %+v, %v", files["late.csv"], err)
	}
}

// A file that isn't understood stays, is said, and is taken in once a person
// has shown how such a file is meant.
func TestFolderLeaves(t *testing.T) {
	s := open(t)
	const text = "ro_number,dropped_off\n1,3/4/2026\n2,4/5/2026\n"
	s.drop("export.csv", text, morning.Add(-time.Hour))
	s.drop("crew.csv", crew, morning)
	s.now = s.now.Add(time.Minute)
	files, err := s.look()
	if files["export.csv"].State != store.FolderLeft || err == nil || !strings.Contains(err.Error(), "export.csv was left") || !strings.Contains(err.Error(), "page Records") {
		t.Errorf("want it left and said, have %+v, %v", files["export.csv"], err)
	}
	if files["crew.csv"].State != store.FolderTaken {
		t.Errorf("want the rest taken in, have %+v", files["crew.csv"])
	}
	s.now = s.now.Add(time.Minute)
	if _, err := s.look(); err == nil || s.batches() != 1 {
		t.Errorf("want it still said, have %v, %d", err, s.batches())
	}
	next := text + "3,5/6/2026\n"
	if _, err := s.Store.TakeIn(t.Context(), store.HandIn{Name: "by hand.csv", File: strings.NewReader(next), Size: int64(len(next)), Dates: ingest.MonthDay}, forecast.DateOf(s.now)+1, s.now, nil); err != nil {
		t.Fatal(err)
	}
	s.now = s.now.Add(time.Minute)
	if files, err = s.look(); err != nil || files["export.csv"].State != store.FolderTaken {
		t.Errorf("want it taken in by the layout that a person confirmed, have %+v, %v", files["export.csv"], err)
	}
	s.set(SettingFolder, filepath.Join(s.folder, "gone"), s.Store)
	if _, err := s.look(); err == nil || !strings.Contains(err.Error(), "can't be read") {
		t.Errorf("want a folder that is gone said, have %v", err)
	}
}

// Two processes take a file in once; one that died with it holds it no longer
// than its lease.
func TestFolderClaimed(t *testing.T) {
	s := open(t)
	s.drop("crew.csv", crew, morning.Add(-time.Hour))
	f := store.FolderFile{Name: "crew.csv", Size: int64(len(crew)), Written: morning.Add(-time.Hour), At: s.now}
	if ours, err := s.Store.ClaimFolderFile(t.Context(), f, lease); err != nil || !ours {
		t.Fatal(ours, err)
	}
	s.now = s.now.Add(time.Minute)
	if files, err := s.look(); err != nil || s.batches() != 0 || files["crew.csv"].State != store.FolderTaking {
		t.Errorf("want it left to the one that has it, have %+v, %v", files, err)
	}
	s.now = s.now.Add(lease + time.Minute)
	if _, err := s.look(); err != nil || s.batches() != 1 {
		t.Errorf("want it taken in, have %d, %v", s.batches(), err)
	}
}

// fill drops the invented shop's files, those of drop-offs until a day.
func (s *shop) fill() {
	s.t.Helper()
	for i, f := range demo.Generate(demo.SixYears(2, forecast.DateOf(morning))).Files() {
		var b bytes.Buffer
		if err := f.Write(&b); err != nil {
			s.t.Fatal(err)
		}
		s.drop(f.Name, b.String(), morning.Add(time.Duration(i-60)*time.Minute))
	}
}

// all does what is due, without a failure.
func (s *shop) all() {
	s.t.Helper()
	for _, err := range s.Do(s.t.Context(), Due) {
		s.t.Error(err)
	}
}

// The whole from a folder to a backup in one call, and nothing twice. A step
// that fails is said in the letter, and the rest goes on.
func TestDo(t *testing.T) {
	if testing.Short() {
		t.Skip("seconds; ten times as many under the race detector")
	}
	s := open(t)
	s.fill()
	s.drop("odd.csv", "Blank,Nothing\nx,y\n", morning.Add(-2*time.Hour))
	for k, v := range map[string]string{"mail to": "owner@quillback.example", "mail from": "shop@quillback.example", "mail host": "127.0.0.1", "mail port": "1", "mail security": "none", "mail since": "2026-09-01T00:00:00Z"} {
		s.set(k, v, s.Store)
	}
	if err := os.WriteFile(s.Backups, nil, 0o600); err != nil { // a file where the folder should be
		t.Fatal(err)
	}
	if failed := s.Do(t.Context(), Due); len(failed) != 2 || failed[0].Step != folderStep || !strings.Contains(failed[0].Error(), "odd.csv") || failed[1].Step != backupStep || !failed[1].Minor() {
		t.Errorf("want both failures, have %v", failed)
	}
	letters := func() []store.Letter {
		l, err := s.Store.Letters(t.Context(), 10)
		if err != nil {
			t.Fatal(err)
		}
		return l
	}
	ls := letters()
	if len(ls) != 1 || ls[0].Purpose != "weekly/2026-W38/owner" || ls[0].Run == 0 || s.batches() != 4 {
		t.Fatalf("want four files taken in and a letter of the run, have %d and %+v", s.batches(), ls)
	}
	now, _, _, err := s.reports(t.Context(), forecast.DateOf(s.now))
	if err != nil || len(now.Weeks) != 13 || len(now.Failed) != 2 || !strings.HasPrefix(now.Failed[0], "The watched folder: odd.csv was left") || !strings.HasSuffix(now.Failed[0], "Since Monday, September 14.") {
		t.Errorf("want the letter's report whole, and told of what failed, have %q, %v", now.Failed, err)
	}
	if old, _, _, err := s.reports(t.Context(), forecast.DateOf(s.now)+forecast.Week); err != nil || now.Stale != "" || old.Stale != "This report is the one of Monday, September 14, 2026: no newer one could be made." {
		t.Errorf("want it called old a week later, have %q and %q, %v", now.Stale, old.Stale, err)
	}
	if l, _, err := s.Store.ClaimLetter(t.Context(), "test", s.now.Add(time.Hour), time.Minute); err != nil || !bytes.Contains(l.Message, []byte("WHAT WENT WRONG")) {
		t.Errorf("want it said in the message, have %v", err)
	}
	run, _, err := s.Store.LatestRun(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(s.Backups); err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(filepath.Join(s.folder, "odd.csv")); err != nil {
		t.Fatal(err)
	}
	s.now = s.now.Add(pause)
	s.all()
	if f, err := s.Store.Failures(t.Context()); err != nil || len(f) != 0 {
		t.Errorf("want no failure left, have %+v, %v", f, err)
	}
	if again, _, err := s.Store.LatestRun(t.Context()); err != nil || again.ID != run.ID || len(letters()) != 1 || s.batches() != 4 {
		t.Errorf("want nothing twice, have run %d after %d, %d letters, %d files, %v", again.ID, run.ID, len(letters()), s.batches(), err)
	}
	if b, err := os.ReadDir(s.Backups); err != nil || len(b) != 1 {
		t.Errorf("want one backup, have %v, %v", b, err)
	}
	s.Version = "newer" // another freshet in this one's place
	s.all()
	if again, _, err := s.Store.LatestRun(t.Context()); err != nil || again.ID == run.ID || again.Version != "newer" || len(letters()) != 1 {
		t.Errorf("want a report of the freshet that is there now, and no second letter, have run %d after %d, of %s, %d letters, %v", again.ID, run.ID, again.Version, len(letters()), err)
	}
}

// The letter says since which day of the shop's zone something fails: 2 in the
// morning in London is the evening before in Denver.
func TestFailsSince(t *testing.T) {
	s := open(t)
	s.set(desk.SettingZone, "America/Denver", s.Store)
	if _, err := s.Store.SetFailure(t.Context(), store.Failure{Step: backupStep, Said: "the disk is full", At: time.Date(2026, 9, 15, 2, 0, 0, 0, time.UTC)}); err != nil {
		t.Fatal(err)
	}
	r, _, _, err := s.reports(t.Context(), forecast.DateOf(morning))
	if want := "The nightly backup: the disk is full. Since Monday, September 14."; err != nil || len(r.Failed) != 1 || r.Failed[0] != want {
		t.Errorf("want %q, have %q, %v", want, r.Failed, err)
	}
}

// A step that panics is a failure like others: the steps after it run, and the
// next time it does.
func TestStepBreaksOff(t *testing.T) {
	s := open(t)
	s.drop("crew.csv", crew, morning.Add(-time.Hour))
	ask := s.Ask
	s.Ask = func(context.Context) (desk.Ask, error) { panic("the customer's name") }
	if failed := s.Do(t.Context(), Due); len(failed) != 1 || failed[0].Minor() || strings.Contains(failed[0].Error(), "customer") {
		t.Errorf("want a failure that says nothing of the panic's text, have %v", failed)
	}
	if b, err := os.ReadDir(s.Backups); err != nil || len(b) != 1 {
		t.Errorf("want the backup made all the same, have %v, %v", b, err)
	}
	if f, err := s.Store.Failures(t.Context()); err != nil || len(f) != 1 || f[0].Step != reportStep || !strings.Contains(f[0].Said, "broke off") {
		t.Errorf("have %+v, %v", f, err)
	}
	asked := 0
	s.Ask = func(ctx context.Context) (desk.Ask, error) { asked++; return ask(ctx) }
	s.Do(t.Context(), Due)
	if asked != 0 {
		t.Error("want a dear step that failed to rest")
	}
	s.Do(t.Context(), Anew)
	s.now = s.now.Add(-time.Hour) // the clock is set back
	s.Do(t.Context(), Due)
	if asked != 2 {
		t.Errorf("want it tried again when it is wished, and when the clock jumps, have %d", asked)
	}
	if n := strings.Count(s.log.String(), "failed: the pages"); n != 2 { // the panic, and then that there is no drop-off
		t.Errorf("want each failure logged once, have %d: %s", n, s.log.String())
	}
	if strings.Contains(s.log.String(), "customer") {
		t.Errorf("want nothing of it in the log, have %s", s.log.String())
	}
}

// A report can be made again to the byte after files came in that change and
// add to what it knew; where the records can't be brought back, it says so.
func TestAgain(t *testing.T) {
	if testing.Short() {
		t.Skip("seconds; ten times as many under the race detector")
	}
	s := open(t)
	s.fill()
	explain := func(alert string, from forecast.Date) {
		t.Helper()
		if err := s.Store.KeepNote(t.Context(), store.AlertNote{Alert: alert, Rule: "week", Began: from, From: from, Until: from + 20, Because: "a storm", OneTime: true, On: forecast.DateOf(s.now), Who: "owner", At: s.now}); err != nil {
			t.Fatal(err)
		}
	}
	takeBack := func(alert string) {
		t.Helper()
		if _, err := s.Store.TakeNoteBack(t.Context(), alert, "owner", s.now); err != nil {
			t.Fatal(err)
		}
	}
	today := forecast.DateOf(s.now)
	explain("forgotten", today-60)
	takeBack("forgotten")
	explain("known", today-100)
	s.all()
	run, _, err := s.Store.LatestRun(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	monday, err := ParseWeek("2026-W38")
	if err != nil || monday != forecast.DateOf(morning) {
		t.Fatal(monday, err)
	}
	again := func() Again {
		t.Helper()
		a, err := MakeAgain(t.Context(), s.Store, monday, s.now)
		if err != nil {
			t.Fatal(err)
		}
		return a
	}
	if a := again(); a.Other != "" {
		t.Errorf("at once: %s", a.Other)
	}
	// What was known of an alert is so no more, and more is known of others.
	s.now = s.now.Add(time.Hour)
	explain("late", today-200)
	explain("withdrawn", today-300)
	takeBack("withdrawn")
	takeBack("known")
	if a := again(); a.Other != "" {
		t.Errorf("after other notes: %s", a.Other)
	}
	// Rows of before the cut-off that came after it, a changed crew, another
	// grouping, other settings.
	rows := "ro_number,dropped_off,kind,quoted_hours\n"
	for i := range 40 {
		rows += fmt.Sprintf("late-%d,2026-09-%02d,cooling,30\n", i, 1+i%12)
	}
	s.now = s.now.Add(50 * time.Hour)
	s.drop("late.csv", rows, s.now.Add(-time.Hour))
	s.drop("crew2.csv", "name,weekly_hours\nAnsel,10\n", s.now.Add(-time.Hour))
	if err := s.Store.Merge(t.Context(), []string{"plumbing", "electrical"}, "both", s.now); err != nil {
		t.Fatal(err)
	}
	s.set(desk.SettingName, "Renamed", s.Store)
	s.all()
	if newer, _, err := s.Store.LatestRun(t.Context()); err != nil || bytes.Equal(newer.Report, run.Report) || newer.ID == run.ID {
		t.Fatal("want a report that shows what came in", err)
	}
	// The week's newest report is another now, and no letter held the first.
	if err := s.Store.KeepRun(t.Context(), run); err != nil {
		t.Fatal(err)
	}
	if a := again(); a.Other != "" || a.Report.Shop == "Renamed" {
		t.Errorf("after later files: %s", a.Other)
	}
	for range 3 { // the later two, and one that the report was made from
		if _, err := s.Store.Undo(t.Context(), s.now); err != nil {
			t.Fatal(err)
		}
	}
	if a := again(); a.Other == "" || a.Report.Shop != "the shop" {
		t.Errorf("want to be told that the records aren't what they were, and the report as it was, have %q", a.Other)
	}
	if left, err := filepath.Glob(filepath.Join(filepath.Dir(s.Store.Path()), ".again-*")); err != nil || len(left) > 0 {
		t.Errorf("want no copy left, have %v, %v", left, err)
	}
	if _, err := MakeAgain(t.Context(), s.Store, monday-70, s.now); err == nil {
		t.Error("want an error for a week without a report")
	}
	for _, bad := range []string{"", "2026", "2026-W54", "2026-W00", "2026-w38", "2026-W38x", "26-W38"} {
		if _, err := ParseWeek(bad); err == nil {
			t.Errorf("want %q refused", bad)
		}
	}
}

// BenchmarkTenYears makes the report of a shop with ten years of records, and,
// of a report that is there, the owner's letter.
func BenchmarkTenYears(b *testing.B) {
	db, err := store.Open(b.Context(), filepath.Join(b.TempDir(), "shop.db"))
	if err != nil {
		b.Fatal(err)
	}
	defer db.Close()
	day := forecast.DateOf(morning)
	spec := demo.SixYears(2, day)
	spec.From = day - 3653
	for _, f := range demo.Generate(spec).Files() {
		var text bytes.Buffer
		if err := f.Write(&text); err != nil {
			b.Fatal(err)
		}
		if _, err := db.TakeIn(b.Context(), store.HandIn{Name: f.Name, File: bytes.NewReader(text.Bytes()), Size: int64(text.Len())}, day, morning, nil); err != nil {
			b.Fatal(err)
		}
	}
	var run store.Run
	b.Run("report", func(b *testing.B) {
		for b.Loop() {
			if run, err = Make(b.Context(), db, desk.Ask{AsOf: day, Weeks: 13, Seed: desk.Seed(day)}, "test"); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("letter", func(b *testing.B) {
		r, err := read(run)
		if err != nil {
			b.Fatal(err)
		}
		for _, attach := range []bool{false, true} {
			b.Run(fmt.Sprint("attach=", attach), func(b *testing.B) {
				size := 0
				for b.Loop() {
					var page []byte
					if attach {
						var text bytes.Buffer
						if err := html.Write(&text, r); err != nil {
							b.Fatal(err)
						}
						page = text.Bytes()
					}
					l, err := mail.Write(r, &r, mail.Owner)
					if err != nil {
						b.Fatal(err)
					}
					m, err := post.Message(post.Envelope{From: "shop@quillback.example", To: "owner@quillback.example", MessageID: "1@quillback.example", Date: morning}, l, page)
					if err != nil {
						b.Fatal(err)
					}
					size = len(m)
				}
				b.ReportMetric(float64(size)/1000, "kB")
			})
		}
	})
}
