package web

import (
	"bytes"
	"compress/gzip"
	"context"
	"embed"
	"encoding/json"
	"fmt"
	"html/template"
	"math"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"sync"
	"time"

	"freshet/cmd/freshet/internal/desk"
	"freshet/forecast"
	"freshet/ingest/store"
	"freshet/report"
	"freshet/report/html"
)

//go:embed templates/*.html
var files embed.FS

var pages = template.Must(template.Must(html.Parts.Clone()).Funcs(template.FuncMap{"asset": assetURL, "dayof": dayOf, "spell": spell, "hours": hoursOf, "ofday": ofDay}).ParseFS(files, "templates/*.html"))

// dayOf writes a day that is kept as YYYY-MM-DD as people do.
func dayOf(text string) (string, error) {
	d, err := forecast.ParseDate(text)
	return d.Time().Format("January 2, 2006"), err
}

// hoursOf writes the hours of a job.
func hoursOf(v float64) string {
	if v = math.Round(100*v) / 100; v == 1 {
		return "1 hour"
	}
	return fmt.Sprintf("%g hours", v)
}

var monthAndDay = regexp.MustCompile(`(\pL) (\d)`)

// ofDay keeps a month and its day on one line, where there is room for few words.
func ofDay(date string) string { return monthAndDay.ReplaceAllString(date, "$1\u00a0$2") }

// page is what a handler gives to be shown.
type page struct {
	Template string
	Title    string
	Data     any
	Charts   bool // it has charts, and needs the script that draws them
	Status   int  // 0: 200
}

// view is what templates take: the page and the frame around it.
type view struct {
	page
	Shop    string
	Zone    *time.Location // the shop's: times are shown in it
	Group   bool           // the shop is one of a group, and these are the group's pages
	Shared  bool           // the shop is in a group's database
	Here    string         // path
	Nav     []navigation
	Token   string
	Role    string
	LogOut  bool
	Demo    bool   // an invented shop
	Day     string // that the pages pretend it is, or ""
	Leave   bool   // and there is a shop's own to go back to
	Working bool
	Refusal string // why nothing can be changed, or ""
	Said    string
}

type navigation struct{ Name, Path string }

// said are the words after a change, by what stands in the address.
var said = map[string]string{
	"saved":   "Saved.",
	"undone":  "The file was taken back out.",
	"out":     "It is off the calendar.",
	"back":    "It is back on the calendar.",
	"offcrew": "Off the crew. Further down they can be put back.",
	"oncrew":  "Back on the crew.",
	"jobout":  "The job is off the records.",
	"jobin":   "The job is back on the records.",
	"mailed":  "A test letter was handed to the mail server.",
	"quoted":  "The quote is kept.",
	"left":    "You are back in your own shop.",
	"again":   "The letter goes out once more within a minute.",
	"paused":  "No letters are sent until you say so.",
	"resume":  "Letters are sent again.",
}

// show puts the frame around a page and sends it.
func (s *Server) show(w http.ResponseWriter, r *http.Request, p page) error {
	ctx := r.Context()
	is, err := s.role(r)
	if err != nil {
		return err
	}
	who, err := s.who(r)
	if err != nil {
		return err
	}
	v := view{page: p, Here: r.URL.Path, Group: s.group != nil, Shared: s.shop().Folder() == "", Token: s.token(r), Role: who, LogOut: s.sessions.GetString(ctx, "role") != "" && is != anyone,
		Leave: s.showsDemo(), Said: said[r.URL.Query().Get("said")]}
	if is > anyone {
		if v.Shop, err = s.shop().Setting(ctx, desk.SettingName, ""); err != nil {
			return err
		}
		if v.Zone, err = (&desk.Desk{Store: s.shop()}).Zone(ctx); err != nil {
			return err
		}
		marked, err := s.shop().Setting(ctx, desk.SettingDemo, "")
		if err != nil {
			return err
		}
		v.Demo = marked != ""
		if s.Pretends {
			day, err := s.today(ctx)
			if err != nil {
				return err
			}
			v.Day = report.LongDay(day)
		}
		busy, _ := ctx.Value(busyKey{}).(bool)
		v.Working = busy && !v.Leave
		if r := s.shop().Refusal(); r != nil {
			v.Refusal = r.Why
		}
		if v.Group {
			v.LogOut, v.Nav = true, []navigation{{"All shops", "/group"}}
		}
		for _, rt := range s.routes() {
			if rt.name != "" && rt.least <= is {
				v.Nav = append(v.Nav, navigation{rt.name, strings.TrimSuffix(rt.path, "{$}")})
			}
		}
	}
	return send(w, r, v)
}

