package queue

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"freshet/forecast/forecasttest"

	"pgregory.net/rapid"
)

// All numbers come from testdata/reference/check_values.csv; each row names
// its own source.

func TestErlangReferences(t *testing.T) {
	n := 0
	for _, r := range forecasttest.Refs(t, func(r forecasttest.Reference) bool {
		return strings.HasPrefix(r.ID, "erlB_") || strings.HasPrefix(r.ID, "erlC_")
	}) {
		if r.ID == "erlB_inverse_1pct" {
			continue
		}
		var d struct {
			Servers int
			Load    float64
		}
		r.Into(t, &d)
		f := ErlangB
		if strings.HasPrefix(r.ID, "erlC_") {
			f = ErlangC
		}
		r.Equal(t, f(d.Servers, d.Load))
		n++
	}
	if n != 14 {
		t.Errorf("need 14 rows of erlB_ and erlC_, have %d", n)
	}
	var loads []float64
	for _, c := range []int{1, 2, 3, 5, 10, 20} {
		loads = append(loads, LoadAt(c, .01))
	}
	forecasttest.Ref(t, "erlB_inverse_1pct").Equal(t, loads...)
	forecasttest.Ref(t, "small_shop_erlC").Equal(t, ErlangC(6, 4), ErlangC(12, 9))
}

func TestMMCReferences(t *testing.T) {
	bronson := MMC{Servers: 3, Arrivals: 300. / 365, Service: .5} // per day
	forecasttest.Ref(t, "bronson24.6_Lq").Equal(t, bronson.Waiting())
	forecasttest.Ref(t, "bronson24.6_Wq_d").Equal(t, bronson.Wait())
	forecasttest.Ref(t, "bronson24.6_L").Equal(t, bronson.InSystem())
	forecasttest.Ref(t, "mm2_pWq.5").Equal(t, MMC{2, 2, 3}.ChanceWaitOver(.5))
	one := MMC{1, 24, 30}
	forecasttest.Ref(t, "mm1_L").Equal(t, one.InSystem(), one.Stay())

	var have []float64
	for c := 4; c <= 5; c++ {
		q := MMC{c, 12, 32.3 / 10} // per week
		have = append(have, q.Utilization(), q.ChanceWait(), 7*q.Wait(), q.ChanceWaitOver(1))
	}
	forecasttest.Ref(t, "shop_mmc").Equal(t, have...)

	have = nil
	for _, jobs := range []float64{9, 11} {
		q := MMC{1, jobs / 34, 1. / 3} // per hour
		have = append(have, q.Utilization(), q.Wait(), q.Wait()/34)
	}
	for _, jobs := range []float64{9, 11} {
		have = append(have, MMC{2, jobs / 34, 1. / 3}.Wait()/34)
	}
	forecasttest.Ref(t, "one_certified").Equal(t, have...)
}

func TestGeneralReferences(t *testing.T) {
	forecasttest.Ref(t, "pk_Lq").Equal(t, PollaczekKhinchine(.35, 2, 1.2))
	forecasttest.Ref(t, "kingman").Equal(t, Kingman(.9, 1, .25, 1))
	forecasttest.Ref(t, "sakasegawa").Equal(t, Sakasegawa(10, 90/113.9, 1, 16./9, 90))
	forecasttest.Ref(t, "allen_cunneen").Equal(t, AllenCunneen(MMC{4, 3.6, 1}, 1, 2))
	for _, b := range []float64{.5, 1, 1.5, 2} {
		forecasttest.Ref(t, fmt.Sprintf("halfin_whitt_%v", b)).Equal(t, HalfinWhitt(b))
	}
	s := Swing{Base: 30, Amplitude: 15, Period: 52.18, Stay: 3}
	forecasttest.Ref(t, "mol_lag").Equal(t, s.Lag())
	forecasttest.Ref(t, "mol_amplitude").Equal(t, s.PresentAmplitude())
	forecasttest.Ref(t, "mol_m20").Equal(t, s.Present(20))
}

func TestOverload(t *testing.T) {
	q := MMC{2, 5, 1}
	if !math.IsInf(q.Wait(), 1) || !math.IsInf(q.Waiting(), 1) || q.ChanceWait() != 1 || q.ChanceWaitOver(9) != 1 {
		t.Errorf("overloaded line: wait %v, waiting %v, chance %v, over %v", q.Wait(), q.Waiting(), q.ChanceWait(), q.ChanceWaitOver(9))
	}
	if !math.IsInf(PollaczekKhinchine(1, 1, 0), 1) || !math.IsInf(Kingman(1, 1, 1, 1), 1) {
		t.Error("a full server gives a finite wait")
	}
}

// One server with random arrivals and exponential jobs is a case of every
// formula; more servers or less load never lengthen a wait.
func TestFormulasAgree(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rho := rapid.Float64Range(.01, .99).Draw(t, "rho")
		q := MMC{1, rho, 1}
		for name, wait := range map[string]float64{
			"Pollaczek-Khinchine": PollaczekKhinchine(rho, 1, 1) / rho,
			"Kingman":             Kingman(rho, 1, 1, 1),
			"Allen-Cunneen":       AllenCunneen(q, 1, 1),
		} {
			if math.Abs(wait-q.Wait()) > 1e-9*q.Wait() {
				t.Fatalf("%s: wait %v, want %v", name, wait, q.Wait())
			}
		}
		c := rapid.IntRange(1, 400).Draw(t, "servers")
		busy := ErlangC(c, rho*float64(c))
		if !(busy >= 0 && busy <= 1) || ErlangC(c+1, rho*float64(c)) > busy {
			t.Fatalf("%d servers: chance to wait %v, with one more %v", c, busy, ErlangC(c+1, rho*float64(c)))
		}
	})
}

func BenchmarkErlangC(b *testing.B) {
	for b.Loop() {
		ErlangC(20, 18)
	}
}
