package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"freshet/cmd/freshet/internal/desk"
	"freshet/cmd/freshet/internal/post"
	"freshet/cmd/freshet/internal/week"
	"freshet/cmd/freshet/internal/weekly"
	"freshet/ingest/store"
	"freshet/report"
	"freshet/report/html"
)

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
			set := map[string]string{}
			for i, s := range post.Settings {
				if c.Flags().Changed(s.Name) {
					kept, err := s.Kept(values[i])
					if err != nil {
						return usage{err}
					}
					set[s.Key()] = kept
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
			if c.Flags().Changed("schedule") {
				set[post.SettingSchedule] = schedule
			}
			if pause || resume {
				set[week.SettingPaused] = map[bool]string{true: "yes", false: ""}[pause]
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
			switch {
			case test:
				return a.sendTest(ctx, a.week(c, db))
			case c.Flags().Changed("again"):
				if err := db.LetterAgain(ctx, again, a.now()); err != nil {
					return err
				}
				if err := a.week(c, db).Deliver(ctx); err != nil {
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
	notBoth(c, "pause", "resume")
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
		if due, ok := weekly.ReadSlot(v); ok {
			v = fmt.Sprintf("%s (%v)", v, due)
		}
		fmt.Fprintf(a.out, "%-14s %s\n", s.Name, v)
	}
	if paused, err := db.Setting(ctx, week.SettingPaused, ""); err != nil {
		return err
	} else if paused != "" {
		fmt.Fprintln(a.out, "\nLetters are paused: --resume sends them again.")
	}
	if len(letters) == 0 {
		fmt.Fprintln(a.out, "\nNo letter was sent yet.")
		return nil
	}
	zone, err := (&desk.Desk{Store: db}).Zone(ctx)
	if err != nil {
		return err
	}
	fmt.Fprintln(a.out)
	t := a.table()
	fmt.Fprintln(t, "number\tletter\tto\tstate\tmade\t")
	for _, l := range letters {
		fmt.Fprintf(t, "%d\t%s\t%s\t%s\t%s\t\n", l.ID, l.Purpose, l.Recipient, l.State, l.MadeAt.In(zone).Format("January 2, 15:04"))
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

// week gives the shop's recurring work, as the flags of a call ask for it. It
// logs nothing: at a terminal, errors are the call's.
func (a *app) week(c *cobra.Command, db *store.Store) *week.Week {
	return &week.Week{Store: db, Now: a.now, Getenv: os.Getenv, Log: slog.New(slog.DiscardHandler), Version: built().Version, Keep: store.UsualKeep,
		Backups: filepath.Join(db.Folder(), "backups"),
		Ask:     func(ctx context.Context) (desk.Ask, error) { return a.ask(c, &desk.Desk{Store: db}) }}
}

// sendTest sends a test letter and says what the server answered.
func (a *app) sendTest(ctx context.Context, w *week.Week) error {
	said, err := w.Test(ctx)
	if a.json {
		return errors.Join(a.writeJSON(map[string]any{"schema": 1, "said": append([]string{}, said...)}), err)
	}
	for _, line := range said {
		fmt.Fprintln(a.out, line)
	}
	return err
}

// sendNow does the week's work now, and sends the letter of the present week if
// it wasn't sent.
func (a *app) sendNow(c *cobra.Command, db *store.Store) error {
	ctx := c.Context()
	newest := func() (int64, error) {
		l, err := db.Letters(ctx, 1)
		if err != nil || len(l) == 0 {
			return 0, err
		}
		return l[0].ID, nil
	}
	before, err := newest()
	if err != nil {
		return err
	}
	for _, e := range a.week(c, db).Do(ctx, week.Letter) {
		if !e.Minor() {
			return e
		}
		fmt.Fprintf(a.err, "note: %s\n", week.Plain(e))
	}
	if after, err := newest(); err != nil {
		return err
	} else if after == before {
		fmt.Fprintln(a.err, "note: This week's letter was made before; 'freshet mail --again NUMBER' sends one once more.")
	}
	if err := a.showMail(ctx, db); err != nil {
		return err
	}
	const most = 100
	letters, err := db.Letters(ctx, most)
	if err != nil {
		return err
	}
	waiting := 0
	for _, l := range letters {
		if l.State == store.Waiting {
			waiting++
		}
	}
	if waiting > 0 {
		return fmt.Errorf("%s not out yet: 'freshet serve' tries again by itself, and so does this command", are(waiting, "letter"))
	}
	return nil
}

// reportAgain writes a past week's report as it was made then.
func (a *app) reportAgain(ctx context.Context, text, out string) error {
	monday, err := week.ParseWeek(text)
	if err != nil {
		return usage{fmt.Errorf("--again: %w", err)}
	}
	db, err := a.open(ctx)
	if err != nil {
		return err
	}
	defer db.Close()
	r, err := week.MakeAgain(ctx, db, monday, a.now())
	if err != nil {
		return err
	}
	if out != "" {
		if err := writeFile(out, func(w io.Writer) error { return html.Write(w, r.Report) }); err != nil {
			return err
		}
	}
	if r.Other != "" {
		fmt.Fprintf(a.err, "note: %s. This is the report as it was kept.\n", r.Other)
	}
	if a.json {
		return a.writeJSON(r.Report)
	}
	for _, line := range r.Report.Headline {
		fmt.Fprintln(a.out, line)
	}
	if r.Other == "" {
		fmt.Fprintf(a.out, "\nMade again from the records as they stood on %s: the same to the byte.\n", report.LongDay(r.AsOf))
	}
	if out != "" {
		fmt.Fprintln(a.out, "\nThe report is in", out)
	}
	return nil
}
