package desk

import (
	"math"
	"slices"
	"strings"
	"testing"

	"freshet/capacity"
	"freshet/forecast"
)

// threeBays is a counter made by hand: one of two may do awnings, and each job
// took what was quoted. The question is put on Monday, December 14.
func threeBays() *Counter {
	asOf := forecast.NewDate(2026, 12, 14)
	c := &Counter{asOf: asOf, kinds: []string{"awning", "pipes", "winterize"}, words: map[string]int{"hoses": 1}, calendar: capacity.DefaultCalendar(), habits: map[forecast.Date]capacity.Habits{},
		crew:     capacity.Crew{{Name: "Dwayne", WeeklyHours: 40, Productivity: .75, Skills: []string{"all"}}, {Name: "Marla", WeeklyHours: 40, Productivity: .75, Skills: []string{"pipes", "winterize"}}},
		absences: []capacity.Absence{{Name: "Dwayne", From: forecast.NewDate(2026, 12, 21), Until: forecast.NewDate(2026, 12, 31)}}}
	for in := asOf - 400; in < asOf-40; in += 10 {
		for kind, hours := range []float64{6, 3} {
			c.visits = append(c.visits, visit{kind: kind, in: in, ready: in + 1, quoted: hours, clocked: hours, parts: -1})
		}
	}
	c.open(0, 6, 4)
	c.trials = make([]trial, len(c.visits))
	return c
}

// open puts so many jobs of a kind into the shop.
func (c *Counter) open(kind int, hours float64, n int) {
	for range n {
		c.visits = append(c.visits, visit{kind: kind, in: c.asOf - 3, quoted: hours, parts: -1})
	}
}

