package web

import (
	"context"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"mime/multipart"
	"net"
	"net/http"
	"slices"
	"strings"
	"time"

	"freshet/ingest/store"
)

// headers are sent with everything.
var headers = map[string]string{
	"Content-Security-Policy":      "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'",
	"X-Content-Type-Options":       "nosniff",
	"Referrer-Policy":              "same-origin", // a form's Origin would be null without one
	"Cross-Origin-Opener-Policy":   "same-origin",
	"Cross-Origin-Resource-Policy": "same-origin",
}

// Names of settings of who may ask.
const (
	SettingNetwork = "web network" // "yes": other machines are served
	settingHosts   = "web hosts"   // further names of this machine, apart by spaces
)

// knownHost tells whether the request asks for this machine by a name that it
// goes by. On the shop's network that includes addresses in numbers, which no
// foreign page can stand behind.
func (s *Server) knownHost(r *http.Request) (bool, error) {
	host := r.Host
	if h, _, err := net.SplitHostPort(host); err == nil {
		host = h
	}
	host = strings.Trim(strings.ToLower(host), "[]")
	if slices.Contains([]string{"localhost", "127.0.0.1", "::1"}, host) {
		return true, nil
	}
	on, err := s.Store.Setting(r.Context(), SettingNetwork, "")
	if err != nil || on == "" {
		return false, err
	}
	names, err := s.Store.Setting(r.Context(), settingHosts, "")
	return net.ParseIP(host) != nil || slices.Contains(strings.Fields(names), host), err
}

// problem is an error that a person is told of with its status.
type problem struct {
	status int
	text   string
}

func (p problem) Error() string { return p.text }

// Limits on what may be sent.
const (
	usualBytes = 64 << 10
	mostBytes  = 2 << 30 // a file of records
	uploadTime = 15 * time.Minute
)

// guard lets a request through to its route: by role, then, for a change, by
// the form's token; it turns an error into a page, and a panic into one that
// says nothing of the shop's data.
func (s *Server) guard(rt route) http.Handler {
	bare := strings.HasPrefix(rt.path, "/assets/") || rt.path == "/healthz" || rt.path == "/readyz" // nothing of a session in them
	fail := s.fail
	if bare {
		fail = func(w http.ResponseWriter, _ *http.Request, p problem) { http.Error(w, p.text, p.status) }
	}
	inner := http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		// Asked before the report is read: one that is finished meanwhile
		// would be missed, and the page would stand there for good.
		r = r.WithContext(context.WithValue(r.Context(), busyKey{}, s.busy() || r.Context().Value(wantedKey{}) == true))
		defer func() {
			if p := recover(); p != nil {
				s.Log.Error("a page broke off", "path", rt.path, "panic", fmt.Sprintf("%T", p))
				fail(w, r, problem{http.StatusInternalServerError, "Something went wrong with this page."})
			}
		}()
		if err := s.admit(rt, w, r); err != nil {
			if errors.Is(err, errLogIn) {
				http.Redirect(w, r, "/login", http.StatusSeeOther)
				return
			}
			p, ok := err.(problem)
			if refusal := (*store.Refusal)(nil); errors.As(err, &refusal) {
				s.Log.Error("a change was refused", "path", rt.path, "error", err)
				p = unchangeable(refusal)
			} else if !ok {
				if s.group != nil { // a newer program may have changed the tables since they were opened, or a dump be on its way back
					db, changed := s.group.Group.Open(r.Context(), s.name)
					if changed == nil {
						db.Close()
					}
					err = errors.Join(changed, err)
				}
				s.Log.Error("a page failed", "path", rt.path, "error", err)
				p = unshown(err)
			}
			fail(w, r, p)
		}
	})
	if bare || s.group != nil { // whose pages have read the session already
		return inner
	}
	return s.sessions.LoadAndSave(inner)
}

// busyKey is the context's key for whether the report was being made when the
// request came.
type busyKey struct{}

var errLogIn = errors.New("web: someone has to log in first")

