package watch

import (
	"math"
	"math/rand/v2"
	"os/exec"
	"strconv"
	"strings"
	"testing"

	"freshet/forecast"
	"freshet/forecast/counts"
	"freshet/forecast/forecasttest"

	"gonum.org/v1/gonum/stat/distuv"
)

// References named here are rows of testdata/reference/check_values.csv, each
// with its source.

func refs(t *testing.T, prefix string) []forecasttest.Reference {
	t.Helper()
	out := forecasttest.Refs(t, func(r forecasttest.Reference) bool { return strings.HasPrefix(r.ID, prefix) })
	if len(out) == 0 {
		t.Fatalf("no reference begins with %q", prefix)
	}
	return out
}

func TestTails(t *testing.T) {
	for _, prefix := range []string{"nb_sf_", "pois_sf_"} {
		for _, r := range refs(t, prefix) {
			in := struct{ Mean, Size, C float64 }{Size: math.Inf(1)}
			r.Into(t, &in)
			chance, above := Tail(forecast.NegBin{Mu: in.Mean, Size: in.Size}, in.C)
			r.Equal(t, chance)
			if !above {
				t.Errorf("%s: %v is above %v", r.ID, in.C, in.Mean)
			}
			// A track of one certain path is that distribution.
			p := forecast.NewPaths(0, 7, 1, 1)
			p.Values[0] = in.Mean
			d, sum, n := NewTrack(p, in.Size, []float64{in.C}).Window(0, 1)
			if have := d.Survival(in.C); sum != in.C || n != 1 || math.Abs(have-r.Values(t)[0]) > 1e-9 {
				t.Errorf("%s: a track gives %v, %v, %v", r.ID, have, sum, n)
			}
		}
	}
	var have []float64
	for _, p := range []float64{.1, .5, .8, .9, .975} {
		have = append(have, forecast.NegBin{Mu: 24, Size: 20}.Quantile(p))
	}
	forecasttest.Ref(t, "nb_quantiles_24_20").Equal(t, have...)
	if chance, above := Tail(forecast.NegBin{Mu: 24, Size: 20}, 8); above || math.Abs(chance-forecast.NegBin{Mu: 24, Size: 20}.CDF(8)) > 1e-15 {
		t.Errorf("8 of 24: want the lower tail, have %v, above %v", chance, above)
	}
}

// Scores of what comes by chance have mean 0 and standard deviation near 1, and
// stay finite.
func TestScores(t *testing.T) {
	d := forecast.NegBin{Mu: 24, Size: 20}
	mean, sq := 0.0, 0.0
	for k := 0.0; k < 200; k++ {
		p, z := math.Exp(d.LogProb(k)), Score(d, k)
		mean += p * z
		sq += p * z * z
	}
	if math.Abs(mean) > 1e-3 || math.Abs(sq-1) > .01 {
		t.Errorf("scores have mean %v and variance %v", mean, sq)
	}
	if lo, hi := Score(d, 0), Score(d, 1e6); lo > -3 || hi != 8 {
		t.Errorf("scores of 0 and 1e6 are %v and %v", lo, hi)
	}
}

// What a track knows before a step is Bayes' rule: a gamma mean and Poisson
// counts have a negative binomial predictive distribution with updated shape.
func TestTrackLearns(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	const shape, n = 6.0, 20000
	p := forecast.NewPaths(0, 7, 3, n)
	for i := range n {
		mu := 4 * counts.Gamma(rng, shape)
		copy(p.Path(i), []float64{mu, mu, mu})
	}
	track := NewTrack(p, math.Inf(1), []float64{40, math.NaN(), 30})
	if before, after := track.Mean(0), track.Mean(1); math.Abs(before-24) > .5 || math.Abs(after-36.8) > .5 {
		t.Errorf("expected %v, then %v", before, after)
	}
	d, sum, observed := track.Window(2, 3)
	// Shape 6 + 40, rate 1/4 + 1: mean 36.8.
	want := forecast.NegBin{Mu: 46 / 1.25, Size: 46}
	if sum != 30 || observed != 1 {
		t.Errorf("want 30 in 1 week, have %v in %d", sum, observed)
	}
	for _, k := range []float64{25, 35, 45} {
		if math.Abs(d.CDF(k)-want.CDF(k)) > .015 {
			t.Errorf("P(N <= %v) is %v, want %v", k, d.CDF(k), want.CDF(k))
		}
	}
	if math.Abs(d.Mean()-want.Mu) > .5 || d.Quantile(.5) < 34 || d.Quantile(.5) > 38 {
		t.Errorf("mean %v, median %v, want %v", d.Mean(), d.Quantile(.5), want.Mu)
	}
	if total := d.CDF(1e9); math.Abs(total-1) > 1e-6 {
		t.Errorf("probabilities sum to %v", total)
	}
	// Even the impossible leaves a distribution.
	d, _, _ = NewTrack(p, math.Inf(1), []float64{0, 5000, 0}).Window(2, 3)
	if m := d.Mean(); !(m > 0) || math.IsInf(m, 0) || math.Abs(d.CDF(1e9)-1) > 1e-6 {
		t.Errorf("after 5000 the mean is %v", m)
	}
	// And one wider than a single path's, whose variance is its mean.
	v := 0.0
	for k, q := range d.P {
		v += q * (float64(k) - d.Mean()) * (float64(k) - d.Mean())
	}
	if v < 1.2*d.Mean() {
		t.Errorf("after 5000 the variance is %v of the mean", v/d.Mean())
	}
	// The sum of weeks on a sure path is negative binomial of size n times size.
	sure := forecast.NewPaths(0, 7, 4, 1)
	for j := range sure.Values {
		sure.Values[j] = 5
	}
	d, _, _ = NewTrack(sure, 9, []float64{1, 2, 3, 4}).Window(0, 4)
	if want := (forecast.NegBin{Mu: 20, Size: 36}).Survival(30); math.Abs(d.Survival(30)-want) > 1e-10 {
		t.Errorf("P(sum >= 30) is %v, want %v", d.Survival(30), want)
	}
}

