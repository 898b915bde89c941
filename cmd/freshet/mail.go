package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"time"

	"github.com/spf13/cobra"

	"freshet/cmd/freshet/internal/desk"
	"freshet/cmd/freshet/internal/post"
	"freshet/cmd/freshet/internal/weekly"
	"freshet/forecast"
	"freshet/ingest/store"
	"freshet/report"
	"freshet/report/html"
	"freshet/report/mail"
)

// settingPaused says that no letters are sent.
const settingPaused = "mail paused"

func (a *app) mail() *cobra.Command {
	var test, pause, resume bool
	var again int64
	var schedule string
	values := make([]string, len(post.Settings))
	c := &cobra.Command{Use: "mail", Short: "Say where the weekly letter goes, or see what was sent", Args: cobra.NoArgs,
		Long: `Says where the weekly letter goes and by which mail server, and shows the letters
that were sent. 'freshet serve' sends it each week at the hour of --schedule (minute,
hour, *, *, day of the week with 1 for Monday), or as soon as the machine is on again.
'freshet report --send' sends it now.

The password of the mail server is never kept in the database: it comes from
` + post.PasswordVariable + ` or from a file that only you can read.`,
		Example: `  freshet mail --to you@example.com --from shop@example.com --host smtp.example.com --user shop --password-file password.txt
  freshet mail --test`,
		RunE: func(c *cobra.Command, _ []string) error {
			ctx := c.Context()
			for i, s := range post.Settings {
				if err := s.Check(values[i]); err != nil {
					return usage{err}
				}
			}
			if _, err := weekly.Parse(schedule); err != nil {
				return usage{fmt.Errorf("--schedule: %w", err)}
			}
			db, err := a.open(ctx)
			if err != nil {
				return err
			}
			defer db.Close()
			set := map[string]string{}
			for i, s := range post.Settings {
				if c.Flags().Changed(s.Name) {
					set[s.Key()] = values[i]
				}
			}
			if c.Flags().Changed("schedule") {
				set[post.SettingSchedule] = schedule
			}
			if pause || resume {
				set[settingPaused] = map[bool]string{true: "yes", false: ""}[pause]
			}
			if since, err := db.Setting(ctx, post.SettingSince, ""); err != nil {
				return err
			} else if len(set) > 0 && since == "" {
				set[post.SettingSince] = a.now().UTC().Format(time.RFC3339)
			}
			for k, v := range set {
				if err := db.Set(ctx, k, v); err != nil {
					return err
				}
			}
			log := slog.New(slog.NewTextHandler(a.err, &slog.HandlerOptions{Level: slog.LevelWarn}))
			switch {
			case test:
				return a.sendTest(ctx, db, log)
			case again > 0:
				if err := db.LetterAgain(ctx, again, a.now()); err != nil {
					return err
				}
				if err := a.deliver(ctx, db, log); err != nil {
					return err
				}
			}
			return a.showMail(ctx, db)
		}}
	for i, s := range post.Settings {
		c.Flags().StringVar(&values[i], s.Name, s.Usual, quoteFirst(s.Usage))
	}
	c.Flags().StringVar(&schedule, "schedule", weekly.Usual, "the `HOUR` at which the letter is due, in the shop's time zone")
	c.Flags().BoolVar(&test, "test", false, "send a test letter to every address now")
	c.Flags().Int64Var(&again, "again", 0, "send the letter of this `NUMBER` once more")
	c.Flags().BoolVar(&pause, "pause", false, "send no letters until --resume")
	c.Flags().BoolVar(&resume, "resume", false, "send letters again")
	c.MarkFlagsMutuallyExclusive("pause", "resume")
	return c
}

