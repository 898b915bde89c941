package desk

import (
	"context"
	"errors"
	"fmt"

	"freshet/forecast"
	"freshet/forecast/workload"
)

// Score is how outlooks would have turned out on the shop's own history.
type Score struct {
	Schema   int           `json:"schema"`
	AsOf     forecast.Date `json:"as_of"`
	DropOffs ScoreOf       `json:"drop_offs"`
	Hours    ScoreOf       `json:"hours"`
	Kinds    []ScoreOf     `json:"kinds"`
	Quotes   *ScoreQuotes  `json:"quotes"` // nil where the records don't tell of stays
	Alerts   *ScoreAlerts  `json:"alerts"` // nil where the records are too short to watch
	Warnings []string      `json:"warnings"`
}

// ScoreOf is the score of one quantity over all weeks ahead that were scored.
// The simple rule beside it is the same week last year.
type ScoreOf struct {
	Kind            string       `json:"kind,omitempty"`
	Origins         int          `json:"origins"`
	MASE            *float64     `json:"mase"`
	WAPE            *float64     `json:"wape"`
	Coverage80      *float64     `json:"coverage80"`
	RatioToLastYear *float64     `json:"ratio_to_last_year"`
	LastYearMASE    *float64     `json:"last_year_mase"`
	LastYearWAPE    *float64     `json:"last_year_wape"`
	Coverage95      *float64     `json:"coverage95"`
	Ahead           []ScoreAhead `json:"ahead,omitempty"`
}

// ScoreAhead is the score of one number of weeks ahead.
type ScoreAhead struct {
	Weeks           int      `json:"weeks"`
	WAPE            *float64 `json:"wape"`
	Coverage80      *float64 `json:"coverage80"`
	RatioToLastYear *float64 `json:"ratio_to_last_year"`
}

// How a score is made: over as much of the past as gives each season its say,
// from as many days, and with as many paths as coverage needs.
const (
	UsualOrigins = 26
	scoreYears   = 3
	scorePaths   = 500
)

// Score answers how good the outlooks would have been from so many days of the
// past.
func (d *Desk) Score(ctx context.Context, ask Ask, origins int) (Score, error) {
	s, err := d.load(ctx, ask)
	if err != nil {
		return Score{}, err
	}
	days := s.origins(ask.Weeks, origins)
	if len(days) == 0 {
		return Score{}, fmt.Errorf("need 2 years and %d weeks of records to score, have %d weeks", ask.Weeks, s.known.Total.Observed())
	}
	r, err := workload.Backtest(model(), s.book, ask.AsOf, days, ask.Weeks, scorePaths, ask.Seed)
	if err != nil {
		return Score{}, err
	}
	out := Score{Schema: 1, AsOf: ask.AsOf, DropOffs: scoreOf(r.DropOffs, ask.Weeks), Hours: scoreOf(r.Hours, ask.Weeks), Kinds: []ScoreOf{}, Warnings: append([]string{}, s.warnings...)}
	for _, k := range r.Kinds {
		row := scoreOf(k, ask.Weeks)
		row.Kind, row.Ahead = k.Name, nil
		out.Kinds = append(out.Kinds, row)
	}
	switch rows, err := d.QuoteRows(ctx, ask); {
	case errors.Is(err, ErrNoStays), errors.Is(err, ErrNoCrew):
		out.Warnings = append(out.Warnings, "Quotes can't be scored: "+err.Error()+".")
	case err != nil:
		return Score{}, err
	default:
		out.Quotes = scoreQuotes(rows)
	}
	out.Alerts, err = d.scoreAlerts(ctx, ask)
	return out, err
}

// origins gives n Mondays of the last years, each with two years of records
// before it and the weeks to score after it.
func (s *shop) origins(weeks, n int) []forecast.Date {
	t := s.known.Total
	least := max(2*t.Lag(), t.Len()-weeks-scoreYears*t.Lag())
	var out []forecast.Date
	for _, step := range forecast.Origins(t.Len(), least, weeks, n) {
		out = append(out, t.At(step))
	}
	return out
}

func scoreOf(r workload.Record, weeks int) ScoreOf {
	all := r.Ahead(1, weeks)
	out := ScoreOf{Origins: origins(r), MASE: forecast.Number(all.MASE), WAPE: forecast.Number(all.WAPE), Coverage80: forecast.Number(all.Coverage80),
		RatioToLastYear: forecast.Number(all.RatioToRule()), LastYearMASE: forecast.Number(all.RuleMASE), LastYearWAPE: forecast.Number(all.RuleWAPE), Coverage95: forecast.Number(all.Coverage95)}
	for _, h := range []int{1, 4, 8, 13, 26} {
		if h > weeks {
			break
		}
		a := r.Ahead(h, h)
		out.Ahead = append(out.Ahead, ScoreAhead{h, forecast.Number(a.WAPE), forecast.Number(a.Coverage80), forecast.Number(a.RatioToRule())})
	}
	return out
}

func origins(r workload.Record) int {
	seen := map[int]bool{}
	for _, o := range r.Outcomes {
		seen[o.Origin] = true
	}
	return len(seen)
}
