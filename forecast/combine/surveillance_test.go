package combine_test

import (
	"bytes"
	_ "embed"
	"encoding/csv"
	"math/rand/v2"
	"os/exec"
	"runtime"
	"sync"
	"testing"

	"freshet/forecast"
	"freshet/forecast/combine"
	"freshet/forecast/naive"
)

//go:embed testdata/surveillance.R
var surveillanceR string

// TestSurveillance forecasts 13 weeks from twelve origins of each weekly series
// of case counts that the R package surveillance carries (Salmon, Schumacher
// and Höhle 2016, Journal of Statistical Software 70), for which it needs R
// with that package. Many are small, so that inside is also told at random; see
// TestWeeklyCounts.
func TestSurveillance(t *testing.T) {
	if testing.Short() {
		t.Skip("half a minute; ten times as long under the race detector")
	}
	text, err := exec.Command("Rscript", "-e", surveillanceR).Output()
	if err != nil {
		t.Skip("needs R and its package surveillance: ", err)
	}
	r := csv.NewReader(bytes.NewReader(text))
	r.FieldsPerRecord = -1
	rows, err := r.ReadAll()
	if err != nil || len(rows) < 20 {
		t.Fatalf("need 20 series or more, have %d, %v", len(rows), err)
	}
	var (
		of    = make([][]forecast.Outcome, len(rows))
		ratio = make([]float64, len(rows))
		free  = make(chan struct{}, runtime.GOMAXPROCS(0))
		done  sync.WaitGroup
	)
	for i, row := range rows {
		var y []float64
		for _, c := range row[1:] {
			y = append(y, value(t, c))
		}
		s := forecast.Plain(y, 52.1775)
		free <- struct{}{}
		done.Go(func() {
			defer func() { <-free }()
			origins := forecast.Origins(s.Len(), 104, 13, 12)
			score, out, err := forecast.Backtest(combine.Auto{Counts: true}, s, 13, origins)
			if err != nil {
				t.Errorf("%s: %v", row[0], err)
			}
			rule, _, err := forecast.Backtest(naive.Seasonal{}, s, 13, origins)
			if err != nil {
				t.Errorf("%s: %v", row[0], err)
			}
			of[i], ratio[i] = out, score.WIS/rule.WIS
		})
	}
	done.Wait()
	var all, large []forecast.Outcome
	mean := 0.0
	for i, out := range of {
		mean += ratio[i] / float64(len(of))
		all = append(all, out...)
		for _, o := range out {
			if o.Dist.Quantile(.1) >= 5 {
				large = append(large, o)
			}
		}
	}
	in80, in95 := insideAtRandom(all, rand.New(rand.NewPCG(1, 2)))
	s, l := forecast.Summarize(all), forecast.Summarize(large)
	t.Logf("%d series: WIS over the rule's %.3f; %.3f and %.3f inside, at random %.3f and %.3f; where the 10 %% quantile is 5 or more %.3f and %.3f",
		len(of), mean, s.Coverage80, s.Coverage95, in80, in95, l.Coverage80, l.Coverage95)
	if mean > .75 {
		t.Errorf("want .75 of the rule's interval score, have %.3f", mean)
	}
	if in80 < .78 || in80 > .83 || in95 < .93 || in95 > .97 {
		t.Errorf("want .78 to .83 and .93 to .97 inside, have %.3f and %.3f", in80, in95)
	}
}
