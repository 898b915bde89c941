// Package ics reads time off and closed days out of an iCalendar file (RFC
// 5545) and gives them as CSV text with the columns name, from and until, so
// that [ingest.OpenText] reads it as it reads any export.
//
// A day is a day on the clock that the event was written by: Outlook's own
// names of time zones ("Mountain Standard Time") are not needed, and not
// looked up. Instants in UTC are put on the shop's clock. The end of an event
// of whole days is the first day after it. Rules of recurrence are followed for
// two years beyond the last day that can have happened, without the days that
// EXDATE takes out and those that a RECURRENCE-ID moves; days that RDATE adds
// count. Cancelled events are no time off; free time is, as calendars mark whole
// days as free by themselves.
//
// It refuses files of more than 4 MiB, of more than 5,000 events, or days or
// spells in all, and rules that have to be followed through more than 6,000
// years in all, which would take seconds. An event that takes part of a day, or
// that it can't read, stays in the text as a row that can't be read as a day, so
// that it is rejected with its reason and not lost.
//
// To use it: give Text the file, and whose calendar it is if its events don't
// say.
package ics

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"regexp"
	"strconv"
	"strings"
	"time"

	"freshet/forecast"

	ical "github.com/arran4/golang-ical"
	"github.com/teambition/rrule-go"
)

// Magic begins every iCalendar file.
const Magic = "BEGIN:VCALENDAR"

const (
	maxBytes  = 4 << 20
	maxLine   = 16 << 10 // bytes, of a property that is needed
	maxRule   = 500      // bytes: days of the year, written out, don't fit, but no person needs them
	maxEvents = 5000
	maxSpells = 5000
	maxYears  = 6000 // that rules are followed through, in all
	ahead     = 730  // days beyond latest for which rules are followed
	fullDay   = 6 * time.Hour
)

// Text gives the file's events as CSV text. who stands for the name of all of
// them; if it is "", each event's own summary does. zone is the shop's, for
// instants in UTC. A file that is no calendar or too large is an error.
func Text(r io.Reader, who string, zone *time.Location, latest forecast.Date) ([]byte, error) {
	text, err := io.ReadAll(io.LimitReader(r, maxBytes+1))
	if err != nil {
		return nil, fmt.Errorf("ics: %w", err)
	}
	if len(text) > maxBytes {
		return nil, fmt.Errorf("ics: need a calendar of at most %d bytes, have a larger one", maxBytes)
	}
	if text, err = needed(text); err != nil {
		return nil, err
	}
	calendar, err := ical.ParseCalendar(bytes.NewReader(text))
	if err != nil {
		return nil, fmt.Errorf("ics: need an iCalendar file: %w", err)
	}
	b := book{zone: zone, until: (latest + ahead).Time(), moved: map[moment]bool{}}
	for _, e := range calendar.Events() {
		if id := e.GetProperty(ical.ComponentPropertyRecurrenceId); id != nil {
			if day, _, err := b.day(id); err == nil {
				b.moved[moment{uid(e), day}] = true
			}
		}
	}
	var out bytes.Buffer
	w := csv.NewWriter(&out)
	w.Write([]string{"name", "from", "until"}) // errors of a bytes.Buffer there are none
	n := 0
	for _, e := range calendar.Events() {
		if strings.EqualFold(value(e, ical.ComponentPropertyStatus), "CANCELLED") {
			continue
		}
		name := who
		if name == "" {
			name = strings.Join(strings.Fields(value(e, ical.ComponentPropertySummary)), " ")
		}
		spells, err := b.spells(e)
		if b.years > maxYears {
			return nil, fmt.Errorf("ics: need a calendar whose rules are followed through at most %d years in all, have more: do events recur that hardly ever come true?", maxYears)
		}
		if err != nil {
			w.Write([]string{name, err.Error(), ""})
			continue
		}
		if n += len(spells); n > maxSpells {
			return nil, fmt.Errorf("ics: need a calendar of at most %d spells, have more: does an event repeat without end?", maxSpells)
		}
		for _, s := range spells {
			w.Write([]string{name, s.from.Format(time.DateOnly), s.until.Format(time.DateOnly)})
		}
	}
	w.Flush()
	return out.Bytes(), nil
}

