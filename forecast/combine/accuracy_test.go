package combine_test

import (
	"encoding/csv"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"freshet/forecast"
	"freshet/forecast/combine"
	"freshet/forecast/naive"
)

// open opens a file of the open data that isn't kept with the source, in the
// folder FRESHET_DATA or shared/data beside the tree.
func open(t testing.TB, name ...string) [][]string {
	dir := os.Getenv("FRESHET_DATA")
	if dir == "" {
		dir = filepath.Join("..", "..", "..", "shared", "data")
	}
	f, err := os.Open(filepath.Join(append([]string{dir}, name...)...))
	if errors.Is(err, fs.ErrNotExist) {
		t.Skip("the open data isn't here: ", err)
	}
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.FieldsPerRecord = -1
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows
}

// monthly reads the M3 competition's monthly series (Makridakis and Hibon
// 2000), or their hold-outs.
func monthly(t testing.TB, name string) [][]float64 {
	var out [][]float64
	for _, row := range open(t, "m3", name) {
		var y []float64
		for _, c := range row[1:] {
			y = append(y, value(t, c))
		}
		out = append(out, y)
	}
	return out
}

func value(t testing.TB, s string) float64 {
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// accuracy is the mean sMAPE over series, and the score of all values.
func accuracy(t testing.TB, m forecast.Model, past, next [][]float64) (smape float64, s forecast.Score) {
	var all []forecast.Outcome
	for i, y := range past {
		whole := forecast.Plain(append(append([]float64{}, y...), next[i]...), 12)
		_, out, err := forecast.Backtest(m, whole, len(next[i]), []int{len(y)})
		if err != nil {
			t.Fatal(err)
		}
		var f []float64
		for _, o := range out {
			f = append(f, o.Dist.Mean())
		}
		smape += forecast.SMAPE(next[i], f) / float64(len(past))
		all = append(all, out...)
	}
	return smape, forecast.Summarize(all)
}

// TestM3 forecasts the last 18 months of every fourteenth training part from
// those before: what Auto was settled on.
func TestM3(t *testing.T) {
	var past, next [][]float64
	for i, y := range monthly(t, "train.csv") {
		if i%14 == 0 {
			n := len(y) - 18
			past, next = append(past, y[:n]), append(next, y[n:])
		}
	}
	smape, s := accuracy(t, combine.Auto{}, past, next)
	t.Logf("sMAPE %.3f, MASE %.3f, %.3f and %.3f inside", smape, s.MASE, s.Coverage80, s.Coverage95)
	if smape > 13 || s.MASE > .78 || s.MASE > .75*s.RuleMASE {
		t.Errorf("want a sMAPE to 13 and a MASE to .78 (rule %.3f), have %.3f and %.3f", s.RuleMASE, smape, s.MASE)
	}
	if s.Coverage80 < .78 || s.Coverage80 > .83 || s.Coverage95 < .93 || s.Coverage95 > .97 {
		t.Errorf("want .78 to .83 and .93 to .97 inside, have %.3f and %.3f", s.Coverage80, s.Coverage95)
	}
}

// BenchmarkM3 forecasts the hold-outs of all 1,428 series from their training
// parts, as the competition did. Published: Theta 13.89, and a MASE of .848
// for the best.
func BenchmarkM3(b *testing.B) {
	past, next := monthly(b, "train.csv"), monthly(b, "test.csv")
	for b.Loop() {
		smape, s := accuracy(b, combine.Auto{}, past, next)
		b.ReportMetric(smape, "sMAPE")
		b.ReportMetric(s.MASE, "MASE")
		b.ReportMetric(s.Coverage80, "in80")
		b.ReportMetric(s.Coverage95, "in95")
	}
}

// TestParks forecasts the monthly overnight stays in recreational vehicles in
// six US national parks, 12 months ahead from every eleventh month of 2007 to
// 2022: after the years on which Auto was settled.
func TestParks(t *testing.T) {
	if testing.Short() {
		t.Skip("seconds; ten times as many under the race detector")
	}
	rows := open(t, "nps", "rv_campers_monthly.csv")
	parks := map[string][]float64{}
	for _, row := range rows[1:] {
		parks[row[0]] = append(parks[row[0]], value(t, row[7]))
	}
	first := forecast.Origins((2023-1979)*12, (2007-1979)*12, 12, 1+(2022-2007)*12/11)
	var all []forecast.Outcome
	wis, ruleWIS := 0.0, 0.0
	for name, y := range parks {
		s := forecast.Plain(y, 12)
		score, out, err := forecast.Backtest(combine.Auto{NonNegative: true}, s, 12, first)
		if err != nil {
			t.Fatal(err)
		}
		rule, _, err := forecast.Backtest(naive.Seasonal{}, s, 12, first)
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("%s: WAPE %.3f (rule %.3f), WIS %.0f (rule %.0f)", name, score.WAPE, score.RuleWAPE, score.WIS, rule.WIS)
		all = append(all, out...)
		wis += score.WIS
		ruleWIS += rule.WIS
	}
	s := forecast.Summarize(all)
	t.Logf("all: WAPE %.4f (rule %.4f), WIS over the rule's %.3f, %.3f and %.3f inside", s.WAPE, s.RuleWAPE, wis/ruleWIS, s.Coverage80, s.Coverage95)
	if s.WAPE > s.RuleWAPE || wis > .8*ruleWIS {
		t.Errorf("want an error below the rule's %.4f and .8 of its interval score, have %.4f and %.3f", s.RuleWAPE, s.WAPE, wis/ruleWIS)
	}
	if s.Coverage80 < .78 || s.Coverage80 > .83 || s.Coverage95 < .93 || s.Coverage95 > .97 {
		t.Errorf("want .78 to .83 and .93 to .97 inside, have %.3f and %.3f", s.Coverage80, s.Coverage95)
	}
}
