// Package watch tells whether what came fits what was expected: a week, a run
// of weeks, a cluster of the same failure, a level, a season.
//
// One week is judged by its predictive distribution ([Tail]), a stretch of
// weeks by the joint futures drawn before it began ([Track]), and whether it
// changed by how much likelier it then would be ([Track.Changes]); slow changes
// by control charts ([CUSUM], [EWMA]) that are designed by average run length;
// counts that few weeks explain by the method of Farrington et al.
// ([Farrington]); rare failures by scan statistics ([Scan]); a new level by the
// best split ([Split]); a season's lateness and strength together ([Season]).
//
// The package refuses to decide what is worth an alert: it gives chances, and
// the caller has a budget to spend. Nothing here reads a clock or draws random
// numbers.
//
// To use it: draw a fit's joint means at an origin, make a Track of them and
// what came since, and ask for the distribution of any stretch as it was known
// the day before, or for the odds that it changed.
package watch
