package post

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"net"
	"net/mail"
	"net/textproto"
	"os"
	"strconv"
	"strings"
	"syscall"
	"time"

	"github.com/wneessen/go-mail/smtp"
)

// Security is how a connection to the mail server is kept private.
type Security string

// The ways. Plain is for a server on this machine alone.
const (
	StartTLS Security = "starttls"
	TLS      Security = "tls"
	Plain    Security = "none"
)

// Secret is a text that no log or message shows.
type Secret string

// String hides it.
func (Secret) String() string { return "(hidden)" }

// GoString hides it too.
func (Secret) GoString() string { return "(hidden)" }

// Server is the mail server that letters are handed to.
type Server struct {
	Host     string
	Port     int
	Security Security
	User     string // empty: no authentication
	Password Secret

	roots *tls.Config // tests trust their own certificates
	step  time.Duration
	whole time.Duration
	grace time.Duration
}

// Check reports what makes the server unusable.
func (s Server) Check() error {
	switch {
	case s.Host == "" || strings.ContainsAny(s.Host, " \t\r\n\x00/"):
		return fmt.Errorf("post: need the name of a mail server, have %q", s.Host)
	case s.Port < 1 || s.Port > 65535:
		return fmt.Errorf("post: need a port from 1 to 65535, have %d", s.Port)
	case s.Security != StartTLS && s.Security != TLS && s.Security != Plain:
		return fmt.Errorf("post: need security %s, %s or %s, have %q", StartTLS, TLS, Plain, s.Security)
	case s.Security == Plain && !local(s.Host):
		return fmt.Errorf("post: need %s or %s for %s: without it, everyone on the way can read the letter", StartTLS, TLS, s.Host)
	}
	return nil
}

