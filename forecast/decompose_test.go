package forecast_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"freshet/forecast"
	"freshet/forecast/forecasttest"
)

// The decompose_* references are R 4.2.2's stats::decompose on series of R's
// datasets package.
func TestDecomposeAgainstR(t *testing.T) {
	for _, name := range []string{"AirPassengers", "UKgas", "nottem", "USAccDeaths", "co2"} {
		values, period := forecasttest.DataSet(t, name)
		for kind, multiplicative := range map[string]bool{"add": false, "mul": true} {
			d, err := forecast.Decompose(forecast.Plain(values, period), multiplicative)
			if err != nil {
				t.Fatal(err)
			}
			forecasttest.Ref(t, "decompose_"+name+"_"+kind+"_figure").Equal(t, d.Figure()...)
			ref := forecasttest.Ref(t, "decompose_"+name+"_"+kind+"_trend")
			var data struct{ At []int }
			ref.Into(t, &data)
			var have []float64
			for _, i := range data.At {
				have = append(have, d.Trend.Values[i-1])
			}
			ref.Equal(t, have...)
		}
	}
}

func TestDecomposeAddsUp(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	for _, period := range []float64{2, 5, 12, 52.18} {
		v := make([]float64, 3*int(period)+3)
		for i := range v {
			v[i] = 50 + 40*rng.Float64()
		}
		v[len(v)/2] = math.NaN()
		s := forecast.Plain(v, period)
		m := s.Lag()
		for _, multiplicative := range []bool{false, true} {
			d, err := forecast.Decompose(s, multiplicative)
			if err != nil {
				t.Fatal(err)
			}
			for i, y := range v {
				tr, se, re := d.Trend.Values[i], d.Seasonal.Values[i], d.Remainder.Values[i]
				if math.IsNaN(se) {
					t.Fatalf("period %v: no seasonal at %d", period, i)
				}
				if inside := i >= m/2 && i < len(v)-m/2; math.IsNaN(tr) == inside {
					t.Fatalf("period %v: trend at %d is %v", period, i, tr)
				}
				if math.IsNaN(re) != (math.IsNaN(tr) || math.IsNaN(y)) {
					t.Fatalf("period %v: remainder at %d is %v", period, i, re)
				}
				sum := tr + se + re
				if multiplicative {
					sum = tr * se * re
				}
				if math.Abs(sum-y) > 1e-10 {
					t.Fatalf("period %v: step %d: want %v, have %v", period, i, y, sum)
				}
			}
			total, want := 0.0, 0.0
			if multiplicative {
				want = float64(m)
			}
			for _, f := range d.Figure() {
				total += f
			}
			if math.Abs(total-want) > 1e-10*float64(m)*100 {
				t.Errorf("period %v: the figure sums to %v, want %v", period, total, want)
			}
			if next := d.Seasonal.Values[len(v)-m]; next != d.Figure()[len(v)%m] {
				t.Errorf("period %v: the last season starts with %v, want %v", period, next, d.Figure()[len(v)%m])
			}
		}
	}
}

// A value that wasn't observed must not be taken for one, and a line through
// its neighbours is exact on a line.
func TestDecomposeBridgesGaps(t *testing.T) {
	figure := []float64{3, -1, -2, 0}
	v := make([]float64, 24)
	for i := range v {
		v[i] = 100 + 2*float64(i) + figure[i%4]
	}
	v[9] = math.NaN()
	d, err := forecast.Decompose(forecast.Plain(slices.Clone(v), 4), false)
	if err != nil {
		t.Fatal(err)
	}
	for k, f := range d.Figure() {
		if math.Abs(f-figure[k]) > .5 {
			t.Errorf("figure %d: want %v about, have %v", k, figure[k], f)
		}
	}
	if len(d.Warnings) != 0 {
		t.Errorf("have warnings %v", d.Warnings)
	}
	for i := 1; i < len(v); i += 4 {
		v[i] = math.NaN()
	}
	d, err = forecast.Decompose(forecast.Plain(v, 4), false)
	if err != nil {
		t.Fatal(err)
	}
	if len(d.Warnings) != 1 || !strings.Contains(d.Warnings[0].Error(), "1 of 4 positions") {
		t.Errorf("want a warning on 1 of 4 positions, have %v", d.Warnings)
	}
}

func TestDecomposeRefuses(t *testing.T) {
	var short *forecast.TooShort
	if _, err := forecast.Decompose(forecast.Plain(make([]float64, 23), 12), false); !errors.As(err, &short) || short.Need != 24 || short.Have != 23 {
		t.Errorf("23 steps of period 12: have %v", err)
	}
	nan := math.NaN()
	for name, c := range map[string]struct {
		s              forecast.Series
		multiplicative bool
		want           string
	}{
		"no season":     {forecast.Plain(make([]float64, 9), 1), false, "needs a season"},
		"mostly absent": {forecast.Plain([]float64{1, nan, nan, 2, nan, nan}, 2), false, "needs half of 6"},
		"nothing":       {forecast.Plain([]float64{nan, nan, nan, nan}, 2), false, "have none"},
		"zero":          {forecast.Plain([]float64{1, 2, 0, 2, 1, 2}, 2), true, "have 0 at step 3"},
	} {
		if _, err := forecast.Decompose(c.s, c.multiplicative); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: want an error with %q, have %v", name, c.want, err)
		}
	}
}

func BenchmarkDecompose(b *testing.B) {
	s := forecasttest.Weekly(260, 24, .4, 1)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := forecast.Decompose(s, false); err != nil {
			b.Fatal(err)
		}
	}
}
