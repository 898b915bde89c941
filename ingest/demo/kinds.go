package demo

import (
	"math"

	"freshet/forecast"
)

// bump is one rise of a season: a von Mises shape around a day of the year.
type bump struct{ day, height, sharp float64 }

type kind struct {
	name      string
	weekly    float64 // mean drop-offs a week over a usual year
	base      float64
	bumps     []bump
	hours, cv float64 // lognormal clocked hours
	growth    float64 // chance that the job grows once opened
	parts     float64 // chance that a part is on order
	wait      float64 // median days of that wait
	urgent    float64 // chance of an emergency
	later     float64 // chance that it can wait
	skill     string
	notes     []string
	norm      float64
}

var kinds = []kind{
	{name: "cooling", weekly: 2.5, base: .15, bumps: []bump{{186, 3.4, 6}}, hours: 4.6, cv: .8, growth: .25, parts: .35, wait: 9, urgent: .12, later: .05, skill: "cooling",
		notes: []string{"roof unit blows warm", "cab air weak", "fridge not cold on gas", "compressor trips breaker", "thermostat dead"}},
	{name: "slide-outs and leveling", weekly: 2.3, base: .6, bumps: []bump{{140, 1.1, 3}}, hours: 6.8, cv: 1, growth: .4, parts: .4, wait: 14, urgent: .1, later: .1,
		notes: []string{"slide stops halfway", "jack leaks", "slide out of time", "leveling panel shows fault", "seal torn"}},
	{name: "electrical", weekly: 3.3, base: .7, bumps: []bump{{118, .8, 4}}, hours: 4.9, cv: 1, growth: .35, parts: .25, wait: 7, urgent: .12, later: .1,
		notes: []string{"house batteries flat", "converter hums", "no charge from engine", "lights dim", "shore cord burnt"}},
	{name: "appliances", weekly: 2.7, base: .55, bumps: []bump{{155, .9, 4}, {285, .8, 12}}, hours: 4.4, cv: .9, growth: .3, parts: .4, wait: 11, urgent: .08, later: .1, skill: "gas",
		notes: []string{"furnace board", "water heater won't light", "stove flame yellow", "fridge board", "furnace short cycles"}},
	{name: "plumbing", weekly: 2.5, base: .35, bumps: []bump{{112, 2.1, 7}}, hours: 4, cv: .9, growth: .3, parts: .2, wait: 6, urgent: .1, later: .1,
		notes: []string{"pump runs on", "frost-split line", "tank valve stuck", "leak under sink", "toilet seal"}},
	{name: "running gear", weekly: 2.1, base: .5, bumps: []bump{{125, 1.4, 4}}, hours: 6.1, cv: .8, growth: .35, parts: .3, wait: 8, urgent: .15, later: 0,
		notes: []string{"bearing hot", "brakes grab", "axle bent", "tires aged out", "spring shackle worn"}},
	{name: "exterior", weekly: 1.8, base: .8, bumps: []bump{{40, .5, 3}, {190, .4, 3}}, hours: 8.2, cv: 1.1, growth: .45, parts: .3, wait: 18, urgent: .05, later: .5,
		notes: []string{"roof leak at vent", "awning torn", "window seal", "ladder pulled loose", "hail on the cap"}},
	{name: "seasonal service", weekly: 2.6, base: .06, bumps: []bump{{103, 2.6, 22}, {284, 3.4, 24}}, hours: 2.4, cv: .4, growth: .1, parts: .04, wait: 5, urgent: 0, later: .3,
		notes: []string{"wake up from winter", "winterize", "roof wash and seal check", "bearing repack"}},
}

func init() {
	for i := range kinds {
		kinds[i].scale()
	}
}

// scale makes weekly the mean over a usual year.
func (k *kind) scale() {
	sum := 0.0
	for d := range 365 {
		sum += k.shape(float64(d))
	}
	k.norm = sum / 365
}

func (k kind) shape(dayOfYear float64) float64 {
	v := k.base
	for _, b := range k.bumps {
		v += b.height * math.Exp(b.sharp*(math.Cos(2*math.Pi*(dayOfYear-b.day)/365.25)-1))
	}
	return v
}

// rate gives the mean drop-offs of day d, were the shop open every weekday,
// with the season read off at day season of the year and that year's level.
func (k kind) rate(d, season forecast.Date, level float64) float64 {
	y := float64(season.Time().YearDay())
	return k.weekly * k.shape(y) / k.norm * weekday[d.Weekday()] * level
}

// weekday splits a week's drop-offs; on Saturdays a rig is left with the key
// in the night box.
var weekday = [7]float64{.01, .27, .20, .18, .17, .15, .02}

// opening gives the share of a usual day's drop-offs that come on d: closed
// days lose half of theirs, the other half is taken to come a day earlier or
// later and stays with the week.
func opening(d forecast.Date) float64 {
	if closed(d) {
		return .5
	}
	return 1
}

// closed says whether the shop shuts on d for a holiday: common practice, no
// source.
func closed(d forecast.Date) bool {
	t := d.Time()
	day, wd := t.Day(), d.Weekday()
	switch t.Month() {
	case 1:
		return day == 1
	case 5:
		return wd == 1 && day > 24
	case 7:
		return day == 4
	case 9:
		return wd == 1 && day <= 7
	case 11:
		return wd == 4 && day > 21 && day <= 28 || wd == 5 && day > 22 && day <= 29
	case 12:
		return day >= 24
	}
	return false
}
