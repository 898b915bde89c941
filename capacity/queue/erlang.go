// Package queue holds the classical formulas for waiting lines, on plain
// numbers: no dates, no shop words. Rates and times may be in any unit, as
// long as one call keeps to one.
//
// They describe a line that has settled down. A shop whose season changes
// faster than its line does never settles, so these are for orientation and
// for checking a simulation, not for quotes. The package refuses to smooth
// over overload: where work comes in as fast as it can be done or faster,
// waits are +Inf.
//
// To use it: make an [MMC] from the two rates and ask it, or correct for
// arrivals and jobs that vary otherwise by [AllenCunneen] or [Sakasegawa].
package queue

import (
	"fmt"
	"math"
)

// ErlangB gives the share of arrivals that find all servers busy and leave.
// Load is arrivals times mean service time, in servers (erlangs). It runs the
// recursion B(k) = aB(k-1)/(k+aB(k-1)), which neither over- nor underflows
// (Erlang 1917). It panics if servers < 0 or load < 0.
func ErlangB(servers int, load float64) float64 {
	if servers < 0 || !(load >= 0) {
		panic(fmt.Sprintf("queue: need servers and load of 0 or more, have %d and %v", servers, load))
	}
	b := 1.0
	for k := 1; k <= servers; k++ {
		b = load * b / (float64(k) + load*b)
	}
	return b
}

// ErlangC gives the share of arrivals that must wait, C = B/(1-rho(1-B)) with
// rho = load/servers; 1 if load reaches servers. It panics as ErlangB does.
func ErlangC(servers int, load float64) float64 {
	b := ErlangB(servers, load)
	if load >= float64(servers) {
		return 1
	}
	return b / (1 - load/float64(servers)*(1-b))
}

// LoadAt gives the load at which ErlangB is the given blocking, by bisection.
// It panics if servers < 1 or blocking isn't between 0 and 1.
func LoadAt(servers int, blocking float64) float64 {
	if servers < 1 || !(blocking > 0 && blocking < 1) {
		panic(fmt.Sprintf("queue: need 1 server or more and a blocking between 0 and 1, have %d and %v", servers, blocking))
	}
	lo, hi := 0.0, 1.0
	for ErlangB(servers, hi) < blocking {
		lo, hi = hi, 2*hi
	}
	for {
		mid := lo + (hi-lo)/2
		switch {
		case mid <= lo || mid >= hi:
			return mid
		case ErlangB(servers, mid) < blocking:
			lo = mid
		default:
			hi = mid
		}
	}
}

// MMC is a line before equal servers: arrivals at random (Poisson) and jobs
// with exponential times. Arrivals is the rate of arrivals, Service the rate
// at which one server finishes jobs. Its methods panic if Servers < 1,
// Arrivals < 0 or Service <= 0.
type MMC struct {
	Servers           int
	Arrivals, Service float64
}

// Load is the mean number of busy servers if none are short, arrivals/service.
func (q MMC) Load() float64 {
	q.check()
	return q.Arrivals / q.Service
}

func (q MMC) check() {
	if q.Servers < 1 || !(q.Arrivals >= 0) || !(q.Service > 0) {
		panic(fmt.Sprintf("queue: need 1 server or more, arrivals of 0 or more and a service rate above 0, have %+v", q))
	}
}

// Utilization is the share of the servers' time that is worked, load/servers;
// 1 or more means overload.
func (q MMC) Utilization() float64 { return q.Load() / float64(q.Servers) }

// ChanceWait is the share of arrivals that wait.
func (q MMC) ChanceWait() float64 { return ErlangC(q.Servers, q.Load()) }

// Wait is the mean time before service, C/(c mu - lambda).
func (q MMC) Wait() float64 {
	if spare := q.spare(); spare > 0 {
		return q.ChanceWait() / spare
	}
	return math.Inf(1)
}

// ChanceWaitOver is the share of arrivals that wait longer than t >= 0,
// C exp(-(c mu - lambda) t); 1 under overload.
func (q MMC) ChanceWaitOver(t float64) float64 {
	return q.ChanceWait() * math.Exp(-max(0, q.spare())*t)
}

// Stay is the mean time from arrival to finish.
func (q MMC) Stay() float64 { return q.Wait() + 1/q.Service }

// Waiting is the mean number that wait, by Little's law arrivals × wait.
func (q MMC) Waiting() float64 { return q.Arrivals * q.Wait() }

// InSystem is the mean number that wait or are served.
func (q MMC) InSystem() float64 { return q.Waiting() + q.Load() }

// spare is the rate at which work could be done beyond what comes in.
func (q MMC) spare() float64 {
	q.check()
	return float64(q.Servers)*q.Service - q.Arrivals
}
