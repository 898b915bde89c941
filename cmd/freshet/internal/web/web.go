// Package web serves the shop's pages.
//
// Pages show what the last run computed; nothing is fitted inside a request.
// Handlers return errors, and a page is rendered whole before its first byte
// is sent, so that an error is a clean page. Imported text reaches a page
// through html/template alone.
//
// The package refuses other hosts than the ones it was told (a page of another
// site can't reach it through a made-up name), scripts other than its own, and
// every method but GET and HEAD: nothing here changes anything yet.
package web

import (
	"bytes"
	"context"
	"embed"
	"encoding/json"
	"fmt"
	"html/template"
	"log/slog"
	"net"
	"net/http"
	"slices"
	"strings"

	"freshet/ingest/store"
	"freshet/report"
	"freshet/report/html"
)

//go:embed templates/*.html
var files embed.FS

// Server is the pages of one shop.
type Server struct {
	Store *store.Store
	Log   *slog.Logger
	Hosts []string // names under which the pages may be asked for, without port

	mux *http.ServeMux
}

// New gives the pages of a shop, for the names of the local machine.
func New(db *store.Store, log *slog.Logger) *Server {
	s := &Server{Store: db, Log: log, Hosts: []string{"localhost", "127.0.0.1", "::1"}, mux: http.NewServeMux()}
	for _, r := range s.routes() {
		s.mux.Handle("GET "+r.path, s.page(r.serve))
	}
	return s
}

type route struct {
	path  string
	serve func(http.ResponseWriter, *http.Request) error
}

func (s *Server) routes() []route {
	return []route{
		{"/{$}", s.thisWeek},
		{"/records", s.records},
		{"/weekly-report.html", s.file},
		{"/healthz", s.health},
		{"/assets/{name}", s.asset},
		{"/", func(http.ResponseWriter, *http.Request) error { return notFound }},
	}
}

// problem is an error that a person is told of with its status.
type problem struct {
	status int
	text   string
}

func (p problem) Error() string { return p.text }

var notFound = problem{http.StatusNotFound, "There is no such page."}

// headers are sent with everything.
var headers = map[string]string{
	"Content-Security-Policy":      "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'",
	"X-Content-Type-Options":       "nosniff",
	"Referrer-Policy":              "no-referrer",
	"Cross-Origin-Opener-Policy":   "same-origin",
	"Cross-Origin-Resource-Policy": "same-origin",
}

// ServeHTTP answers a request for one of the hosts.
func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	for k, v := range headers {
		w.Header().Set(k, v)
	}
	host := r.Host
	if h, _, err := net.SplitHostPort(host); err == nil {
		host = h
	}
	if !slices.Contains(s.Hosts, strings.Trim(strings.ToLower(host), "[]")) {
		http.Error(w, "freshet does not answer to this name", http.StatusMisdirectedRequest)
		return
	}
	s.mux.ServeHTTP(w, r)
}

// page turns a handler's error into a page, and a panic into one that says
// nothing of the shop's data.
func (s *Server) page(f func(http.ResponseWriter, *http.Request) error) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		defer func() {
			if p := recover(); p != nil {
				s.Log.Error("a page broke off", "path", r.URL.Path, "panic", fmt.Sprintf("%T", p))
				s.fail(w, problem{http.StatusInternalServerError, "Something went wrong with this page."})
			}
		}()
		if err := f(w, r); err != nil {
			p, ok := err.(problem)
			if !ok {
				s.Log.Error("a page failed", "path", r.URL.Path, "error", err)
				p = problem{http.StatusInternalServerError, "This page can't be shown now. The log says why."}
			}
			s.fail(w, p)
		}
	})
}

func (s *Server) fail(w http.ResponseWriter, p problem) {
	if err := show(w, "problem", p.status, struct{ Title, Text, Here string }{"Not to be had", p.text, ""}); err != nil {
		http.Error(w, p.text, p.status)
	}
}

var pages = template.Must(template.Must(html.Parts.Clone()).ParseFS(files, "templates/*.html"))

// show renders a page whole, then sends it.
func show(w http.ResponseWriter, name string, status int, data any) error {
	var b bytes.Buffer
	if err := pages.ExecuteTemplate(&b, name, data); err != nil {
		return err
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(status)
	_, err := w.Write(b.Bytes())
	_ = err // the reader went away; there is nobody to tell
	return nil
}

// latest gives the last run's report, and false if nothing was ever run.
func (s *Server) latest(ctx context.Context) (report.Report, bool, error) {
	run, ok, err := s.Store.LatestRun(ctx)
	if err != nil || !ok {
		return report.Report{}, false, err
	}
	var r report.Report
	if err := json.Unmarshal(run.Report, &r); err != nil {
		return r, false, fmt.Errorf("the last run's report: %w", err)
	}
	return r, true, nil
}

func (s *Server) thisWeek(w http.ResponseWriter, r *http.Request) error {
	rep, ok, err := s.latest(r.Context())
	if err != nil {
		return err
	}
	if !ok {
		return show(w, "empty", http.StatusOK, struct{ Title, Here string }{"Nothing yet", "week"})
	}
	p, err := html.NewPage(rep)
	if err != nil {
		return err
	}
	return show(w, "week", http.StatusOK, struct {
		html.Page
		Title, Here string
	}{p, rep.Shop, "week"})
}

// file gives the report as one file to keep or to pass on.
func (s *Server) file(w http.ResponseWriter, r *http.Request) error {
	rep, ok, err := s.latest(r.Context())
	if err != nil {
		return err
	}
	if !ok {
		return notFound
	}
	var b bytes.Buffer
	if err := html.Write(&b, rep); err != nil {
		return err
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Content-Disposition", fmt.Sprintf("attachment; filename=%q", "weekly-report-"+rep.AsOf.String()+".html"))
	w.Write(b.Bytes())
	return nil
}

func (s *Server) records(w http.ResponseWriter, r *http.Request) error {
	const most = 50
	batches, err := s.Store.Batches(r.Context(), most)
	if err != nil {
		return err
	}
	rejects, err := s.Store.Rejects(r.Context(), most)
	if err != nil {
		return err
	}
	return show(w, "records", http.StatusOK, struct {
		Title, Here string
		Batches     []store.Batch
		Rejects     []store.Rejected
	}{"Records", "records", batches, rejects})
}

func (s *Server) health(w http.ResponseWriter, r *http.Request) error {
	if _, _, err := s.Store.LatestRun(r.Context()); err != nil {
		return err
	}
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	fmt.Fprintln(w, "ok")
	return nil
}

// assets are the files that pages load, and their types.
var assets = map[string]string{
	"style.css":             "text/css; charset=utf-8",
	"draw.js":               "text/javascript; charset=utf-8",
	"echarts.common.min.js": "text/javascript; charset=utf-8",
}

func (s *Server) asset(w http.ResponseWriter, r *http.Request) error {
	kind, ok := assets[r.PathValue("name")]
	if !ok {
		return notFound
	}
	w.Header().Set("Content-Type", kind)
	w.Header().Set("Cache-Control", "max-age=3600")
	w.Write(html.Asset(r.PathValue("name")))
	return nil
}