func local(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// CheckAddress tells whether a text is one plain address, fit for a header: no
// display name, no quoted local part, nothing that could end the line.
func CheckAddress(text string) error {
	a, err := mail.ParseAddress(text)
	if err != nil || a.Address != text || a.Name != "" || len(text) > 254 || strings.ContainsAny(text, "\"\r\n\x00 \t,;<>()\\") {
		return fmt.Errorf("post: need an address such as owner@example.com, have %q", text)
	}
	return nil
}

// ReadPassword reads a password from a file that nobody else can read.
func ReadPassword(path string) (Secret, error) {
	info, err := os.Stat(path)
	if err != nil {
		return "", err
	}
	if loose := info.Mode().Perm() & 0o077; loose != 0 && !onWindows {
		return "", fmt.Errorf("post: need %s to be readable by its owner alone (chmod 600), have mode %o", path, info.Mode().Perm())
	}
	b, err := os.ReadFile(path)
	return Secret(strings.TrimRight(string(b), "\r\n")), err
}

// Fate is what became of a message that was handed to a server.
type Fate int

// The fates.
const (
	Accepted Fate = iota // the server has it
	Later                // not now: try again
	Refused              // for good: a person has to see to it
	Unknown              // sent, and no answer came
)

// Outcome is a fate, and what was said of it.
type Outcome struct {
	Fate Fate
	Said string
	// NotTaken says that sending had begun but the server surely doesn't have
	// the message.
	NotTaken bool
}

// limits of a conversation.
const (
	usualStep  = 30 * time.Second
	usualWhole = 5 * time.Minute
	usualGrace = 2 * time.Second // for what is under way when the program is told to end
	mostHeard  = 64 << 10        // bytes that a server may say
)

// Send hands a message to the server. sending is called before the server may
// have any of it; if that fails, nothing is sent. When ctx ends, so does the
// conversation, a moment later.
func (s Server) Send(ctx context.Context, from, to string, message []byte, sending func() error) Outcome {
	if err := s.Check(); err != nil {
		return Outcome{Fate: Refused, Said: err.Error()}
	}
	if s.step == 0 {
		s.step, s.whole, s.grace = usualStep, usualWhole, usualGrace
	}
	ctx, cancel := context.WithTimeout(ctx, s.whole)
	defer cancel()
	c, out, ok := s.greet(ctx)
	if !ok {
		return out
	}
	defer c.Close()
	// The library leaves out the brackets, without which strict servers take no
	// path.
	if err := c.Mail("<" + from + ">"); err != nil {
		return judged("the server did not take the sender", err)
	}
	if err := c.Rcpt("<" + to + ">"); err != nil {
		return judged("the server did not take the address "+to, err)
	}
	if err := sending(); err != nil {
		return Outcome{Fate: Later, Said: err.Error()}
	}
	w, err := c.Data()
	if err != nil {
		out := judged("the server did not want the message", err)
		out.NotTaken = true
		return out
	}
	if _, err := w.Write(message); err != nil {
		return Outcome{Fate: Unknown, Said: "the connection broke while the message was sent: " + err.Error()}
	}
	if err := w.Close(); err != nil {
		if reply := (*textproto.Error)(nil); errors.As(err, &reply) {
			out := judged("the server did not take the message", err)
			out.NotTaken = true
			return out
		}
		return Outcome{Fate: Unknown, Said: "the message was sent and no answer came: " + err.Error()}
	}
	c.Quit() // whatever it says, the message is taken
	return Outcome{Fate: Accepted, Said: "taken by " + s.Host}
}

// unreached says in words why no connection was made, and what to look at.
func (s Server) unreached(err error) string {
	unknown, timeout := (*net.DNSError)(nil), net.Error(nil)
	switch {
	case errors.As(err, &unknown) && unknown.IsNotFound:
		return fmt.Sprintf("no mail server is called %s, or this machine is offline: check the name", s.Host)
	case errors.Is(err, syscall.ECONNREFUSED):
		return fmt.Sprintf("%s takes no mail at port %d: check the port", s.Host, s.Port)
	case errors.As(err, &timeout) && timeout.Timeout():
		return fmt.Sprintf("%s doesn't answer at port %d: check the name and the port, and whether this machine is online", s.Host, s.Port)
	}
	return "the mail server can't be reached: " + err.Error()
}

// greet connects, and brings the conversation to where mail can be sent.
func (s Server) greet(ctx context.Context) (c *smtp.Client, out Outcome, ok bool) {
	config := &tls.Config{ServerName: s.Host, MinVersion: tls.VersionTLS12}
	if s.roots != nil {
		config.RootCAs = s.roots.RootCAs
	}
	fail := func(fate Fate, said string, err error) (*smtp.Client, Outcome, bool) {
		return nil, Outcome{Fate: fate, Said: said + ": " + err.Error()}, false
	}
	dialer := net.Dialer{Timeout: s.step}
	raw, err := dialer.DialContext(ctx, "tcp", net.JoinHostPort(s.Host, strconv.Itoa(s.Port)))
	if err != nil {
		return nil, Outcome{Fate: Later, Said: s.unreached(err)}, false
	}
	context.AfterFunc(ctx, func() { time.AfterFunc(s.grace, func() { raw.Close() }) })
	until, _ := ctx.Deadline()
	var conn net.Conn = &paced{Conn: raw, step: s.step, until: until}
	if s.Security == TLS {
		secure := tls.Client(conn, config)
		if err := secure.HandshakeContext(ctx); err != nil {
			raw.Close()
			return fail(fateOfTLS(err), "no private connection could be made", err)
		}
		conn = secure
	}
	client, err := smtp.NewClient(conn, s.Host)
	if err != nil {
		raw.Close()
		return fail(fateOf(err), "the mail server did not greet", err)
	}
	defer func() {
		if !ok {
			client.Close()
		}
	}()
	if err := client.Hello("localhost"); err != nil {
		return fail(fateOf(err), "the mail server did not say hello", err)
	}
	if s.Security == StartTLS {
		if has, _ := client.Extension("STARTTLS"); !has {
			return fail(Refused, "the mail server offers no private connection", errors.New("need STARTTLS, have none"))
		}
		if err := client.StartTLS(config); err != nil {
			return fail(fateOfTLS(err), "no private connection could be made", err)
		}
	}
	if s.User != "" {
		if err := client.Auth(s.auth(client)); err != nil {
			return fail(fateOfLogin(err), "the mail server did not take user and password", hide(err, string(s.Password)))
		}
	}
	return client, out, true
}

// auth takes what the server offers.
func (s Server) auth(c *smtp.Client) smtp.Auth {
	_, offers := c.Extension("AUTH")
	for _, o := range strings.Fields(offers) {
		if strings.EqualFold(o, "PLAIN") {
			return smtp.PlainAuth("", s.User, string(s.Password), s.Host, s.Security == Plain)
		}
	}
	return smtp.LoginAuth(s.User, string(s.Password), s.Host, s.Security == Plain)
}

// hide keeps a secret out of an error's text.
func hide(err error, secret string) error {
	if secret == "" || !strings.Contains(err.Error(), secret) {
		return err
	}
	return errors.New(strings.ReplaceAll(err.Error(), secret, Secret("").String()))
}

func judged(said string, err error) Outcome {
	return Outcome{Fate: fateOf(err), Said: said + ": " + err.Error()}
}

// fateOf goes by the server's code: 5 for good, all else for now.
func fateOf(err error) Fate {
	if reply := (*textproto.Error)(nil); errors.As(err, &reply) && reply.Code >= 500 {
		return Refused
	}
	return Later
}

// fateOfLogin refuses a user and password that aren't taken, but tries again where
// the server says so or nothing of them, as when the connection breaks.
func fateOfLogin(err error) Fate {
	broke := errors.Is(err, io.EOF) || errors.As(err, new(net.Error))
	if broke || errors.As(err, new(*textproto.Error)) {
		return fateOf(err)
	}
	return Refused
}

// fateOfTLS refuses a certificate that isn't the server's: trying again would
// not make it so.
func fateOfTLS(err error) Fate {
	if wrong := (*tls.CertificateVerificationError)(nil); errors.As(err, &wrong) {
		return Refused
	}
	return fateOf(err)
}

// paced is a connection on which each step has its time, and the other side
// may say so much and no more.
type paced struct {
	net.Conn
	step  time.Duration
	until time.Time
	heard int
}

func (c *paced) deadline() time.Time {
	if d := time.Now().Add(c.step); d.Before(c.until) {
		return d
	}
	return c.until
}

func (c *paced) Read(b []byte) (int, error) {
	if c.heard > mostHeard {
		return 0, fmt.Errorf("post: the mail server said more than %d bytes", mostHeard)
	}
	c.SetReadDeadline(c.deadline())
	n, err := c.Conn.Read(b)
	c.heard += n
	return n, err
}

func (c *paced) Write(b []byte) (int, error) {
	c.SetWriteDeadline(c.deadline())
	return c.Conn.Write(b)
}
