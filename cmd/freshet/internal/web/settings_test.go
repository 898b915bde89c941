package web

import (
	"context"
	"errors"
	"net/url"
	"strings"
	"testing"
	"time"

	"freshet/cmd/freshet/internal/desk"
	"freshet/cmd/freshet/internal/post"
)

// A wrong setting is refused with what is needed, and none of its form is kept.
func TestSettingsRefused(t *testing.T) {
	s := open(t)
	s.takeInText("jobs.csv", "drop-offs", "ro_number,dropped_off,kind\n1,2026-11-02,heat\n")
	shop := func(change ...string) url.Values {
		form := url.Values{"name": {"Quillback Bend"}, "zone": {"America/Denver"}, "bays": {"3"}, "open.mon": {"1"}}
		for i := 0; i < len(change); i += 2 {
			form.Set(change[i], change[i+1])
		}
		return form
	}
	before := s.everything()
	for _, c := range []struct {
		path   string
		form   url.Values
		status int
		words  string
	}{
		{"/settings/shop", shop("zone", ""), 422, `"" is no time zone that is known here. Choose one from the list, such as America/Denver.`},
		{"/settings/shop", shop("zone", "Mountain"), 422, `"Mountain" is no time zone`},
		{"/settings/shop", shop("bays", "two"), 422, "Bays: "},
		{"/settings/shop", shop("open.mon", ""), 422, "The shop has to be open on at least one day."},
		{"/settings/shop", shop("open.mon", "lots"), 422, "The shop has to be open on at least one day."},
		{"/settings/limits", url.Values{"overtime-premium": {"-1"}}, 422, `have "-1"`},
		{"/settings/limits", url.Values{"chance-limit": {"30"}, "hire-cost": {"2e6"}}, 422, `need a number from 0 to 1000000 dollars, have "2e6"`},
		{"/settings/mail", url.Values{"to": {"nobody"}}, 422, "nobody"},
		{"/settings/mail", url.Values{"to": {"a@example.com"}, "from": {"b@example.com"}, "host": {"smtp.example.com"}, "port": {"70000"}, "security": {"starttls"}}, 422, "70000"},
		{"/settings/access", url.Values{"owner": {"short"}, "owner.again": {"short"}}, 422, "15"},
		{"/settings/access", url.Values{"owner": {ownersWords}, "owner.again": {countersWords}}, 422, "The two owner passphrases differ. Type the same one twice."},
		{"/settings/access", url.Values{"counter": {countersWords}, "counter.again": {countersWords}}, 422, "Set an owner's passphrase first"},
		{"/settings/access", url.Values{"network": {"yes"}}, 422, "Set an owner's passphrase first"},
		{"/settings/access", url.Values{"hosts": {"frontdesk http://evil.test"}}, 422, `"http://evil.test" is no name of a machine`},
		{"/settings/mail/test", nil, 502, "The test letter did not go out: no mail server is set."},
		{"/records/undo", url.Values{"batch": {"9"}}, 409, "The list of files has changed since. Look at it again first."},
		{"/kinds", url.Values{"step": {"join"}, "kind": {"heat"}, "into": {"heat"}}, 422, "It is called that already."},
		{"/kinds", url.Values{"step": {"join"}, "kind": {"heat"}, "into": {" "}}, 422, "Type the kind that it should be called or counted with."},
		{"/kinds", url.Values{"step": {"split"}, "kind": {"cold"}}, 422, `There is no kind "cold".`},
		{"/kinds", url.Values{"step": {"paint"}, "kind": {"heat"}}, 400, "Say what to do with the kind."},
		{"/kinds", url.Values{"step": {"undo"}}, 409, "There is no change of kinds to take back."},
	} {
		if w := s.post(c.path, c.form); !says(w, c.status, c.words) {
			t.Errorf("%s %v: want %d %q, have %d %s", c.path, c.form, c.status, c.words, w.Code, w.Body)
		}
	}
	if s.everything() != before || s.made.Load() != 0 {
		t.Error("what was refused has changed something")
	}
}

// What keeps a test letter from going out is said so that one knows what to do.
func TestTestLetter(t *testing.T) {
	s := open(t)
	for _, c := range []struct {
		err    error
		status int
		words  string
	}{
		{post.ErrNotSet, 422, "Say and save first where the letter goes"},
		{post.ErrNoPassword, 422, "say and save first which file it stands in"},
		{errors.New("post: the mail server hangs up"), 502, "The test letter did not go out: the mail server hangs up."},
		{nil, 303, ""},
	} {
		s.Test = func(context.Context) error { return c.err }
		if w := s.post("/settings/mail/test", nil); !says(w, c.status, c.words) {
			t.Errorf("%v: have %d %s", c.err, w.Code, w.Body)
		}
	}
	if w := s.get("/settings?said=mailed"); w.Code != 200 {
		t.Errorf("have %d", w.Code)
	}
}

// A limit that is changed is the owner's from then on, is written down, and has
// the report made anew; one that stays as it was is not.
func TestLimitsKept(t *testing.T) {
	s := open(t)
	d := &desk.Desk{Store: s.db}
	if w := s.post("/settings/limits", url.Values{"overtime-premium": {"2"}, "ramp-weeks": {"4"}, "lot-spaces": {" "}}); w.Code != 303 || w.Header().Get("Location") == "" {
		t.Fatalf("have %d %s", w.Code, w.Body)
	}
	p, said, err := d.Policy(t.Context())
	if err != nil || p.OvertimePremium != 2 || len(said) != 1 || s.made.Load() != 1 {
		t.Errorf("have a premium of %v, said %v, %d reports, %v", p.OvertimePremium, said, s.made.Load(), err)
	}
	if text := s.get("/settings").Body.String(); strings.Count(text, "set “") != 1 || !strings.Contains(text, "to 2 ") {
		t.Error("nobody wrote down what was changed, or more than that")
	}
}

// The age of the newest backup is said as people say it.
func TestAge(t *testing.T) {
	for d, want := range map[time.Duration]string{
		time.Minute: "less than an hour", 61 * time.Minute: "1 hour", 47 * time.Hour: "47 hours", 48 * time.Hour: "2 days", 240 * time.Hour: "10 days",
	} {
		if have := age(d); have != want {
			t.Errorf("%v: want %q, have %q", d, want, have)
		}
	}
}