func (s *Server) admit(rt route, w http.ResponseWriter, r *http.Request) error {
	if rt.least > anyone {
		have, err := s.role(r)
		switch {
		case err != nil:
			return err
		case have == anyone && rt.method == "GET":
			return errLogIn
		case have == anyone:
			return problem{http.StatusUnauthorized, "Log in first."}
		case have < rt.least:
			return problem{http.StatusForbidden, "Only the owner may see or do this."}
		}
	}
	if rt.method == "POST" {
		limit := rt.body
		if limit == 0 {
			limit = usualBytes
		}
		r.Body = http.MaxBytesReader(w, r.Body, limit)
		var err error
		if rt.body > 0 {
			// A large file on a slow network takes longer than a page may. The
			// connection goes by the true clock, whatever day is pretended.
			c, until := http.NewResponseController(w), time.Now().Add(uploadTime)
			c.SetReadDeadline(until)
			c.SetWriteDeadline(until)
			if err = r.ParseMultipartForm(1 << 20); err == nil {
				defer r.MultipartForm.RemoveAll()
			} else if errors.Is(err, http.ErrNotMultipart) {
				err = nil // a form without a file: it is judged by its token
			}
		} else {
			err = r.ParseForm()
		}
		if errors.As(err, new(*http.MaxBytesError)) || errors.Is(err, multipart.ErrMessageTooLarge) {
			return problem{http.StatusRequestEntityTooLarge, "That is more than this page takes."}
		} else if err != nil {
			return problem{http.StatusBadRequest, "The form could not be read."}
		}
		if !s.validToken(r, r.FormValue("token")) {
			return problem{http.StatusForbidden, "This form is too old, or came from elsewhere. Go back, load the page anew and try again."}
		}
		if s.showsDemo() && !rt.demo {
			return problem{http.StatusConflict, "This is the invented shop: it can only be looked at. Leave it first, at the top of the page."}
		}
		if refusal := s.shop().Refusal(); refusal != nil && !rt.demo {
			return unchangeable(refusal)
		}
	}
	return rt.serve(w, r)
}

// unshown is the problem of a page that failed.
func unshown(err error) problem {
	if errors.As(err, new(*store.Newer)) {
		return problem{http.StatusServiceUnavailable, "This page can't be shown: a newer freshet wrote these records. Whoever looks after freshet has to start that one here, too."}
	}
	if errors.As(err, new(*store.Gone)) {
		return problem{http.StatusServiceUnavailable, "This page can't be shown: the shop's records aren't in the database. Whoever looks after freshet has to bring them back."}
	}
	return problem{http.StatusInternalServerError, "This page can't be shown now. The log says why."}
}

// unchangeable is the problem of a change to a database that takes none.
func unchangeable(r *store.Refusal) problem {
	return problem{http.StatusServiceUnavailable, "Nothing can be changed now: " + r.Why + "."}
}

// role tells who is asking. Until the owner has a passphrase, that is whoever
// sits at this machine.
func (s *Server) role(r *http.Request) (role, error) {
	ctx := r.Context()
	if s.group != nil {
		is, _ := ctx.Value(roleKey{}).(role)
		return is, nil
	}
	hash, _, err := s.Store.Passphrase(ctx, owner.String())
	if err != nil {
		return anyone, err
	}
	if hash == "" {
		if ip := net.ParseIP(source(r)); ip != nil && ip.IsLoopback() {
			return owner, nil
		}
		return anyone, nil
	}
	for _, is := range []role{owner, counter} {
		if s.sessions.GetString(ctx, "role") != is.String() {
			continue
		}
		// A passphrase set since logs everyone out who came in by the old one.
		if _, set, err := s.Store.Passphrase(ctx, is.String()); err != nil || set == s.sessions.GetString(ctx, "set") {
			return is, err
		}
	}
	return anyone, nil
}

// who names the one who asks: a group's user, or what he or she is in a shop
// that is alone.
func (s *Server) who(r *http.Request) (string, error) {
	if user, ok := r.Context().Value(userKey{}).(string); ok {
		return user, nil
	}
	is, err := s.role(r)
	return is.String(), err
}

// source gives the address that a request comes from. What a proxy says of it
// counts for nothing: anyone can say that.
func source(r *http.Request) string {
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		return r.RemoteAddr
	}
	return host
}

// token makes a form's token: a fresh number, and a seal on it that only this
// server can make for this session.
func (s *Server) token(r *http.Request) string {
	var b [16 + sha256.Size]byte
	rand.Read(b[:16])
	copy(b[16:], s.seal(r, b[:16]))
	return base64.RawURLEncoding.EncodeToString(b[:])
}

func (s *Server) seal(r *http.Request, nonce []byte) []byte {
	h := hmac.New(sha256.New, s.key[:])
	h.Write(nonce)
	h.Write([]byte(s.sessions.Token(r.Context())))
	return h.Sum(nil)
}

func (s *Server) validToken(r *http.Request, text string) bool {
	b, err := base64.RawURLEncoding.DecodeString(text)
	return err == nil && len(b) == 16+sha256.Size && hmac.Equal(b[16:], s.seal(r, b[:16]))
}
