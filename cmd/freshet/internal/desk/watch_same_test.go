package desk

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"freshet/forecast"
	"freshet/forecast/workload"
	"freshet/ingest/store"
)

// The same notes are judged the same to the last bit, however many kinds of jobs
// they are of: else which of two words is told would be up to chance.
func TestCrowdIsTheSameEachTime(t *testing.T) {
	from := forecast.NewDate(2026, 1, 5)
	s := &shop{known: workload.Past{Total: forecast.Series{Start: from, Step: forecast.Week, Period: 52, Values: make([]float64, 30)}}}
	var f failure
	for d := range forecast.Date(200) {
		for k := range 7 {
			if (int(d)*7+k)%(k+3) == 0 || d >= 195 {
				if d%19 == forecast.Date(k) || d >= 195 {
					f.jobs = append(f.jobs, len(s.details))
				}
				s.details = append(s.details, store.Job{RO: fmt.Sprint(d, k), Kind: fmt.Sprint("kind ", k), DroppedOff: from + d})
			}
		}
	}
	w := &watcher{shop: s, n: 29, series: []*series{nil}}
	noted := slices.Repeat([]bool{true}, len(s.details))
	var first uint64
	for i := range 100 {
		once := failure{jobs: f.jobs}
		if !w.crowd(&once, noted) || once.usual == 0 {
			t.Fatalf("want it judged, have %+v", once)
		}
		switch bits := math.Float64bits(once.usual); {
		case i == 0:
			first = bits
		case bits != first:
			t.Fatalf("want the same each time, have %v and %v", math.Float64frombits(first), once.usual)
		}
	}
}
