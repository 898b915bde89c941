package web

import (
	"context"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/alexedwards/scs/v2"

	"freshet/ingest/store"
)

// GroupConfig is what the pages of a group need of the program around them.
type GroupConfig struct {
	Group *store.Group
	Log   *slog.Logger
	Now   func() time.Time
	Hosts []string // names that the pages go by, besides this machine's own

	Anew    func(shop string)                   // have a shop's work done by the workers, without waiting for it
	Working func(context.Context, string) bool  // whether it is being done
	Test    func(context.Context, string) error // send a shop's test letter
}

// Group is the pages of shops that share a database. Someone logs in as a user
// of the group, chooses one of his or her shops, and sees that shop's own pages
// as its owner or its counter. Which shop that is stands in the session, in the
// database; what the user is there is asked anew at every request. No address
// and no form names a shop but the one by which it is chosen.
//
// It keeps nothing that another process would miss.
type Group struct {
	GroupConfig
	front   *Server // for what it shares with a shop's pages: tokens, sessions, guesses
	handler http.Handler
	mu      sync.Mutex
	shops   map[string]*Server
	opening sync.Mutex
}

// NewGroup gives the pages of a group.
func NewGroup(ctx context.Context, c GroupConfig) (*Group, error) {
	g := &Group{GroupConfig: c, shops: map[string]*Server{}}
	g.front = &Server{Config: Config{Store: c.Group.Front(), Log: c.Log, Now: c.Now, Working: func() bool { return false }}, hashing: make(chan struct{}, 2)}
	key, err := c.Group.Secret(ctx, "forms")
	if err != nil {
		return nil, err
	}
	copy(g.front.key[:], key)
	g.front.sessions = newSessions(g.front)
	mux := http.NewServeMux()
	for pattern, h := range map[string]func(http.ResponseWriter, *http.Request) error{
		"GET /login": g.loginPage, "POST /login": g.login, "POST /logout": g.front.logout, "GET /group": g.page, "POST /group": g.choose, "/": g.toShop,
	} {
		mux.Handle(pattern, g.guard(h))
	}
	for pattern, h := range map[string]func(http.ResponseWriter, *http.Request) error{"GET /assets/{name}": g.front.asset, "GET /healthz": g.front.health, "GET /readyz": g.ready} {
		mux.HandleFunc(pattern, func(w http.ResponseWriter, r *http.Request) {
			if p, ok := h(w, r).(problem); ok {
				http.Error(w, p.text, p.status)
			}
		})
	}
	g.handler = http.NewCrossOriginProtection().Handler(mux)
	return g, nil
}

// ServeHTTP answers a request for one of the hosts.
func (g *Group) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	for k, v := range headers {
		w.Header().Set(k, v)
	}
	host := r.Host
	if h, _, err := net.SplitHostPort(host); err == nil {
		host = h
	}
	if host = strings.Trim(strings.ToLower(host), "[]"); !slices.Contains([]string{"localhost", "127.0.0.1", "::1"}, host) && !slices.Contains(g.Hosts, host) {
		http.Error(w, "freshet does not answer to this name", http.StatusMisdirectedRequest)
		return
	}
	g.handler.ServeHTTP(w, r)
}

// Close ends what the pages hold open.
func (g *Group) Close() {
	g.mu.Lock()
	defer g.mu.Unlock()
	for _, s := range g.shops {
		s.Close()
		s.Store.Close()
	}
}

// guard turns an error into a page.
func (g *Group) guard(h func(http.ResponseWriter, *http.Request) error) http.Handler {
	return g.front.sessions.LoadAndSave(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		defer func() {
			if p := recover(); p != nil {
				g.Log.Error("a page broke off", "panic", fmt.Sprintf("%T", p))
				g.fail(w, r, problem{http.StatusInternalServerError, "Something went wrong with this page."})
			}
		}()
		err := h(w, r)
		if err == nil {
			return
		}
		p, ok := err.(problem)
		switch {
		case err == errLogIn && r.Method == "GET":
			http.Redirect(w, r, "/login", http.StatusSeeOther)
			return
		case err == errLogIn:
			p = problem{http.StatusUnauthorized, "Log in first."}
		case !ok:
			g.Log.Error("a page failed", "error", err)
			p = unshown(err)
		}
		g.fail(w, r, p)
	}))
}

func (g *Group) fail(w http.ResponseWriter, r *http.Request, p problem) {
	if err := g.show(w, r, page{Template: "problem", Title: "Not to be had", Data: p.text, Status: p.status}); err != nil {
		http.Error(w, p.text, p.status)
	}
}

// user gives who is asking, errLogIn if nobody that is known.
func (g *Group) user(r *http.Request) (string, error) {
	ctx := r.Context()
	name := g.front.sessions.GetString(ctx, "user")
	if name == "" {
		return "", errLogIn
	}
	// A passphrase set since logs everyone out who came in by the old one.
	_, set, err := g.Group.User(ctx, name)
	if err == nil && (set == "" || set != g.front.sessions.GetString(ctx, "set")) {
		err = errLogIn
	}
	return name, err
}

// form reads a form, and refuses one that isn't the session's own.
func (g *Group) form(w http.ResponseWriter, r *http.Request) error {
	r.Body = http.MaxBytesReader(w, r.Body, usualBytes)
	if err := r.ParseForm(); err != nil {
		return problem{http.StatusBadRequest, "The form could not be read."}
	}
	if !g.front.validToken(r, r.FormValue("token")) {
		return problem{http.StatusForbidden, "This form is too old, or came from elsewhere. Go back, load the page anew and try again."}
	}
	return nil
}

