package desk

import (
	"slices"
	"testing"

	"freshet/capacity"
	"freshet/forecast"
	"freshet/report"
)

// What is in the shop: not what is ready, was declined or is long forgotten.
// On its lot: what is ready and not picked up, where the shop says when rigs
// are, and not for longer than a month.
func TestWhatIsInTheShop(t *testing.T) {
	day := forecast.NewDate(2026, 3, 2)
	s := &shop{ask: Ask{AsOf: day}}
	visits := []visit{
		{ro: "1", in: day - 400},
		{ro: "2", in: day - 90, ready: day - 60, left: day - 58},
		{ro: "3", in: day - 80, ready: day - 50}, // long gone
		{ro: "4", in: day - 20, ready: day - 9},
		{ro: "4", in: day - 20, ready: day - 9},
		{ro: "5", in: day - 8, declined: declined("Estimate declined")},
		{ro: "6", in: day - 7, quoted: 3, clocked: 1, waiting: true, emergency: true},
	}
	open := s.openJobs(visits)
	if want := (capacity.OpenJob{DroppedOff: day - 7, Quoted: 3, Worked: 1, Waiting: true, Emergency: true}); len(open) != 1 || open[0] != want {
		t.Errorf("want %+v alone, have %+v", want, open)
	}
	if lot := s.lot(visits); lot != (capacity.Lot{Rigs: 6. / 7, Ready: 2}) {
		t.Errorf("have %+v", lot)
	}
	visits[1].left = 0
	if lot := s.lot(visits); lot.Ready != 0 {
		t.Errorf("a shop that never says when rigs leave has %+v", lot)
	}
}

// A plan that breaks off in one of its goroutines, here over rigs that leave
// before they are ready, costs the report that part alone.
func TestAPlanThatBreaksOff(t *testing.T) {
	s := invent(1, 0)
	p := s.plan(t, s.asOf.Monday(), 2, 10)
	var facts report.Facts
	ask := func(what string) {
		part(&facts, what, func() error {
			_, err := p.Outcome()
			return err
		})
	}
	ask("The plan")
	p.Habits.PickUp = []float64{-1000}
	ask("The other plan")
	if want := []string{"The other plan broke off: that is a fault of freshet."}; !slices.Equal(facts.Failed, want) {
		t.Errorf("want %q, have %q", want, facts.Failed)
	}
}
