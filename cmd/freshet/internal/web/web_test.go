package web_test

import (
	"context"
	"encoding/json"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"freshet/cmd/freshet/internal/web"
	"freshet/forecast"
	"freshet/ingest"
	"freshet/ingest/store"
	"freshet/report"
)

func pages(t *testing.T) (*web.Server, *store.Store) {
	t.Helper()
	db, err := store.Open(context.Background(), filepath.Join(t.TempDir(), "shop.db"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	return web.New(db, slog.New(slog.NewTextHandler(io.Discard, nil))), db
}

func get(s *web.Server, method, host, path string) *httptest.ResponseRecorder {
	r := httptest.NewRequest(method, "http://"+host+path, nil)
	w := httptest.NewRecorder()
	s.ServeHTTP(w, r)
	return w
}

// keep stores a report in which the shop's name and a kind are text.
func keep(t *testing.T, db *store.Store, text string) {
	t.Helper()
	s := forecast.Spread{Mean: 5, P10: 2, P50: 5, P80: 7, P90: 9}
	r := report.Build(report.Facts{Shop: text, AsOf: 20000, ThisWeek: report.Week{Monday: 20000, DropOffs: s, Hours: s},
		Weeks:  []report.Week{{Monday: 20000, DropOffs: s, Hours: s}, {Monday: 20007, DropOffs: s, Hours: s}},
		Season: []report.Point{{Monday: 20000, Expected: s}}, Kinds: []report.Kind{{Name: text, NextFour: s, NextHours: s}}, Warnings: []string{text}})
	j, err := json.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	if err := db.KeepRun(context.Background(), store.Run{AsOf: 20000, DataUntil: 19999, MadeAt: "2024-10-04T12:00:00Z", Report: j}); err != nil {
		t.Fatal(err)
	}
	sheet, err := ingest.Open("rows.csv", strings.NewReader("ro_number,dropped_off\n1,\""+strings.ReplaceAll(text, `"`, `""`)+"\"\n"))
	if err != nil {
		t.Fatal(err)
	}
	rows, err := sheet.Read(ingest.Propose(sheet.Headers, sheet.Sample, ingest.DropOffs), 20001)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.Import(context.Background(), store.Batch{File: text, Kind: ingest.DropOffs, TakenIn: time.Unix(1.7e9, 0)}, rows, nil); err != nil {
		t.Fatal(err)
	}
}

func TestEmptyShop(t *testing.T) {
	s, _ := pages(t)
	for path, want := range map[string]string{"/": "Three steps", "/records": "Nothing has been imported yet"} {
		if w := get(s, "GET", "127.0.0.1:8137", path); w.Code != 200 || !strings.Contains(w.Body.String(), want) {
			t.Errorf("%s: want %q, have %d %s", path, want, w.Code, w.Body)
		}
	}
	if w := get(s, "GET", "localhost", "/weekly-report.html"); w.Code != 404 {
		t.Errorf("want no report to keep, have %d", w.Code)
	}
}

// Every answer, errors too, carries the headers; other hosts and other methods
// get nothing.
func TestGuards(t *testing.T) {
	s, db := pages(t)
	keep(t, db, "Quillback Bend")
	for path, code := range map[string]int{"/": 200, "/records": 200, "/healthz": 200, "/weekly-report.html": 200, "/assets/style.css": 200, "/assets/draw.js": 200,
		"/assets/echarts.common.min.js": 200, "/assets/..%2fhtml.go": 404, "/assets/echarts.LICENSE": 404, "/nowhere": 404} {
		w := get(s, "GET", "localhost:8137", path)
		if w.Code != code {
			t.Errorf("GET %s: want %d, have %d", path, code, w.Code)
		}
		csp := w.Header().Get("Content-Security-Policy")
		if !strings.Contains(csp, "default-src 'none'") || strings.Contains(csp, "unsafe") || w.Header().Get("X-Content-Type-Options") != "nosniff" {
			t.Errorf("GET %s: headers are %v", path, w.Header())
		}
		for _, host := range []string{"evil.test", "127.0.0.1.evil.test", "", "8.8.8.8:8137"} {
			r := httptest.NewRequest("GET", "http://localhost"+path, nil)
			r.Host = host
			w := httptest.NewRecorder()
			s.ServeHTTP(w, r)
			if w.Code != http.StatusMisdirectedRequest || strings.Contains(w.Body.String(), "Quillback") {
				t.Errorf("%s for host %q: have %d", path, host, w.Code)
			}
		}
		for _, method := range []string{"POST", "PUT", "DELETE", "PATCH"} {
			if w := get(s, method, "localhost", path); w.Code < 400 || strings.Contains(w.Body.String(), "Quillback") {
				t.Errorf("%s %s: have %d", method, path, w.Code)
			}
		}
	}
	if w := get(s, "GET", "[::1]:8137", "/"); w.Code != 200 {
		t.Errorf("the loopback's other address: have %d", w.Code)
	}
}

func TestInjection(t *testing.T) {
	for _, payload := range []string{"<em>UHOH</em>", "</script><script>alert(1)</script>", `"><img src=x onerror=alert(1)>`} {
		s, db := pages(t)
		keep(t, db, payload)
		for _, path := range []string{"/", "/records", "/" + payload} {
			r := httptest.NewRequest("GET", "http://localhost/", nil)
			r.URL.Path = path
			w := httptest.NewRecorder()
			s.ServeHTTP(w, r)
			if strings.Contains(w.Body.String(), payload) {
				t.Errorf("%s: %q stands in the page as it is", path, payload)
			}
			if path != "/"+payload && !strings.Contains(w.Body.String(), "&lt;") {
				t.Errorf("%s: %q isn't shown at all", path, payload)
			}
		}
	}
}
