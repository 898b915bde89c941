// Package web serves the shop's pages.
//
// Pages show what the last run kept, or ask the desk, whose answers are kept
// until records, settings or the day change. Handlers return errors, and a page
// is rendered whole before its first byte is sent, so that an error is a clean
// page. Imported text reaches a page through html/template alone.
//
// The package refuses other hosts than the ones it was told (a page of another
// site can't reach it through a made-up name), scripts other than its own, a
// change by GET, a change without the form's own token, and anyone without the
// role that a route asks for. Until the owner has set a passphrase only this
// machine is served, and whoever sits at it is the owner.
//
// To add a page:
//
//  1. a line in routes (routes.go): method, path, the least role that may ask,
//     the handler, and its name in the navigation if it has a place there;
//  2. a file of its own with the handler, func(w, r) error: read what is kept
//     by s.shop(), and end with s.show(w, r, page{Template, Title, Data});
//     return problem{status, text} for what a person has done wrong;
//  3. a file in templates that defines the template between {{template "top" .}}
//     and {{template "bottom" .}}; what the handler gave is .Data; forms that
//     change something are POSTs and hold {{template "token" .}};
//  4. after a change: s.note says who changed what, s.anew has the report made
//     anew, s.back goes on to a page with a word from said.
//
// A route without a line in the table of TestRoles fails it.
package web

import (
	"context"
	"crypto/rand"
	"log/slog"
	"net/http"
	"sync"
	"sync/atomic"
	"time"

	"freshet/ingest/store"

	"github.com/alexedwards/scs/v2"
)

// Config is what the pages need of the program around them.
type Config struct {
	Store *store.Store
	Log   *slog.Logger
	Now   func() time.Time

	Pretends bool // Now isn't the time, and the pages say which day they show

	Anew    func()                                      // have the report made anew, without waiting for it
	Working func() bool                                 // whether it is being made
	Demo    func(context.Context) (*store.Store, error) // make the invented shop, its report in it
	Test    func(context.Context) error                 // send a test letter
	Beat    func() time.Time                            // when the week's work was last begun

	group *Group // that the shop is one of; nil for a shop alone
	name  string // by which the group knows it
}

// Server is the pages of one shop.
type Server struct {
	Config
	mux      *http.ServeMux
	guarded  http.Handler
	sessions *scs.SessionManager
	key      [32]byte      // of form tokens; forms of an earlier start are void
	hashing  chan struct{} // passphrases that are looked at, at most 2: each takes 19 MiB

	arrivals arrivals
	takings  atomic.Int32    // files that this process is taking in
	life     context.Context // ends with the pages
	end      context.CancelFunc

	mu   sync.Mutex // of what each page asks, so that nothing slow is done under it
	demo demoShop

	draw    sync.Mutex // one report is read and drawn at a time
	drawn   map[drawing]drawn
	answers answers
	trying  sync.Mutex // a what-if that is being worked out
}

// New gives the pages of a shop.
func New(c Config) *Server {
	s := &Server{Config: c, mux: http.NewServeMux(), hashing: make(chan struct{}, 2), arrivals: &inFolder{here: map[string]*inFile{}}, drawn: map[drawing]drawn{}}
	s.life, s.end = context.WithCancel(context.Background())
	if c.group != nil {
		s.arrivals = inGroup{c.group.Group, c.name}
		s.sessions, s.key = c.group.front.sessions, c.group.front.key
	} else {
		s.sessions = newSessions(s)
		rand.Read(s.key[:])
	}
	for _, r := range s.routes() {
		if !r.alone || s.group == nil {
			s.mux.Handle(r.pattern(), s.guard(r))
		}
	}
	s.guarded = http.NewCrossOriginProtection().Handler(s.mux)
	return s
}

// ServeHTTP answers a request for one of the hosts.
func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	for k, v := range headers {
		w.Header().Set(k, v)
	}
	if ok, err := s.knownHost(r); err != nil {
		s.Log.Error("the settings can't be read", "error", err)
		http.Error(w, "The pages can't be shown now.", http.StatusInternalServerError)
		return
	} else if !ok {
		http.Error(w, "freshet does not answer to this name. On the machine it runs on, the owner can add it under Settings.", http.StatusMisdirectedRequest)
		return
	}
	s.guarded.ServeHTTP(w, r)
}

// shop gives the database that pages show: the shop's own, or the invented
// one's while that is looked at.
func (s *Server) shop() *store.Store {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.demo.shown {
		return s.demo.db
	}
	return s.Store
}

// Close ends what the pages hold open besides the shop's own database.
func (s *Server) Close() error {
	s.end()
	s.arrivals.close()
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.demo.db != nil {
		return s.demo.db.Close()
	}
	return nil
}
