package forecast

import (
	"encoding/json"
	"math"
)

// Spread is what people are told of a distribution: its mean and quantiles. A
// number that isn't known is NaN, and null in JSON.
type Spread struct {
	Mean, P10, P50, P80, P90 float64
}

// SpreadOf sums a distribution up.
func SpreadOf(d Dist) Spread {
	return Spread{d.Mean(), d.Quantile(.1), d.Quantile(.5), d.Quantile(.8), d.Quantile(.9)}
}

// Unknown is the spread of what isn't known.
func Unknown() Spread {
	n := math.NaN()
	return Spread{n, n, n, n, n}
}

// Known says whether the spread holds numbers.
func (s Spread) Known() bool { return !math.IsNaN(s.Mean) }

type spreadJSON struct {
	Mean *float64 `json:"mean"`
	P10  *float64 `json:"p10"`
	P50  *float64 `json:"p50"`
	P80  *float64 `json:"p80"`
	P90  *float64 `json:"p90"`
}

// MarshalJSON writes the five numbers to three decimals.
func (s Spread) MarshalJSON() ([]byte, error) {
	return json.Marshal(spreadJSON{Number(s.Mean), Number(s.P10), Number(s.P50), Number(s.P80), Number(s.P90)})
}

// UnmarshalJSON is the inverse of MarshalJSON.
func (s *Spread) UnmarshalJSON(b []byte) error {
	var j spreadJSON
	if err := json.Unmarshal(b, &j); err != nil {
		return err
	}
	for _, p := range []struct {
		from *float64
		to   *float64
	}{{j.Mean, &s.Mean}, {j.P10, &s.P10}, {j.P50, &s.P50}, {j.P80, &s.P80}, {j.P90, &s.P90}} {
		*p.to = math.NaN()
		if p.from != nil {
			*p.to = *p.from
		}
	}
	return nil
}

// Number gives v to three decimals for JSON, or nil for what JSON can't say.
func Number(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	v = math.Round(v*1000) / 1000
	return &v
}
