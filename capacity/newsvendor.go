package capacity

import "freshet/forecast"

// Newsvendor gives the hours to provide before demand is known, where an hour
// too few costs under and an hour too many costs over: the under/(under+over)
// quantile of demand (Edgeworth 1888; Arrow, Harris and Marschak 1951). It
// panics if a cost is negative or both are 0.
func Newsvendor(demand forecast.Dist, under, over float64) float64 {
	if !(under >= 0 && over >= 0 && under+over > 0) {
		panic("capacity: the newsvendor needs costs of 0 or more, and one above 0")
	}
	return demand.Quantile(under / (under + over))
}

// StaffingCost gives the mean cost of hours paid at base whether needed or
// not, with the rest of each equally likely demand at premium. It panics if
// there is no demand.
func StaffingCost(demands []float64, hours, base, premium float64) float64 {
	if len(demands) == 0 {
		panic("capacity: a mean cost needs at least 1 demand, has 0")
	}
	short := 0.0
	for _, d := range demands {
		short += max(0, d-hours)
	}
	return base*hours + premium*short/float64(len(demands))
}