func TestCUSUM(t *testing.T) {
	var in struct {
		X         []float64
		Mu0, K, H float64
	}
	r := forecasttest.Ref(t, "cusum_nist_Cplus")
	r.Into(t, &in)
	up, down, first := CUSUM{Mean: in.Mu0, Slack: in.K, Limit: in.H}.Run(in.X)
	r.Equal(t, up...)
	forecasttest.Ref(t, "cusum_nist_Cminus").Equal(t, down...)
	forecasttest.Ref(t, "cusum_nist_first_signal").Equal(t, float64(first+1))
	forecasttest.Ref(t, "cusum_nist_Cplus20").Equal(t, up[19])
	most := 0.0
	for _, v := range down {
		most = max(most, v)
	}
	forecasttest.Ref(t, "cusum_nist_maxCminus").Equal(t, most)

	gap := append([]float64{math.NaN()}, in.X...)
	after, _, at := CUSUM{Mean: in.Mu0, Slack: in.K, Limit: in.H}.Run(gap)
	if at != first+1 || after[20] != up[19] {
		t.Errorf("a missing value moved the signal from %d to %d", first, at)
	}
}

func TestEWMA(t *testing.T) {
	var in struct {
		X                   []float64
		Lambda, Start, S, L float64
	}
	r := forecasttest.Ref(t, "ewma_nist_z")
	r.Into(t, &in)
	e := EWMA{Mean: in.Start, SD: in.S, Lambda: in.Lambda, Width: in.L}
	z, first := e.Run(in.X)
	r.Equal(t, z...)
	low, high := e.Limits(0)
	forecasttest.Ref(t, "ewma_nist_LCL").Equal(t, low)
	forecasttest.Ref(t, "ewma_nist_UCL").Equal(t, high)
	forecasttest.Ref(t, "ewma_nist_z20").Equal(t, z[19])
	if first != -1 { // NIST: no signal
		t.Errorf("signal at %d", first)
	}
	// With one value the limits are those of lambda times it.
	if low, high := e.Limits(1); math.Abs(high-in.Start-in.L*in.S*in.Lambda) > 1e-12 || math.Abs(low+high-2*in.Start) > 1e-12 {
		t.Errorf("first limits %v and %v", low, high)
	}
	if _, first := e.Run([]float64{50, math.NaN(), 70}); first != 2 {
		t.Errorf("a value 10 standard deviations off signals at %d", first)
	}
}

