package demo_test

import (
	"math"
	"testing"

	"freshet/forecast"
	"freshet/ingest/demo"
)

// A planted spell multiplies its kind's drop-offs and no other's, and each year
// has a season that is on record.
func TestPlanted(t *testing.T) {
	from := forecast.NewDate(2023, 6, 5)
	spec := demo.Spec{From: forecast.NewDate(2022, 1, 1), Until: forecast.NewDate(2023, 8, 1)}
	count := func(spec demo.Spec) (cooling, others float64) {
		for seed := range uint64(20) {
			spec.Seed = seed
			for _, l := range demo.Generate(spec).Lines {
				switch {
				case l.DroppedOff < from || l.DroppedOff >= from+42:
				case l.Kind == "cooling":
					cooling++
				default:
					others++
				}
			}
		}
		return cooling, others
	}
	cooling, others := count(spec)
	spec.Planted = []demo.Planted{{Kind: "cooling", From: from, Until: from + 41, Times: 2.5}}
	more, same := count(spec)
	if r := more / cooling; math.Abs(r-2.5) > .25 { // three standard errors of some 1000 drop-offs, rough weeks included
		t.Errorf("2.5 times the cooling jobs are %v times as many", r)
	}
	if r := same / others; math.Abs(r-1) > .1 {
		t.Errorf("the other kinds changed by %v", r)
	}
	seasons := demo.Generate(spec).Seasons
	if len(seasons) != 2 || seasons[0].Year != 2022 || seasons[1].Year != 2023 || seasons[0].Late == seasons[1].Late || !(seasons[1].Level > .7 && seasons[1].Level < 1.4) {
		t.Errorf("seasons of two years: %+v", seasons)
	}
}
