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
// Plan.From. It doesn't draw random numbers; the paths bring them. It doesn't
// know skills, bays or the parts' own clocks yet: one crew works off one
// backlog, and hours that wait for parts or approval join it along a schedule
// that the caller gives.
//
// To use it: describe the shop in a [Plan], ask [Plan.Outcome] for backlog,
// shortage and turnaround, [WhatIf.Apply] for another plan, and [Advise] for
// what to decide. [Backlog] is the arithmetic alone.
package capacity