func TestRunLengths(t *testing.T) {
	for _, r := range refs(t, "cusum_arl_") {
		var in struct {
			K, H, Shift, Headstart float64
			Shifts                 []float64
		}
		r.Into(t, &in)
		c := CUSUM{Slack: in.K, Limit: in.H, Start: in.Headstart}
		switch {
		case strings.HasPrefix(r.ID, "cusum_arl_1s"):
			r.Equal(t, c.RunLength(in.Shift))
		case in.Shifts == nil:
			r.Equal(t, c.RunLength2(in.Shift))
		default:
			var have []float64
			for _, shift := range in.Shifts {
				have = append(have, c.RunLength2(shift))
			}
			r.Equal(t, have...)
		}
	}
	for _, r := range refs(t, "ewma_arl_") {
		var in struct {
			Lambda, L, Shift float64
			Shifts           []float64
		}
		r.Into(t, &in)
		e := EWMA{Lambda: in.Lambda, Width: in.L}
		if in.Shifts == nil {
			in.Shifts = []float64{in.Shift}
		}
		var have []float64
		for _, shift := range in.Shifts {
			have = append(have, e.RunLength(shift))
		}
		r.Equal(t, have...)
	}
	// An EWMA with all weight on the newest value is Shewhart's chart.
	forecasttest.Ref(t, "shewhart_arl").Equal(t, EWMA{Lambda: 1, Width: 3}.RunLength(0), EWMA{Lambda: 1, Width: 3}.RunLength(1))
	var limits []float64
	for _, slack := range []float64{.25, .5, .75, 1, 1.25, 1.5} {
		limits = append(limits, LimitFor(slack, 370))
	}
	forecasttest.Ref(t, "cusum_h_arl370").Equal(t, limits...)
	for _, r := range refs(t, "pois_cusum_arl_") {
		var in struct {
			H, K, Start int
			Mean        float64
		}
		r.Into(t, &in)
		r.Equal(t, PoissonCUSUM{Reference: in.K, Limit: in.H, Start: in.Start}.RunLength(in.Mean))
	}
}

// By simulation too, as the chain could be wrong in the same way as the table.
func TestPoissonCUSUM(t *testing.T) {
	c := PoissonCUSUM{Reference: 3, Limit: 5}
	sums, first := c.Run([]int{4, 1, 6, 2, 7, 0})
	// 1, 0, 3, 2, 6, 3 by hand.
	for i, want := range []int{1, 0, 3, 2, 6, 3} {
		if sums[i] != want {
			t.Errorf("sum %d is %d, want %d", i, sums[i], want)
		}
	}
	if first != 4 {
		t.Errorf("signal at %d, want 4", first)
	}
	d := distuv.Poisson{Lambda: 3, Src: rand.NewPCG(3, 4)}
	const runs = 4000
	total := 0
	for range runs {
		at := 0
		for at < c.Limit {
			at = max(0, at+int(d.Rand())-c.Reference)
			total++
		}
	}
	want := c.RunLength(3)
	if have := float64(total) / runs; math.Abs(have/want-1) > .06 { // 4 standard errors
		t.Errorf("mean run of %d simulated is %v, want %v", runs, have, want)
	}
	// Lucas (1985): between means 2 and 4 the reference is 2/ln 2.
	if k := ReferenceFor(2, 4); math.Abs(k-2/math.Ln2) > 1e-12 {
		t.Errorf("reference %v", k)
	}
}

func TestScan(t *testing.T) {
	in := func(r forecasttest.Reference) (s Scan, rate float64) {
		var v struct {
			K, Window, Days, Psi, L float64
			PerYear                 float64 `json:"per_year"`
		}
		r.Into(t, &v)
		if v.L > 0 {
			return Scan{int(v.K), 1, v.L}, v.Psi
		}
		return Scan{int(v.K), v.Window, v.Days}, v.PerYear / v.Days
	}
	for _, r := range refs(t, "scan_naus_") {
		s, rate := in(r)
		r.Equal(t, s.Naus(rate))
	}
	for _, r := range refs(t, "scan_alm_") {
		s, rate := in(r)
		r.Equal(t, s.Alm(rate))
	}
	for _, r := range refs(t, "scan_WN_") {
		var v struct {
			K, N int
			W    float64
		}
		r.Into(t, &v)
		r.Equal(t, Scan{v.K, v.W, 1}.Fixed(v.N))
	}
	p := Scan{3, 10, 365}.Naus(4.0 / 365)
	forecasttest.Ref(t, "scan_30_kinds").Equal(t, 30*p, 1-math.Pow(1-p, 30))
	var rates []float64
	for k := 3; k <= 5; k++ {
		lo, hi := .2, 20.0
		for hi-lo > 1e-9 {
			if mid := (lo + hi) / 2; (Scan{k, 10, 365}).Naus(mid/365) < .002 {
				lo = mid
			} else {
				hi = mid
			}
		}
		rates = append(rates, lo)
	}
	forecasttest.Ref(t, "scan_rate_002").Equal(t, rates...)
	if p := (Scan{3, 10, 365}).Naus(1); p < .999 {
		t.Errorf("with one a day, 3 in 10 days have chance %v", p)
	}
	if p := (Scan{2, 10, 365}).Naus(0); p != 0 {
		t.Errorf("where nothing comes the chance is %v", p)
	}
}