// A book is one calendar being read.
type book struct {
	zone  *time.Location
	until time.Time // rules are followed up to here
	moved map[moment]bool

	years int // that rules were followed through
}

// A moment is one occurrence of a recurring event, by its day.
type moment struct {
	uid string
	day time.Time
}

// A spell is days in a row, both ends included.
type spell struct{ from, until time.Time }

func uid(e *ical.VEvent) string { return value(e, ical.ComponentPropertyUniqueId) }

func value(e *ical.VEvent, p ical.ComponentProperty) string {
	if v := e.GetProperty(p); v != nil {
		return strings.TrimSpace(v.Value)
	}
	return ""
}

// spells gives the days of an event, one spell for each time that it recurs.
func (b *book) spells(e *ical.VEvent) ([]spell, error) {
	start, whole, err := b.clock(e.GetProperty(ical.ComponentPropertyDtStart))
	if err != nil {
		return nil, err
	}
	length, err := b.length(e, start, whole)
	if err != nil {
		return nil, err
	}
	if !whole && length < fullDay {
		return nil, fmt.Errorf("takes part of %s only", start.Format(time.DateOnly))
	}
	starts := []time.Time{start}
	if rule := value(e, ical.ComponentPropertyRrule); rule != "" {
		if starts, err = b.recur(rule, start, whole); err != nil {
			return nil, err
		}
	}
	for _, p := range e.GetProperties(ical.ComponentPropertyRdate) {
		more, err := b.list(p)
		if err != nil {
			return nil, err
		}
		starts = append(starts, more...)
	}
	out := map[time.Time]bool{}
	for _, p := range e.GetProperties(ical.ComponentPropertyExdate) {
		days, err := b.list(p)
		if err != nil {
			return nil, err
		}
		for _, d := range days {
			out[midnight(d)] = true
		}
	}
	isMove := e.GetProperty(ical.ComponentPropertyRecurrenceId) != nil
	var spells []spell
	for _, s := range starts {
		day := midnight(s)
		if out[day] || !isMove && b.moved[moment{uid(e), day}] {
			continue
		}
		out[day] = true // RDATE may say again what the rule says
		last := midnight(s.Add(length - time.Nanosecond))
		spells = append(spells, spell{day, last})
	}
	return spells, nil
}

// length gives how long an event lasts: one day if it is of whole days and
// doesn't say.
func (b *book) length(e *ical.VEvent, start time.Time, whole bool) (length time.Duration, err error) {
	if p := e.GetProperty(ical.ComponentPropertyDtEnd); p != nil {
		end, _, err := b.clock(p)
		if err != nil {
			return 0, err
		}
		length = end.Sub(start)
	} else if text := value(e, ical.ComponentPropertyDuration); text != "" {
		if length, err = duration(text); err != nil {
			return 0, err
		}
	}
	if length < 0 {
		return 0, errors.New("ends before it begins")
	}
	if whole {
		length = max(length, 24*time.Hour)
	}
	return length, nil
}

// written is a duration as RFC 5545, section 3.3.6, has it, forwards only.
var written = regexp.MustCompile(`^\+?P(?:(\d{1,4})W)?(?:(\d{1,4})D)?(?:T(?:(\d{1,4})H)?(?:(\d{1,5})M)?(?:(\d{1,6})S)?)?$`)

func duration(text string) (d time.Duration, err error) {
	parts := written.FindStringSubmatch(text)
	if parts == nil {
		return 0, fmt.Errorf("lasts %q, which can't be read", text)
	}
	for i, unit := range []time.Duration{7 * 24 * time.Hour, 24 * time.Hour, time.Hour, time.Minute, time.Second} {
		n, _ := strconv.Atoi(parts[i+1]) // digits, or nothing for 0
		d += time.Duration(n) * unit
	}
	return d, nil
}

