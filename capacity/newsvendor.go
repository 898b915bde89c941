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
