package queue

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// PollaczekKhinchine gives the mean number waiting before one server with
// random arrivals at the given rate and jobs of any distribution with this
// mean and standard deviation: (λ²σ²+ρ²)/(2(1-ρ)), ρ = λ·mean (Pollaczek 1930,
// Khinchine 1932). It is +Inf if ρ >= 1.
func PollaczekKhinchine(arrivals, mean, sd float64) float64 {
	rho := arrivals * mean
	if rho >= 1 {
		return math.Inf(1)
	}
	return (arrivals*arrivals*sd*sd + rho*rho) / (2 * (1 - rho))
}

// Kingman approximates the mean wait before one server of utilization rho
// with the given mean service time: ρ/(1-ρ)·(ca²+cs²)/2·service, where ca2 and
// cs2 are the squared coefficients of variation of the times between arrivals
// and of the jobs (Kingman 1961). It is +Inf if rho >= 1.
func Kingman(rho, ca2, cs2, service float64) float64 {
	return Sakasegawa(1, rho, ca2, cs2, service)
}

// Sakasegawa approximates the mean wait before several servers in closed form:
// (service/c)·ρ^(√(2(c+1))-1)/(1-ρ)·(ca²+cs²)/2 (Sakasegawa 1977); with one
// server it is Kingman's. It is +Inf if rho >= 1.
func Sakasegawa(servers int, rho, ca2, cs2, service float64) float64 {
	if rho >= 1 {
		return math.Inf(1)
	}
	c := float64(servers)
	return service / c * math.Pow(rho, math.Sqrt(2*(c+1))-1) / (1 - rho) * (ca2 + cs2) / 2
}

// AllenCunneen approximates the mean wait where arrivals and jobs vary
// otherwise than q supposes: its wait times (ca²+cs²)/2, the squared
// coefficients of variation (Allen 1978, formula from memory).
func AllenCunneen(q MMC, ca2, cs2 float64) float64 {
	return q.Wait() * (ca2 + cs2) / 2
}

// HalfinWhitt gives the chance to wait for many servers staffed at load +
// beta·√load, 1/(1+β·Φ(β)/φ(β)), beta > 0 (Halfin and Whitt 1981, from memory).
// It is here for comparison: with four to six servers it misleads (.22 where
// ErlangC gives .28).
func HalfinWhitt(beta float64) float64 {
	n := distuv.UnitNormal
	return 1 / (1 + beta*n.CDF(beta)/n.Prob(beta))
}
