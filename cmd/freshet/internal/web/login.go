package web

import (
	"cmp"
	"context"
	"crypto/rand"
	_ "embed"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"sync"
	"unicode/utf8"

	"freshet/report"

	"github.com/alexedwards/argon2id"
)

// strength is how dear it is to try a passphrase: some 30 ms of one core, and
// memory that makes trying many at once dear too.
var strength = &argon2id.Params{Memory: 19 << 10, Iterations: 2, Parallelism: 1, SaltLength: 16, KeyLength: 32}

// Lengths of a passphrase in characters. Longer ones are refused before they
// are looked at: that would cost this machine, and add nothing.
const (
	leastCharacters = 15
	mostCharacters  = 256
)

// common are long passphrases that everybody thinks of, folded (from memory).
//
//go:embed common.txt
var common string

// weakness says what is wrong with a new passphrase, empty if nothing is.
func weakness(p string) string {
	folded := strings.ToLower(strings.Join(strings.Fields(p), ""))
	kinds := map[rune]bool{}
	for _, r := range folded {
		kinds[r] = true
	}
	switch n := utf8.RuneCountInString(p); {
	case n < leastCharacters:
		return fmt.Sprintf("A passphrase needs %d characters or more, this has %d. Three or four words that don't belong together are easy to keep in mind.", leastCharacters, n)
	case n > mostCharacters:
		return fmt.Sprintf("A passphrase can have %d characters, this has %d.", mostCharacters, n)
	case len(kinds) < 6 || slices.Contains(strings.Fields(common), folded):
		return "This passphrase is one of the first that anyone would try. Take three or four words that don't belong together."
	}
	return ""
}

// Hash gives the hash of a new passphrase, or says what is wrong with it.
func Hash(p string) (string, error) {
	if weak := weakness(p); weak != "" {
		return "", errors.New(weak)
	}
	return argon2id.CreateHash(p, strength)
}

// hash waits for its turn and hashes a passphrase.
func (s *Server) hash(p string) (string, error) {
	s.hashing <- struct{}{}
	defer func() { <-s.hashing }()
	return argon2id.CreateHash(p, strength)
}

// right waits for its turn and tells whether a passphrase is the one hashed.
func (s *Server) right(ctx context.Context, p, hash string) (bool, error) {
	select {
	case s.hashing <- struct{}{}:
		defer func() { <-s.hashing }()
	case <-ctx.Done():
		return false, ctx.Err()
	}
	return argon2id.ComparePasswordAndHash(p, hash)
}

func (s *Server) loginPage(w http.ResponseWriter, r *http.Request) error {
	if is, err := s.role(r); err != nil {
		return err
	} else if is != anyone {
		http.Redirect(w, r, "/", http.StatusSeeOther)
		return nil
	}
	return s.show(w, r, page{Template: "login", Title: "Log in"})
}

func (s *Server) login(w http.ResponseWriter, r *http.Request) error {
	ctx := r.Context()
	as := counter
	if r.PostFormValue("role") == owner.String() {
		as = owner
	}
	hash, set, err := s.Store.Passphrase(ctx, as.String())
	if err != nil {
		return err
	}
	if no, err := s.guessed(w, r, hash, "That isn't the passphrase. Capital letters and spaces count."); err != nil {
		return err
	} else if no.text != "" {
		return s.show(w, r, page{Template: "login", Title: "Log in", Status: no.status, Data: no.text})
	}
	if err := s.admitted(ctx, as, set); err != nil {
		return err
	}
	http.Redirect(w, r, "/", http.StatusSeeOther)
	return nil
}

// guessed looks at the passphrase that a form brings, against the hash of the one
// that is set, "" if none is. It says what is to be shown where that one doesn't
// let anybody in: wrong, or that there were too many before it.
func (s *Server) guessed(w http.ResponseWriter, r *http.Request, hash, wrong string) (no problem, err error) {
	ctx := r.Context()
	wait, err := s.Store.Guess(ctx, source(r), s.Now())
	if err != nil {
		return no, err
	}
	if wait > 0 {
		seconds := int(wait.Seconds()) + 1
		w.Header().Set("Retry-After", fmt.Sprint(seconds))
		return problem{http.StatusTooManyRequests, fmt.Sprintf("Too many wrong passphrases. Try again in %s.", report.Count(float64(seconds), "second"))}, nil
	}
	p, ok := r.PostFormValue("passphrase"), false
	if utf8.RuneCountInString(p) <= mostCharacters {
		// As long for a name that nobody has as for one that somebody has.
		if ok, err = s.right(ctx, p, cmp.Or(hash, nobodys())); err != nil {
			return no, err
		}
	}
	if !ok || hash == "" {
		return problem{http.StatusUnauthorized, wrong}, nil
	}
	return no, s.Store.Guessed(ctx, source(r))
}

// nobodys is the hash of a passphrase that is nobody's.
var nobodys = sync.OnceValue(func() string {
	hash, err := argon2id.CreateHash(rand.Text(), strength)
	if err != nil {
		panic(err) // there is no randomness
	}
	return hash
})

// admitted makes the session one of a role, under a new ID.
func (s *Server) admitted(ctx context.Context, as role, set string) error {
	if err := s.sessions.RenewToken(ctx); err != nil {
		return err
	}
	s.sessions.Put(ctx, "role", as.String())
	s.sessions.Put(ctx, "set", set)
	return nil
}

func (s *Server) logout(w http.ResponseWriter, r *http.Request) error {
	if err := s.sessions.Destroy(r.Context()); err != nil {
		return err
	}
	http.Redirect(w, r, "/login", http.StatusSeeOther)
	return nil
}
