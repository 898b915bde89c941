// Package capacity sets the crew's hours against the work: how many hours can
// go on jobs in each coming week, what backlog follows from the hours that
// arrive, how long a new job waits behind it, and what the owner could decide
// by when.
//
// Work comes in as joint paths ([forecast.Paths]), never as separate weekly
// ranges: a backlog adds up over weeks, and a quantile of the sum isn't a sum
// of quantiles. All hours are clocked hours on jobs: the crew's paid hours
// count times their productivity (clocked/paid). If job hours are billed
// hours, multiply the productivity by clocked-to-billed efficiency first;
// never mix the two.
//
// The package refuses to read the clock, files or the database: today is
// Plan.From. It doesn't draw random numbers; the paths bring them. One crew
// works off one backlog, and hours that wait for parts or approval join it
// along a schedule that the caller gives; what only part of the crew can do is
// looked at a second time by itself ([Plan.Skills]), as if those few did
// nothing else.
//
// To use it: describe the shop in a [Plan], ask [Plan.Outcome] for backlog,
// shortage and turnaround, [WhatIf.Apply] for another plan, [Advise] for
// what to decide, and [Stress] for how that stands in other futures. [Backlog] is the arithmetic alone.
package capacity
