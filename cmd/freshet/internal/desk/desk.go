// Package desk answers the shop's questions: the store in, values out. The
// command line, the pages and the weekly run all ask here, and none of them
// computes.
//
// The package refuses to know what day it is: the day, the seed and the number
// of weeks are arguments, so that the same question has the same answer, and
// nothing counts that came on the day or later.
//
// To use it: make a Desk on an open store and ask for an Outlook, a Watch, a
// Crew plan, a Quote, a Score or a Report as of a day. Who asks more than once
// on a day makes a Counter for quotes and WhatIfs for changes to the crew.
package desk

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"time"

	"freshet/capacity"
	"freshet/forecast"
	"freshet/forecast/workload"
	"freshet/ingest"
	"freshet/ingest/store"
)

// Desk answers questions about one shop.
type Desk struct {
	Store *store.Store
	Draws int // joint futures behind an answer; 0: the usual 2,000. Fewer are sooner made and tell less finely
}

// Ask says what to answer for.
type Ask struct {
	AsOf  forecast.Date // the day that begins now; only what was known before it counts
	Weeks int           // weeks ahead, 1 to MaxWeeks
	Seed  uint64        // of every simulation
}

// MaxWeeks is how far ahead questions may reach.
const MaxWeeks = 104

// Check reports a question that can't be asked.
func (a Ask) Check() error {
	if a.Weeks < 1 || a.Weeks > MaxWeeks {
		return fmt.Errorf("need 1 to %d weeks ahead, have %d", MaxWeeks, a.Weeks)
	}
	return nil
}

// Seed gives the seed that a day has by itself.
func Seed(asOf forecast.Date) uint64 { return uint64(asOf)*2654435761 + 1 }

// usualDraws is the number of joint futures behind every answer, reach the
// weeks that a staffing decision needs to see ahead.
const (
	usualDraws = 2000
	reach      = 40
)

// Names of settings.
const (
	SettingName = "shop.name"
	SettingZone = "shop.zone"
	SettingDemo = "shop.demo"
)

// Zone gives the time zone of the shop, in which its days begin.
func (d *Desk) Zone(ctx context.Context) (*time.Location, error) {
	name, err := d.Store.Setting(ctx, SettingZone, "Local")
	if err != nil {
		return nil, err
	}
	loc, err := time.LoadLocation(name)
	if err != nil {
		return nil, fmt.Errorf("the shop's time zone: %w", err)
	}
	return loc, nil
}

// shop is what was on record on a day.
type shop struct {
	ask      Ask
	draws    int
	name     string
	demo     bool
	book     *workload.Book
	known    workload.Past
	calendar capacity.Calendar
	policy   capacity.Policy
	crew     capacity.Crew
	share    taken    // for those without one on record
	doubts   []string // about the crew's skills, for answers that are about the crew
	absences []capacity.Absence
	notes    []store.AlertNote
	odd      *watcher          // once asked for
	fit      *workload.Fit     // once there are futures
	spare    []capacity.Spared // once there is advice on the crew's plan
	jobs     []store.Job       // of the last years, in order; nil where they weren't asked for
	jobsFrom forecast.Date     // day from which they are read, once they are
	details  []store.Job       // those of them that the watch looks at
	source   string            // where job hours were taken from
	warnings []string
}

// noKind is the name that pages give to jobs without a kind.
const noKind = "not said"

func (d *Desk) load(ctx context.Context, ask Ask) (*shop, error) {
	if err := ask.Check(); err != nil {
		return nil, err
	}
	s := &shop{ask: ask, jobsFrom: ask.AsOf, draws: d.Draws}
	var err error
	if s.name, err = d.Store.Setting(ctx, SettingName, "the shop"); err != nil {
		return nil, err
	}
	demo, err := d.Store.Setting(ctx, SettingDemo, "")
	if err != nil {
		return nil, err
	}
	s.demo = demo != ""
	if s.policy, _, err = d.Policy(ctx); err != nil {
		return nil, err
	}
	if err := s.readCalendar(ctx, d.Store); err != nil {
		return nil, err
	}
	if err := s.readCrew(ctx, d.Store); err != nil {
		return nil, err
	}
	if err := s.readLines(ctx, d.Store); err != nil {
		return nil, err
	}
	if err := s.readSiblings(ctx, d.Store); err != nil {
		return nil, err
	}
	if s.notes, err = d.Store.Notes(ctx, ask.AsOf); err != nil {
		return nil, err
	}
	s.book.Events = append(s.book.Events, onceOnly(s.notes)...)
	s.learn()
	s.known = s.book.Known(ask.AsOf)
	if s.known.Total.Observed() >= grown {
		s.known.Siblings = nil
	}
	return s, nil
}

