package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"freshet/cmd/freshet/internal/post"
	"io"
	"log/slog"
	"mime"
	"mime/multipart"
	"net"
	"net/mail"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"freshet/cmd/freshet/internal/desk"
	"freshet/cmd/freshet/internal/week"
	"freshet/forecast"
	"freshet/ingest/store"
	"freshet/report"

	"github.com/emersion/go-smtp"
)

// letterbox is a mail server on this machine that keeps what it gets.
type letterbox struct {
	mu  sync.Mutex
	got map[string][][]byte // by recipient
}

func (b *letterbox) NewSession(*smtp.Conn) (smtp.Session, error) { return &delivery{b: b}, nil }

type delivery struct {
	b  *letterbox
	to string
}

func (d *delivery) Mail(string, *smtp.MailOptions) error { return nil }
func (d *delivery) Rcpt(to string, _ *smtp.RcptOptions) error {
	if strings.HasPrefix(to, "nobody@") {
		return &smtp.SMTPError{Code: 550, Message: "no such user"}
	}
	d.to = to
	return nil
}
func (d *delivery) Data(r io.Reader) error {
	text, err := io.ReadAll(r)
	d.b.mu.Lock()
	defer d.b.mu.Unlock()
	d.b.got[d.to] = append(d.b.got[d.to], text)
	return err
}
func (d *delivery) Reset()        {}
func (d *delivery) Logout() error { return nil }

// postOffice starts a mail server on this machine, and gives its letterbox and
// port.
func postOffice(t *testing.T) (box *letterbox, port string) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	box = &letterbox{got: map[string][][]byte{}}
	srv := smtp.NewServer(box)
	go srv.Serve(l)
	t.Cleanup(func() { srv.Close() })
	return box, strconv.Itoa(l.Addr().(*net.TCPAddr).Port)
}

