package web

import (
	"context"
	"net/http"

	"freshet/ingest/store"
)

// demoShop is the invented shop, beside the shop's own database and never in
// it.
type demoShop struct {
	db     *store.Store
	shown  bool
	making bool
}

func (s *Server) showsDemo() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.demo.shown
}

// showDemo turns the pages to the invented shop. It is made at the first time.
func (s *Server) showDemo(w http.ResponseWriter, r *http.Request) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	switch {
	case s.demo.db != nil:
		s.demo.shown = true
	case !s.demo.making:
		s.demo.making = true
		go s.makeDemo(context.WithoutCancel(r.Context()))
	}
	http.Redirect(w, r, "/", http.StatusSeeOther)
	return nil
}

func (s *Server) makeDemo(ctx context.Context) {
	db, err := s.Demo(ctx)
	s.mu.Lock()
	defer s.mu.Unlock()
	s.demo.making = false
	if err != nil {
		s.Log.Error("the invented shop could not be made", "error", err)
		return
	}
	s.demo.db, s.demo.shown = db, true
}

func (s *Server) makesDemo() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.demo.making
}

func (s *Server) leaveDemo(w http.ResponseWriter, r *http.Request) error {
	s.mu.Lock()
	s.demo.shown = false
	s.mu.Unlock()
	return s.back(w, r, "/", "left")
}
