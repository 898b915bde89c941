package post

import (
	"bufio"
	"bytes"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math/big"
	"net"
	"net/mail"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/emersion/go-sasl"
	"github.com/emersion/go-smtp"

	"freshet/ingest/store"
	report "freshet/report/mail"
)

// certificate makes one for 127.0.0.1 and a pool that trusts it.
func certificate(t *testing.T, until time.Time) (tls.Certificate, *x509.CertPool) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	of := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "mail"}, NotBefore: time.Now().Add(-48 * time.Hour), NotAfter: until,
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign}
	der, err := x509.CreateCertificate(rand.Reader, of, of, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	made, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	pool := x509.NewCertPool()
	pool.AddCert(made)
	return tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key}, pool
}

// inbox is a real mail server in this process, with one user.
type inbox struct {
	mu   sync.Mutex
	got  [][]byte
	rcpt []string
}

const (
	user     = "freshet"
	password = Secret("correct horse battery staple 7")
)

func (b *inbox) NewSession(*smtp.Conn) (smtp.Session, error) { return &session{b: b}, nil }

type session struct {
	b  *inbox
	ok bool
	to []string
}

func (s *session) AuthMechanisms() []string { return []string{sasl.Plain} }
func (s *session) Auth(string) (sasl.Server, error) {
	return sasl.NewPlainServer(func(_, u, p string) error {
		if u != user || p != string(password) {
			return smtp.ErrAuthFailed
		}
		s.ok = true
		return nil
	}), nil
}
func (s *session) Mail(string, *smtp.MailOptions) error {
	if !s.ok {
		return smtp.ErrAuthRequired
	}
	return nil
}
func (s *session) Rcpt(to string, _ *smtp.RcptOptions) error { s.to = append(s.to, to); return nil }
func (s *session) Data(r io.Reader) error {
	text, err := io.ReadAll(r)
	s.b.mu.Lock()
	defer s.b.mu.Unlock()
	s.b.got, s.b.rcpt = append(s.b.got, text), append(s.b.rcpt, s.to...)
	return err
}
func (s *session) Reset()        { s.to = nil }
func (s *session) Logout() error { return nil }

// realServer starts the inbox behind STARTTLS, or TLS from the start.
func realServer(t *testing.T, how Security, until time.Time) (*inbox, Server) {
	t.Helper()
	cert, pool := certificate(t, until)
	b := &inbox{}
	srv := smtp.NewServer(b)
	srv.Domain, srv.TLSConfig = "localhost", &tls.Config{Certificates: []tls.Certificate{cert}}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	if how == TLS {
		l = tls.NewListener(l, srv.TLSConfig)
	}
	go srv.Serve(l)
	t.Cleanup(func() { srv.Close() })
	return b, Server{Host: "127.0.0.1", Port: l.Addr().(*net.TCPAddr).Port, Security: how, User: user, Password: password, roots: &tls.Config{RootCAs: pool}}
}

func letter() report.Letter {
	return report.Letter{Subject: "Quillback: the week of March 2\r\nBcc: everyone@evil.test", Text: "About 18 drop-offs.\n.\nA line that begins with a dot.", HTML: `<p>About 18 drop-offs.</p><img src="cid:hours.png">`,
		Pictures: []report.Picture{{Name: "hours.png", PNG: []byte("\x89PNG and so on"), Width: 600, Height: 300, Alt: "hours"}}}
}

var envelope = Envelope{From: "shop@quillback.example", To: "owner@quillback.example", MessageID: "one@quillback.example", Date: time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)}

