package report

import (
	"fmt"
	"strings"

	"freshet/capacity"
	"freshet/forecast"
)

// Advice is one thing to decide.
type Advice struct {
	Do       string        `json:"do"`
	From     forecast.Date `json:"from"`
	Until    forecast.Date `json:"until"`
	DecideBy forecast.Date `json:"decide_by"`
	Hours    float64       `json:"hours"`
	Cost     *float64      `json:"cost"`
	Why      string        `json:"why"`

	Kind      string      `json:"kind,omitempty"`       // job kind that it is about; empty for all
	Who       string      `json:"who,omitempty"`        // whose time off it is about; empty for anybody's
	Offer     []string    `json:"offer,omitempty"`      // days that time off which is held had better be moved to, in words
	InsteadOf string      `json:"instead_of,omitempty"` // the advice that this one would replace: one of the two, not both
	Otherwise []Otherwise `json:"otherwise,omitempty"`  // how it stands in other futures
	Call      []string    `json:"call,omitempty"`       // whom to call, by repair order or unit
}

// Otherwise is how an advice stands if the future isn't the one expected.
type Otherwise struct {
	If       string        `json:"if"`
	Stands   bool          `json:"stands"`
	Hours    float64       `json:"hours"`
	DecideBy forecast.Date `json:"decide_by"`
	Instead  string        `json:"instead,omitempty"` // what is advised in its place, as in Advice.Do
}

// not says what becomes of an advice that doesn't stand.
func (a Advice) not() string {
	switch a.Do {
	case capacity.HoldTimeOff:
		return "it can be granted"
	case capacity.ApproveTimeOff:
		return "it is better refused"
	}
	return "it isn't advised"
}

// inPlace says what takes the place of an advice, by what there is to do.
var inPlace = map[string]string{capacity.Hire: "one more technician", capacity.Overtime: "overtime",
	capacity.OpenSaturday: "open Saturdays", capacity.Subcontract: "sending work out"}

// size says how much an advice is about, where that may be another in another
// future: not of a hire or of time off, which are whole people.
func (a Advice) size(hours float64) string {
	switch a.Do {
	case capacity.Hire, capacity.HoldTimeOff, capacity.ApproveTimeOff:
		return ""
	case capacity.FillLull:
		return fmt.Sprintf(" (%s free hours)", Whole(hours))
	}
	return fmt.Sprintf(" (%s hours)", Whole(hours))
}

// IfNot says in a sentence what changes an advice, empty where nothing is
// known.
func (a Advice) IfNot() string {
	var then []string // each what becomes of it, once
	in := map[string][]string{}
	for _, o := range a.Otherwise {
		s := "it stands" + a.size(o.Hours)
		switch {
		case !o.Stands && inPlace[o.Instead] != "":
			s = a.not() + ", and " + inPlace[o.Instead] + " takes its place"
		case !o.Stands:
			s = a.not()
		case o.DecideBy != a.DecideBy:
			s = "decide by " + Day(o.DecideBy) + a.size(o.Hours)
		}
		if in[s] == nil {
			then = append(then, s)
		}
		in[s] = append(in[s], o.If)
	}
	if then == nil {
		return ""
	}
	parts := make([]string, len(then))
	for i, s := range then {
		ifs, last := in[s], len(in[s])-1
		parts[i] = "with " + ifs[last] + " " + s
		if last > 0 {
			parts[i] = "with " + strings.Join(ifs[:last], ", ") + " or " + ifs[last] + " " + s
		}
	}
	s := strings.Join(parts, "; ")
	return strings.ToUpper(s[:1]) + s[1:] + "."
}

// Grants gives the advice that time off can be granted, Decisions the rest.
func (r Report) Grants() []Advice    { return r.advice(true) }
func (r Report) Decisions() []Advice { return r.advice(false) }

func (r Report) advice(grants bool) []Advice {
	var out []Advice
	for _, a := range r.Advice {
		if (a.Do == capacity.ApproveTimeOff) == grants {
			out = append(out, a)
		}
	}
	return out
}

// Title says what an advice is in a few words.
func Title(a Advice) string {
	if a.InsteadOf != "" {
		instead := a
		instead.InsteadOf = ""
		return "Or instead: " + lower(Title(instead))
	}
	from := Day(a.From)
	switch a.Do {
	case capacity.Hire:
		if a.From <= a.DecideBy {
			return "Look for one more technician now" // the day to begin has passed
		}
		return "Look for one more technician, at full speed by " + from
	case capacity.Overtime:
		return fmt.Sprintf("Plan %s hours of overtime from %s", Whole(a.Hours), from)
	case capacity.OpenSaturday:
		return fmt.Sprintf("Open on Saturdays from %s to %s", from, Day(a.Until))
	case capacity.MoveWork:
		return fmt.Sprintf("Move %s hours of work that can wait to %s", Whole(a.Hours), from)
	case capacity.ApproveTimeOff:
		if a.Who == "" {
			return fmt.Sprintf("Weeks that can spare someone: %s to %s", from, Day(a.Until))
		}
		return fmt.Sprintf("Time off of %s %s can be granted", a.Who, spell(a.From, a.Until))
	case capacity.HoldTimeOff:
		whose := "the"
		if a.Who != "" { // in reports kept by an older freshet
			whose = a.Who + "'s"
		}
		return fmt.Sprintf("Say no to %s time off %s, or move it", whose, spell(a.From, a.Until))
	case capacity.Subcontract:
		return fmt.Sprintf("Send out %s hours of %s from %s to %s", Whole(a.Hours), a.Kind, from, Day(a.Until))
	case capacity.FillLull:
		return fmt.Sprintf("Fill the lull from %s to %s", from, Day(a.Until))
	}
	return a.Do
}

// spell says from when to when, or on which day.
func spell(from, until forecast.Date) string {
	if from == until {
		return "on " + Day(from)
	}
	return fmt.Sprintf("from %s to %s", Day(from), Day(until))
}
