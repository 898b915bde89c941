package web

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"net/http"
	"strings"
	"time"

	"freshet/forecast"
	"freshet/ingest"
	"freshet/ingest/store"
)

// day is one of the calendar's.
type day struct {
	Number int // 0: no day, to begin a month on its weekday
	Off    []string
	Closed bool
	Today  bool
}

type month struct {
	Name  string
	Weeks [][7]day
}

// monthsShown is the calendar's length: a year.
const monthsShown = 12

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
		Months []month
		Off    []ingest.Absence // not over yet
		Crew   []ingest.Person
		Today  string
	}{Crew: crew, Today: today.String()}
	for _, a := range off {
		if a.Until >= today {
			data.Off = append(data.Off, a)
		}
	}
	first := time.Date(today.Time().Year(), today.Time().Month(), 1, 0, 0, 0, 0, time.UTC)
	for range monthsShown {
		data.Months = append(data.Months, monthOf(first, off, today))
		first = first.AddDate(0, 1, 0)
	}
	return s.show(w, r, page{Template: "timeoff", Title: "Time off", Data: data})
}

// monthOf lays a month out in weeks from Monday on.
func monthOf(first time.Time, off []ingest.Absence, today forecast.Date) month {
	m := month{Name: first.Format("January 2006")}
	var week [7]day
	at := (int(first.Weekday()) + 6) % 7
	for t := first; t.Month() == first.Month(); t = t.AddDate(0, 0, 1) {
		d := forecast.DateOf(t)
		cell := day{Number: t.Day(), Today: d == today}
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

// byHand is the name under which what was typed on a page is on record.
const byHand = "typed in on the pages"

// addTimeOff adds a spell of time off, a closed day, or somebody to the crew.
// What is typed takes a file's way in, so that it is checked, kept and undone
// like one.
func (s *Server) addTimeOff(w http.ResponseWriter, r *http.Request) error {
	kind, fields := ingest.TimeOff, []string{"name", "from", "until"}
	if r.PostFormValue("what") == "crew" {
		kind, fields = ingest.Crew, []string{"name", "weekly_hours", "from"}
	}
	var b bytes.Buffer
	out := csv.NewWriter(&b)
	row := make([]string, len(fields))
	for i, f := range fields {
		row[i] = strings.TrimSpace(r.PostFormValue(f))
	}
	if kind == ingest.TimeOff && row[2] == "" {
		row[2] = row[1] // one day
	}
	out.Write(fields)
	out.Write(row)
	out.Flush()
	latest, err := s.latestDay(r.Context())
	if err != nil {
		return err
	}
	taken, err := s.Store.TakeIn(r.Context(), store.HandIn{Name: byHand, File: bytes.NewReader(b.Bytes()), Size: int64(b.Len()), As: kind}, latest, s.Now(), nil)
	if err != nil {
		return problem{http.StatusUnprocessableEntity, "That could not be taken: " + sayImport(err)}
	}
	if len(taken.Rejects) > 0 {
		e := taken.Rejects[0]
		return problem{http.StatusUnprocessableEntity, fmt.Sprintf("That could not be taken: %s %q %s.", strings.ToLower(fieldWords[e.Column]), e.Value, e.Reason)}
	}
	if kind == ingest.Crew {
		err = s.note(r, "put %s on the crew, %s hours a week", row[0], row[1])
	} else {
		err = s.note(r, "put time off for %s on the calendar, %s to %s", row[0], row[1], row[2])
	}
	if err != nil {
		return err
	}
	s.Anew()
	path := "/time-off"
	if r.PostFormValue("then") == "start" {
		path = "/"
	}
	return s.back(w, r, path, "saved")
}
