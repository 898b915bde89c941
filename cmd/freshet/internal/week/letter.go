package week

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"freshet/cmd/freshet/internal/desk"
	"freshet/cmd/freshet/internal/post"
	"freshet/forecast"
	"freshet/ingest/store"
	"freshet/report"
	"freshet/report/html"
	"freshet/report/mail"
)

// SettingPaused names the setting that says that no letters are sent.
const SettingPaused = "mail paused"

// letter puts the letters of the newest slot into the outbox, unless they are
// there, and sends what is due. It does nothing where nobody has said where
// letters go, or while they are paused, unless a letter is wished.
func (w *Week) letter(ctx context.Context, wish Wish) (tried bool, err error) {
	if wish == Letter {
		ask, err := w.Ask(ctx)
		if err != nil {
			return true, err
		}
		if err := w.put(ctx, ask.AsOf); err != nil {
			return true, err
		}
		return true, w.deliver(ctx)
	}
	if paused, err := w.Store.Setting(ctx, SettingPaused, ""); err != nil || paused != "" {
		return err != nil, err
	}
	loc, err := (&desk.Desk{Store: w.Store}).Zone(ctx)
	if err != nil {
		return true, err
	}
	slot, ok, err := w.slot(ctx, loc)
	if err != nil {
		return true, err
	}
	since, err := w.Store.Setting(ctx, post.SettingSince, "")
	if err != nil {
		return true, err
	}
	if ok && since != "" && slot.UTC().Format(time.RFC3339) >= since {
		err = w.put(ctx, forecast.DateOf(slot.In(loc)))
	}
	if err == nil {
		err = w.deliver(ctx)
	}
	if errors.Is(err, post.ErrNotSet) {
		return true, nil
	}
	return true, err
}

// Deliver sends what is due in the outbox.
func (w *Week) Deliver(ctx context.Context) error {
	w.one.Lock()
	defer w.one.Unlock()
	return w.deliver(ctx)
}

func (w *Week) deliver(ctx context.Context) error {
	config, err := post.Load(ctx, w.Store, w.Getenv)
	if err != nil {
		return err
	}
	o := post.Outbox{Store: w.Store, Server: config.Server, From: config.From, Owner: post.Hostname(), Now: w.Now, Log: w.Log}
	_, err = o.Deliver(ctx)
	return err
}

// put makes the letters of the week that holds a day, those that aren't in the
// outbox yet.
func (w *Week) put(ctx context.Context, day forecast.Date) error {
	config, err := post.Load(ctx, w.Store, w.Getenv)
	if err != nil {
		return err
	}
	year, week := day.ISOWeek()
	missing := map[mail.Edition][]string{}
	for _, edition := range editions {
		for _, to := range config.To[edition] {
			have, err := w.Store.HasLetter(ctx, purpose(year, week, edition), to, w.Now())
			if err != nil {
				return err
			}
			if !have {
				missing[edition] = append(missing[edition], to)
			}
		}
	}
	if len(missing) == 0 {
		return nil
	}
	now, before, run, err := w.reports(ctx, day)
	if err != nil {
		return err
	}
	if len(now.Weeks) == 0 && len(now.Failed) == 0 && run == 0 {
		return nil // a shop without records has nothing to tell
	}
	var page []byte
	if config.Attach {
		var b bytes.Buffer
		if err := html.Write(&b, now); err != nil {
			return err
		}
		page = b.Bytes()
	}
	for _, edition := range editions {
		addresses := missing[edition]
		if len(addresses) == 0 {
			continue
		}
		l, err := mail.Write(now, before, edition)
		if err != nil {
			return err
		}
		attached := page
		if edition != mail.Owner {
			attached = nil // the page has the owner's money
		}
		for _, to := range addresses {
			e := post.Envelope{From: config.From, To: to, MessageID: post.NewMessageID(config.From), Date: w.Now()}
			m, err := post.Message(e, l, attached)
			if err != nil {
				return err
			}
			if _, err := w.Store.PutLetter(ctx, store.Letter{Purpose: purpose(year, week, edition), Recipient: to, Subject: l.Subject, MessageID: e.MessageID, Message: m, Run: run, Due: w.Now(), MadeAt: w.Now()}); err != nil {
				return err
			}
		}
	}
	return nil
}

