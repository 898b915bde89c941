package demo

import (
	"encoding/csv"
	"io"
	"strconv"

	"freshet/forecast"
)

// Files gives the shop's exports under the names they would have, in the
// order to import them.
func (s Shop) Files() []File {
	return []File{
		{"crew.csv", "crew", s.crew},
		{"time-off.csv", "time-off", s.timeOff},
		{"events.csv", "events", s.events},
		{"drop-offs.csv", "drop-offs", s.dropOffs},
	}
}

// File is one export: Write writes it as CSV with the headers that freshet
// knows.
type File struct {
	Name, Kind string
	Write      func(io.Writer) error
}

func (s Shop) dropOffs(w io.Writer) error {
	c := csv.NewWriter(w)
	c.Write([]string{"ro_number", "dropped_off", "kind", "unit", "quoted_hours", "clocked_hours", "billed_hours", "parts_wait_days",
		"emergency", "deferrable", "comeback_of", "promised", "ready", "picked_up", "status", "note"})
	for _, l := range s.Lines {
		c.Write([]string{strconv.Itoa(l.RO), l.DroppedOff.String(), l.Kind, l.Unit, number(l.Quoted), number(l.Clocked), number(l.Billed),
			wait(l.PartsWait), yes(l.Emergency), yes(l.Deferrable), order(l.ComebackOf), l.Promised.String(), date(l.Ready), date(l.PickedUp), s.status(l), l.Note})
	}
	c.Flush()
	return c.Error()
}

func (s Shop) status(l Line) string {
	switch {
	case l.PickedUp != 0:
		return "picked up"
	case l.Ready != 0:
		return "ready"
	case l.workable >= s.Spec.Until:
		return "waiting for parts"
	case l.started:
		return "being worked on"
	}
	return "in line"
}

func (s Shop) crew(w io.Writer) error {
	c := csv.NewWriter(w)
	c.Write([]string{"name", "weekly_hours", "productivity", "skills", "from", "until", "hourly_cost"})
	for _, t := range s.Crew {
		c.Write([]string{t.Name, number(t.WeeklyHours), number(t.Productivity), t.Skills, date(t.From), date(t.Until), number(t.HourlyCost)})
	}
	c.Flush()
	return c.Error()
}

func (s Shop) timeOff(w io.Writer) error {
	c := csv.NewWriter(w)
	c.Write([]string{"name", "from", "until"})
	for _, a := range s.Off {
		c.Write([]string{a.Name, a.From.String(), a.Until.String()})
	}
	c.Flush()
	return c.Error()
}

func (s Shop) events(w io.Writer) error {
	c := csv.NewWriter(w)
	c.Write([]string{"name", "from", "until", "effect"})
	for _, e := range s.Events {
		c.Write([]string{e.Name, e.From.String(), e.Until.String(), e.Effect})
	}
	c.Flush()
	return c.Error()
}

func number(v float64) string {
	if v == 0 {
		return ""
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}

func date(d forecast.Date) string {
	if d == 0 {
		return ""
	}
	return d.String()
}

func wait(days int) string {
	if days < 0 {
		return ""
	}
	return strconv.Itoa(days)
}

func order(ro int) string {
	if ro == 0 {
		return ""
	}
	return strconv.Itoa(ro)
}

func yes(b bool) string {
	if b {
		return "yes"
	}
	return ""
}