func (c *Counter) ask(t *testing.T, q Inquiry) Quote {
	t.Helper()
	v, err := c.Quote(q)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func wantSaid(t *testing.T, v Quote, want ...string) {
	t.Helper()
	said := strings.Join(append([]string{v.Say, v.Best(), v.Record()}, append(v.Why, v.Warnings...)...), "\n")
	for _, w := range want {
		if !strings.Contains(said, w) {
			t.Errorf("want %q in\n%s", w, said)
		}
	}
}

// A quote says whom it waits for and when they are off, dates of the next year
// with the year, and when to bring the rig in.
func TestQuoteSaysWhy(t *testing.T) {
	c := threeBays()
	v := c.ask(t, Inquiry{Kind: "awning", Hours: 6})
	// 24 h are ahead at 6 h a day, and the rest of its own rate: Friday the 18th.
	wantSaid(t, v, "Only Dwayne does this work: 4 jobs, about 24 h, are ahead of it.", "by Friday, December 18;", "Only 0 finished jobs of the last year could be tried",
		"Best day to bring it in: Friday, December 18, if its place in line is kept from today. It is ready as soon as if it came today, and stands on the lot for 4 days less.",
		"We can keep your place in line from today. Then you can leave it at home until Friday, December 18 and lose no time.")
	if v.Record() != "" {
		t.Errorf("want nothing said of quotes that weren't tried, have %q", v.Record())
	}
	c.visits, c.habits = threeBays().visits, map[forecast.Date]capacity.Habits{}
	c.open(0, 6, 1)
	c.open(1, 3, 2)
	c.trials = make([]trial, len(c.visits))
	v = c.ask(t, Inquiry{Kind: "awning", Hours: 6})
	wantSaid(t, v, "Only Dwayne does this work: 7 jobs, about 36 h, are ahead of it (others can do 6 h of that too), and Dwayne is off December 21 to 31.", "by Monday, January 4, 2027;")
	wantSaid(t, c.ask(t, Inquiry{Kind: " HOSES ", Hours: 3}), "7 jobs, about 36 h, are ahead of it.")
	wantSaid(t, c.ask(t, Inquiry{Kind: "pipes", Hours: 3, Emergency: true}), "Nothing that can be worked on is ahead of it.", "Of the other jobs in the shop 7 stand behind it.", "Best day to bring it in: today.")
	wantSaid(t, c.ask(t, Inquiry{Kind: "pipes", Hours: 100}), "100 h is more than any finished job of the past took (6 h). Are the hours right?")
	if v := c.ask(t, Inquiry{Kind: "pipes", Hours: 6}); len(v.Doubts()) != 1 {
		t.Errorf("want 6 h not doubted, have %q", v.Doubts())
	}
	c.asOf -= 2 // a Saturday
	wantSaid(t, c.ask(t, Inquiry{Kind: "pipes", Emergency: true}), "The shop is closed on Saturday, December 12: nobody begins on it before Monday, December 14.", "Best day to bring it in: Monday, December 14. Nobody can begin sooner, and it stands on the lot for 2 days less.")
}

// Nobody is told to keep at home what must not be put off.
func TestQuoteKeepsNoDangerAtHome(t *testing.T) {
	c := threeBays()
	for _, kind := range []string{"awning", "brakes"} {
		c.kinds[0] = kind
		if v := c.ask(t, Inquiry{Kind: kind, Hours: 6, PartsDays: 10}); strings.Contains(v.Say, "leave it at home") != (kind == "awning") || v.LotSaved < worthWaiting {
			t.Errorf("%s: have %q", kind, v.Say)
		}
	}
}

// Until the evening today is less and less to be counted on, and what came in
// the day stands ahead.
func TestQuoteInTheEvening(t *testing.T) {
	c := threeBays()
	c.visits = c.visits[:len(c.visits)-4]
	for _, q := range []struct {
		hour int
		days forecast.Date
	}{{0, 0}, {9, 0}, {16, 1}, {17, 1}, {22, 1}} {
		if v := c.ask(t, Inquiry{Kind: "pipes", Hours: 3, Hour: q.hour}); v.Ready.P50 != c.asOf+q.days {
			t.Errorf("at %d: want it ready %d days on, have %v", q.hour, q.days, v.Ready.P50)
		}
	}
	wantSaid(t, c.ask(t, Inquiry{Kind: "pipes", Hour: 21}), "Today's work is over: nobody begins on it before Tuesday, December 15.")
	for range 4 {
		c.now = append(c.now, visit{kind: 1, in: c.asOf, quoted: 6, parts: -1})
	}
	c.now = append(c.now, visit{kind: 1, in: c.asOf, ready: c.asOf, quoted: 6, parts: -1}, visit{kind: 1, in: c.asOf, declined: true, quoted: 6, parts: -1})
	// 24 h ahead at 12 h a day, from the next morning on.
	wantSaid(t, c.ask(t, Inquiry{Kind: "pipes", Hours: 3, Hour: 21}), "4 jobs, about 24 h, are ahead of it.", "by Thursday, December 17;")
	wantSaid(t, c.ask(t, Inquiry{Kind: "pipes", Hours: 3}), "Nothing that can be worked on is ahead of it.")
}

// A later day of drop-off meets the line of that day; on the best day, with its
// place kept, nothing is lost.
func TestQuoteForALaterDay(t *testing.T) {
	c := threeBays()
	for _, kind := range c.kinds[:2] {
		for _, parts := range []float64{-1, 0, 12} {
			now := c.ask(t, Inquiry{Kind: kind, Hours: 6, PartsDays: parts})
			if now.BringIn > now.Ready.P50 || now.BringIn < c.asOf || now.LotSaved != int(now.BringIn-c.asOf) {
				t.Errorf("%s: want to bring it in by %v, have %v", kind, now.Ready.P50, now.BringIn)
			}
			then := c.ask(t, Inquiry{Kind: kind, Hours: 6, PartsDays: parts, DropOff: now.BringIn, Held: true})
			if then.Ready.P50 > now.Ready.P50 || then.Ready.P80 > now.Ready.P80 || then.DropOff != now.BringIn {
				t.Errorf("%s: want it ready by %+v on the best day too, have %+v", kind, now.Ready, then.Ready)
			}
			if behind := c.ask(t, Inquiry{Kind: kind, Hours: 6, PartsDays: parts, DropOff: now.BringIn}); behind.Ready.P80 < then.Ready.P80 {
				t.Errorf("%s: want no sooner than with its place kept, have %+v", kind, behind.Ready)
			}
		}
	}
	if v := c.ask(t, Inquiry{Kind: "pipes", Hours: 18}); v.BringIn != c.asOf { // Marla begins at once, and works on it for three days
		t.Errorf("want it today, have %v", v.BringIn)
	}
	far := c.ask(t, Inquiry{Kind: "pipes", Hours: 3, DropOff: c.asOf + 100})
	if far.Ready.P50 < c.asOf+100 {
		t.Errorf("want it not ready before it is here, have %+v", far.Ready)
	}
	wantSaid(t, far, "If you bring it in on Wednesday, March 24, 2027, we expect to have it ready by")
	for _, bad := range []forecast.Date{c.asOf - 1, c.asOf + Bookable + 1} {
		if _, err := c.Quote(Inquiry{Kind: "pipes", DropOff: bad}); err == nil {
			t.Errorf("want %v refused", bad)
		}
	}
}

// Where the wait is mostly the part's, or only the last date's is, a quote says so.
func TestQuoteSaysItIsThePart(t *testing.T) {
	c := threeBays()
	c.visits = c.visits[:len(c.visits)-4]
	for i := range c.visits {
		if v := &c.visits[i]; i%8 == 0 { // of kind 0 each fourth waits for 30 days
			v.parts, v.ready = 30, v.in+31
		}
	}
	wantSaid(t, c.ask(t, Inquiry{Kind: "awning", Hours: 6, PartsDays: 20}), "Most of the wait is for its part, which comes in 20 days.")
	v := c.ask(t, Inquiry{Kind: "awning", Hours: 6, PartsDays: -1})
	wantSaid(t, v, "about 25 in 100 such jobs need one, and half of those wait 30 days or longer", "a part that it needs is ordered once it has been seen")

	c = threeBays()
	c.visits = c.visits[:len(c.visits)-4]
	for i := range c.visits {
		if v := &c.visits[i]; i%14 == 0 { // of kind 0 each seventh or sixth waits for 12 days
			v.parts, v.ready = 12, v.in+13
		}
	}
	// Without the part it is ready at once; with it Dwayne is off, until January 4.
	v = c.ask(t, Inquiry{Kind: "awning", Hours: 6, PartsDays: -1})
	wantSaid(t, v, "The 21 days between 8 and 9 in 10 are for the days on which Dwayne is off, and for jobs that need a part: about 17 in 100 such jobs need one, and half of those wait 12 days or longer.")
}

// What is said of quotes tried is of all kinds, and of the kind where it tells
// anything.
func TestQuoteRecord(t *testing.T) {
	share := func(v float64) *float64 { return &v }
	for _, c := range []struct {
		q    Quote
		want string
	}{
		{Quote{}, ""},
		{Quote{Kind: "awning", Kept80: share(.8), Tried: 291, KeptKind: share(.75), TriedKind: 32}, "Such a date was tried on 291 jobs of the past year, of all kinds: 80 % were ready by it. 32 of them were awning: 75 %."},
		{Quote{Kind: "awning", Kept80: share(.8), Tried: 291, KeptKind: share(.75), TriedKind: 32, partKnown: true}, "An 8 in 10 date given before anything is known of the part was tried on 291 jobs of the past year, of all kinds: 80 % were ready by it. 32 of them were awning: 75 %."},
		{Quote{Kind: "awning", Kept80: share(.8), Tried: 291, TriedKind: 1}, "Such a date was tried on 291 jobs of the past year, of all kinds: 80 % were ready by it. Only 1 of them was awning, too few to tell of that kind by itself."},
		{Quote{Kind: "awning", Kept80: share(.8), Tried: 291}, "Such a date was tried on 291 jobs of the past year, of all kinds: 80 % were ready by it. None of them was awning, so that nothing is known of that kind by itself."},
	} {
		if have := c.q.Record(); have != c.want {
			t.Errorf("want %q, have %q", c.want, have)
		}
	}
	c := threeBays()
	for i, v := range c.visits { // of kind 0 all are kept, of kind 1 half
		if v.ready != 0 {
			c.trials[i] = trial{days: []int{1}, pit: .5 + .5*float64(i%4/3)}
		}
	}
	v := c.ask(t, Inquiry{Kind: "awning"})
	if v.KeptKind == nil || *v.KeptKind != 1 || v.TriedKind*2 != v.Tried {
		t.Errorf("want all of its kind kept, have %+v", v)
	}
	if v = c.ask(t, Inquiry{Kind: "winterize"}); v.KeptKind != nil || v.TriedKind != 0 {
		t.Errorf("want nothing told of a kind without jobs, have %+v", v)
	}
}

// Of few jobs of a kind its usual hours are near theirs, of many their mean, of
// none that of all; and it says so.
func TestUsualHours(t *testing.T) {
	c := threeBays()
	few := []float64{1.2, 1.4, 1.6}
	for _, h := range few {
		c.visits = append(c.visits, visit{kind: 2, in: c.asOf - 20, ready: c.asOf - 19, clocked: h, parts: -1})
	}
	slices.SortStableFunc(c.visits, func(a, b visit) int { return int(a.in - b.in) })
	c.trials = make([]trial, len(c.visits))
	for _, q := range []struct {
		kind        string
		least, most float64
		from        string
	}{{"awning", 6, 6, "the mean of 36 finished jobs of this kind in two years"}, {"winterize", 1.4, 2.6, "from 3 finished jobs of this kind in two years, which are few, and a little from all others"}} {
		if v := c.ask(t, Inquiry{Kind: q.kind}); v.Hours < q.least || v.Hours > q.most || v.HoursFrom != q.from {
			t.Errorf("%s: want %v to %v h %q, have %v, %q", q.kind, q.least, q.most, q.from, v.Hours, v.HoursFrom)
		}
	}
	if v := threeBays().ask(t, Inquiry{Kind: "winterize"}); math.Abs(v.Hours-4.2) > .1 || !strings.Contains(v.HoursFrom, "from jobs of all kinds") { // the geometric mean of 6 and 3
		t.Errorf("want the middle of all, have %v %q", v.Hours, v.HoursFrom)
	}
	if v := c.ask(t, Inquiry{Kind: "winterize", Hours: 1}); v.HoursFrom != "" {
		t.Errorf("want nothing said of hours that were quoted, have %q", v.HoursFrom)
	}
}
