package workers

import (
	"encoding/json"
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"freshet/capacity"
	"freshet/cmd/freshet/internal/desk"
	"freshet/forecast"
	"freshet/forecast/counts"
	"freshet/forecast/workload"
	"freshet/ingest/store"
)

// hand makes workers of a group whose clock stands.
func hand(t *testing.T, g *store.Group, now time.Time) Config {
	t.Helper()
	c := testConfig(g, func() time.Time { return now })
	var err error
	if c.hands, err = NewHands(g); err != nil {
		t.Fatal(err)
	}
	return c
}

// wanted gives the work of shops that is asked for, by shop and why.
func wanted(t *testing.T, g *store.Group) (all []string) {
	t.Helper()
	rows, err := g.Pool().Query(t.Context(), "SELECT args->>'shop', args->>'why' FROM freshet.river_job WHERE kind = 'shop' ORDER BY id")
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	for rows.Next() {
		var shop, why string
		if err := rows.Scan(&shop, &why); err != nil {
			t.Fatal(err)
		}
		all = append(all, shop+" "+why)
	}
	return all
}

// TestLend has shops of one area lend each other a technician and nobody else,
// and forgets what held before.
func TestLend(t *testing.T) {
	ctx := t.Context()
	monday := forecast.NewDate(2026, 11, 30)
	g, _ := group(t, 4, 1, monday.Time())
	w := &gatherWorker{Config: hand(t, g, monday.Time())}
	// brief has a shop short, or with somebody to spare, in the third week.
	brief := func(shop string, short bool) {
		t.Helper()
		b := desk.Brief{Shop: shop, AsOf: monday}
		for j := range 4 {
			week := monday + forecast.Date(7*j)
			s := capacity.Spared{Monday: week, Hours: 34, Chance: .9, Now: .1, Helped: .1}
			if j == 2 {
				s.Short, s.Spares = short, !short
				if s.Chance = .05; short {
					s.Now, s.Helped = .8, .2
				}
			}
			b.Weeks = append(b.Weeks, desk.BriefWeek{Week: week, Hours: forecast.Unknown(), AvailableHours: &s.Hours, ChanceShort: &s.Now})
			b.Spare = append(b.Spare, s)
		}
		if err := keep(ctx, g, shop, b, monday.Time()); err != nil {
			t.Fatal(err)
		}
	}
	loans := func() (all []store.Loan) {
		t.Helper()
		if err := w.Work(ctx, nil); err != nil {
			t.Fatal(err)
		}
		all, err := g.Loans(ctx, "", 100)
		if err != nil {
			t.Fatal(err)
		}
		return all
	}
	for shop, area := range map[string]string{"shop0": "north", "shop1": "north", "shop2": "south", "shop3": "south"} {
		if err := g.SetArea(ctx, shop, area); err != nil {
			t.Fatal(err)
		}
	}
	brief("shop0", true)
	brief("shop2", false)
	if have := loans(); have != nil {
		t.Errorf("lent from one area to the other: %v", have)
	}
	brief("shop1", false)
	have := loans()
	if len(have) != 1 || have[0].Lender != "shop1" || have[0].Borrower != "shop0" || have[0].Monday != monday+14 {
		t.Fatalf("want shop1 to lend shop0 in the third week, have %v", have)
	}
	var l capacity.Loan
	if err := json.Unmarshal(have[0].Loan, &l); err != nil || l.Hours != 34 || l.Borrower.Before != .8 || l.Lender.After != .05 {
		t.Errorf("have %+v, %v", l, err)
	}
	brief("shop0", false)
	if have := loans(); have != nil {
		t.Errorf("still lent when nobody is short: %v", have)
	}
	if have := wanted(t, g); have != nil {
		t.Errorf("work is asked for where nobody teaches: %v", have)
	}
}

