package forecast

import (
	"fmt"
	"math"
)

// Score tells how good the forecasts of one model were on history that it had
// not seen, beside the simple rule: the same step a season earlier. A measure
// that has nothing to be taken from, or to be divided by, is NaN or +Inf.
type Score struct {
	Model      string
	Origins    int     // origins from which a forecast was made
	Failed     int     // origins at which the model gave an error
	N          int     // values scored
	MASE       float64 // mean |error| over the mean seasonal difference known at the origin
	RuleMASE   float64 // MASE of the simple rule on the same values
	WAPE       float64 // sum of |error| over sum of |value|
	RuleWAPE   float64 // WAPE of the simple rule
	RMSSE      float64 // root mean squared error over that of one-step differences
	WIS        float64 // mean weighted interval score over the median, 80 and 95 % ranges
	Coverage80 float64 // share of values inside the 10 to 90 % range
	Coverage95 float64 // share inside the 2.5 to 97.5 % range
}

// RatioToRule is the model's mean absolute error over the simple rule's:
// below 1 the model is worth having.
func (s Score) RatioToRule() float64 { return s.WAPE / s.RuleWAPE }

// Origins gives n evenly spaced numbers of first steps to fit on, the last
// leaving h steps to score and none leaving fewer than least to fit on. It
// gives fewer than n where the history has no room for n different ones.
func Origins(length, least, h, n int) []int {
	last := length - h
	if last < least || n < 1 {
		return nil
	}
	n = min(n, last-least+1)
	out := make([]int, n)
	for i := range out {
		out[i] = last
		if n > 1 {
			out[i] = least + int(math.Round(float64(i)*float64(last-least)/float64(n-1)))
		}
	}
	return out
}

// Outcome is one forecast value set against what came.
type Outcome struct {
	Origin int // steps that the model had seen
	Step   int // steps ahead, from 1
	Actual float64
	Dist   Dist
	Rule   float64 // the simple rule's value, NaN where it has none
	Scale  float64 // mean |seasonal difference| before the origin, or of one step where there is none
	Scale1 float64 // mean squared one-step difference before the origin
}

// Backtest fits model on the first o steps for each o of origins and sets its
// forecast of the next h steps against what came. Nothing at or after the
// origin reaches the model. Steps not observed are skipped. Origins run on
// all cores; the outcomes are in order of origin and step, and their
// distributions as the model made them.
//
// It returns an error if no origin could be fitted, wrapping the last one.
func Backtest(model Model, s Series, h int, origins []int) (Score, []Outcome, error) {
	type result struct {
		out []Outcome
		err error
	}
	results := make([]result, len(origins))
	Together(len(origins), func(i int) error {
		results[i].out, results[i].err = outcomes(model, s, h, origins[i])
		return nil // the others are tried all the same
	})

	sc := Score{Model: model.String()}
	var all []Outcome
	var last error
	for _, r := range results {
		if r.err != nil {
			sc.Failed++
			last = r.err
			continue
		}
		sc.Origins++
		all = append(all, r.out...)
	}
	if sc.Origins == 0 {
		if last == nil {
			last = fmt.Errorf("need at least 1 origin, have 0")
		}
		return sc, nil, fmt.Errorf("forecast: backtest of %s: %w", model, last)
	}
	sc.add(all)
	return sc, all, nil
}

func outcomes(model Model, s Series, h, origin int) ([]Outcome, error) {
	past := s.Slice(0, origin)
	fit, err := model.Fit(past)
	if err != nil {
		return nil, err
	}
	f := fit.Forecast(h)
	lag := s.Lag()
	scale := SeasonalScale(past.Values, lag)
	if math.IsNaN(scale) {
		scale = SeasonalScale(past.Values, 1)
	}
	scale1 := meanSquaredDifference(past.Values)
	out := make([]Outcome, 0, h)
	for j := range h {
		if origin+j >= s.Len() {
			break
		}
		y := s.Values[origin+j]
		if math.IsNaN(y) {
			continue
		}
		out = append(out, Outcome{Origin: origin, Step: j + 1, Actual: y, Dist: f.Dists[j],
			Rule: seasonalRule(past.Values, j, lag), Scale: scale, Scale1: scale1})
	}
	return out, nil
}

// seasonalRule is the simple rule: the last observed value a whole number of
// seasons before step n+j, or the last observed value at all.
func seasonalRule(past []float64, j, lag int) float64 {
	n := len(past)
	for t := n + j - lag*(j/lag+1); t >= 0; t -= lag {
		if !math.IsNaN(past[t]) {
			return past[t]
		}
	}
	for t := n - 1; t >= 0; t-- {
		if !math.IsNaN(past[t]) {
			return past[t]
		}
	}
	return math.NaN()
}

func meanSquaredDifference(values []float64) float64 {
	sum, n := 0.0, 0
	for t := 1; t < len(values); t++ {
		if d := values[t] - values[t-1]; !math.IsNaN(d) {
			sum += d * d
			n++
		}
	}
	return sum / float64(n)
}

// Summarize scores outcomes gathered from Backtest, for example those of one
// number of steps ahead. Model, Origins and Failed are left for the caller.
func Summarize(out []Outcome) Score {
	var s Score
	s.add(out)
	return s
}

func (s *Score) add(out []Outcome) {
	s.N = len(out)
	var e, re, abs, scaled, ruleScaled, sq, in80, in95 float64
	nScaled, nSq := 0, 0
	for _, o := range out {
		f := o.Dist.Mean()
		d, rd := math.Abs(o.Actual-f), math.Abs(o.Actual-o.Rule)
		e += d
		re += rd
		abs += math.Abs(o.Actual)
		if o.Scale > 0 {
			scaled += d / o.Scale
			ruleScaled += rd / o.Scale
			nScaled++
		}
		if o.Scale1 > 0 {
			sq += d * d / o.Scale1
			nSq++
		}
		s.WIS += WIS(o.Dist, o.Actual, .8, .95)
		if o.Dist.Quantile(.1) <= o.Actual && o.Actual <= o.Dist.Quantile(.9) {
			in80++
		}
		if o.Dist.Quantile(.025) <= o.Actual && o.Actual <= o.Dist.Quantile(.975) {
			in95++
		}
	}
	n := float64(s.N)
	s.WAPE, s.RuleWAPE = e/abs, re/abs
	s.MASE, s.RuleMASE = scaled/float64(nScaled), ruleScaled/float64(nScaled)
	s.RMSSE = math.Sqrt(sq / float64(nSq))
	s.WIS /= n
	s.Coverage80, s.Coverage95 = in80/n, in95/n
}