func TestLevelChange(t *testing.T) {
	x, _ := forecasttest.DataSet(t, "Nile")
	s, err := LevelChange(x, 15)
	if err != nil {
		t.Fatal(err)
	}
	for id, have := range map[string]float64{"nile_break": float64(s.At), "nile_rss0": s.RSS0, "nile_rss1": s.RSS, "nile_bic0": s.BIC0, "nile_bic1": s.BIC,
		"nile_mean1": s.Before, "nile_mean2": s.After, "nile_supF": s.F, "nile_ols_cusum": Excursion(x)} {
		forecasttest.Ref(t, id).Equal(t, have)
	}
	if _, err := LevelChange(x[:15], 8); err == nil || !strings.Contains(err.Error(), "needs 16 values, have 15") {
		t.Errorf("15 values in segments of 8: %v", err)
	}
	if _, err := LevelChange([]float64{1, math.NaN(), 3, 4}, 1); err == nil {
		t.Error("a gap was taken for a value")
	}
	if Excursion([]float64{3, 3, 3}) != 0 {
		t.Error("values that are all the same have an excursion")
	}
}

func TestFarrington(t *testing.T) {
	for _, id := range []string{"farr_U", "farr_U_995"} {
		r := forecasttest.Ref(t, id)
		var in struct{ Mu, Phi, Var, Z float64 }
		r.Into(t, &in)
		r.Equal(t, PowerBound(in.Mu, in.Phi, in.Var, in.Z))
	}
	own, _ := forecasttest.DataSet(t, "own_weekly")
	s := forecast.Series{Step: 7, Period: 52, Values: own}
	for id, f := range map[string]Farrington{"farr_own": Classic(), "farr_flex_own": Flexible()} {
		var upper, alarm []float64
		for week := 285; week <= 312; week++ {
			b, err := f.Bound(s, week-1)
			if err != nil {
				t.Fatal(err)
			}
			upper = append(upper, b.Upper)
			alarm = append(alarm, map[bool]float64{true: 1}[b.Alarm])
		}
		forecasttest.Ref(t, id+"_upper").Equal(t, upper...)
		forecasttest.Ref(t, id+"_alarm").Equal(t, alarm...)
	}
	if _, err := Classic().Bound(s, 200); err == nil || !strings.Contains(err.Error(), "need 211 weeks before the one to judge, have 200") {
		t.Errorf("200 weeks: %v", err)
	}
	if _, err := Classic().Bound(s.Like(make([]float64, 300)), 299); err == nil {
		t.Error("weeks without events were fitted")
	}
	// Eight levels over 45 weeks: every week of the past is used once.
	f := Flexible()
	f.Levels, f.Skip = 9, 0
	rows, err := f.rows(52, 260)
	if err != nil || len(rows) != 4*52 {
		t.Fatalf("want %d weeks, have %d, %v", 4*52, len(rows), err)
	}
	for i, r := range rows {
		if r.step != 260-4*52-3+i {
			t.Fatalf("row %d is week %d", i, r.step)
		}
	}
	// Four events where there are next to none are above the bound, and too few.
	scarce := make([]float64, 300)
	for i := 0; i < 300; i += 13 {
		scarce[i] = 1
	}
	for events, alarm := range map[float64]bool{4: false, 5: true} {
		scarce[298] = events
		if b, err := Classic().Bound(s.Like(scarce), 298); err != nil || !(events > b.Upper) || b.Alarm != alarm {
			t.Errorf("%v events: %+v, %v", events, b, err)
		}
	}
	gaps := append([]float64(nil), own...)
	for i := 0; i < len(gaps)-1; i += 9 {
		gaps[i] = math.NaN()
	}
	if b, err := Classic().Bound(s.Like(gaps), 311); err != nil || !(b.Upper > b.Expected) || b.Upper > 40 {
		t.Errorf("with gaps: %+v, %v", b, err)
	}
}

// The Salmonella Agona counts that the R package surveillance carries are under
// its GPL, so that they aren't part of freshet: they are read from the package
// where it is installed.
func TestFarringtonOnAgona(t *testing.T) {
	text, err := exec.Command("Rscript", "-e", `data("salmonella.agona", package = "surveillance"); cat(salmonella.agona$observed)`).Output()
	if err != nil {
		t.Skip("needs R and its package surveillance: ", err)
	}
	s := forecast.Series{Step: 7, Period: 52}
	for _, count := range strings.Fields(string(text)) {
		v, err := strconv.ParseFloat(count, 64)
		if err != nil {
			t.Fatal(err)
		}
		s.Values = append(s.Values, v)
	}
	for id, week := range map[string]int{"farr_agona_284": 284, "farr_agona_312": 312} {
		b, err := Classic().Bound(s, week-1)
		if err != nil {
			t.Fatal(err)
		}
		forecasttest.Ref(t, id).Equal(t, b.Upper)
	}
}

