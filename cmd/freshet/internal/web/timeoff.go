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
	Number int      // 0: no day, to begin a month on its weekday
	Off    []string // names, and of a holiday its own
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

// offForm is a spell of time off or of closed days, as typed.
type offForm struct{ Name, From, Until, Wrong string }

// timeOff shows a year's calendar of who is off and when the shop is closed,
// the crew, and forms to add to both.
func (s *Server) timeOff(w http.ResponseWriter, r *http.Request) error {
	add, err := newPerson(r.Context(), s.shop())
	if err != nil {
		return err
	}
	return s.showTimeOff(w, r, offForm{}, add)
}

// showPeople shows the page that a form was sent from, with what was typed and
// what is wrong with it.
func (s *Server) showPeople(w http.ResponseWriter, r *http.Request, off offForm, add personForm) error {
	if add.Kinds == nil {
		var err error
		if add, err = newPerson(r.Context(), s.shop()); err != nil {
			return err
		}
	}
	if r.PostFormValue("then") == "start" {
		return s.showStart(w, r, off, add)
	}
	return s.showTimeOff(w, r, off, add)
}

// refused is the status of a page whose form was typed wrong.
func refused(off offForm, add personForm) int {
	if off.Wrong+add.Wrong != "" {
		return http.StatusUnprocessableEntity
	}
	return http.StatusOK
}

func (s *Server) showTimeOff(w http.ResponseWriter, r *http.Request, form offForm, add personForm) error {
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
		Left     []ingest.Person // taken off the crew
		Holidays []aHoliday
		NewOff   offForm
		Person   personForm
		Today    string
		Answers  []string // the plan's words on them, in their order
		Spare    []stretch
		Ahead    int    // weeks that are looked at for it
		Unknown  string // why it isn't known which weeks can spare someone
	}{Crew: crew, NewOff: form, Person: add, Today: today.String()}
	if data.Left, err = s.shop().OffCrew(ctx, mostTakenOut); err != nil {
		return err
	}
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
	plan, err := answer(ctx, s, askCrew(capacity.WhatIf{}))
	if said, ok := need(err); ok {
		data.Unknown = said
	} else if err != nil {
		return err
	}
	for _, a := range data.Off {
		data.Answers = append(data.Answers, wordOn(plan.Advice, a))
	}
	data.Spare, data.Ahead = stretches(plan.Spare), len(plan.Spare)
	spare := map[forecast.Date]bool{}
	for _, w := range plan.Spare {
		spare[w.Monday] = w.Spares
	}
	c, err := (&desk.Desk{Store: s.shop()}).Calendar(ctx)
	if err != nil {
		return err
	}
	data.Holidays = holidaysFrom(c, today)
	first := time.Date(today.Time().Year(), today.Time().Month(), 1, 0, 0, 0, 0, time.UTC)
	for range monthsShown {
		data.Months = append(data.Months, monthOf(first, c, off, spare, today))
		first = first.AddDate(0, 1, 0)
	}
	return s.show(w, r, page{Template: "timeoff", Title: "Time off", Data: data, Status: refused(form, add)})
}

// monthOf lays a month out in weeks from Monday on.
func monthOf(first time.Time, c capacity.Calendar, off []ingest.Absence, spare map[forecast.Date]bool, today forecast.Date) month {
	m := month{Name: first.Format("January 2006")}
	var week [7]day
	at := (int(first.Weekday()) + 6) % 7
	for t := first; t.Month() == first.Month(); t = t.AddDate(0, 0, 1) {
		d := forecast.DateOf(t)
		cell := day{Number: t.Day(), Today: d == today, Spare: spare[d.Monday()] && d >= today}
		if name := c.Holiday(d); name != "" {
			cell.Closed, cell.Off = true, append(cell.Off, name)
		}
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

// readOff reads the form. What is wrong with it stands in it.
func (s *Server) readOff(r *http.Request) (f offForm, a *ingest.Absence, err error) {
	v := func(name string) string { return strings.TrimSpace(r.PostFormValue(name)) }
	f = offForm{Name: v("name"), From: v("from"), Until: v("until")}
	if f.Wrong = backwards(f.From, f.Until); f.Wrong != "" {
		return f, nil, nil
	}
	record, err := s.typed(r, ingest.TimeOff, [][2]string{{"name", f.Name}, {"from", f.From}, {"until", cmp.Or(f.Until, f.From)}})
	if f.Wrong = mistyped(&err); f.Wrong != "" || err != nil {
		return f, nil, err
	}
	a = record.(*ingest.Absence)
	crew, err := s.Store.Crew(r.Context())
	if err != nil || a.Shop() || len(crew) == 0 {
		return f, a, err
	}
	var names []string
	for _, p := range crew {
		if ingest.Fold(p.Name) == ingest.Fold(a.Name) {
			a.Name = p.Name
			return f, a, nil
		}
		names = append(names, p.Name)
	}
	f.Wrong = fmt.Sprintf("Nobody on the crew is called “%s”, so that this would change no hours.", a.Name)
	if near := ingest.Nearest(a.Name, names); near != "" {
		f.Wrong += fmt.Sprintf(" Do you mean %s?", near)
	} else {
		f.Wrong += " Choose a name from the list, or “shop” for days on which all is closed; a new person is put on the crew first."
	}
	return f, nil, nil
}

// setTimeOff adds a spell of time off or a closed day, takes it out, or puts
// what was taken out back in.
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
	default:
		form, a, err := s.readOff(r)
		if err != nil {
			return err
		}
		if form.Wrong != "" {
			return s.showPeople(w, r, form, personForm{})
		}
		what = "put " + spell(*a) + " on the calendar"
		if err := s.byHand(r, spell(*a), ingest.TimeOff, a.Key(), nil, a); err != nil {
			return err
		}
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

// wordOn gives the plan's word on a spell of time off, "" where it has none.
func wordOn(advice []report.Advice, off ingest.Absence) string {
	for _, a := range advice {
		if ingest.Fold(a.Who) != ingest.Fold(off.Name) || a.Until != off.Until || a.From < off.From {
			continue
		}
		switch {
		case a.Do == capacity.ApproveTimeOff:
			return "fine: the crew can spare it"
		case len(a.Offer) > 0:
			return "better moved to " + strings.Join(a.Offer, ", or to ")
		}
		return "better not: too few hours then"
	}
	return ""
}

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
