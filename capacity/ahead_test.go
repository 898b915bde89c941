package capacity

import (
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"freshet/forecast"
)

// Who stands where to a job that somebody asks about, counted by hand: A does
// all, B all but awnings, C left before the first day.
func TestAhead(t *testing.T) {
	crew := Crew{{Name: "A", WeeklyHours: 40, Productivity: .8, Skills: []string{"all"}}, {Name: "B", WeeklyHours: 40, Productivity: .8, Skills: []string{"pipes", "paint"}},
		{Name: "C", WeeklyHours: 40, Productivity: .8, Skills: []string{"all"}, Until: floorStart - 1}}
	const awning, pipes, paint = 0, 1, 2
	h := Habits{Hours: [][]float64{{5}, {3}, {2}}, Growth: [][]float64{{1}, {1}, {1}}, Wait: [][]float64{{4}, {4}, {4}}, Needs: make([]float64, 3)}
	in := floorStart - 3
	open := []OpenJob{{Kind: awning, DroppedOff: in}, {Kind: awning, DroppedOff: in, Quoted: 8, Worked: 2}, {Kind: pipes, DroppedOff: in}, {Kind: paint, DroppedOff: in, Deferrable: true},
		{Kind: awning, DroppedOff: in, Waiting: true}, {Kind: pipes, DroppedOff: in, NotBefore: floorStart + 5}}
	f := floor(t, crew, "awning", "pipes", "paint")
	for _, c := range []struct {
		what string
		q    Inquiry
		want Ahead
	}{
		{"one person's work", Inquiry{Kind: awning}, Ahead{Jobs: 3, Hours: 5 + 6 + 3, Kin: 5 + 6, Waiting: 2, Behind: 1, People: []string{"A"}}},
		{"everybody's", Inquiry{Kind: pipes}, Ahead{Jobs: 3, Hours: 5 + 6 + 3, Kin: 5 + 6 + 3, Waiting: 2, Behind: 1}},
		{"an emergency", Inquiry{Kind: awning, Emergency: true}, Ahead{Behind: 6, People: []string{"A"}}},
		{"one that can wait", Inquiry{Kind: awning, Deferrable: true}, Ahead{Jobs: 4, Hours: 5 + 6 + 3 + 2, Kin: 5 + 6, Waiting: 2, People: []string{"A"}}},
	} {
		if have := h.Ahead(f, crew, open, c.q); !reflect.DeepEqual(have, c.want) {
			t.Errorf("%s: want %+v, have %+v", c.what, c.want, have)
		}
	}
	crew[0].Skills = []string{"awning"}
	if have := h.Ahead(floor(t, crew, "awning", "pipes", "paint"), crew, open, Inquiry{Kind: awning}); have.Others != 3 || have.Jobs != 2 {
		t.Errorf("want the rest to be for others, have %+v", have)
	}
}

// Days off that touch a span of days, its ends included.
func TestAway(t *testing.T) {
	off := []Absence{{"A", 10, 12}, {"B", 1, 99}, {"A", 20, 25}, {"A", 30, 31}}
	for _, c := range []struct {
		from, until forecast.Date
		want        []Absence
	}{{0, 9, nil}, {0, 10, off[:1]}, {12, 20, []Absence{off[0], off[2]}}, {13, 19, nil}, {26, 40, off[3:]}} {
		if have := Away(off, "A", c.from, c.until); !slices.Equal(have, c.want) {
			t.Errorf("%d to %d: have %v", c.from, c.until, have)
		}
	}
}

// A rig that comes later stands behind all who come before it, unless its place
// is kept; nobody works on it before it is here, and a part that isn't known is
// ordered then.
func TestStaysOfALaterDropOff(t *testing.T) {
	h := Habits{Hours: [][]float64{{6.4}}, Growth: [][]float64{{1}}, Wait: [][]float64{{4}}, Needs: []float64{0}, Rate: []float64{1}, Rush: []float64{0}, Later: []float64{0}}
	f := floor(t, hands(1), "one") // who does one job a day; as many come, on weekends too
	mean := func(q Inquiry) (days, parts float64) {
		for _, s := range h.Stays(f, []OpenJob{{DroppedOff: floorStart - 3, Quoted: 32}}, q, 200, rand.New(rand.NewPCG(1, 1))) {
			if s.Start < q.DropOff || s.Days < s.Start {
				t.Fatalf("want nobody to work on it before day %d, have %+v", q.DropOff, s)
			}
			days += float64(s.Days)
			parts += s.Parts
		}
		return days / 200, parts / 200
	}
	now, _ := mean(Inquiry{Hours: 6.4, PartsDays: 0})
	if now != 7 { // the five days of work before it end on Friday
		t.Errorf("want it ready on Monday, have day %v", now)
	}
	if held, _ := mean(Inquiry{Hours: 6.4, PartsDays: 0, DropOff: 7, Held: true}); held != 7 {
		t.Errorf("want its place kept, have day %v", held)
	}
	if held, _ := mean(Inquiry{Hours: 6.4, PartsDays: 0, DropOff: 9, Held: true}); held != 9 {
		t.Errorf("want it done on the day on which it comes, have day %v", held)
	}
	// By day 7 some seven more have come, which take seven days of work.
	if late, _ := mean(Inquiry{Hours: 6.4, PartsDays: 0, DropOff: 7}); late < 7+7 || late > 7+7+7 {
		t.Errorf("want it behind those who come before it, have day %v", late)
	}
	h.Needs[0] = 1
	if days, parts := mean(Inquiry{Hours: 6.4, PartsDays: -1, DropOff: 7, Held: true}); days != 7+4 || parts != 4 {
		t.Errorf("want its part ordered on day 7, have day %v, %v days", days, parts)
	}
	if days, parts := mean(Inquiry{Hours: 6.4, PartsDays: 9, DropOff: 7, Held: true}); days != 9 || parts != 2 {
		t.Errorf("want its part there on day 9, have day %v, %v days", days, parts)
	}
}