// TestTeach has a young shop borrow from the grown ones of its area, and get its
// report anew with it; from then on once a week, and only what is new.
func TestTeach(t *testing.T) {
	ctx := t.Context()
	monday := forecast.NewDate(2026, 11, 30)
	g, _ := group(t, 3, 1, monday.Time())
	for shop, area := range map[string]string{"shop0": "north", "shop1": "north", "shop2": "south"} {
		if err := g.SetArea(ctx, shop, area); err != nil {
			t.Fatal(err)
		}
	}
	gather := func(day forecast.Date) {
		t.Helper()
		if err := (&gatherWorker{Config: hand(t, g, day.Time())}).Work(ctx, nil); err != nil {
			t.Fatal(err)
		}
	}
	// brief keeps one, of a shop that teaches a season where that isn't 0.
	brief := func(shop string, day forecast.Date, season float64) {
		t.Helper()
		b := desk.Brief{Shop: shop, AsOf: day, Weeks: []desk.BriefWeek{{Week: day.Monday(), Hours: forecast.Unknown()}}}
		if season != 0 {
			b.Lesson = &workload.Lesson{AsOf: day, Total: lesson(t, season), Kinds: []workload.KindLesson{{Name: "brakes", Jobs: 1000, Hours: []float64{1, 2, 3}}}}
		}
		if err := keep(ctx, g, shop, b, day.Time()); err != nil {
			t.Fatal(err)
		}
	}
	borrowed := func(shop string) (s workload.Siblings, text string) {
		t.Helper()
		db, err := g.Open(ctx, shop)
		if err != nil {
			t.Fatal(err)
		}
		defer db.Close()
		if text, err = db.Setting(ctx, desk.SettingSiblings, ""); err != nil {
			t.Fatal(err)
		}
		if text != "" {
			if err := json.Unmarshal([]byte(text), &s); err != nil {
				t.Fatal(err)
			}
		}
		return s, text
	}
	brief("shop0", monday, .5)
	brief("shop1", monday, 0)
	brief("shop2", monday, 0)
	gather(monday)
	s, first := borrowed("shop1")
	if s.Shops != 1 || s.AsOf != monday {
		t.Errorf("want what one shop of %v teaches, have %+v", monday, s)
	}
	for _, shop := range []string{"shop0", "shop2"} { // grown; of another area
		if _, text := borrowed(shop); text != "" {
			t.Errorf("%s borrows %s", shop, text)
		}
	}
	want := []string{"shop1 anew"}
	if have := wanted(t, g); !slices.Equal(have, want) {
		t.Errorf("want %v, have %v", want, have)
	}
	for day := monday + 1; day < monday+stale; day += 3 { // nothing new for a week, though more is known
		brief("shop0", day, .8)
		brief("shop1", day, 0)
		gather(day)
	}
	if _, text := borrowed("shop1"); text != first {
		t.Error("it borrows anew within the week")
	}
	brief("shop0", monday+stale, .8)
	brief("shop1", monday+stale, 0)
	gather(monday + stale)
	if s, text := borrowed("shop1"); text == first || s.AsOf != monday+stale {
		t.Errorf("after a week it still borrows what it did: %v", s.AsOf)
	}
	if have := wanted(t, g); !slices.Equal(have, append(want, want...)) {
		t.Errorf("want its work asked for twice, have %v", have)
	}

	// What is wrong with one shop holds back no other.
	db, err := g.Open(ctx, "shop1")
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if err := errors.Join(db.Set(ctx, desk.SettingSiblings, "broken"), g.SetArea(ctx, "shop2", "north")); err != nil {
		t.Fatal(err)
	}
	if err := (&gatherWorker{Config: hand(t, g, (monday + stale).Time())}).Work(ctx, nil); err == nil || !strings.Contains(err.Error(), "shop1: ") {
		t.Errorf("want it said, have %v", err)
	}
	if s, _ := borrowed("shop2"); s.Shops != 1 {
		t.Errorf("want it taught all the same, have %+v", s)
	}
}

// lesson is what a fit of four years of weekly counts with a season teaches.
func lesson(t *testing.T, season float64) counts.Lesson {
	t.Helper()
	f, err := counts.Model{}.Fit(yearly(4, season))
	if err != nil {
		t.Fatal(err)
	}
	return f.(*counts.Fit).Lesson()
}

// yearly is so many years of weekly counts with a season of that strength.
func yearly(years int, season float64) forecast.Series {
	values := make([]float64, 52*years)
	for i := range values {
		values[i] = math.Round(20 * math.Exp(season*math.Sin(2*math.Pi*float64(i)/forecast.WeeksAYear)))
	}
	return forecast.Plain(values, forecast.WeeksAYear)
}
