package desk

import (
	"fmt"
	"strings"
	"testing"

	"freshet/forecast"
	"freshet/ingest/demo"
	"freshet/ingest/store"
)

// What an odd stretch is made of, where the records tell: extra jobs that are
// emergencies of new rigs are said to be, others aren't.
func TestQualitiesOfOddWeeks(t *testing.T) {
	at := forecast.NewDate(2026, 8, 3)
	s, _ := invented(1, 5, at+21, demo.Planted{From: at, Until: at + 20, Times: 2})
	// Every other job of the odd weeks is one too many. Usually one in ten is an
	// emergency, and two in three rigs have been here before.
	fill := func(visits int, extra func(i int, j *store.Job)) {
		s.details = nil
		for i, b := range s.book.Jobs {
			j := store.Job{RO: fmt.Sprint(i), DroppedOff: b.DroppedOff, Kind: s.book.Kinds[b.Kind], Emergency: i%10 == 0, Unit: fmt.Sprint("Rig ", i/visits)}
			if b.DroppedOff >= at && i%2 == 0 {
				extra(i, &j)
			}
			if b.DroppedOff >= at-detailYears*365 {
				s.details = append(s.details, j)
			}
		}
	}
	for name, c := range map[string]struct {
		extra     func(i int, j *store.Job)
		want, not string
	}{
		"emergencies": {func(_ int, j *store.Job) { j.Emergency = true }, "were emergencies, where ", "rigs"},
		"new rigs":    {func(i int, j *store.Job) { j.Unit = fmt.Sprint("Unheard ", i) }, "were of rigs that were new here, where ", "emergencies"},
		"as ever":     {func(int, *store.Job) {}, "", "would be usual"},
		"no rigs":     {func(i int, j *store.Job) { j.Unit = fmt.Sprint("Unheard ", i) }, "", "would be usual"},
		"comebacks":   {func(i int, j *store.Job) { j.ComebackOf = fmt.Sprint(i - 20) }, "were comebacks, where 0.", "rigs"},
	} {
		visits := 3
		if name == "no rigs" { // a name that so many orders share is no rig's
			visits = 10
		}
		fill(visits, c.extra)
		said := ""
		for _, a := range watchOf(t, s).Alerts {
			if a.Rule == "run" {
				said = a.Lead
			}
		}
		if said == "" || !strings.Contains(said, c.want) || strings.Contains(said, c.not) {
			t.Errorf("%s: have %s", name, said)
		}
	}
}
