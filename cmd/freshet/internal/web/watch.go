package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strings"

	"freshet/cmd/freshet/internal/desk"
	"freshet/forecast"
	"freshet/ingest/store"
	"freshet/report"
	"freshet/report/chart"
)

// askWatch is what doesn't fit.
var askWatch = question[desk.Watch]{"watch", usualWeeks, false, func(ctx context.Context, d *desk.Desk, ask desk.Ask) (desk.Watch, error) { return d.Watch(ctx, ask) }}

// askWatchOf is what didn't fit on a day, by what was known on it.
func askWatchOf(day forecast.Date) question[desk.Watch] {
	return question[desk.Watch]{fmt.Sprint("watch ", day), usualWeeks, false, func(ctx context.Context, d *desk.Desk, ask desk.Ask) (desk.Watch, error) {
		ask.AsOf, ask.Seed = day, desk.Seed(day)
		return d.Watch(ctx, ask)
	}}
}

// watch shows what doesn't fit, what didn't before, and the season; of today, or
// as of an earlier day, on which there is nothing to say.
func (s *Server) watch(w http.ResponseWriter, r *http.Request) error {
	ctx := r.Context()
	is, err := s.role(r)
	if err != nil {
		return err
	}
	today, err := s.today(ctx)
	if err != nil {
		return err
	}
	data := struct {
		None  string
		Owner bool
		Then  bool // as of an earlier day
		Today forecast.Date
		desk.Watch
		desk.LookBack
		Picture *chart.Chart
		Says    string
	}{Today: today}
	ask := askWatch
	if text := r.FormValue("as-of"); text != "" {
		day, err := forecast.ParseDate(text)
		if err != nil || day > today {
			return problem{http.StatusUnprocessableEntity, "Say a day up to today."}
		}
		if data.Then = day != today; data.Then {
			ask = askWatchOf(day)
		}
	}
	data.Owner = is == owner && !data.Then
	v, err := answer(ctx, s, ask)
	if said, ok := need(err); ok {
		if data.Then {
			return problem{http.StatusUnprocessableEntity, "No records are from before that day."}
		}
		data.None = said
		return s.show(w, r, page{Template: "watch", Title: "Watch", Data: data})
	}
	if err != nil {
		return err
	}
	data.Watch = v
	data.Weeks = slices.Clone(v.Weeks) // others read the answer too
	slices.Reverse(data.Weeks)         // the newest first
	data.Says = v.Season.String()
	run, err := s.shop().LatestRunID(ctx)
	if err != nil {
		return err
	}
	if data.LookBack, err = counted(ctx, s, fmt.Sprint("before ", v.AsOf, " ", run), func(ctx context.Context, db *store.Store) (desk.LookBack, error) {
		return (&desk.Desk{Store: db}).LookBack(ctx, v)
	}); err != nil {
		return err
	}
	if data.Then {
		return s.show(w, r, page{Template: "watch", Title: "Watch", Data: data})
	}
	if rep, ok, err := s.latest(ctx, counter); err != nil {
		return err
	} else if ok {
		for i := range rep.Charts {
			if rep.Charts[i].ID == "season" {
				data.Picture = &rep.Charts[i]
			}
		}
	}
	return s.show(w, r, page{Template: "watch", Title: "Watch", Data: data, Charts: true})
}

// noteAlert keeps what the owner says of an alert: that it was seen, or what
// was behind it; or takes the last such word back.
func (s *Server) noteAlert(w http.ResponseWriter, r *http.Request) error {
	ctx, id := r.Context(), r.PostFormValue("alert")
	if r.PostFormValue("step") == "back" {
		_, err := s.Store.TakeNoteBack(ctx, id, owner.String(), s.Now())
		if errors.As(err, new(*store.NoNote)) {
			return problem{http.StatusConflict, "There is nothing to take back. Look at the page again."}
		}
		if err != nil {
			return err
		}
		return s.noted(w, r, "took back what was said of "+id)
	}
	v, err := answer(ctx, s, askWatch)
	if _, ok := need(err); ok {
		return problem{http.StatusConflict, "There are no records to watch yet."}
	}
	if err != nil {
		return err
	}
	a, err := v.Alert(id)
	if err != nil {
		return problem{http.StatusConflict, "This doesn't stand any more. Look at the page again."}
	}
	n := desk.Note{On: v.AsOf, Who: owner.String()}
	what := "has seen " + id
	switch r.PostFormValue("step") {
	case "seen":
	case "explain":
		n.Because = strings.TrimSpace(r.PostFormValue("because"))
		if n.Because == "" {
			return problem{http.StatusUnprocessableEntity, "Say in a few words what was behind it."}
		}
		what = fmt.Sprintf("explained %s: %s", id, n.Because)
		if n.OneTime = r.PostFormValue("one-time") != ""; !n.OneTime {
			break
		}
		for _, d := range []struct {
			field string
			into  *forecast.Date
		}{{"from", &n.From}, {"until", &n.Until}} {
			if *d.into, err = forecast.ParseDate(r.PostFormValue(d.field)); err != nil {
				return problem{http.StatusUnprocessableEntity, "Say on which day it began, and on which it ended or will end."}
			}
		}
		if n.Until < n.From {
			return problem{http.StatusUnprocessableEntity, "The last day lies before the first."}
		}
		what += fmt.Sprintf("; %s to %s won't bend next year's season", report.LongDay(n.From), report.LongDay(n.Until))
	default:
		return problem{http.StatusBadRequest, "Say what to do with the alert."}
	}
	if err := s.Store.KeepNote(ctx, a.Noted(n, s.Now())); errors.As(err, new(*store.BadNote)) {
		return problem{http.StatusUnprocessableEntity, "That could not be kept: one line of up to 200 letters, please."}
	} else if err != nil {
		return err
	}
	return s.noted(w, r, what)
}

// noted ends a change of notes.
func (s *Server) noted(w http.ResponseWriter, r *http.Request, what string) error {
	if err := s.note(r, "%s", what); err != nil {
		return err
	}
	s.Anew()
	return s.back(w, r, "/watch", "saved")
}
