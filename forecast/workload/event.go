package workload

import (
	"math"
	"slices"
	"strings"

	"freshet/forecast"
	"freshet/forecast/counts"
)

// An Effect is what an event means for a forecast.
type Effect string

const (
	OneTime Effect = "one-time" // its weeks are left out of the season's shape
	Yearly  Effect = "yearly"   // comes back: its weeks of all years teach one effect, and the coming ones get it
	Known   Effect = "known"    // will come: widens the forecast, and moves it as past events of its name did
)

// Event is something that moved demand, or will. Days are included.
type Event struct {
	Name        string
	From, Until forecast.Date
	Effect      Effect
	Said        forecast.Date // the day on which it was first known; 0: always
}

// commonSpread is how far from none the logarithm of an event's effect may lie.
const commonSpread = .5

// eventColumns gives the known effects that events are. Those of one name
// share a column if any of them is Yearly or Known; OneTime events stand
// alone, and have one while they last: what a day to come will do isn't known
// on this one, and the weeks of one that is over are left out, see Lasting.
func (p Past) eventColumns() []counts.Column {
	var out []counts.Column
	byName, shared := map[string][]Event{}, p.shared()
	for _, e := range p.events {
		byName[foldName(e)] = append(byName[foldName(e)], e)
	}
	for _, e := range p.events {
		name := foldName(e)
		same := byName[name]
		c := counts.Column{Name: e.Name, Spread: commonSpread}
		switch {
		case !shared[name]:
			if e.From >= p.AsOf || e.Until < p.AsOf {
				continue
			}
			same = []Event{e}
		case same == nil:
			continue // its column is there
		default:
			delete(byName, name)
		}
		c.At = func(monday forecast.Date, step int) float64 {
			if touches(same, monday, monday+forecast.Date(step)) {
				return 1
			}
			return 0
		}
		out = append(out, c)
	}
	return out
}

// shared tells the names of events that come back, or will come.
func (p Past) shared() map[string]bool {
	out := map[string]bool{}
	for _, e := range p.events {
		out[foldName(e)] = out[foldName(e)] || e.Effect == Yearly || e.Effect == Known
	}
	return out
}

// Lasting gives values on Total's steps without the weeks that say nothing of
// others: those that an event touched which stands alone and is over are NaN.
func (p Past) Lasting(values []float64) []float64 {
	var once []Event
	shared := p.shared()
	for _, e := range p.events {
		if !shared[foldName(e)] && e.Until < p.AsOf {
			once = append(once, e)
		}
	}
	if once == nil {
		return values
	}
	out := slices.Clone(values)
	for t := range out {
		if touches(once, p.Total.At(t), p.Total.At(t+1)) {
			out[t] = math.NaN()
		}
	}
	return out
}

// Events gives the names of the events that touch days from one to before
// another, the returns of yearly ones too, each once.
func (p Past) Events(from, before forecast.Date) (names []string) {
	byName := map[string][]Event{}
	for _, e := range p.events {
		byName[foldName(e)] = append(byName[foldName(e)], e)
	}
	for _, e := range p.events {
		if same := byName[foldName(e)]; touches(same, from, before) {
			names = append(names, e.Name)
			delete(byName, foldName(e))
		}
	}
	return names
}

func foldName(e Event) string { return strings.ToLower(strings.TrimSpace(e.Name)) }

// touches says whether one of events, or the return of a yearly one, has a day
// from one day to before another.
func touches(events []Event, from, before forecast.Date) bool {
	for _, e := range events {
		if e.From < before && e.Until >= from {
			return true
		}
	}
	for year := from.Year() - 1; year <= (before - 1).Year(); year++ {
		if e, ok := returns(events, year); ok && e.From < before && e.Until >= from {
			return true
		}
	}
	return false
}

// returns gives the event that a year without one on record has by its yearly
// one: on the dates of the nearest year that has one, the later of two.
func returns(events []Event, year int) (Event, bool) {
	var out Event
	found, gap := false, 0
	for _, e := range events {
		away := year - e.From.Year()
		if away == 0 {
			return Event{}, false
		}
		away = max(away, -away)
		if e.Effect == Yearly && (!found || away < gap || away == gap && e.From > out.From) {
			out, found, gap = e, true, away
		}
	}
	t := out.From.Time()
	from := forecast.NewDate(year, t.Month(), t.Day())
	out.From, out.Until = from, from+out.Until-out.From
	return out, found
}