// untilDay finds a rule that ends with a day, where its event has a time: RFC
// 5545, section 3.3.10, wants a time there, but not all programs write one.
var untilDay = regexp.MustCompile(`UNTIL=\d{8}(;|$)`)

// recur gives the starts by a rule of recurrence. The library follows a rule
// until it comes true, or to the year 9999. So it is followed as many times 400
// years later as brings its end near that year: the calendar repeats itself
// after 400 years, days of the week included.
func (b *book) recur(text string, start time.Time, whole bool) ([]time.Time, error) {
	unread := fmt.Errorf("repeats by %.100q, which can't be read", text)
	if len(text) > maxRule {
		return nil, unread
	}
	rule, err := rrule.StrToROption(text)
	if err != nil || rule.Freq > rrule.DAILY {
		return nil, unread
	}
	until := b.until
	switch {
	case rule.Until.IsZero() || rule.Until.After(until):
	case !whole && strings.Contains(text, "Z"):
		until = civil(rule.Until.In(b.zone))
	case !whole && untilDay.MatchString(text): // that day is meant, not its midnight
		until = rule.Until.AddDate(0, 0, 1).Add(-time.Second)
	default:
		until = rule.Until
	}
	if start.After(until) {
		return nil, nil
	}
	later := (rrule.MAXYEAR - b.until.Year()) / 400 * 400
	rule.Until, rule.Dtstart = time.Time{}, start.AddDate(later, 0, 0)
	r, err := rrule.NewRRule(*rule)
	if err != nil {
		return nil, unread
	}
	var starts []time.Time
	followed := start
	for next := r.Iterator(); len(starts) <= maxSpells; {
		t, ok := next()
		if !ok {
			if rule.Count == 0 || len(starts) < rule.Count { // to the last year there is
				followed = time.Date(rrule.MAXYEAR-later, 12, 31, 0, 0, 0, 0, time.UTC)
			}
			break
		}
		if followed = t.AddDate(-later, 0, 0); followed.After(until) {
			break
		}
		starts = append(starts, followed)
	}
	b.years += 1 + followed.Year() - start.Year()
	return starts, nil
}

// list reads days apart by commas, as EXDATE and RDATE have them.
func (b *book) list(p *ical.IANAProperty) ([]time.Time, error) {
	var out []time.Time
	for s := range strings.SplitSeq(p.Value, ",") {
		s, _, _ = strings.Cut(s, "/") // a period is taken by its start
		t, _, err := b.parse(s)
		if err != nil {
			return nil, err
		}
		out = append(out, t)
	}
	return out, nil
}

func (b *book) day(p *ical.IANAProperty) (day time.Time, whole bool, err error) {
	t, whole, err := b.clock(p)
	return midnight(t), whole, err
}

func (b *book) clock(p *ical.IANAProperty) (t time.Time, whole bool, err error) {
	if p == nil {
		return t, false, errors.New("has no day")
	}
	return b.parse(p.Value)
}

// parse reads a day or a time as what the clock showed, tagged UTC.
func (b *book) parse(s string) (t time.Time, whole bool, err error) {
	s = strings.TrimSpace(s)
	if t, err = time.Parse("20060102", s); err == nil {
		return t, true, nil
	}
	if t, err = time.Parse("20060102T150405Z", s); err == nil {
		return civil(t.In(b.zone)), false, nil
	}
	if t, err = time.Parse("20060102T150405", s); err == nil {
		return t, false, nil
	}
	return t, false, fmt.Errorf("is on %q, which can't be read", s)
}

// civil gives the same clock face, tagged UTC.
func civil(t time.Time) time.Time {
	return time.Date(t.Year(), t.Month(), t.Day(), t.Hour(), t.Minute(), t.Second(), 0, time.UTC)
}

func midnight(t time.Time) time.Time {
	return time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, time.UTC)
}