// readCalendar takes in when the shop opens and closes the days that all of it
// is off.
func (s *shop) readCalendar(ctx context.Context, db *store.Store) error {
	off, err := db.Absences(ctx)
	if err != nil {
		return err
	}
	open, err := db.Setting(ctx, SettingOpen, UsualWeek)
	if err != nil {
		return err
	}
	if s.calendar.Week, err = ParseWeek(open); err != nil {
		return fmt.Errorf("the shop's setting %s: %w", SettingOpen, err)
	}
	bays, err := db.Setting(ctx, SettingBays, "0")
	if err != nil {
		return err
	}
	if s.calendar.Bays, err = ParseBays(bays); err != nil {
		return fmt.Errorf("the shop's setting %s: %w", SettingBays, err)
	}
	holidays, err := db.Setting(ctx, SettingHolidays, UsualHolidays())
	if err != nil {
		return err
	}
	if s.calendar.Holidays, err = ParseHolidays(holidays); err != nil {
		return fmt.Errorf("the shop's setting %s: %w", SettingHolidays, err)
	}
	s.calendar.Days = map[forecast.Date]float64{}
	for _, a := range off {
		if !a.Shop() {
			s.absences = append(s.absences, capacity.Absence{Name: a.Name, From: a.From, Until: a.Until})
			continue
		}
		for d := a.From; d <= a.Until; d++ {
			s.calendar.Days[d] = 0
		}
	}
	return nil
}

// readCrew takes in who works on jobs, and whose time off it is: names that
// differ in case or spaces alone are one. Productivity stays 0 where it isn't
// on record, until it is learned.
func (s *shop) readCrew(ctx context.Context, db *store.Store) error {
	people, err := db.Crew(ctx)
	if err != nil {
		return err
	}
	for _, p := range people {
		t := capacity.Technician{Name: p.Name, WeeklyHours: p.WeeklyHours, Productivity: p.Productivity.V, Skills: p.Skills,
			From: p.From.V, Until: p.Until.V, HourlyCost: p.HourlyCost.V, Ramp: s.policy.RampWeeks}
		if t.Skills == nil {
			t.Skills = []string{"all"}
		}
		if t.WeeklyHours > 0 && (t.Productivity > 0 || !p.Productivity.Valid) {
			s.crew = append(s.crew, t)
		}
		for i, a := range s.absences {
			if a.Name != t.Name && ingest.Fold(a.Name) == ingest.Fold(t.Name) {
				s.absences[i].Name = t.Name
			}
		}
	}
	s.doubts, err = db.SkillDoubts(ctx, s.ask.AsOf)
	return err
}

func (s *shop) warn(format string, args ...any) {
	s.warnings = append(s.warnings, fmt.Sprintf(format, args...))
}

// clockedSource is the source of job hours that are clocked ones.
const clockedSource = "clocked hours of finished jobs"

