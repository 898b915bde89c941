package counts

import (
	"strings"
	"testing"

	"freshet/forecast"
)

// Warnings speak of weeks, by dates as people write them, where steps are weeks,
// and of steps where they aren't.
func TestWarningsInWords(t *testing.T) {
	values := make([]float64, 30)
	for i := range values {
		values[i] = float64(10 + i%5)
	}
	values[20] = 500
	for want, s := range map[string]forecast.Series{
		"the 500 in the week of May 25, 2026 don't":              {Start: forecast.NewDate(2026, 1, 5), Step: forecast.Week, Period: forecast.WeeksAYear, Values: values},
		"need a year of records to know a season, have 30 weeks": {Start: forecast.NewDate(2026, 1, 5), Step: forecast.Week, Period: forecast.WeeksAYear, Values: values},
		"the 500 in step 21 don't":                               forecast.Plain(values, 40),
		"need 40 of records to know a season, have 30 steps":     forecast.Plain(values, 40),
	} {
		fit, err := Model{}.Fit(s)
		if err != nil {
			t.Fatal(err)
		}
		said := ""
		for _, w := range fit.Forecast(1).Warnings {
			said += w.Error() + "\n"
		}
		if !strings.Contains(said, want) {
			t.Errorf("want %q, have %q", want, said)
		}
	}
}
