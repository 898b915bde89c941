package desk

import (
	"math"

	"freshet/forecast"
	"freshet/forecast/naive"
)

// Move says what makes a week's expected drop-offs:
//
//	Level × Season × OpenDays / UsualDays × Rest = the mean
//
// It is a reading of the forecast beside the records, not of a model's inside,
// so that it says the same of whichever model was chosen.
type Move struct {
	Level     float64 // drop-offs a week lately, with time of year and closed days taken out
	Season    float64 // what this time of year brings, as a multiple of the year's mean; 1 where SeasonKnown is false
	OpenDays  float64
	UsualDays float64  // open days of a week without holidays
	Rest      float64  // the remainder: events, trend, and what the model thinks of the last weeks
	Events    []string // that touch the week
	Holidays  []string // that close the shop in it

	SeasonKnown bool
}

// lately is how many weeks the level is read from: half a year. leastOpen is
// the share of a week below which its drop-offs tell nothing of others.
const (
	lately    = 26
	leastOpen = .2
)

// moves reads what makes the weeks of an outlook, for the drop-offs of all
// kinds or of one.
func (s *shop) moves(dropOffs []float64, weeks []OutlookWeek) []Move {
	usual := s.calendar.UsualDays()
	open := func(monday forecast.Date) float64 { return s.calendar.OpenDays(monday, monday+forecast.Week) }
	full := make([]float64, len(dropOffs)) // as if every week were a usual one
	for t, v := range dropOffs {
		full[t] = math.NaN()
		if share := open(s.known.Total.At(t)) / usual; share >= leastOpen {
			full[t] = v / share
		}
	}
	past := s.known.Total.Like(s.known.Lasting(full))
	season := func(forecast.Date) float64 { return 1 }
	known := past.Len() >= past.Lag() && past.Observed() > 0
	if known {
		shape, mean := naive.Shape(past, usualWidth), 0.0
		for _, v := range shape {
			mean += v / float64(len(shape))
		}
		if known = mean > 0; known {
			season = func(monday forecast.Date) float64 {
				return shape.At(past, int(monday-past.Start)/forecast.Week) / mean
			}
		}
	}
	came, due := 0.0, 0.0
	for t, n := past.Len()-1, 0; t >= 0 && n < lately; t-- {
		if !math.IsNaN(past.Values[t]) {
			came += past.Values[t]
			due += season(past.At(t))
			n++
		}
	}
	out := make([]Move, len(weeks))
	for j, w := range weeks {
		m := Move{Season: season(w.Week), OpenDays: open(w.Week), UsualDays: usual, Rest: 1, SeasonKnown: known, Events: s.known.Events(w.Week, w.Week+forecast.Week)}
		for d := w.Week; d < w.Week+forecast.Week; d++ {
			if _, exception := s.calendar.Days[d]; !exception && s.calendar.Holiday(d) != "" {
				m.Holidays = append(m.Holidays, s.calendar.Holiday(d))
			}
		}
		if due > 0 {
			m.Level = came / due
		}
		if made := m.Level * m.Season * m.OpenDays / usual; made > 0 {
			m.Rest = w.DropOffs.Mean / made
		}
		out[j] = m
	}
	return out
}