// parts reads the leaves of a message by their type.
func parts(t *testing.T, message []byte) map[string][]byte {
	t.Helper()
	m, err := mail.ReadMessage(bytes.NewReader(message))
	if err != nil {
		t.Fatal(err)
	}
	out := map[string][]byte{}
	var walk func(kind string, body io.Reader)
	walk = func(kind string, body io.Reader) {
		media, params, err := mime.ParseMediaType(kind)
		if err != nil {
			t.Fatal(err)
		}
		if !strings.HasPrefix(media, "multipart/") {
			text, err := io.ReadAll(body)
			if err != nil {
				t.Fatal(err)
			}
			if _, twice := out[media]; twice {
				media += " again"
			}
			out[media] = text
			return
		}
		r := multipart.NewReader(body, params["boundary"])
		for {
			p, err := r.NextPart()
			if errors.Is(err, io.EOF) {
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			walk(p.Header.Get("Content-Type"), p)
		}
	}
	walk(m.Header.Get("Content-Type"), m.Body)
	return out
}

// The weekly letter from records to inbox: once, to each, in two editions, in
// a size that mail programs show whole.
func TestLetter(t *testing.T) {
	if testing.Short() {
		t.Skip("seconds; ten times as many under the race detector")
	}
	dir := t.TempDir()
	t.Setenv("FRESHET_DB", filepath.Join(dir, "shop.db"))
	box, port := postOffice(t)
	must := func(args ...string) string {
		t.Helper()
		status, out, errs := call(t, args...)
		if status != done {
			t.Fatalf("freshet %s: %s%s", strings.Join(args, " "), out, errs)
		}
		return out
	}
	must("demo", "--as-of", "2026-09-14", "--files", dir)
	for _, f := range []string{"crew", "time-off", "events", "drop-offs"} {
		must("import", filepath.Join(dir, f+".csv"))
	}
	for _, bad := range []string{"--to=a@b.example\r\nBcc:c@d.example", "--port=0", "--security=maybe", "--schedule=soon"} {
		if status, _, errs := call(t, "mail", bad); status != misuse {
			t.Errorf("%q: want it refused, have %d, %s", bad, status, errs)
		}
	}
	if status, _, errs := call(t, "report", "--send", "--as-of", "2026-09-07"); status != failed || !strings.Contains(errs, "freshet mail --to") {
		t.Errorf("want to be told how to say where letters go, have %d, %s", status, errs)
	}
	must("mail", "--to", "owner@quillback.example", "--counter", "counter@quillback.example, nobody@quillback.example", "--from", "shop@quillback.example",
		"--host", "127.0.0.1", "--port", port, "--security", "none")
	must("shop", "--name", "Quillback Bend RV Repair", "--zone", "America/Denver")
	must("report", "--send", "--as-of", "2026-09-14")
	page := filepath.Join(dir, "report.html")
	if out := must("report", "--send", "--as-of", "2026-09-14", "--json", "--out", page); !json.Valid([]byte(out)) { // once is enough
		t.Errorf("want JSON and nothing else, have %s", out)
	}
	if text, err := os.ReadFile(page); err != nil || !bytes.Contains(text, []byte("</html>")) {
		t.Errorf("the page that was asked for with the letter: %v", err)
	}
	t.Run("in a browser", func(t *testing.T) { lookAtLetter(t, box.got["owner@quillback.example"][0]) })

	owner, counter := box.got["owner@quillback.example"], box.got["counter@quillback.example"]
	if len(owner) != 1 || len(counter) != 1 {
		t.Fatalf("want one letter each, have %d and %d", len(owner), len(counter))
	}
	p := parts(t, owner[0])
	for kind, want := range map[string]string{"text/plain": "SINCE THE LAST LETTER", "text/html": "cid:hours.png", "image/png": "", "image/png again": "", "text/html again": ""} {
		if text, ok := p[kind]; !ok || !bytes.Contains(text, []byte(want)) {
			t.Errorf("want a %s part with %q, have %d bytes", kind, want, len(text))
		}
	}
	if n := len(p["text/html"]); n > 80<<10 {
		t.Errorf("want a body of at most 80 kB, have %d bytes", n)
	}
	if n := len(p["text/html"]) + len(p["text/plain"]) + len(p["image/png"]) + len(p["image/png again"]); n > 300<<10 {
		t.Errorf("want at most 300 kB without the page, have %d bytes", n)
	}
	if bytes.Contains(p["text/html"], []byte("<script")) || !bytes.Contains(owner[0], []byte("Content-ID: <hours.png>")) && !bytes.Contains(owner[0], []byte("Content-Id: <hours.png>")) {
		t.Error("want no script, and pictures by their names")
	}
	if c := parts(t, counter[0]); bytes.Contains(c["text/plain"], []byte("$")) || bytes.Contains(c["text/plain"], []byte("technician, at full speed")) || len(c["text/html again"]) > 0 {
		t.Errorf("want no money and no hiring at the counter, have %s", c["text/plain"])
	}

	var listed struct {
		Letters []struct {
			ID        int64
			Recipient string
			State     string
			Said      string
		}
	}
	if err := json.Unmarshal([]byte(must("mail", "--json")), &listed); err != nil || len(listed.Letters) != 3 {
		t.Fatalf("want three letters, have %+v, %v", listed, err)
	}
	for _, l := range listed.Letters {
		want := "sent"
		if strings.HasPrefix(l.Recipient, "nobody@") {
			want = "refused"
		}
		if l.State != want {
			t.Errorf("%s: want %s, have %s: %s", l.Recipient, want, l.State, l.Said)
		}
	}
	if out := must("mail"); !strings.Contains(out, "no such user") {
		t.Errorf("want to be told why a letter was refused, have %s", out)
	}
	for _, l := range listed.Letters {
		if strings.HasPrefix(l.Recipient, "owner@") {
			must("mail", "--again", strconv.FormatInt(l.ID, 10))
		}
	}
	if n := len(box.got["owner@quillback.example"]); n != 2 {
		t.Errorf("want it once more, have %d", n)
	}
	if status, out, _ := call(t, "mail", "--test"); status != failed || strings.Count(out, "taken by") != 2 {
		t.Errorf("want two of three test letters taken and to be told of the third, have %d, %s", status, out)
	}
}

// The week's letter goes out at its hour, or when the machine wakes; once,
// whatever the number of ticks and processes; the newest alone; and never for
// a week that began before anyone said where letters go.
func TestLetterEachWeek(t *testing.T) {
	dir := t.TempDir()
	box, port := postOffice(t)
	denver, err := time.LoadLocation("America/Denver")
	if err != nil {
		t.Fatal(err)
	}
	now := time.Date(2026, 9, 16, 9, 0, 0, 0, denver) // a Wednesday
	db, err := store.Open(t.Context(), filepath.Join(dir, "shop.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	for _, s := range [][2]string{{desk.SettingZone, "America/Denver"}, {"mail to", "owner@quillback.example"}, {"mail from", "shop@quillback.example"}, {"mail host", "127.0.0.1"},
		{"mail port", port}, {"mail security", "none"}, {post.SettingSince, now.UTC().Format(time.RFC3339)}} {
		if err := db.Set(t.Context(), s[0], s[1]); err != nil {
			t.Fatal(err)
		}
	}
	text, err := json.Marshal(report.Build(report.Facts{Shop: "Quillback", AsOf: forecast.NewDate(2026, 9, 16)}))
	if err != nil {
		t.Fatal(err)
	}
	if err := db.KeepRun(t.Context(), store.Run{AsOf: forecast.NewDate(2026, 9, 16), DataUntil: forecast.NewDate(2026, 9, 15), MadeAt: now.UTC().Format(time.RFC3339), Report: text}); err != nil {
		t.Fatal(err)
	}
	w := &week.Week{Store: db, Now: func() time.Time { return now }, Log: slog.New(slog.DiscardHandler), Getenv: func(string) string { return "" }}
	for _, c := range []struct {
		now   time.Time
		want  int
		about string
	}{
		{now, 0, "set up on Wednesday: this week's Monday was before"},
		{time.Date(2026, 9, 21, 5, 59, 0, 0, denver), 0, "a minute too early"},
		{time.Date(2026, 9, 21, 6, 0, 0, 0, denver), 1, "on the minute"},
		{time.Date(2026, 9, 21, 6, 0, 30, 0, denver), 1, "half a minute later"},
		{time.Date(2026, 9, 27, 23, 0, 0, 0, denver), 1, "at the week's end"},
		{time.Date(2026, 9, 29, 11, 0, 0, 0, denver), 2, "off on Monday, awake on Tuesday"},
		{time.Date(2026, 10, 23, 8, 0, 0, 0, denver), 3, "off for three weeks: the newest alone"},
		{time.Date(2026, 11, 2, 6, 0, 0, 0, denver), 4, "after the clocks went back"},
		{time.Date(2026, 10, 28, 6, 0, 0, 0, denver), 4, "the clock jumps back"},
	} {
		now = c.now
		if failed := w.Do(t.Context(), week.Due); len(failed) > 0 {
			t.Fatal(failed[0])
		}
		if n := len(box.got["owner@quillback.example"]); n != c.want {
			t.Errorf("%s: want %d letters, have %d", c.about, c.want, n)
		}
	}
}
