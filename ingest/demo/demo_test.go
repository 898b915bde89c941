package demo_test

import (
	"bytes"
	"math"
	"slices"
	"strings"
	"testing"

	"freshet/forecast"
	"freshet/ingest"
	"freshet/ingest/demo"
)

var today = forecast.NewDate(2026, 11, 23)

func TestSameSeedSameShop(t *testing.T) {
	write := func(seed uint64) string {
		var b bytes.Buffer
		for _, f := range demo.Generate(demo.SixYears(seed, today)).Files() {
			if err := f.Write(&b); err != nil {
				t.Fatal(err)
			}
		}
		return b.String()
	}
	three := write(3)
	if again := write(3); three != again {
		t.Error("one seed gave two shops")
	}
	if three == write(4) {
		t.Error("two seeds gave one shop")
	}
}

// A history that ends earlier is the beginning of a longer one: what the crew
// has done by a day doesn't depend on how long the simulation runs.
func TestHistoryGrowsAtItsEnd(t *testing.T) {
	spec := demo.SixYears(3, today)
	long := demo.Generate(spec)
	spec.Until -= 400
	short := demo.Generate(spec)
	if len(short.Lines) == 0 || len(short.Lines) >= len(long.Lines) {
		t.Fatalf("want fewer lines before %v than before %v, have %d and %d", spec.Until, today, len(short.Lines), len(long.Lines))
	}
	for i, s := range short.Lines {
		l := long.Lines[i]
		if s.RO != l.RO || s.DroppedOff != l.DroppedOff || s.Kind != l.Kind || s.Quoted != l.Quoted {
			t.Fatalf("line %d differs: %+v, %+v", i, s, l)
		}
		if s.Ready != 0 && s.Ready != l.Ready {
			t.Fatalf("line %d was ready on %v, and on %v", i, s.Ready, l.Ready)
		}
	}
}

// The truth is what it says: over many shops, mean weekly drop-offs and mean
// hours agree with LongRun and MeanHours.
func TestTruth(t *testing.T) {
	truths := demo.Truths()
	seen, want := make([]float64, 13), make([]float64, 13) // by four weeks
	hours, jobs := map[string]float64{}, map[string]float64{}
	const shops = 60
	for seed := range uint64(shops) {
		spec := demo.Spec{Seed: seed, From: forecast.NewDate(2023, 1, 2), Until: forecast.NewDate(2024, 1, 1)}
		for _, l := range demo.Generate(spec).Lines {
			if l.ComebackOf == 0 && l.DroppedOff < spec.From+52*7 {
				seen[int(l.DroppedOff-spec.From)/28]++
				if l.Ready != 0 {
					hours[l.Kind] += l.Clocked
					jobs[l.Kind]++
				}
			}
		}
	}
	for w := range 52 {
		monday := forecast.NewDate(2023, 1, 2) + forecast.Date(7*w)
		for _, k := range truths {
			want[w/4] += shops * k.LongRun(monday)
		}
	}
	total, totalWant := 0.0, 0.0
	for m := range seen {
		total += seen[m]
		totalWant += want[m]
	}
	// A year's level has a standard deviation of 6 %, over 60 shops 0.8 %.
	if math.Abs(total/totalWant-1) > .04 {
		t.Errorf("want %.0f drop-offs, have %.0f", totalWant, total)
	}
	for m := range seen {
		if math.Abs(seen[m]/want[m]-1) > .15 { // years come early and late
			t.Errorf("four weeks %d: want %.0f drop-offs, have %.0f", m+1, want[m], seen[m])
		}
	}
	for _, k := range truths {
		if have := hours[k.Kind] / jobs[k.Kind]; math.Abs(have/k.MeanHours-1) > .12 {
			t.Errorf("%s: want %.1f h a job, have %.1f", k.Kind, k.MeanHours, have)
		}
	}
}

// The odd year's spring is quiet and its late summer full.
func TestOddYear(t *testing.T) {
	spring, summer := 0.0, 0.0
	for seed := range uint64(20) {
		for _, odd := range []int{2023, 0} {
			sign := 1.0
			if odd == 0 {
				sign = -1
			}
			for _, l := range demo.Generate(demo.Spec{Seed: seed, From: forecast.NewDate(2023, 1, 1), Until: forecast.NewDate(2023, 10, 1), OddYear: odd}).Lines {
				switch d := l.DroppedOff.Time().YearDay(); {
				case d >= 90 && d < 165:
					spring += sign
				case d >= 215 && d < 257:
					summer += sign
				}
			}
		}
	}
	if spring > -1000 || summer < 1000 {
		t.Errorf("want about 100 fewer a spring and 70 more a late summer in each of 20 shops, have %+.0f and %+.0f", spring, summer)
	}
}

// Ready dates follow from the load: nobody works on a closed day or before a
// part is in, and the crew clocks no more hours than it is paid for.
func TestBench(t *testing.T) {
	shop := demo.Generate(demo.SixYears(5, today))
	byDay := map[forecast.Date]int{}
	clocked := 0.0
	for _, l := range shop.Lines {
		clocked += l.Clocked
		if l.Ready == 0 {
			continue
		}
		byDay[l.Ready]++
		if l.Ready < l.DroppedOff || l.PickedUp != 0 && l.PickedUp < l.Ready {
			t.Fatalf("days run backwards: %+v", l)
		}
		if wd := l.Ready.Weekday(); wd == 0 || wd == 6 {
			t.Fatalf("ready on a weekend: %+v", l)
		}
		if l.PartsWait > 0 && l.Ready < l.DroppedOff+forecast.Date(l.PartsWait) {
			t.Fatalf("ready before its part: %+v", l)
		}
	}
	paid := 0.0
	for _, tech := range shop.Crew {
		paid += tech.WeeklyHours * float64(today-shop.Spec.From) / 7
	}
	if clocked > .92*paid || clocked < .5*paid {
		t.Errorf("the crew clocked %.0f of %.0f paid hours", clocked, paid)
	}
	if byDay[forecast.NewDate(2025, 12, 26)] > 0 || byDay[forecast.NewDate(2025, 7, 4)] > 0 {
		t.Error("someone worked on a closed day")
	}
}

// The files are read by the shop's own way in, without a reject.
func TestFilesAreRead(t *testing.T) {
	shop := demo.Generate(demo.SixYears(2, today))
	for _, f := range shop.Files() {
		var b strings.Builder
		if err := f.Write(&b); err != nil {
			t.Fatal(err)
		}
		sheet, err := ingest.Open(f.Name, strings.NewReader(b.String()))
		if err != nil {
			t.Fatal(err)
		}
		layout := ingest.Propose(sheet.Headers, sheet.Sample, ingest.RowKind(f.Kind))
		if len(layout.Guesses) > 0 || slices.Contains(layout.Missing(), "name") {
			t.Errorf("%s: want every header known, have %v", f.Name, layout.Guesses)
		}
		rows, err := sheet.Read(layout, today)
		if err != nil {
			t.Fatal(err)
		}
		n := 0
		for rows.Next() {
			if bad := rows.Reject(); bad != nil {
				t.Fatal(bad)
			}
			n++
		}
		if err := rows.Err(); err != nil || n == 0 {
			t.Errorf("%s: %d rows, %v", f.Name, n, err)
		}
		if f.Kind == "drop-offs" && n != len(shop.Lines) {
			t.Errorf("want %d lines, have %d", len(shop.Lines), n)
		}
	}
}
