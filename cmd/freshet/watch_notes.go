package main

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"freshet/cmd/freshet/internal/desk"
	"freshet/forecast"

	"github.com/spf13/pflag"
)

// teller is whom notes made on the command line are by.
const teller = "command line"

// saying is what a call says of an alert.
type saying struct {
	explain, because, seen, back string
	oneTime                      bool
	from, until                  string
}

func (s *saying) flags(f *pflag.FlagSet) {
	f.StringVar(&s.explain, "explain", "", "`NAME` of an alert to explain")
	f.StringVar(&s.because, "because", "", "what was behind it, in `WORDS` of your own: a storm, a recall, a rally, a competitor that closed")
	f.BoolVar(&s.oneTime, "one-time", false, "keep its weeks out of next year's season")
	f.StringVar(&s.from, "from", "", "first `DAY` of those weeks (default the alert's)")
	f.StringVar(&s.until, "until", "", "last `DAY` of those weeks (default the alert's)")
	f.StringVar(&s.seen, "seen", "", "`NAME` of an alert that you know of")
	f.StringVar(&s.back, "take-back", "", "`NAME` of an alert of which to take back what was said last")
}

func (s *saying) any() bool { return s.explain+s.seen+s.back != "" }

// check refuses flags that don't go together.
func (s *saying) check(given func(string) bool) error {
	n := 0
	for _, name := range []string{"explain", "seen", "take-back"} {
		if given(name) {
			n++
		}
	}
	switch {
	case n > 1:
		return errors.New("need one of --explain, --seen and --take-back, have several")
	case n == 1 && !s.any():
		return errors.New("need the alert's name, have none")
	case s.explain == "" && (given("because") || s.oneTime):
		return errors.New("--because and --one-time: need --explain and the alert's name with it")
	case !s.oneTime && (given("from") || given("until")):
		return errors.New("--from and --until: need --one-time with it")
	case s.explain != "" && strings.TrimSpace(s.because) == "":
		return errors.New("--explain: need --because and what was behind it")
	}
	return nil
}

// keep keeps what is said of an alert that stands.
func (s *saying) keep(ctx context.Context, d *desk.Desk, w desk.Watch, now time.Time) error {
	if s.back != "" {
		_, err := d.Store.TakeNoteBack(ctx, s.back, teller, now)
		return err
	}
	a, err := w.Alert(s.explain + s.seen) // one of them is empty
	if err != nil {
		return err
	}
	n := desk.Note{Because: s.because, OneTime: s.oneTime, On: w.AsOf, Who: teller}
	for _, day := range []struct {
		flag, text string
		into       *forecast.Date
	}{{"from", s.from, &n.From}, {"until", s.until, &n.Until}} {
		if day.text == "" {
			continue
		}
		if *day.into, err = forecast.ParseDate(day.text); err != nil {
			return usage{fmt.Errorf("--%s: need a day as YYYY-MM-DD, have %q", day.flag, day.text)}
		}
	}
	return d.Store.KeepNote(ctx, a.Noted(n, now))
}
