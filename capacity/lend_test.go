package capacity

import (
	"testing"

	"freshet/forecast"
)

// spared gives a shop's weeks: 136 hours of four against the hours that arrive.
func spared(t *testing.T, hours ...float64) []Spared {
	t.Helper()
	p := storyPlan(level(hours...))
	_, all, err := Advise(p, outcome(t, p))
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// One shop is quiet while the other is flooded, and then the other way round:
// one technician goes there and comes back. level makes paths from 10 % below to
// 10 % above, so that 145 hours pass the crew's 136 on four paths of five and
// the 170 of one more on none.
func TestLend(t *testing.T) {
	north := spared(t, append(repeat(60, 4), repeat(145, 3)...)...)
	south := spared(t, append(repeat(145, 4), repeat(60, 3)...)...)
	loans := Lend([][]Spared{north, south})
	if len(loans) != 6 {
		t.Fatalf("want a loan in each week but the first, have %+v", loans)
	}
	for i, l := range loans {
		from := 0
		if i >= 3 {
			from = 1
		}
		if l.Monday != monday+forecast.Date(7*(i+1)) || l.From != from || l.To != 1-from {
			t.Errorf("have loan %+v", l)
		}
		near(t, "hours", l.Hours, 34, 1e-9)
		near(t, "borrower's chance before", l.Borrower.Before, .8, .05)
		near(t, "borrower's chance after", l.Borrower.After, 0, 0)
		near(t, "lender's chance after", l.Lender.After, 0, 0)
	}
	// What is said of the plans with the technician moved is true of them.
	moved := must[Plan](t)(WhatIf{AddTech: 1}.Apply(storyPlan(level(repeat(165, 4)...))))
	near(t, "chance with one more", spared(t, repeat(165, 4)...)[2].Helped, outcome(t, moved).ChanceShort[2], 1e-9)
}

// Nobody is lent by a shop that would be short then, to one that isn't short,
// nor where it helps too little; the worst off comes first, and the same lender
// goes on.
func TestLendWhom(t *testing.T) {
	week := func(n int, now, fewer, helped float64) Spared {
		return Spared{Monday: monday + forecast.Date(7*n), Hours: 34, Chance: fewer, Spares: fewer <= .2, Now: now, Short: now > .2, Helped: helped}
	}
	both := func(now, fewer, helped float64) []Spared {
		return []Spared{week(0, now, fewer, helped), week(1, now, fewer, helped), week(2, now, fewer, helped)}
	}
	full, content := both(.75, 1, .25), both(.15, .6, .01)
	for name, shops := range map[string][][]Spared{
		"nobody can":     {full, content},
		"nobody needs":   {both(0, .1, 0), content},
		"doesn't help":   {both(0, .1, 0), both(1, 1, .97)},
		"a shop alone":   {full},
		"no shop at all": {},
	} {
		if loans := Lend(shops); len(loans) > 0 {
			t.Errorf("%s: have %+v", name, loans)
		}
	}
	quiet := both(0, .05, 0)
	quieter := []Spared{week(0, 0, .01, 0), week(1, 0, .01, 0), week(2, 0, .1, 0)} // in the last week less quiet than quiet
	loans := Lend([][]Spared{both(.5, .9, .125), quieter, full, quiet})
	want := []Loan{
		{Monday: monday + 7, From: 3, To: 0, Hours: 34, Lender: Change{0, .05}, Borrower: Change{.5, .125}},
		{Monday: monday + 7, From: 1, To: 2, Hours: 34, Lender: Change{0, .01}, Borrower: Change{.75, .25}},
		{Monday: monday + 14, From: 3, To: 0, Hours: 34, Lender: Change{0, .05}, Borrower: Change{.5, .125}},
		{Monday: monday + 14, From: 1, To: 2, Hours: 34, Lender: Change{0, .1}, Borrower: Change{.75, .25}},
	}
	if len(loans) != len(want) {
		t.Fatalf("want %+v, have %+v", want, loans)
	}
	for i := range want {
		if loans[i] != want[i] {
			t.Errorf("want %+v, have %+v", want[i], loans[i])
		}
	}
	part := both(0, .1, 0)
	for i := range part {
		part[i].Hours = 17
	}
	half := Lend([][]Spared{part, both(.8, 1, .2)})
	near(t, "chance with half a technician", half[0].Borrower.After, .5, 1e-9)
}