func (g *Group) show(w http.ResponseWriter, r *http.Request, p page) error {
	v := view{page: p, Here: r.URL.Path, Token: g.front.token(r), Group: true}
	if name, err := g.user(r); err == nil {
		v.Role, v.LogOut, v.Nav = name, true, []navigation{{"All shops", "/group"}}
	}
	return send(w, r, v)
}

func (g *Group) loginPage(w http.ResponseWriter, r *http.Request) error {
	return g.show(w, r, page{Template: "grouplogin", Title: "Log in"})
}

func (g *Group) login(w http.ResponseWriter, r *http.Request) error {
	if err := g.form(w, r); err != nil {
		return err
	}
	ctx := r.Context()
	name := r.PostFormValue("name")
	hash, set, err := g.Group.User(ctx, name)
	if err != nil {
		return err
	}
	if no, err := g.front.guessed(w, r, hash, "That isn't the name and its passphrase. Capital letters and spaces count."); err != nil {
		return err
	} else if no.text != "" {
		return g.show(w, r, page{Template: "grouplogin", Title: "Log in", Status: no.status, Data: no.text})
	}
	if err := g.front.sessions.RenewToken(ctx); err != nil {
		return err
	}
	g.front.sessions.Put(ctx, "user", name)
	g.front.sessions.Put(ctx, "set", set)
	g.front.sessions.Remove(ctx, "shop")
	http.Redirect(w, r, "/group", http.StatusSeeOther)
	return nil
}

// choose turns the session to one of the user's shops.
func (g *Group) choose(w http.ResponseWriter, r *http.Request) error {
	user, err := g.user(r)
	if err != nil {
		return err
	}
	if err := g.form(w, r); err != nil {
		return err
	}
	shop := r.PostFormValue("shop")
	if role, err := g.Group.Role(r.Context(), user, shop); err != nil {
		return err
	} else if role == "" {
		return notFound
	}
	g.front.sessions.Put(r.Context(), "shop", shop)
	http.Redirect(w, r, "/", http.StatusSeeOther)
	return nil
}

// toShop hands a request to the pages of the shop that was chosen, for what the
// user is there now.
func (g *Group) toShop(w http.ResponseWriter, r *http.Request) error {
	user, err := g.user(r)
	if err != nil {
		return err
	}
	shop := g.front.sessions.GetString(r.Context(), "shop")
	name, err := g.Group.Role(r.Context(), user, shop)
	if err != nil {
		return err
	}
	is := map[string]role{"counter": counter, "owner": owner}[name]
	if is == anyone {
		if r.Method == "GET" && r.URL.Path == "/" {
			http.Redirect(w, r, "/group", http.StatusSeeOther)
			return nil
		}
		return notFound
	}
	s, err := g.shop(r.Context(), shop)
	if err != nil {
		return fmt.Errorf("%s: %w", shop, err)
	}
	ctx := context.WithValue(context.WithValue(r.Context(), roleKey{}, is), userKey{}, user)
	s.mux.ServeHTTP(w, r.WithContext(context.WithValue(ctx, wantedKey{}, g.Working(ctx, shop))))
	return nil
}

// Keys of a request's context in a group: what the user is in the shop, who that
// is, and whether the shop's work is being done.
type (
	roleKey   struct{}
	userKey   struct{}
	wantedKey struct{}
)

// shop gives a shop's pages, made at the first time.
func (g *Group) shop(ctx context.Context, name string) (*Server, error) {
	have := func() *Server {
		g.mu.Lock()
		defer g.mu.Unlock()
		return g.shops[name]
	}
	if s := have(); s != nil {
		return s, nil
	}
	g.opening.Lock() // one at a time: another may be after the same shop
	defer g.opening.Unlock()
	if s := have(); s != nil {
		return s, nil
	}
	db, err := g.Group.Open(context.WithoutCancel(ctx), name)
	if err != nil {
		return nil, err
	}
	s := New(Config{Store: db, Log: g.Log.With("shop", name), Now: g.Now, group: g, name: name, Working: func() bool { return false },
		Anew: func() { g.Anew(name) }, Test: func(ctx context.Context) error { return g.Test(ctx, name) }, Beat: g.Now})
	g.mu.Lock()
	defer g.mu.Unlock()
	g.shops[name] = s
	return s, nil
}

// ready tells whether the database answers.
func (g *Group) ready(w http.ResponseWriter, r *http.Request) error {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	if err := g.Group.Pool().Ping(r.Context()); err != nil {
		g.Log.Error("not ready", "error", err)
		return problem{http.StatusServiceUnavailable, "the database does not answer"}
	}
	fmt.Fprintln(w, "ready")
	return nil
}

func newSessions(s *Server) *scs.SessionManager {
	m := scs.New()
	m.Store = s.Store.Sessions()
	m.Lifetime = 7 * 24 * time.Hour
	m.IdleTimeout = 12 * time.Hour
	m.Cookie.Name = "freshet"
	m.Cookie.SameSite = http.SameSiteStrictMode
	m.ErrorFunc = func(w http.ResponseWriter, _ *http.Request, err error) {
		s.Log.Error("a session could not be read or kept", "error", err)
		http.Error(w, "The pages can't be shown now.", http.StatusInternalServerError)
	}
	return m
}
