package theta

import (
	"bufio"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"freshet/forecast"
)

// monthly reads the M3 competition's monthly series (Makridakis and Hibon
// 2000), less their hold-outs, from the folder FRESHET_DATA or shared/data
// beside the tree.
func monthly(t testing.TB) [][]float64 {
	dir := os.Getenv("FRESHET_DATA")
	if dir == "" {
		dir = filepath.Join("..", "..", "..", "shared", "data")
	}
	f, err := os.Open(filepath.Join(dir, "m3", "train.csv"))
	if err != nil {
		t.Skip("need the M3 series: ", err)
	}
	defer f.Close()
	var out [][]float64
	lines := bufio.NewScanner(f)
	for lines.Scan() {
		var y []float64
		for _, c := range strings.Split(lines.Text(), ",")[1:] {
			if v, err := strconv.ParseFloat(c, 64); err == nil {
				y = append(y, v)
			}
		}
		out = append(out, y)
	}
	if err := lines.Err(); err != nil {
		t.Fatal(err)
	}
	return out
}

// TestM3 forecasts the last 18 months of each history from those before. R
// 4.2.2's forecast::thetaf 8.20 has a sMAPE of 14.240 and holds .755 and .891
// of the values in its 80 and 95 % ranges, by the same measure.
func TestM3(t *testing.T) {
	const h = 18
	for _, c := range []struct {
		model     forecast.Model
		mostSMAPE float64
	}{{Model{}, 14.27}, {Optimised{}, 14.05}} {
		sum, series, in80, in95, values := 0.0, 0.0, 0.0, 0.0, 0.0
		for _, y := range monthly(t) {
			n := len(y) - h
			f, err := c.model.Fit(forecast.Plain(y[:n], 12))
			if err != nil {
				t.Fatal(err)
			}
			next := f.Forecast(h)
			sum += forecast.SMAPE(y[n:], next.Means())
			series++
			for j, d := range next.Dists {
				values++
				if v := y[n+j]; math.Abs(v-d.Quantile(.5)) <= d.Quantile(.9)-d.Quantile(.5) {
					in80++
				}
				if v := y[n+j]; math.Abs(v-d.Quantile(.5)) <= d.Quantile(.975)-d.Quantile(.5) {
					in95++
				}
			}
		}
		have := sum / series
		t.Logf("%v: sMAPE %.3f, %.3f and %.3f in the 80 and 95 %% ranges", c.model, have, in80/values, in95/values)
		if !(have <= c.mostSMAPE) {
			t.Errorf("%v: want a sMAPE of %v or less, have %.3f", c.model, c.mostSMAPE, have)
		}
	}
}