func message(t *testing.T) []byte {
	t.Helper()
	m, err := Message(envelope, letter(), []byte("<html>the page</html>"))
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func nothing() error { return nil }

// A letter arrives whole at a real server, by both ways of privacy, at the
// address that was meant and no other.
func TestArrives(t *testing.T) {
	for _, how := range []Security{StartTLS, TLS} {
		b, s := realServer(t, how, time.Now().Add(time.Hour))
		m := message(t)
		if out := s.Send(t.Context(), envelope.From, envelope.To, m, nothing); out.Fate != Accepted {
			t.Fatalf("%s: %+v", how, out)
		}
		if len(b.got) != 1 || len(b.rcpt) != 1 || b.rcpt[0] != envelope.To {
			t.Fatalf("%s: want one letter to one address, have %d to %v", how, len(b.got), b.rcpt)
		}
		if !bytes.Equal(bytes.TrimSpace(b.got[0]), bytes.TrimSpace(m)) {
			t.Errorf("%s: the message was changed on its way", how)
		}
		read, err := mail.ReadMessage(bytes.NewReader(b.got[0]))
		if err != nil {
			t.Fatal(err)
		}
		for name, want := range map[string]string{"Message-Id": "<one@quillback.example>", "Bcc": "", "To": "<owner@quillback.example>", "Subject": "Quillback: the week of March 2 Bcc: everyone@evil.test"} {
			if have := read.Header.Get(name); have != want {
				t.Errorf("%s: want %s %q, have %q", how, name, want, have)
			}
		}
	}
}

// What a server that can't be trusted gets: no password, no letter.
func TestNotTrusted(t *testing.T) {
	_, expired := realServer(t, StartTLS, time.Now().Add(-24*time.Hour))
	_, stranger := realServer(t, TLS, time.Now().Add(time.Hour))
	stranger.roots = nil
	_, wrong := realServer(t, StartTLS, time.Now().Add(time.Hour))
	wrong.Password = "something else"
	for name, s := range map[string]Server{"expired": expired, "unknown certificate": stranger, "wrong password": wrong,
		"plain to another machine": {Host: "mail.example", Port: 25, Security: Plain}} {
		out := s.Send(t.Context(), envelope.From, envelope.To, message(t), func() error { t.Errorf("%s: want nothing sent", name); return nil })
		if out.Fate != Refused || strings.Contains(out.Said, string(s.Password)) && s.Password != "" {
			t.Errorf("%s: want it refused without the password's text, have %+v", name, out)
		}
	}
}

// rude is a server that follows a script: what it answers at each step.
type rude struct {
	greet, hello, mail, rcpt, data, dot, quit string        // "" is the usual; "drop" hangs up; "hang" says nothing
	login                                     string        // the same; "" wants none
	pause                                     time.Duration // before each answer
	hung, held                                chan struct{} // if any: hung is closed when a hang begins, which ends when held is
	got, heard                                int
	mu                                        sync.Mutex
}

func (r *rude) serve(t *testing.T) Server {
	t.Helper()
	s := peer(t, Plain, r.talk)
	s.step, s.whole = 400*time.Millisecond, 5*time.Second
	if r.login == "" {
		s.User, s.Password = "", ""
	}
	return s
}

func (r *rude) says(script *string) string {
	r.mu.Lock()
	defer r.mu.Unlock()
	return *script
}

// arrived gives how many letters the server has.
func (r *rude) arrived() int {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.got
}

// inBrackets is a path as RFC 5321, section 4.1.2, has it. Many servers take
// others too; some of the largest don't.
var inBrackets = regexp.MustCompile(`^(FROM|TO):<[^<> ]+@[^<> ]+>( |$)`)

func (r *rude) talk(c net.Conn) {
	in := bufio.NewReader(c)
	answer := func(script *string, usual string) bool {
		time.Sleep(r.pause)
		said := r.says(script)
		switch said {
		case "drop":
			return false
		case "hang":
			if r.hung != nil {
				close(r.hung)
				<-r.held
			} else {
				time.Sleep(time.Second)
			}
			return false
		case "":
			said = usual
		}
		fmt.Fprintf(c, "%s\r\n", said)
		return true
	}
	if !answer(&r.greet, "220 here") {
		return
	}
	for {
		line, err := in.ReadString('\n')
		if err != nil {
			return
		}
		r.mu.Lock()
		r.heard++
		r.mu.Unlock()
		going := true
		verb, said, _ := strings.Cut(strings.TrimSpace(line), " ")
		if path := strings.ToUpper(verb); (path == "MAIL" || path == "RCPT") && !inBrackets.MatchString(said) {
			fmt.Fprint(c, "501 need a path in brackets\r\n")
			continue
		}
		switch strings.ToUpper(verb) {
		case "EHLO", "HELO":
			going = answer(&r.hello, map[bool]string{true: "250 here", false: "250-here\r\n250 AUTH PLAIN"}[r.login == ""])
		case "AUTH":
			going = answer(&r.login, "")
		case "MAIL":
			going = answer(&r.mail, "250 ok")
		case "RCPT":
			going = answer(&r.rcpt, "250 ok")
		case "DATA":
			if going = answer(&r.data, "354 go on"); !going || r.says(&r.data) != "" {
				break
			}
			dot := r.says(&r.dot)
			if dot == "drop in data" {
				in.ReadString('\n')
				return
			}
			for line != ".\r\n" {
				if line, err = in.ReadString('\n'); err != nil {
					return
				}
			}
			if dot == "" || dot == "drop" || dot == "hang" {
				r.mu.Lock()
				r.got++ // it is the server's now, whatever it says
				r.mu.Unlock()
			}
			going = answer(&r.dot, "250 taken")
		case "QUIT":
			answer(&r.quit, "221 bye")
			return
		default:
			going = answer(new(string), "250 ok")
		}
		if !going {
			return
		}
	}
}

// Ways in which a server can fail, and what is to be made of each.
func TestElevenFaults(t *testing.T) {
	for name, c := range map[string]struct {
		server *rude
		fate   Fate
		copies int // that the server has
	}{
		"well":             {&rude{}, Accepted, 1},
		"too busy":         {&rude{greet: "421 come back later"}, Later, 0},
		"hangs at hello":   {&rude{hello: "hang"}, Later, 0},
		"no such user":     {&rude{login: "535 not you"}, Refused, 0},
		"login not now":    {&rude{login: "454 try again"}, Later, 0},
		"drops at login":   {&rude{login: "drop"}, Later, 0},
		"hangs at login":   {&rude{login: "hang"}, Later, 0},
		"no such box":      {&rude{rcpt: "550 no such user"}, Refused, 0},
		"grey":             {&rude{rcpt: "451 try again"}, Later, 0},
		"full":             {&rude{dot: "552 over quota"}, Refused, 0},
		"data not now":     {&rude{data: "451 not now"}, Later, 0},
		"drops in data":    {&rude{dot: "drop in data"}, Unknown, 0},
		"drops after dot":  {&rude{dot: "drop"}, Unknown, 1},
		"hangs after dot":  {&rude{dot: "hang"}, Unknown, 1},
		"drops at quit":    {&rude{quit: "drop"}, Accepted, 1},
		"endless greeting": {&rude{greet: strings.Repeat("220-and another thing\r\n", 1<<17)}, Later, 0},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			r := c.server
			s := r.serve(t)
			started := false
			out := s.Send(t.Context(), envelope.From, envelope.To, message(t), func() error { started = true; return nil })
			if out.Fate != c.fate || r.arrived() != c.copies || out.Said == "" {
				t.Errorf("want fate %d and %d copies, have %+v and %d", c.fate, c.copies, out, r.arrived())
			}
			if name == "endless greeting" && !strings.Contains(out.Said, "said more than") {
				t.Errorf("want it cut short, have %q", out.Said)
			}
			if out.Fate == Unknown && !started {
				t.Error("want it marked as on its way before the server may have it")
			}
		})
	}
	down := (&rude{}).serve(t)
	down.Port = 1
	if out := down.Send(t.Context(), envelope.From, envelope.To, message(t), nothing); out.Fate != Later {
		t.Errorf("down: have %+v", out)
	}
}

