package combine

import (
	"errors"
	"fmt"
	"math"

	"freshet/forecast"
	"freshet/forecast/counts"
	"freshet/forecast/ets"
	"freshet/forecast/harmonic"
	"freshet/forecast/naive"
	"freshet/forecast/stl"
	"freshet/forecast/theta"
)

// Auto chooses by what the series is: for values an equal average of models
// that see a series differently, on the logarithms or square roots where the
// values allow, its ranges held against the past where that is long, and
// without values that can only be errors (Cleaned); for counts, unless they are
// small, between the ranges of that average and of the count model, nearer the
// average's; the count model alone for small counts. It says in the warnings
// what it took and why.
//
// What to average was settled once, on histories with their ends held out
// (the M3 competition's monthly training parts; park visitors before 2007),
// and not by the series at hand: a choice by a few origins of one short
// history follows its noise. On M3, weights by the errors of an earlier origin
// gained .2 to .3 % over equal ones, for a second fit of everything.
//
// Over the last 18 training months of every seventh M3 series the 80 and 95 %
// ranges held 80 and 95 % of the values; over the competition's own hold-out,
// which nothing was settled on, 81 and 95 % (BenchmarkM3).
type Auto struct {
	// Counts says that values are counts: whole numbers of 0 or more.
	Counts bool
	// NonNegative says that values can't be negative. No forecast is, then.
	NonNegative bool
}

func (a Auto) String() string {
	name := "auto"
	if a.Counts {
		name += " of counts"
	}
	if a.NonNegative {
		name += ", never negative"
	}
	return name
}

// Fit chooses and fits; the Fit is a *Chosen. It returns an error if the
// series fails Check, or if a value isn't what Counts or NonNegative says.
func (a Auto) Fit(s forecast.Series) (forecast.Fit, error) {
	if err := s.Check(); err != nil {
		return nil, err
	}
	for t, v := range s.Values {
		switch {
		case a.Counts && (v < 0 || v != math.Floor(v) && !math.IsNaN(v)):
			return nil, fmt.Errorf("forecast: need counts, have %v at step %d", v, t+1)
		case a.NonNegative && v < 0:
			return nil, fmt.Errorf("forecast: need values of 0 or more, have %v at step %d", v, t+1)
		}
	}
	m, why := a.choose(s)
	fit, err := m.Fit(s)
	if err != nil {
		return nil, err
	}
	return &Chosen{Fit: fit, Model: m, Why: why}, nil
}

// leastValues is the least history for a model with a level and a trend.
const leastValues = 8

// choose gives the model and the reason for it.
func (a Auto) choose(s forecast.Series) (forecast.Model, error) {
	if errors := blunders(s); len(errors) > 0 {
		s = without(s, errors)
	}
	n, sum, low, high := 0, 0.0, math.Inf(1), math.Inf(-1)
	for _, v := range s.Values {
		if !math.IsNaN(v) {
			n++
			sum += v
			low, high = min(low, v), max(high, v)
		}
	}
	switch {
	case n < leastValues:
		return a.never(Cleaned{scarce{a.Counts}}), fmt.Errorf("need %d values to choose a model, have %d: their mean, in a wide range, stands for every step", leastValues, n)
	case a.Counts && (sum < few*float64(n) || low == high):
		return counts.Model{}, errors.New("the count model was taken, since the values are small counts")
	case low == high:
		return Cleaned{naive.Mean{}}, fmt.Errorf("all %d values are the same, and so is the forecast: its range is empty", n)
	}
	models := members(s, low, low >= 0 && low < deep*sum/float64(n))
	var m forecast.Model = Cleaned{Average{Models: models, Trim: middle}}
	if a.Counts {
		return Whole{Average{Models: []forecast.Model{counts.Model{}, m}, Weights: []float64{1, 2}, Quantiles: true}}, fmt.Errorf(
			"the count model was taken for a third, and the average of %d models of values for the rest", len(models))
	}
	if lag := s.Lag(); lag > 1 && n >= longHistory*lag {
		m = Cleaned{Calibrated{Of: Average{Models: models, Trim: middle}}}
	}
	return a.never(m), fmt.Errorf(
		"the average of %d models was taken, for %d values of %g to %g with a season of %g steps", len(models), n, low, high, s.Period)
}

// never gives m, held at 0 or more if the values are.
func (a Auto) never(m forecast.Model) forecast.Model {
	if a.NonNegative && !a.Counts {
		return NonNegative{m}
	}
	return m
}

const (
	few        = 2   // the least mean of counts that can be seen as values
	deep       = .05 // of the mean: a least value below it is nearly nothing
	middle     = .25 // the mean is that of the pool's middle half
	longSeason = ets.MaxPeriod
	// longHistory is the seasons from which on ranges are held against it.
	longHistory = 15
)

// members gives the models that suit a series whose least value is low, and
// nearly nothing if deep.
func members(s forecast.Series, low float64, deep bool) []forecast.Model {
	var (
		theta = theta.Optimised{}
		level = ets.Model{Error: ets.Additive, Trend: ets.None}
		trend = ets.Model{Error: ets.Additive, Trend: ets.Damped}
		waves = harmonic.Model{}
		parts = func(years int) forecast.Model {
			return stl.Model{Of: theta, Settings: stl.Settings{Season: stl.Smoother{Window: years}}}
		}
		lag = s.Lag()
		// A season that never changes is learned from what is recent.
		still = func(m forecast.Model) forecast.Model { return Recent{m, max(10*lag, 120)} }
		on    = func(m forecast.Model) forecast.Model { return m }
	)
	switch {
	case deep:
		on = func(m forecast.Model) forecast.Model { return Root{m} }
	case low > 0:
		on = func(m forecast.Model) forecast.Model { return Log{m} }
	}
	switch {
	case lag == 1 && low < 0:
		return []forecast.Model{theta, trend, level, waves}
	case lag == 1:
		return []forecast.Model{theta, on(trend), on(level), waves, on(waves)}
	case lag > longSeason && s.Observed() <= lag: // nothing to take a season from
		level.Season, trend.Season = ets.None, ets.None
		return []forecast.Model{theta, on(trend), on(level), on(waves), on(naive.Seasonal{})}
	case lag > longSeason:
		return []forecast.Model{on(parts(7)), on(parts(13)), still(on(waves)), on(naive.Seasonal{})}
	case deep: // a season that doesn't change would be too high where it is 0
		return []forecast.Model{on(level), on(parts(7)), on(parts(5)), on(naive.Seasonal{})}
	case low > 0:
		return []forecast.Model{still(theta), on(trend), on(level), still(waves), still(on(waves)), on(parts(13))}
	}
	return []forecast.Model{still(theta), trend, level, still(waves), parts(13), naive.Seasonal{}}
}
