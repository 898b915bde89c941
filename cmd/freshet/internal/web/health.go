package web

import (
	"fmt"
	"net/http"
	"time"
)

// health tells whoever asks that the program runs and answers.
func (s *Server) health(w http.ResponseWriter, _ *http.Request) error {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	fmt.Fprintln(w, "ok")
	return nil
}

// slow is how long ago the week's work may have begun: it does so twice a
// minute, but a report or a slow mail server may take some.
const slow = 15 * time.Minute

// ready tells whether the shop can count on it: the database answers and takes
// changes, and the letter's schedule is alive. It says nothing of the shop.
func (s *Server) ready(w http.ResponseWriter, r *http.Request) error {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	no := func(why string) error {
		w.WriteHeader(http.StatusServiceUnavailable)
		fmt.Fprintln(w, why)
		return nil
	}
	if err := s.Store.Ready(r.Context()); err != nil {
		s.Log.Error("not ready", "error", err)
		return no("the database does not answer or takes no changes")
	}
	if since := s.Now().Sub(s.Beat()); since > slow {
		return no("the letter's schedule stands still")
	}
	fmt.Fprintln(w, "ready")
	return nil
}
