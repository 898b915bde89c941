package combine_test

import (
	"errors"
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

// grown is a model that fits a history of so many steps or more, and says N(0,
// sigma).
type grown struct {
	stated
	steps int
}

func (m grown) Fit(s forecast.Series) (forecast.Fit, error) {
	if s.Len() < m.steps {
		return nil, errors.New("too short")
	}
	return m.stated.Fit(s)
}

// The reason for a choice is the true one: the least error, one near it that
// stands first, a history too short, or models that failed on parts of it.
func TestWhyChosen(t *testing.T) {
	values := make([]float64, 80)
	for i := range values {
		values[i] = float64(i*7%11 - 5)
	}
	s := forecast.Plain(values, 7)
	one, near := stated{0, 4}, stated{0, 4.05}
	for want, b := range map[string]combine.Best{
		"chosen: the smallest error of 2 models":                    {Candidates: []forecast.Model{stated{0, 40}, one}},
		"chosen: within 2 % of the smallest error of 2 models":      {Candidates: []forecast.Model{near, one}},
		"need 86 steps of history to compare models, have 80":       {Candidates: []forecast.Model{one, near}, Least: 72},
		"none of 2 models can be fitted to every part of this hist": {Candidates: []forecast.Model{grown{one, 80}, grown{near, 80}}},
	} {
		if why := fit(t, b, s).(*combine.Chosen).Why.Error(); !strings.Contains(why, want) {
			t.Errorf("want %q, have %q", want, why)
		}
	}
}
