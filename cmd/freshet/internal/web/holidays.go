package web

import (
	"cmp"
	"fmt"
	"net/http"
	"slices"

	"freshet/capacity"
	"freshet/cmd/freshet/internal/desk"
	"freshet/forecast"
)

// aHoliday is one of those that a shop may close on, and when it comes next.
type aHoliday struct {
	Name   string
	Next   forecast.Date
	Closed bool // the shop closes on it
}

// holidaysFrom gives all of them in the order in which they come, from a day on.
func holidaysFrom(c capacity.Calendar, today forecast.Date) (out []aHoliday) {
	closed := c.Holidays
	for _, name := range capacity.KnownHolidays() {
		c.Holidays = []string{name}
		h := aHoliday{name, today, slices.Contains(closed, name)}
		for c.Holiday(h.Next) == "" && h.Next < today+2*365 {
			h.Next++
		}
		out = append(out, h)
	}
	slices.SortStableFunc(out, func(a, b aHoliday) int { return cmp.Compare(a.Next, b.Next) })
	return out
}

// setHoliday has the shop open on a holiday each year, or closed on it.
func (s *Server) setHoliday(w http.ResponseWriter, r *http.Request) error {
	ctx, name := r.Context(), r.PostFormValue("holiday")
	if !slices.Contains(capacity.KnownHolidays(), name) {
		return problem{http.StatusUnprocessableEntity, fmt.Sprintf("There is no holiday %q on the list.", name)}
	}
	c, err := (&desk.Desk{Store: s.Store}).Calendar(ctx)
	if err != nil {
		return err
	}
	names := slices.DeleteFunc(slices.Clone(c.Holidays), func(h string) bool { return h == name })
	what := "said that the shop is open on " + name + ", each year"
	if r.PostFormValue("closed") != "" {
		names, what = append(names, name), "said that the shop is closed on "+name+", each year"
	}
	if err := s.Store.Set(ctx, desk.SettingHolidays, desk.WriteHolidays(names)); err != nil {
		return err
	}
	if err := s.note(r, "%s", what); err != nil {
		return err
	}
	s.Anew()
	return s.back(w, r, "/time-off", "saved")
}
