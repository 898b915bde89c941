package post

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"freshet/ingest/store"
	report "freshet/report/mail"
)

// PasswordVariable names the environment variable that may hold the mail
// server's password. The database never does.
const PasswordVariable = "FRESHET_MAIL_PASSWORD"

// SettingSince says from when on letters are sent: a week that began before has
// none. SettingSchedule says when they are due.
const (
	SettingSince    = "mail since"
	SettingSchedule = "mail schedule"
)

// A Setting is one of the mail's, by the name of its flag.
type Setting struct {
	Name  string
	Usual string
	Usage string
	keep  func(string) (string, error)
}

// Key is the name under which the database keeps it.
func (s Setting) Key() string { return "mail " + s.Name }

// Kept gives what to keep of a value that somebody typed, the usual one if it is
// empty, or says what makes it unusable. A file's name is kept whole, since the
// service runs in another folder than whoever types it.
func (s Setting) Kept(value string) (string, error) {
	if value == "" {
		return s.Usual, nil
	}
	if s.keep == nil {
		return value, nil
	}
	kept, err := s.keep(value)
	if err != nil {
		return "", fmt.Errorf("--%s: %w", s.Name, err)
	}
	return kept, nil
}

// Settings are all of the mail's.
var Settings = []Setting{
	{"to", "", "addresses of the owner's letter, apart by commas", asItIs(checkAddresses)},
	{"counter", "", "addresses of the counter's letter, which has no money", asItIs(checkAddresses)},
	{"from", "", "address that letters come from", asItIs(CheckAddress)},
	{"host", "", "server for mail, such as smtp.example.com", nil},
	{"port", "587", "port of that server", asItIs(checkPort)},
	{"security", string(StartTLS), fmt.Sprintf("way to keep letters secret: %s, %s (from the start, usually port 465) or %s (this machine alone)", StartTLS, TLS, Plain), asItIs(checkSecurity)},
	{"user", "", "name of the user there, if it asks for one", nil},
	{"password-file", "", "file with the password, readable by you alone; or set " + PasswordVariable, passwordFile},
	{"attach", "yes", "yes or no: attach the report as a page", asItIs(checkYes)},
}

// asItIs keeps a value that passes a check.
func asItIs(check func(string) error) func(string) (string, error) {
	return func(value string) (string, error) { return value, check(value) }
}

// passwordFile finds the file in which a password was put.
func passwordFile(name string) (string, error) {
	whole, err := filepath.Abs(name)
	if err != nil {
		return "", err
	}
	_, err = ReadPassword(whole)
	if errors.Is(err, fs.ErrNotExist) {
		return "", fmt.Errorf("need a text file that holds the password and nothing else, have no %s", whole)
	}
	return whole, err
}

func checkAddresses(text string) error {
	for _, a := range addresses(text) {
		if err := CheckAddress(a); err != nil {
			return err
		}
	}
	return nil
}

func addresses(text string) []string {
	var out []string
	for a := range strings.SplitSeq(text, ",") {
		if a = strings.TrimSpace(a); a != "" && !slices.Contains(out, a) {
			out = append(out, a)
		}
	}
	return out
}

func checkPort(text string) error {
	if n, err := strconv.Atoi(text); err != nil || n < 1 || n > 65535 {
		return fmt.Errorf("need a port from 1 to 65535, have %q", text)
	}
	return nil
}

func checkSecurity(text string) error {
	if s := Security(text); s != StartTLS && s != TLS && s != Plain {
		return fmt.Errorf("need %s, %s or %s, have %q", StartTLS, TLS, Plain, text)
	}
	return nil
}

func checkYes(text string) error {
	if text != "yes" && text != "no" {
		return fmt.Errorf("need yes or no, have %q", text)
	}
	return nil
}

// Config is the settings, read.
type Config struct {
	Server Server
	From   string
	To     map[report.Edition][]string
	Attach bool
}

// ErrNotSet says that nobody has said yet where letters go.
var ErrNotSet = errors.New("post: need to know where letters go: 'freshet mail --to owner@example.com --from shop@example.com --host smtp.example.com' says so")

// ErrNoPassword says that the mail server's user has no password here.
var ErrNoPassword = errors.New("post: need the mail server's password in " + PasswordVariable + " or in a file (--password-file)")

// Load reads the settings, and the password from the environment or its file.
// It returns ErrNotSet if there is no address or no server.
func Load(ctx context.Context, db *store.Store, getenv func(string) string) (Config, error) {
	v := map[string]string{}
	for _, s := range Settings {
		var err error
		if v[s.Name], err = db.Setting(ctx, s.Key(), s.Usual); err != nil {
			return Config{}, err
		}
	}
	c := Config{From: v["from"], Attach: v["attach"] == "yes", To: map[report.Edition][]string{report.Owner: addresses(v["to"]), report.Counter: addresses(v["counter"])}}
	if len(c.To[report.Owner])+len(c.To[report.Counter]) == 0 || v["host"] == "" || v["from"] == "" {
		return Config{}, ErrNotSet
	}
	port, err := strconv.Atoi(v["port"])
	if err != nil {
		return Config{}, fmt.Errorf("post: need a port, have %q", v["port"])
	}
	c.Server = Server{Host: v["host"], Port: port, Security: Security(v["security"]), User: v["user"], Password: Secret(getenv(PasswordVariable))}
	if c.Server.Password == "" && v["password-file"] != "" {
		if c.Server.Password, err = ReadPassword(v["password-file"]); err != nil {
			return Config{}, fmt.Errorf("post: the mail password: %w", err)
		}
	}
	if c.Server.User != "" && c.Server.Password == "" {
		return Config{}, fmt.Errorf("%w, for the user %s", ErrNoPassword, c.Server.User)
	}
	return c, c.Server.Check()
}

// Hostname names this process among others that may send the same letters.
func Hostname() string {
	name, err := os.Hostname()
	if err != nil {
		name = "here"
	}
	return fmt.Sprintf("%s/%d", name, os.Getpid())
}