// readLines makes the book that forecasts are made from. A job's hours are the
// clocked ones; where a file has none, the billed ones; where it has neither,
// the quoted ones grown by what the shop's other jobs grew.
func (s *shop) readLines(ctx context.Context, db *store.Store) error {
	events, err := db.Events(ctx)
	if err != nil {
		return err
	}
	var lines []store.Line
	index := map[string]int{}
	var clockedBoth, quotedBoth, clockedOfBilled, billedBoth float64
	err = db.Lines(ctx, s.ask.AsOf, func(l store.Line) {
		lines = append(lines, l)
		index[l.Kind] = 0
		if l.Clocked.Valid && l.Quoted.Valid {
			clockedBoth += l.Clocked.V
			quotedBoth += l.Quoted.V
		}
		if l.Clocked.Valid && l.Billed.Valid {
			clockedOfBilled += l.Clocked.V
			billedBoth += l.Billed.V
		}
	})
	if err != nil {
		return err
	}
	growth := ratio(clockedBoth, quotedBoth)
	billed := ratio(clockedOfBilled, billedBoth)
	s.book = &workload.Book{Open: s.calendar.OpenShare, Jobs: make([]workload.Job, len(lines))}
	for k := range index {
		s.book.Kinds = append(s.book.Kinds, k)
	}
	slices.Sort(s.book.Kinds)
	for i, k := range s.book.Kinds {
		index[k] = i
		if strings.TrimSpace(k) == "" {
			s.book.Kinds[i] = noKind
		}
	}
	var from [3]int
	for i, l := range lines {
		j := workload.Job{Kind: index[l.Kind], DroppedOff: l.DroppedOff, Ready: l.Ready.V, Hours: math.NaN()}
		switch {
		case !l.Ready.Valid:
		case l.Clocked.Valid:
			j.Hours = l.Clocked.V
			from[0]++
		case l.Billed.Valid:
			j.Hours = l.Billed.V * billed
			from[1]++
		case l.Quoted.Valid:
			j.Hours = l.Quoted.V * growth
			from[2]++
		}
		s.book.Jobs[i] = j
	}
	for i, name := range []string{clockedSource, "billed hours of finished jobs", "quoted hours of finished jobs"} {
		if from[i] > 0 && from[i] >= max(from[0], from[1], from[2]) {
			s.source = name
			break
		}
	}
	for _, e := range events {
		s.book.Events = append(s.book.Events, workload.Event{Name: e.Name, From: e.From, Until: e.Until, Effect: workload.Effect(e.Effect)})
	}
	return nil
}

// since gives the jobs dropped off since a day, in order, read once: from
// jobsFrom on or, if that is earlier, from the day.
func (s *shop) since(ctx context.Context, db *store.Store, day forecast.Date) ([]store.Job, error) {
	if s.jobs == nil || day < s.jobsFrom {
		from := min(day, s.jobsFrom)
		jobs, err := db.Jobs(ctx, from, s.ask.AsOf)
		if err != nil {
			return nil, err
		}
		for i := range jobs {
			if strings.TrimSpace(jobs[i].Kind) == "" {
				jobs[i].Kind = noKind
			}
		}
		s.jobs, s.jobsFrom = jobs, from
	}
	first, _ := slices.BinarySearchFunc(s.jobs, day, func(j store.Job, day forecast.Date) int { return cmp.Compare(j.DroppedOff, day) })
	return s.jobs[first:], nil
}

// ratio gives a over b, or 1 where the records are too few to tell.
func ratio(a, b float64) float64 {
	if a < 100 || b < 100 {
		return 1
	}
	return max(.5, min(3, a/b))
}

// meanHours gives the mean hours of a finished job by kind, and of all under
// the empty name.
func (s *shop) meanHours() map[string]float64 {
	sum, n := map[string]float64{}, map[string]float64{}
	for _, j := range s.book.Jobs {
		if !math.IsNaN(j.Hours) {
			for _, k := range []string{s.book.Kinds[j.Kind], ""} {
				sum[k] += j.Hours
				n[k]++
			}
		}
	}
	for k := range sum {
		sum[k] /= n[k]
	}
	return sum
}

// futures simulates the weeks asked for, and never fewer than a staffing
// decision needs: so that every answer of a day comes from the same draws.
func (s *shop) futures() (workload.Futures, error) {
	follows := s.follow()
	fit, err := model().Fit(s.known)
	if err != nil {
		return workload.Futures{}, err
	}
	s.fit = fit
	f := fit.Simulate(max(s.ask.Weeks, reach), cmp.Or(s.draws, usualDraws), rand.New(rand.NewPCG(s.ask.Seed, 0)))
	if follows != "" && f.Follows {
		s.warn("%s", follows)
	}
	return f, nil
}