// send renders a page whole, then sends it.
func send(w http.ResponseWriter, r *http.Request, v view) error {
	var b bytes.Buffer
	if err := pages.ExecuteTemplate(&b, v.Template, v); err != nil {
		return err
	}
	h := w.Header()
	h.Set("Content-Type", "text/html; charset=utf-8")
	h.Set("Cache-Control", "no-store")
	h.Add("Vary", "Accept-Encoding")
	text := b.Bytes()
	if zipped(r) {
		h.Set("Content-Encoding", "gzip")
		var small bytes.Buffer
		z := zippers.Get().(*gzip.Writer)
		z.Reset(&small)
		z.Write(text)
		z.Close()
		zippers.Put(z)
		text = small.Bytes()
	}
	if v.Status != 0 {
		w.WriteHeader(v.Status)
	}
	w.Write(text)
	return nil
}

// zippers are kept: one is 800 kB of tables, and a page 20 kB.
var zippers = sync.Pool{New: func() any {
	z, _ := gzip.NewWriterLevel(nil, gzip.BestSpeed) // the level is a known one
	return z
}}

// zipped tells whether the browser takes gzip.
func zipped(r *http.Request) bool { return strings.Contains(r.Header.Get("Accept-Encoding"), "gzip") }

func (s *Server) fail(w http.ResponseWriter, r *http.Request, p problem) {
	if err := s.show(w, r, page{Template: "problem", Title: "Not to be had", Data: p.text, Status: p.status}); err != nil {
		http.Error(w, p.text, p.status)
	}
}

// back ends a change: it goes on to a page, with a word from said.
func (s *Server) back(w http.ResponseWriter, r *http.Request, path, word string) error {
	http.Redirect(w, r, path+"?said="+url.QueryEscape(word), http.StatusSeeOther)
	return nil
}

// note keeps who changed what.
func (s *Server) note(r *http.Request, format string, args ...any) error {
	who, err := s.who(r)
	if err != nil {
		return err
	}
	return s.Store.Note(r.Context(), store.Change{At: s.Now(), Who: who, What: fmt.Sprintf(format, args...)})
}

// drawn is a run's report with its charts. It is read and drawn once a run,
// not once a page.
type drawn struct {
	run  int64
	page html.Page
}

// drawing says whose report it is, and for whom.
type drawing struct {
	shop  *store.Store
	owner bool
}

// latest gives the last run's report as it is shown, and false if nothing was
// ever run. The counter's has nothing of what to decide, nor of what it costs.
func (s *Server) latest(ctx context.Context, is role) (html.Page, bool, error) {
	db := s.shop()
	id, err := db.LatestRunID(ctx)
	if err != nil || id == 0 {
		return html.Page{}, false, err
	}
	s.draw.Lock()
	defer s.draw.Unlock()
	key := drawing{db, is >= owner}
	if d, ok := s.drawn[key]; ok && d.run == id {
		return d.page, true, nil
	}
	run, _, err := db.LatestRun(ctx)
	if err != nil {
		return html.Page{}, false, err
	}
	var r report.Report
	if err := json.Unmarshal(run.Report, &r); err != nil {
		return html.Page{}, false, fmt.Errorf("the last run's report: %w", err)
	}
	if is < owner {
		r.Advice = nil
		r = report.Build(r.Facts)
	}
	p, err := html.NewPage(r)
	if err != nil {
		return p, false, err
	}
	s.drawn[key] = drawn{run.ID, p}
	return p, true, nil
}

// working tells a page that waits for the report whether it is still being
// made, and has it load anew once it isn't.
func (s *Server) working(w http.ResponseWriter, r *http.Request) error {
	if s.busy() {
		w.WriteHeader(http.StatusNoContent)
		return nil
	}
	w.Header().Set("HX-Refresh", "true")
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	fmt.Fprintln(w, "done")
	return nil
}