// showMail shows the settings and the newest letters.
func (a *app) showMail(ctx context.Context, db *store.Store) error {
	const most = 12
	letters, err := db.Letters(ctx, most)
	if err != nil {
		return err
	}
	if a.json {
		type line struct {
			ID        int64             `json:"id"`
			Purpose   string            `json:"purpose"`
			Recipient string            `json:"recipient"`
			Subject   string            `json:"subject"`
			State     store.LetterState `json:"state"`
			Copies    int               `json:"copies"`
			Said      string            `json:"said"`
		}
		out := struct {
			Schema  int    `json:"schema"`
			Letters []line `json:"letters"`
		}{1, []line{}}
		for _, l := range letters {
			out.Letters = append(out.Letters, line{l.ID, l.Purpose, l.Recipient, l.Subject, l.State, l.Copies, l.Said})
		}
		return a.writeJSON(out)
	}
	for _, s := range append(post.Settings[:len(post.Settings):len(post.Settings)], post.Setting{Name: "schedule", Usual: weekly.Usual}) {
		v, err := db.Setting(ctx, s.Key(), s.Usual)
		if err != nil {
			return err
		}
		fmt.Fprintf(a.out, "%-14s %s\n", s.Name, v)
	}
	if paused, err := db.Setting(ctx, settingPaused, ""); err != nil {
		return err
	} else if paused != "" {
		fmt.Fprintln(a.out, "\nLetters are paused: --resume sends them again.")
	}
	if len(letters) == 0 {
		fmt.Fprintln(a.out, "\nNo letter was sent yet.")
		return nil
	}
	fmt.Fprintln(a.out)
	t := a.table()
	fmt.Fprintln(t, "number\tletter\tto\tstate\tmade\t")
	for _, l := range letters {
		fmt.Fprintf(t, "%d\t%s\t%s\t%s\t%s\t\n", l.ID, l.Purpose, l.Recipient, l.State, l.MadeAt.Local().Format("Jan 2 15:04"))
	}
	if err := t.Flush(); err != nil {
		return err
	}
	for _, l := range letters {
		if l.State == store.Refused || l.State == store.Unknown || l.State == store.Waiting && l.Said != "" {
			fmt.Fprintf(a.out, "\nLetter %d: %s.", l.ID, l.Said)
		}
	}
	fmt.Fprintln(a.out)
	return nil
}

// slot gives the newest moment at which a letter was due.
func (a *app) slot(ctx context.Context, db *store.Store, loc *time.Location) (time.Time, bool, error) {
	text, err := db.Setting(ctx, post.SettingSchedule, weekly.Usual)
	if err != nil {
		return time.Time{}, false, err
	}
	s, err := weekly.Parse(text)
	if err != nil {
		return time.Time{}, false, err
	}
	t, ok := s.Last(a.now(), loc)
	return t, ok, nil
}

// letters puts the letters of the newest slot into the outbox, unless they are
// there, and sends what is due. It does nothing where nobody has said where
// letters go, or while they are paused.
func (a *app) letters(ctx context.Context, db *store.Store, log *slog.Logger) error {
	if paused, err := db.Setting(ctx, settingPaused, ""); err != nil || paused != "" {
		return err
	}
	loc, err := (&desk.Desk{Store: db}).Zone(ctx)
	if err != nil {
		return err
	}
	slot, ok, err := a.slot(ctx, db, loc)
	if err != nil {
		return err
	}
	since, err := db.Setting(ctx, post.SettingSince, "")
	if err != nil {
		return err
	}
	if ok && since != "" && slot.UTC().Format(time.RFC3339) >= since {
		if _, err := a.putLetters(ctx, db, forecast.DateOf(slot.In(loc))); err != nil {
			if errors.Is(err, post.ErrNotSet) {
				return nil
			}
			return err
		}
	}
	return a.deliver(ctx, db, log)
}

// putLetters makes the letters of the week that holds a day from the newest
// run, and tells how many are new in the outbox.
func (a *app) putLetters(ctx context.Context, db *store.Store, day forecast.Date) (added int, err error) {
	config, err := post.Load(ctx, db, os.Getenv)
	if err != nil {
		return 0, err
	}
	run, ok, err := db.LatestRun(ctx)
	if err != nil || !ok {
		return 0, err
	}
	var now report.Report
	if err := json.Unmarshal(run.Report, &now); err != nil {
		return 0, fmt.Errorf("the last run's report: %w", err)
	}
	before, err := reportBefore(ctx, db, run.AsOf.Monday())
	if err != nil {
		return 0, err
	}
	var page []byte
	if config.Attach {
		var b bytes.Buffer
		if err := html.Write(&b, now); err != nil {
			return 0, err
		}
		page = b.Bytes()
	}
	year, week := day.ISOWeek()
	for edition, addresses := range config.To {
		if len(addresses) == 0 {
			continue
		}
		l, err := mail.Write(now, before, edition)
		if err != nil {
			return added, err
		}
		attached := page
		if edition != mail.Owner {
			attached = nil // the page has the owner's money
		}
		for _, to := range addresses {
			ok, err := a.put(ctx, db, config, fmt.Sprintf("weekly/%d-W%02d/%s", year, week, edition), to, l, attached)
			if err != nil {
				return added, err
			}
			if ok {
				added++
			}
		}
	}
	return added, nil
}

