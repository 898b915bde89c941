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
// On each path the jobs are worked off on the floor, day by day: by whoever is
// free and may do them, emergencies first and what can wait last, when their
// parts are there. What the paths leave open (the day, the hours of a single
// job, its wait for parts) is drawn from the shop's own [Habits], the same
// whoever is on the crew, so that two plans differ by their difference alone.
//
// The package refuses to read the clock, files or the database: today is
// Plan.From, and Plan.Seed the source of what it draws.
//
// To use it: describe the shop in a [Plan], ask [Plan.Outcome] for backlog,
// shortage and turnaround, [WhatIf.Apply] for another plan, [Advise] for
// what to decide, and [Stress] for how that stands in other futures. [Floor]
// and [Run] are the arithmetic alone.
package capacity
