package web

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestPathsLeadNowhere asks for a file outside the pages, and for the database,
// in every spelling of a way up, where a path has a name in it and where it has
// none: no answer holds a word of them. Names come from our own tables, never
// from a path.
func TestPathsLeadNowhere(t *testing.T) {
	s := open(t)
	folder := filepath.Dir(s.db.Path())
	const canary = "canary in the mine"
	if err := os.WriteFile(filepath.Join(folder, "secret.txt"), []byte(canary), 0o600); err != nil {
		t.Fatal(err)
	}
	t.Chdir(folder) // where a relative way would begin
	var ways []string
	for _, up := range []string{"", "/", "./", "../", "..//", "..\\", "..%2f", "%2e%2e/", "%2e%2e%2f", "%252e%252e%252f", "..%5c", "..%c0%af", "....//", "..;/", "\u2025/", "%00../", "file:///", "~/", "C:\\"} {
		for _, file := range []string{"secret.txt", "shop.db", "secret.txt%00.css", "secret.txt/", "secret.txt/../secret.txt", filepath.Join(folder, "secret.txt")} {
			for _, times := range []int{1, 2, 9} {
				ways = append(ways, strings.Repeat(up, times)+file)
			}
		}
	}
	tried := 0
	for _, room := range []string{"/", "/assets/", "/import/", "/records/", "/records/1/"} {
		for _, way := range ways {
			for _, path := range []string{room + way, room + url.PathEscape(way)} {
				r := httptest.NewRequest(http.MethodGet, "http://"+home+"/", nil)
				u, err := url.ParseRequestURI(path)
				if err != nil {
					continue // no request line can say it
				}
				r.URL, r.RequestURI, r.Host, r.RemoteAddr = u, path, home, "127.0.0.1:50000"
				w := httptest.NewRecorder()
				s.ServeHTTP(w, r)
				tried++
				if w.Code == http.StatusOK || strings.Contains(w.Body.String(), canary) || strings.Contains(w.Body.String(), "SQLite format") {
					t.Errorf("%s: have %d %.80s", path, w.Code, w.Body)
				}
			}
		}
	}
	if tried < 1000 {
		t.Errorf("only %d spellings were tried", tried)
	}
}