func outbox(t *testing.T, s Server, now *time.Time) *Outbox {
	t.Helper()
	db, err := store.Open(t.Context(), filepath.Join(t.TempDir(), "shop.db"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	return &Outbox{Store: db, Server: s, From: envelope.From, Owner: "this", Now: func() time.Time { return *now }, Log: slog.New(slog.DiscardHandler)}
}

func put(t *testing.T, o *Outbox, purpose string) bool {
	t.Helper()
	added, err := o.Store.PutLetter(t.Context(), store.Letter{Purpose: purpose, Recipient: envelope.To, Subject: "the week", MessageID: envelope.MessageID, Message: message(t), Due: o.Now(), MadeAt: o.Now()})
	if err != nil {
		t.Fatal(err)
	}
	return added
}

func deliver(t *testing.T, o *Outbox) store.Letter {
	t.Helper()
	if _, err := o.Deliver(t.Context()); err != nil {
		t.Fatal(err)
	}
	return newest(t, o)
}

// A letter goes out once however often it is put and delivered; one of unknown
// fate twice at most; one refused for now until it is taken; and the rest is
// for a person.
func TestOneOrTwoCopies(t *testing.T) {
	now := envelope.Date
	for name, c := range map[string]struct {
		server  *rude
		healed  bool // the fault goes away after the first attempt
		state   store.LetterState
		arrived int
	}{
		"well":             {&rude{}, true, store.Sent, 1},
		"unknown, arrived": {&rude{dot: "drop"}, true, store.Sent, 2},
		"unknown, lost":    {&rude{dot: "drop in data"}, true, store.Sent, 1},
		"unknown for good": {&rude{dot: "drop"}, false, store.Unknown, 2},
		"busy":             {&rude{greet: "421 later"}, true, store.Sent, 1},
		"refused":          {&rude{rcpt: "550 no"}, false, store.Refused, 0},
	} {
		t.Run(name, func(t *testing.T) {
			r := c.server
			o := outbox(t, r.serve(t), &now)
			if !put(t, o, "weekly/2026-W10/owner") || put(t, o, "weekly/2026-W10/owner") {
				t.Fatal("want one letter for one purpose")
			}
			l := deliver(t, o)
			if c.healed {
				r.mu.Lock()
				r.greet, r.dot = "", ""
				r.mu.Unlock()
			}
			if l.State == store.Waiting && l.Due.Before(now.Add(time.Minute)) {
				t.Errorf("want a pause before the next attempt, have one until %v", l.Due)
			}
			for range 6 { // over the next days
				now = now.Add(5 * time.Hour)
				l = deliver(t, o)
			}
			if l.State != c.state || r.arrived() != c.arrived || l.Said == "" {
				t.Errorf("want it %s and arrived %d times, have %+v and %d", c.state, c.arrived, l, r.arrived())
			}
		})
	}
}

// A process that dies while sending leaves a letter that goes out once more,
// after the pause; one that dies before leaves one that goes out at once.
func TestProcessThatDied(t *testing.T) {
	now := envelope.Date
	r := &rude{}
	o := outbox(t, r.serve(t), &now)
	put(t, o, "weekly/2026-W10/owner")
	claim := func(owner string) store.Letter {
		l, ok, err := o.Store.ClaimLetter(t.Context(), owner, now, lease)
		if err != nil || !ok {
			t.Fatal(ok, err)
		}
		return l
	}
	l := claim("one that dies before it sends")
	if _, err := o.Deliver(t.Context()); err != nil || r.arrived() != 0 {
		t.Fatalf("want it left to the one that holds it, have %v, %d sent", err, r.arrived())
	}
	now = now.Add(lease + time.Second)
	l = claim("one that dies while it sends")
	if err := o.Store.SendingLetter(t.Context(), l.ID, "one that dies before it sends"); err == nil {
		t.Error("want a letter refused to one that lost it")
	}
	if err := o.Store.SendingLetter(t.Context(), l.ID, "one that dies while it sends"); err != nil {
		t.Fatal(err)
	}
	now = now.Add(lease + time.Second)
	if l := deliver(t, o); l.State != store.Waiting || r.arrived() != 0 {
		t.Errorf("want it to wait, have %+v, %d sent", l, r.arrived())
	}
	now = now.Add(16 * time.Minute)
	if l := deliver(t, o); l.State != store.Sent || l.Copies != 2 || r.arrived() != 1 {
		t.Errorf("want it sent once more, have %+v, %d sent", l, r.arrived())
	}
}

// Only the newest week goes out; what a person wants again goes again.
func TestNewestOnly(t *testing.T) {
	now := envelope.Date
	r := &rude{}
	o := outbox(t, r.serve(t), &now)
	put(t, o, "weekly/2026-W08/owner")
	put(t, o, "weekly/2026-W10/owner")
	l := deliver(t, o)
	if r.arrived() != 1 || l.Purpose != "weekly/2026-W10/owner" {
		t.Errorf("want the newest alone, have %d, %+v", r.arrived(), l)
	}
	if err := o.Store.LetterAgain(t.Context(), l.ID, now); err != nil {
		t.Fatal(err)
	}
	if l := deliver(t, o); r.arrived() != 2 || l.State != store.Sent {
		t.Errorf("want it again, have %d, %+v", r.arrived(), l)
	}
	if err := o.Store.LetterAgain(t.Context(), 99, now); err == nil {
		t.Error("want an error for a letter that isn't there")
	}
}

// While the mail server takes its time, others write to the database; told to
// end, the send ends soon, and its letter goes out once more later.
func TestSlowServer(t *testing.T) {
	now := envelope.Date
	r := &rude{dot: "hang", hung: make(chan struct{}), held: make(chan struct{})}
	s := r.serve(t)
	s.step, s.whole, s.grace = time.Minute, time.Minute, 10*time.Millisecond
	o := outbox(t, s, &now)
	put(t, o, "weekly/2026-W10/owner")
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() {
		_, err := o.Deliver(ctx)
		ended <- err
	}()
	<-r.hung
	wrote := make(chan error, 1)
	go func() { wrote <- o.Store.Set(t.Context(), "x", "y") }()
	select {
	case err := <-wrote:
		if err != nil {
			t.Error(err)
		}
	case <-time.After(20 * time.Second):
		t.Error("want no transaction open while the network is waited for")
	}
	if l := newest(t, o); l.State != store.Sending {
		t.Errorf("want it on its way, have %+v", l)
	}
	stop()
	select {
	case err := <-ended:
		if !errors.Is(err, context.Canceled) {
			t.Errorf("have %v", err)
		}
	case <-time.After(20 * time.Second):
		t.Fatal("want the send to end with its context")
	}
	close(r.held)
	if l := newest(t, o); l.State != store.Waiting || l.Copies != 1 || !l.Due.After(now) {
		t.Errorf("want it to wait for its second time, have %+v", l)
	}
}

// Several processes send one.
func TestManyProcesses(t *testing.T) {
	now := envelope.Date
	r := &rude{}
	o := outbox(t, r.serve(t), &now)
	put(t, o, "weekly/2026-W10/owner")
	var wg sync.WaitGroup
	for i := range 8 {
		wg.Go(func() {
			mine := *o
			mine.Owner = fmt.Sprint("process ", i)
			if _, err := mine.Deliver(context.Background()); err != nil {
				t.Error(err)
			}
		})
	}
	wg.Wait()
	if r.arrived() != 1 {
		t.Errorf("want one letter, have %d", r.arrived())
	}
}

// Addresses that could carry a second header or recipient are refused (RFC
// 5321, section 4.1.2, allows more than is wise).
func TestAddresses(t *testing.T) {
	for _, good := range []string{"owner@quillback.example", "o.w+shop@mail.quillback.example", "müller@quillback.example"} {
		if err := CheckAddress(good); err != nil {
			t.Error(err)
		}
	}
	for _, bad := range []string{"", "owner", "owner@", "a@b.example\r\nBcc: c@d.example", "a@b.example, c@d.example", "\"a b\"@c.example", "Owner <a@b.example>",
		"a@b.example\x00", "<a@b.example>", "a@b.example;c@d.example", strings.Repeat("a", 250) + "@b.example", "a@b.example\n", " a@b.example"} {
		if err := CheckAddress(bad); err == nil {
			t.Errorf("want %q refused", bad)
		}
	}
}

// A password is in no text that is made of it, and a file that others can read
// isn't read.
// What keeps a letter is said so that its reader knows where to look.
func TestUnreached(t *testing.T) {
	free, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	port := free.Addr().(*net.TCPAddr).Port
	free.Close()
	out := Server{Host: "127.0.0.1", Port: port, Security: Plain}.Send(t.Context(), "shop@example.com", "owner@example.com", nil, func() error { return nil })
	if want := fmt.Sprintf("127.0.0.1 takes no mail at port %d: check the port", port); out.Fate != Later || out.Said != want {
		t.Errorf("want %q, have %+v", want, out)
	}
	s := Server{Host: "smtp.example.com", Port: 587}
	for _, c := range []struct {
		err  error
		want string
	}{
		{&net.OpError{Op: "dial", Err: &net.DNSError{Err: "no such host", Name: s.Host, IsNotFound: true}}, "no mail server is called smtp.example.com"},
		{&net.OpError{Op: "dial", Err: os.ErrDeadlineExceeded}, "smtp.example.com doesn't answer at port 587"},
		{io.EOF, "the mail server can't be reached: EOF"},
	} {
		if said := s.unreached(c.err); !strings.Contains(said, c.want) {
			t.Errorf("want %q, have %q", c.want, said)
		}
	}
}

// A setting that somebody empties is the usual one again: without a port no
// letter could be sent.
func TestEmptiedSetting(t *testing.T) {
	for _, s := range Settings {
		if kept, err := s.Kept(""); kept != s.Usual || err != nil {
			t.Errorf("%s: want %q, have %q, %v", s.Name, s.Usual, kept, err)
		}
	}
}

// A password's file is kept by its whole name, and has to be there.
func TestPasswordFile(t *testing.T) {
	t.Chdir(t.TempDir())
	i := slices.IndexFunc(Settings, func(s Setting) bool { return s.Name == "password-file" })
	if _, err := Settings[i].Kept("password.txt"); err == nil || !strings.Contains(err.Error(), "--password-file: need a text file") {
		t.Errorf("have %v", err)
	}
	if err := os.WriteFile("password.txt", []byte("p"), 0o600); err != nil {
		t.Fatal(err)
	}
	if kept, err := Settings[i].Kept("password.txt"); err != nil || !filepath.IsAbs(kept) {
		t.Errorf("have %q, %v", kept, err)
	}
}

func TestPassword(t *testing.T) {
	s := Server{Host: "mail.example", Password: password}
	for _, text := range []string{fmt.Sprint(s), fmt.Sprintf("%+v", s), fmt.Sprintf("%#v", s), fmt.Sprintf("%q", s.Password)} {
		if strings.Contains(text, string(password)) {
			t.Errorf("want it hidden, have %s", text)
		}
	}
	path := filepath.Join(t.TempDir(), "password")
	if err := os.WriteFile(path, []byte("secret words\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if p, err := ReadPassword(path); err != nil || p != "secret words" {
		t.Errorf("have %v, %v", p == "secret words", err)
	}
	if err := os.Chmod(path, 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := ReadPassword(path); err == nil && runtime.GOOS != "windows" {
		t.Error("want a file that others can read refused")
	}
}