// editions are those of a letter, in the order in which they are made.
var editions = [...]mail.Edition{mail.Owner, mail.Counter}

func purpose(year, week int, e mail.Edition) string {
	return fmt.Sprintf("weekly/%d-W%02d/%s", year, week, e)
}

// reports gives the newest run's report with what went wrong since, the newest one
// of an earlier week if there is one, and the number of the run.
func (w *Week) reports(ctx context.Context, day forecast.Date) (now report.Report, before *report.Report, id int64, err error) {
	failures, err := w.Store.Failures(ctx)
	if err != nil {
		return now, nil, 0, err
	}
	loc, err := (&desk.Desk{Store: w.Store}).Zone(ctx)
	if err != nil {
		return now, nil, 0, err
	}
	var failed []string
	place := func(f store.Failure) int { // files that were handed in first, which are of no step here
		return slices.IndexFunc(w.steps(), func(s step) bool { return s.name == f.Step })
	}
	slices.SortStableFunc(failures, func(a, b store.Failure) int { return place(a) - place(b) })
	for _, f := range failures {
		if f.Step == letterStep { // that it goes out can be seen
			continue
		}
		for said := range strings.SplitSeq(f.Said, "\n") {
			failed = append(failed, fmt.Sprintf("%s: %s. Since %s.", f.Step, strings.TrimSuffix(said, "."), report.WeekDay(forecast.DateOf(f.At.In(loc)))))
		}
	}
	run, ok, err := w.Store.LatestRun(ctx)
	if err != nil {
		return now, nil, 0, err
	}
	if !ok {
		name, err := w.Store.Setting(ctx, desk.SettingName, "the shop")
		return report.Build(report.Facts{Shop: name, AsOf: day, Failed: failed}), nil, 0, err
	}
	if now, err = read(run); err != nil {
		return now, nil, 0, err
	}
	if run.AsOf < day.Monday() {
		now.Stale = fmt.Sprintf("This report is the one of %s: no newer one could be made.", report.LongDay(run.AsOf))
	}
	now.Failed = append(now.Failed, failed...)
	earlier, ok, err := w.Store.RunBefore(ctx, run.AsOf.Monday())
	if err != nil || !ok {
		return now, nil, run.ID, err
	}
	b, err := read(earlier)
	return now, &b, run.ID, err
}

// Test sends a short letter to every address, past the outbox, and gives what
// the server answered for each.
func (w *Week) Test(ctx context.Context) (said []string, err error) {
	config, err := post.Load(ctx, w.Store, w.Getenv)
	if err != nil {
		return nil, err
	}
	l := mail.Letter{Subject: "freshet: a test letter", Text: "This is a test. The weekly letter will come to this address.\n",
		HTML: "<!DOCTYPE html><html lang=\"en\"><body><p>This is a test. The weekly letter will come to this address.</p></body></html>"}
	failed := 0
	for _, edition := range editions {
		for _, to := range config.To[edition] {
			m, err := post.Message(post.Envelope{From: config.From, To: to, MessageID: post.NewMessageID(config.From), Date: w.Now()}, l, nil)
			if err != nil {
				return said, err
			}
			out := config.Server.Send(ctx, config.From, to, m, func() error { return nil })
			said = append(said, to+": "+out.Said)
			if out.Fate != post.Accepted {
				failed++
			}
		}
	}
	if failed > 0 {
		return said, fmt.Errorf("week: %d of %d test letters did not go out: %s", failed, len(said), strings.Join(said, "; "))
	}
	return said, nil
}
