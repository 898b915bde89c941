package counts

import (
	"math"
	"math/rand/v2"
	"testing"

	"freshet/forecast"
)

// like gives a series whose season has these coefficients, four harmonics.
func like(season []float64, weeks int, rng *rand.Rand) forecast.Series {
	s := forecast.Series{Start: forecast.NewDate(2020, 1, 6), Step: forecast.Week, Period: forecast.WeeksAYear, Values: make([]float64, weeks)}
	m := Model{Harmonics: len(season) / 2}
	row := make([]float64, 1+len(season))
	for t := range s.Values {
		m.row(row, s, t)
		eta := math.Log(20)
		for j, b := range season {
			eta += b * row[1+j]
		}
		s.Values[t] = draw(rng, math.Exp(eta), 30)
	}
	return s
}

// TestPool has many series of a common season and a known spread around it:
// both are found, a young series then follows the season that it can't have
// seen, and one that contradicts it is left alone.
func TestPool(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	common := []float64{-.1, -.5, .2, .1, 0, .1, .05, 0}
	const spread = .1
	var lessons []Lesson
	for range 30 {
		own := make([]float64, len(common))
		for j, b := range common {
			own[j] = b + spread*rng.NormFloat64()
		}
		fit, err := Model{Harmonics: 4}.Fit(like(own, 260, rng))
		if err != nil {
			t.Fatal(err)
		}
		lessons = append(lessons, fit.(*Fit).Lesson())
	}
	u := Pool(lessons, 4)
	mean := 0.0
	for j, b := range common {
		// Four standard errors of a mean of 30.
		if d := math.Abs(u.Season[j] - b); d > 4*spread/math.Sqrt(30) {
			t.Errorf("coefficient %d: have %.3f, want about %v", j, u.Season[j], b)
		}
		mean += u.Spread[j] / float64(len(common))
	}
	if mean < .7*spread || mean > 1.3*spread {
		t.Errorf("have a spread of %.3f, want about %v", mean, spread)
	}
	if want := 30 * 260. / (260 + halfKnown); math.Abs(u.Series-want) > 1e-9 {
		t.Errorf("have %v series, want %v", u.Series, want)
	}

	young := like(common, 62, rng)
	season := young.Values[10:]
	young.Values = young.Values[:10]
	off := func(m Model) (sum float64) {
		fit, err := m.Fit(young)
		if err != nil {
			t.Fatal(err)
		}
		if fit.(*Fit).Borrows() != (m.Usual != nil) {
			t.Errorf("%v: borrows: %v", m, fit.(*Fit).Borrows())
		}
		for j, d := range fit.Forecast(len(season)).Dists {
			sum += math.Abs(d.Quantile(.5) - season[j])
		}
		return sum
	}
	if alone, pooled := off(Model{Harmonics: 4}), off(Model{Harmonics: 4, Usual: u}); pooled > .7*alone {
		t.Errorf("want to be off by far less with others' season, have %.0f with and %.0f without", pooled, alone)
	}
	against := make([]float64, len(common))
	for j, b := range common {
		against[j] = -b
	}
	fit, err := Model{Harmonics: 4, Usual: u}.Fit(like(against, 208, rng))
	if err != nil {
		t.Fatal(err)
	}
	if fit.(*Fit).Borrows() {
		t.Error("a series with the opposite season leans on the common one")
	}
}

// A lesson is of the series alone: what the fit borrowed isn't lent again.
func TestLessonLendsItsOwn(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 1))
	common := []float64{-.1, -.5, .2, .1, 0, .1, .05, 0}
	fit, err := Model{Harmonics: 4}.Fit(like(common, 260, rng))
	if err != nil {
		t.Fatal(err)
	}
	u := Pool([]Lesson{fit.(*Fit).Lesson()}, 4)
	young, err := Model{Harmonics: 4, Usual: u}.Fit(like(common, 12, rng))
	if err != nil {
		t.Fatal(err)
	}
	l := young.(*Fit).Lesson()
	for j := range l.Pull {
		if prior := 1 / (u.Spread[j] * u.Spread[j]); math.Abs(l.Info[j*len(l.Pull)+j]) > 4*prior {
			t.Errorf("coefficient %d: 12 weeks teach a precision of %.0f beside %.0f of what was borrowed", j, l.Info[j*len(l.Pull)+j], prior)
		}
	}
	if again := Pool([]Lesson{fit.(*Fit).Lesson(), l}, 4); math.Abs(again.Season[1]-u.Season[1]) > .2 {
		t.Errorf("12 weeks move the season's main part from %.3f to %.3f", u.Season[1], again.Season[1])
	}
}

// A lesson's likeliest season is the fit's own where nothing was taken for
// granted: Info and Pull are what they say.
func TestLessonIsTheLikelihood(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 1))
	series := like([]float64{-.1, -.5, .2, .1}, 300, rng)
	free, err := Model{Harmonics: 2}.Fit(series)
	if err != nil {
		t.Fatal(err)
	}
	l := free.(*Fit).Lesson()
	// The same series under a prior of its own must teach the same.
	other, err := Model{Harmonics: 2, Usual: Pool([]Lesson{l}, 2)}.Fit(series)
	if err != nil {
		t.Fatal(err)
	}
	for i, v := range other.(*Fit).Lesson().Info {
		if math.Abs(v-l.Info[i]) > .1*l.Info[0] {
			t.Errorf("element %d of the information: %.1f under one prior, %.1f under another", i, l.Info[i], v)
		}
	}
	for i, v := range other.(*Fit).Lesson().Pull {
		if math.Abs(v-l.Pull[i]) > .1*l.Info[0]*.5 {
			t.Errorf("element %d of the pull: %.1f under one prior, %.1f under another", i, l.Pull[i], v)
		}
	}
}

// The season alone is the mean without the level, whole weeks and in between.
func TestSeason(t *testing.T) {
	season := []float64{-.1, -.5, .2, .1}
	s := like(season, 1500, rand.New(rand.NewPCG(2, 3)))
	f, err := Model{Harmonics: 2}.Fit(s)
	if err != nil {
		t.Fatal(err)
	}
	fit := f.(*Fit)
	row := make([]float64, 5)
	for week := range 53 {
		Model{Harmonics: 2}.row(row, s, s.Len()+week)
		want := 0.0
		for j, b := range season {
			want += b * row[1+j]
		}
		// The counts' own roughness leaves each coefficient an error of about .01.
		if have := math.Log(fit.Season(float64(week))); math.Abs(have-want) > .06 {
			t.Errorf("week %d: have %.3f, want about %.3f", week, have, want)
		}
		between, next := fit.Season(float64(week)+.5), fit.Season(float64(week)+1)
		if mean := math.Sqrt(fit.Season(float64(week)) * next); math.Abs(math.Log(between/mean)) > .005 {
			t.Errorf("between weeks %d and %d: have %.3f, their mean is %.3f", week, week+1, between, mean)
		}
		if again := fit.Season(float64(week) + s.Period); math.Abs(again/fit.Season(float64(week))-1) > 1e-9 {
			t.Errorf("week %d: a year on %.4f", week, again)
		}
	}
	if flat, err := (Model{Harmonics: -1}).Fit(s); err != nil || flat.(*Fit).Season(3) != 1 {
		t.Errorf("without a season: %v, %v", flat, err)
	}
}
