package combine_test

import (
	"strings"
	"testing"

	"freshet/forecast"
	"freshet/forecast/combine"
	"freshet/forecast/counts"
	"freshet/forecast/forecasttest"
	"freshet/forecast/naive"
)

func TestContract(t *testing.T) {
	m := combine.Best{Candidates: []forecast.Model{naive.Seasonal{}, naive.Mean{}}, Origins: 4}
	forecasttest.Contract(t, m, forecasttest.Weekly(220, 20, .5, 1), forecasttest.Traits{})
}

// On a history with a season the season's model must win over the plain mean,
// and over last year's week by less noise.
func TestBest(t *testing.T) {
	s := forecasttest.Weekly(300, 20, .6, 3)
	m := combine.Best{Candidates: []forecast.Model{naive.Mean{}, naive.Seasonal{}, counts.Model{}}}
	fit, err := m.Fit(s)
	if err != nil {
		t.Fatal(err)
	}
	c := fit.(*combine.Chosen)
	if _, ok := c.Model.(counts.Model); !ok || len(c.Scores) != 3 {
		t.Errorf("want the count model out of 3, have %v out of %d", c.Model, len(c.Scores))
	}
	if w := fit.Forecast(2).Warnings; len(w) == 0 || !strings.Contains(w[len(w)-1].Error(), "chosen") {
		t.Errorf("want the reason among the warnings, have %v", w)
	}
	if _, err := (combine.Best{}).Fit(s); err == nil {
		t.Error("want an error without candidates")
	}
}
