package web

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"freshet/cmd/freshet/internal/desk"
)

// Holidays stand in the calendar by name, and the shop can say that it is open
// on one, or closed on another.
func TestHolidays(t *testing.T) {
	s := open(t) // on November 23, 2026
	const path = "/time-off/holiday"
	thanks := `<td class="shut" title="Thanksgiving Day">26<`
	has := func(what string) bool { return strings.Contains(s.get("/time-off").Body.String(), what) }
	if !has(thanks) || !has("<th scope=\"row\">Veterans Day</th><td data-label=\"Next on\">Thursday, November 11, 2027</td><td data-label=\"The shop is\">open</td>") {
		t.Error(s.get("/time-off").Body)
	}
	s.post(path, url.Values{"holiday": {"Thanksgiving Day"}})
	s.post(path, url.Values{"holiday": {"Veterans Day"}, "closed": {"yes"}})
	if has(thanks) {
		t.Error("Thanksgiving is closed still")
	}
	if have, err := s.db.Setting(t.Context(), desk.SettingHolidays, ""); err != nil || strings.Contains(have, "Thanksgiving Day") || !strings.Contains(have, "Veterans Day") || s.made.Load() != 2 {
		t.Errorf("have %q, %v, %d reports", have, err, s.made.Load())
	}
	if w := s.post(path, url.Values{"holiday": {"Doomsday"}}); w.Code != http.StatusUnprocessableEntity {
		t.Errorf("have %d", w.Code)
	}
	if text := s.get("/settings").Body.String(); !strings.Contains(text, "said that the shop is open on Thanksgiving Day, each year") {
		t.Error("nobody wrote down who changed what")
	}
}