// usual is the season of the references: 6 a week and 250 around week 18.
func usual() Season {
	return Season{Base: 6, Rise: func(w float64) float64 { return 250 * distuv.Normal{Mu: 18, Sigma: 4.3}.Prob(w) },
		Dispersion: 1.5, LevelSD: .15, ShiftSD: 1.5}
}

func TestSeason(t *testing.T) {
	s := usual()
	whole := 0.0
	for w := 1.0; w <= 52; w++ {
		whole += s.mean(w, 1, 0)
	}
	for _, r := range refs(t, "season_ident_") {
		var in struct {
			Week int `json:"through_week"`
		}
		r.Into(t, &in)
		part := 0.0
		for w := 1; w <= in.Week; w++ {
			part += s.mean(float64(w), 1, 0)
		}
		free, prior := s.Errors(in.Week)
		r.Equal(t, part/whole, free.Level, free.Shift, free.Correlation, prior.Level, prior.Shift)
	}
	seen := make([]float64, 16)
	sum, expected := 0.0, 0.0
	for w := range seen {
		seen[w] = s.mean(float64(w+1), 1, 2)
		sum += seen[w]
		expected += s.mean(float64(w+1), 1, 0)
	}
	p := s.Posterior(seen)
	inf := math.Inf(1)
	level, shift := p.Level(), p.Shift()
	forecasttest.Ref(t, "season_posterior_w16").Equal(t, sum, expected, shift.Mean(), shift.SD(), level.Mean(), level.SD(),
		p.Within(-inf, inf, 1, inf), p.Within(-inf, .9, -inf, inf), p.Within(-inf, .9, 1, inf))
	if c := p.Correlation(); c < .3 || c > .9 {
		t.Errorf("before the peak level and shift have correlation %v", c)
	}
	if all := p.Within(-inf, inf, -inf, inf); math.Abs(all-1) > 1e-9 {
		t.Errorf("everything has chance %v", all)
	}
	// Without weeks it is the prior, but for the grid's edges.
	prior := s.Posterior(nil)
	if m, sd, q := prior.Shift().Mean(), prior.Shift().SD(), prior.Level().Quantile(.9); math.Abs(m) > 1e-9 || math.Abs(sd-1.5) > .01 || math.Abs(q-1-.15*1.2816) > .005 {
		t.Errorf("the prior has mean %v, sd %v, level's p90 %v", m, sd, q)
	}
	// A whole season that came two weeks late at nine tenths, a gap in it.
	year := make([]float64, 40)
	for w := range year {
		year[w] = s.mean(float64(w+1), .9, 2)
	}
	year[20] = math.NaN()
	if p := s.Posterior(year); math.Abs(p.Shift().Mean()-2) > .3 || math.Abs(p.Level().Mean()-.9) > .05 {
		t.Errorf("at the end: shift %v, level %v", p.Shift().Mean(), p.Level().Mean())
	}
	// What isn't known of the usual date widens the shift: sd √(1.5² + 1²).
	s.DateSD = 1
	if sd := s.Posterior(nil).Shift().SD(); math.Abs(sd-math.Sqrt(3.25)) > .02 {
		t.Errorf("with a usual date known to a week the shift has sd %v", sd)
	}
	n := distuv.Normal{Sigma: 30}
	for id, share := range map[string]float64{"season_se_t25": .25, "season_se_t50": .5} {
		forecasttest.Ref(t, id).Equal(t, DateError(share, 400, n.Prob(n.Quantile(share)), 1))
	}
}

func BenchmarkTrack(b *testing.B) {
	rng := rand.New(rand.NewPCG(1, 1))
	p := forecast.NewPaths(0, 7, 26, 1000)
	for i := range p.Values {
		p.Values[i] = 20 * math.Exp(.1*rng.NormFloat64())
	}
	came := make([]float64, 26)
	for j := range came {
		came[j] = 20
	}
	b.ReportAllocs()
	for b.Loop() {
		t := NewTrack(p, 20, came)
		for j := range came {
			t.Window(j, j+1)
		}
	}
}

func BenchmarkPosterior(b *testing.B) {
	s, year := usual(), make([]float64, 52)
	for w := range year {
		year[w] = s.mean(float64(w+1), 1, 0)
	}
	b.ReportAllocs()
	for b.Loop() {
		s.Posterior(year)
	}
}
