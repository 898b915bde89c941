package web

import (
	"cmp"
	"context"
	"fmt"
	"net/http"
	"strings"
	"time"

	"freshet/capacity"
	"freshet/cmd/freshet/internal/desk"
	"freshet/forecast"
	"freshet/ingest"
	"freshet/report"
)

// day is one of the calendar's.
type day struct {
	Number int // 0: no day, to begin a month on its weekday
	Off    []string
	Closed bool
	Spare  bool // its week can spare someone
	Today  bool
}

type month struct {
	Name  string
	Weeks [][7]day
}

// monthsShown is the calendar's length, a year, and mostTakenOut how many
// entries that were taken out can be put back.
const (
	monthsShown  = 12
	mostTakenOut = 20
)

// timeOff shows a year's calendar of who is off and when the shop is closed,
// the crew, and forms to add to both.
func (s *Server) timeOff(w http.ResponseWriter, r *http.Request) error {
	ctx := r.Context()
	today, err := s.today(ctx)
	if err != nil {
		return err
	}
	off, err := s.shop().Absences(ctx)
	if err != nil {
		return err
	}
	crew, err := s.shop().Crew(ctx)
	if err != nil {
		return err
	}
	data := struct {
		Months   []month
		Off      []ingest.Absence // not over yet
		TakenOut []ingest.Absence // likewise
		Crew     []ingest.Person
		Today    string
		Spare    []stretch
		Unknown  string // why it isn't known which weeks can spare someone
	}{Crew: crew, Today: today.String()}
	for _, a := range off {
		if a.Until >= today {
			data.Off = append(data.Off, a)
		}
	}
	out, err := s.shop().TakenOut(ctx, mostTakenOut)
	if err != nil {
		return err
	}
	for _, a := range out {
		if a.Until >= today {
			data.TakenOut = append(data.TakenOut, a)
		}
	}
	weeks, err := answer(ctx, s, askSpare)
	if said, ok := need(err); ok {
		data.Unknown = said
	} else if err != nil {
		return err
	}
	data.Spare = stretches(weeks)
	spare := map[forecast.Date]bool{}
	for _, w := range weeks {
		spare[w.Monday] = w.Spares
	}
	first := time.Date(today.Time().Year(), today.Time().Month(), 1, 0, 0, 0, 0, time.UTC)
	for range monthsShown {
		data.Months = append(data.Months, monthOf(first, off, spare, today))
		first = first.AddDate(0, 1, 0)
	}
	return s.show(w, r, page{Template: "timeoff", Title: "Time off", Data: data})
}

// monthOf lays a month out in weeks from Monday on.
func monthOf(first time.Time, off []ingest.Absence, spare map[forecast.Date]bool, today forecast.Date) month {
	m := month{Name: first.Format("January 2006")}
	var week [7]day
	at := (int(first.Weekday()) + 6) % 7
	for t := first; t.Month() == first.Month(); t = t.AddDate(0, 0, 1) {
		d := forecast.DateOf(t)
		cell := day{Number: t.Day(), Today: d == today, Spare: spare[d.Monday()] && d >= today}
		for _, a := range off {
			if a.From <= d && d <= a.Until {
				cell.Closed = cell.Closed || a.Shop()
				cell.Off = append(cell.Off, a.Name)
			}
		}
		week[at] = cell
		if at++; at == 7 {
			m.Weeks, week, at = append(m.Weeks, week), [7]day{}, 0
		}
	}
	if at > 0 {
		m.Weeks = append(m.Weeks, week)
	}
	return m
}

// setTimeOff adds a spell of time off, a closed day, or somebody to the crew;
// takes time off out; or puts what was taken out back in.
func (s *Server) setTimeOff(w http.ResponseWriter, r *http.Request) error {
	ctx, f := r.Context(), r.PostFormValue
	var err error
	var what string
	word := "saved"
	switch f("step") {
	case "out", "back":
		all := s.Store.Absences
		if f("step") == "back" {
			all = func(ctx context.Context) ([]ingest.Absence, error) { return s.Store.TakenOut(ctx, mostTakenOut) }
		}
		var a *ingest.Absence
		if a, err = absence(ctx, all, f("entry")); err != nil {
			return err
		}
		record := ingest.Record(a)
		what, word = "put %s back on the calendar", "back"
		if f("step") == "out" {
			record, what, word = nil, "took %s off the calendar", "out"
		}
		what = fmt.Sprintf(what, spell(*a))
		err = s.byHand(r, spell(*a), ingest.TimeOff, a.Key(), nil, record)
	case "crew":
		var record ingest.Record
		if record, err = s.typed(r, ingest.Crew, [][2]string{{"name", f("name")}, {"weekly_hours", f("weekly_hours")}, {"from", f("from")}}); err != nil {
			return err
		}
		p := record.(*ingest.Person)
		what = fmt.Sprintf("put %s on the crew, %g hours a week", p.Name, p.WeeklyHours)
		err = s.byHand(r, p.Name+" on the crew", ingest.Crew, p.Key(), nil, p)
	default:
		var record ingest.Record
		if record, err = s.typed(r, ingest.TimeOff, [][2]string{{"name", f("name")}, {"from", f("from")}, {"until", cmp.Or(strings.TrimSpace(f("until")), f("from"))}}); err != nil {
			return err
		}
		a := record.(*ingest.Absence)
		what = "put " + spell(*a) + " on the calendar"
		err = s.byHand(r, spell(*a), ingest.TimeOff, a.Key(), nil, a)
	}
	if err != nil {
		return err
	}
	if err := s.note(r, "%s", what); err != nil {
		return err
	}
	s.Anew()
	path := "/time-off"
	if f("then") == "start" {
		path = "/"
	}
	return s.back(w, r, path, word)
}

// absence gives the time off with a key, or says that it isn't there.
func absence(ctx context.Context, all func(context.Context) ([]ingest.Absence, error), key string) (*ingest.Absence, error) {
	off, err := all(ctx)
	if err != nil {
		return nil, err
	}
	for i := range off {
		if off[i].Key() == key {
			return &off[i], nil
		}
	}
	return nil, problem{http.StatusConflict, "The calendar has changed since. Look at it again first."}
}

// spell says a spell of time off in a line.
func spell(a ingest.Absence) string {
	who := "time off of " + a.Name
	if a.Shop() {
		who = "the shop closed"
	}
	if a.From == a.Until {
		return fmt.Sprintf("%s on %s", who, report.LongDay(a.From))
	}
	return fmt.Sprintf("%s from %s to %s", who, report.LongDay(a.From), report.LongDay(a.Until))
}

// askSpare is which of the weeks of a year can spare a technician.
var askSpare = question[[]capacity.Spared]{"spare", 52, false, func(ctx context.Context, d *desk.Desk, ask desk.Ask) ([]capacity.Spared, error) {
	return d.Spare(ctx, ask)
}}

// stretches gives the weeks that can spare someone, those that follow each
// other as one.
func stretches(weeks []capacity.Spared) (out []stretch) {
	for _, w := range weeks {
		switch n := len(out); {
		case !w.Spares:
		case n > 0 && out[n-1].Until == w.Monday-1:
			out[n-1].Until, out[n-1].Weeks, out[n-1].Chance = w.Monday+6, out[n-1].Weeks+1, max(out[n-1].Chance, w.Chance)
		default:
			out = append(out, stretch{w.Monday, w.Monday + 6, 1, w.Chance})
		}
	}
	return out
}

// stretch is a run of weeks that can spare someone.
type stretch struct {
	From, Until forecast.Date
	Weeks       int
	Chance      float64 // of too few hours in its worst week, with one off
}
