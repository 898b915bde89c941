package ingest

import (
	"fmt"
	"strings"
	"testing"
)

// proposed writes the guesses of a layout for drop-offs.
func proposed(headers string, rows ...string) string {
	var sample [][]string
	for _, r := range rows {
		sample = append(sample, strings.Split(r, ","))
	}
	var out []string
	for _, p := range Propose(strings.Split(headers, ","), sample, DropOffs).Proposals(sample) {
		if p.Guessed {
			out = append(out, fmt.Sprintf("%s=%s", p.Header, p.Field))
		}
	}
	return strings.Join(out, " ")
}

// Where no name tells, cells do, for what is needed; and they speak against a
// name that only looks alike.
func TestCellsTell(t *testing.T) {
	for what, c := range map[string]struct {
		headers string
		rows    []string
		want    string
	}{
		"days and numbers": {"our key,when", []string{"a1,2026-03-14", "a2,2026-03-15", "a3,2026-03-16"}, "our key=ro_number when=dropped_off"},
		"a cell is blank":  {"our key,when", []string{"a1,2026-03-14", ",2026-03-15", "a3,"}, ""},
		"a number twice":   {"our key,when", []string{"a1,2026-03-14", "a1,2026-03-15", "a3,2026-03-16"}, "when=dropped_off"},
		"too few rows":     {"our key,when", []string{"a1,2026-03-14", "a2,2026-03-15"}, ""},
		"bare numbers":     {"our key,when", []string{"46000,1", "46001,1", "46002,1"}, "our key=ro_number"}, // 46000 is a day to a spreadsheet
		"the last word":    {"RO,Date In,Product category", []string{"1,2026-03-14,Tablet"}, "Product category=kind"},
		"mostly blank":     {"Date In,Repair ordr", []string{"2026-03-14,", "2026-03-15,", "2026-03-16,b"}, "Repair ordr=kind"},
		"text is no line":  {"RO,Date In,Partner", []string{"1,2026-03-14,Marlo"}, ""}, // spelt like the Spanish partida
		"prices are none":  {"Date In,Invoice Total,our key", []string{"2026-03-14,$366.15,a1", "2026-03-15,$20,a2", "2026-03-16,\u20ac9,a3"}, "our key=ro_number"},
	} {
		if got := proposed(c.headers, c.rows...); got != c.want {
			t.Errorf("%s: have %q, need %q", what, got, c.want)
		}
	}
}

// A column of prices is no column of hours, whatever it's called, but a wage is
// one of money.
func TestPricesAreNoHours(t *testing.T) {
	headers, sample := []string{"RO", "Date In", "clocked_hours"}, [][]string{{"1", "2026-03-14", "$120.00"}, {"2", "2026-03-15", ""}, {"3", "2026-03-15", "$88"}}
	if got := mapped(Propose(headers, sample, DropOffs)); strings.Contains(got, "clocked_hours") {
		t.Errorf("have %s", got)
	}
	sample[2][2], sample[1][2] = "1.5", "2"
	if got := mapped(Propose(headers, sample, DropOffs)); !strings.Contains(got, "clocked_hours") {
		t.Errorf("have %s", got)
	}
	if got := mapped(Propose([]string{"name", "weekly_hours", "hourly_cost"}, [][]string{{"Ansel", "40", "$31"}}, Crew)); !strings.Contains(got, "hourly_cost") {
		t.Errorf("have %s", got)
	}
	if got := mapped(Propose([]string{"name", "weekly_hours"}, [][]string{{"$am the 2nd", "40"}}, Crew)); !strings.Contains(got, "name") {
		t.Errorf("words with a currency's sign in them are no price: have %s", got)
	}
}

func TestProposalsSayWhy(t *testing.T) {
	sample := [][]string{{"1", "2026-03-14", "x", "roof"}, {"2", "2026-03-15", "x", "roof"}, {"3", "2026-03-15", "y", "slide"}, {"4", "", "z", ""}, {"5", "", "w", ""}}
	l, err := Propose([]string{"ro_number", "Date In", "Colour", "Their word"}, sample, DropOffs).With("Their word", "kind")
	if err != nil {
		t.Fatal(err)
	}
	got := fmt.Sprint(l.Proposals(sample))
	want := "[{ro_number ro_number false 1 it is the field's own name [1 2 3]} {Date In dropped_off false 1 it is a usual name for it [2026-03-14 2026-03-15]} " +
		"{Colour  false 0 nothing is known by this name [x y z]} {Their word kind false 1 it was said so [roof slide]}]"
	if got != want {
		t.Errorf("have %s\nneed %s", got, want)
	}
	// Of two that would do, one is left alone for the other's sake; and one that
	// a person said no to isn't unknown.
	l = Propose([]string{"ro_number", "Ticket #", "Date In", "Type", "Quoted $"}, nil, DropOffs)
	if l, err = l.With("Type", Ignore); err != nil {
		t.Fatal(err)
	}
	p := l.Proposals(nil)
	if p[1].Why != "another column holds what this name stands for" || p[3].Why != "it was said so" || p[4].Why != "its cells are amounts of money, which are not needed" {
		t.Errorf("have %q, %q and %q", p[1].Why, p[3].Why, p[4].Why)
	}
}
