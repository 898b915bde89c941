// Package combine makes models of other models: the one that did best on the
// series' own history ([Best]), an average of several ([Average]), one whose
// ranges are held against a long past ([Calibrated]), one on logarithms or
// roots ([Log], [Root]), one that stays at 0 or more ([NonNegative]) or on whole
// numbers ([Whole]), that overlooks what can only be an error ([Cleaned]) or
// knows the last steps alone ([Recent]).
//
// [Auto] puts them together for any series at all, when nothing is known of it
// but its season's length. The package knows no dates: calendars and shops are
// for packages counts and workload. It refuses a series without a value.
//
// To use it: Auto{}.Fit(series), or list candidates in Best or Average; read
// from the warnings of the Forecast what was chosen and why.
package combine

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"freshet/forecast"
)

// Best is the candidate with the least weighted interval score over rolling
// origins of the series. An earlier candidate keeps its place unless a later
// one is better by Margin.
type Best struct {
	Candidates []forecast.Model
	H          int     // steps ahead to score; 0 stands for 13
	Origins    int     // rolling origins; 0 stands for 8
	Least      int     // steps to learn from at the first origin; 0 stands for two seasons
	Margin     float64 // 0 stands for 0.02, two percent
}

func (b Best) String() string {
	names := make([]string, len(b.Candidates))
	for i, c := range b.Candidates {
		names[i] = c.String()
	}
	return "best of " + strings.Join(names, ", ")
}

// Chosen is the fit of the best candidate, with the scores that it was chosen
// by. Scores are empty where the history was too short to compare.
type Chosen struct {
	forecast.Fit
	Model  forecast.Model
	Scores []forecast.Score // of the candidates that could be scored
	Steps  int              // ahead that were scored
	Why    error            // said in Forecast's Warnings
}

// unit names a series' steps.
func unit(s forecast.Series) string {
	if s.Step == forecast.Week {
		return "weeks"
	}
	return "steps"
}

// Fit scores the candidates and fits the best. With too little history to
// compare, or where none could be fitted at every origin, it is the first that
// fits. It returns an error without candidates, and those of all of them if none
// fits.
func (b Best) Fit(s forecast.Series) (forecast.Fit, error) {
	if len(b.Candidates) == 0 {
		return nil, errors.New("forecast: need at least 1 candidate to choose from, have 0")
	}
	if b.H == 0 {
		b.H = 13
	}
	if b.Origins == 0 {
		b.Origins = 8
	}
	if b.Least == 0 {
		b.Least = 2*s.Lag() + 1
	}
	if b.Margin == 0 {
		b.Margin = .02
	}
	origins := forecast.Origins(s.Len(), b.Least, b.H, b.Origins)
	out := &Chosen{Steps: b.H}
	best, least := 0.0, math.Inf(1)
	for _, m := range b.Candidates {
		if len(origins) < 2 {
			break
		}
		score, _, err := forecast.Backtest(m, s, b.H, origins)
		if err != nil || score.Failed > 0 || score.N == 0 {
			continue
		}
		out.Scores = append(out.Scores, score)
		least = min(least, score.WIS)
		if out.Model == nil || score.WIS < best*(1-b.Margin) {
			out.Model, best = m, score.WIS
		}
	}
	order := b.Candidates
	switch {
	case out.Model != nil:
		order = append([]forecast.Model{out.Model}, order...)
		near := ""
		if best > least {
			near = fmt.Sprintf("within %g %% of ", 100*b.Margin)
		}
		out.Why = fmt.Errorf("%s was chosen: %sthe smallest error of %d models on this history", out.Model, near, len(out.Scores))
	case len(origins) < 2:
		out.Why = fmt.Errorf("need %d %s of history to compare models, have %d: the first that fits was taken", b.Least+b.H+1, unit(s), s.Len())
	default:
		out.Why = fmt.Errorf("none of %d models can be fitted to every part of this history: the first that fits was taken", len(b.Candidates))
	}
	var failed error
	for _, m := range order {
		fit, err := m.Fit(s)
		if err == nil {
			out.Fit, out.Model = fit, m
			return out, nil
		}
		failed = errors.Join(failed, err)
	}
	return nil, failed
}

// Forecast gives the chosen fit's, with the reason for the choice among its
// warnings.
func (c *Chosen) Forecast(h int) forecast.Forecast {
	f := c.Fit.Forecast(h)
	f.Warnings = append(f.Warnings[:len(f.Warnings):len(f.Warnings)], c.Why)
	return f
}

// Parameters gives those of the chosen fit, if it can tell them.
func (c *Chosen) Parameters() map[string]float64 { return parameters(c.Fit) }