// put stores one letter to one address.
func (a *app) put(ctx context.Context, db *store.Store, config post.Config, purpose, to string, l mail.Letter, page []byte) (bool, error) {
	e := post.Envelope{From: config.From, To: to, MessageID: post.NewMessageID(config.From), Date: a.now()}
	m, err := post.Message(e, l, page)
	if err != nil {
		return false, err
	}
	return db.PutLetter(ctx, store.Letter{Purpose: purpose, Recipient: to, Subject: l.Subject, MessageID: e.MessageID, Message: m, Due: a.now(), MadeAt: a.now()})
}

// reportBefore gives the report of the newest run before a Monday, or nil.
func reportBefore(ctx context.Context, db *store.Store, monday forecast.Date) (*report.Report, error) {
	run, ok, err := db.RunBefore(ctx, monday)
	if err != nil || !ok {
		return nil, err
	}
	var r report.Report
	if err := json.Unmarshal(run.Report, &r); err != nil {
		return nil, fmt.Errorf("an earlier run's report: %w", err)
	}
	return &r, nil
}

// deliver sends what is due.
func (a *app) deliver(ctx context.Context, db *store.Store, log *slog.Logger) error {
	config, err := post.Load(ctx, db, os.Getenv)
	if errors.Is(err, post.ErrNotSet) {
		return nil
	}
	if err != nil {
		return err
	}
	o := post.Outbox{Store: db, Server: config.Server, From: config.From, Owner: post.Hostname(), Now: a.now, Log: log}
	_, err = o.Deliver(ctx)
	return err
}

// sendTest sends a short letter to every address, past the outbox, and says
// what the server answered.
func (a *app) sendTest(ctx context.Context, db *store.Store, log *slog.Logger) error {
	config, err := post.Load(ctx, db, os.Getenv)
	if err != nil {
		return err
	}
	l := mail.Letter{Subject: "freshet: a test letter", Text: "This is a test. The weekly letter will come to this address.\n",
		HTML: "<!DOCTYPE html><html lang=\"en\"><body><p>This is a test. The weekly letter will come to this address.</p></body></html>"}
	failed := 0
	for _, edition := range []mail.Edition{mail.Owner, mail.Counter} {
		for _, to := range config.To[edition] {
			m, err := post.Message(post.Envelope{From: config.From, To: to, MessageID: post.NewMessageID(config.From), Date: a.now()}, l, nil)
			if err != nil {
				return err
			}
			out := config.Server.Send(ctx, config.From, to, m, func() error { return nil })
			fmt.Fprintf(a.out, "%s: %s\n", to, out.Said)
			if out.Fate != post.Accepted {
				failed++
			}
		}
	}
	if failed > 0 {
		return fmt.Errorf("%d test letters were not taken", failed)
	}
	return nil
}

// sendNow sends the letter of the present week, if it wasn't sent.
func (a *app) sendNow(c *cobra.Command, db *store.Store) error {
	ctx := c.Context()
	ask, err := a.ask(c, &desk.Desk{Store: db})
	if err != nil {
		return err
	}
	if err := a.makeRun(ctx, db, ask); err != nil {
		return err
	}
	added, err := a.putLetters(ctx, db, ask.AsOf)
	if err != nil {
		return err
	}
	if err := a.deliver(ctx, db, slog.New(slog.NewTextHandler(a.err, &slog.HandlerOptions{Level: slog.LevelWarn}))); err != nil {
		return err
	}
	if added == 0 {
		fmt.Fprintln(a.out, "This week's letter was made before; 'freshet mail --again NUMBER' sends one once more.")
	}
	return a.showMail(ctx, db)
}
