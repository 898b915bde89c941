package ets

import (
	"bufio"
	"cmp"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"freshet/forecast"
	"freshet/forecast/forecasttest"
)

func BenchmarkFit(b *testing.B) {
	y, period := forecasttest.DataSet(b, "AirPassengers")
	s := forecast.Plain(y, period)
	for _, m := range []Model{{}, {Additive, Damped, None}, {Additive, Damped, Additive}, {Multiplicative, Damped, Multiplicative}} {
		b.Run(m.String(), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := m.Fit(s); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// BenchmarkM3 chooses a model for one monthly series of the M3 competition
// after another (Makridakis and Hibon 2000). The series are read from the
// folder FRESHET_DATA, or shared/data beside the project.
func BenchmarkM3(b *testing.B) {
	all := m3(b)
	for i := 0; b.Loop(); i++ {
		if _, err := (Model{}).Fit(all[i%len(all)]); err != nil {
			b.Fatal(err)
		}
	}
}

func m3(b *testing.B) (out []forecast.Series) {
	path := filepath.Join(cmp.Or(os.Getenv("FRESHET_DATA"), "../../../shared/data"), "m3", "train.csv")
	f, err := os.Open(path)
	if err != nil {
		b.Skipf("no M3 series: %v", err)
	}
	defer f.Close()
	for lines := bufio.NewScanner(f); lines.Scan(); {
		cells := strings.Split(lines.Text(), ",")[1:]
		y := make([]float64, len(cells))
		for i, c := range cells {
			if y[i], err = strconv.ParseFloat(c, 64); err != nil {
				b.Fatal(err)
			}
		}
		out = append(out, forecast.Plain(y, 12))
	}
	return out
}

func BenchmarkForecast(b *testing.B) {
	for _, m := range []Model{{Additive, Damped, Additive}, {Multiplicative, Damped, Multiplicative}} {
		fit, err := m.Fit(monthly())
		if err != nil {
			b.Fatal(err)
		}
		b.Run(m.String(), func(b *testing.B) {
			for b.Loop() {
				fit.Forecast(18)
			}
		})
	}
}
