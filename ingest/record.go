package ingest

import (
	"strconv"

	"freshet/forecast"
)

// A Record is one row, read: a *DropOff, *Person, *Absence or *Event.
type Record interface {
	// Key identifies what the row is about across files, so that importing
	// the same row twice changes nothing. Keys of different kinds of rows may
	// be equal.
	Key() string
	RowKind() RowKind
}

// A DropOff is one job line of a repair order. Texts that the row leaves out
// are empty.
type DropOff struct {
	RO            string // number of the repair order
	Line          string // the line's own name within the repair order, if the file has one
	Nth           int    // 1, 2, … among the file's accepted rows with the same RO and Line, or RO and Kind
	DroppedOff    forecast.Date
	Kind          string // the shop's own category of work
	Unit          string // the rig
	QuotedHours   Opt[float64]
	ClockedHours  Opt[float64]
	BilledHours   Opt[float64]
	PartsWaitDays Opt[float64]
	Emergency     Opt[bool] // valid where the file has the column; blank is no
	Deferrable    Opt[bool] // likewise
	ComebackOf    string    // number of the repair order that this job returns from
	Promised      Opt[forecast.Date]
	Ready         Opt[forecast.Date]
	PickedUp      Opt[forecast.Date]
	Status        string
	Note          string
}

// RowKind gives DropOffs.
func (d *DropOff) RowKind() RowKind { return DropOffs }

// Key is the repair order and the line within it where the file names lines;
// such rows keep their key whatever else is edited.
//
// Elsewhere it is the repair order, the folded job kind, and the occurrence
// number among the rows of the same two. A re-export that orders the lines of
// one repair order differently then changes nothing, unless two of them are of
// the same kind: these may swap keys, so both count as updated, but the jobs
// and hours on record are the same as before. The price is that a line whose
// kind was renamed, and a file that holds only the later of two lines of a
// kind, can't be told from other work; a column of line numbers can.
func (d *DropOff) Key() string {
	var short [64]byte
	return string(d.appendKey(short[:0], true))
}

// appendKey parts by tabs, which no label holds. Without nth it names the
// group in which occurrences are counted.
func (d *DropOff) appendKey(b []byte, nth bool) []byte {
	b = append(b, d.RO...)
	b = append(b, '\t')
	if d.Line != "" {
		return append(b, d.Line...)
	}
	b = appendFold(b, d.Kind)
	b = append(b, '\t')
	if nth {
		b = strconv.AppendInt(b, int64(d.Nth), 10)
	}
	return b
}

// A Person is one spell of a person on the crew.
type Person struct {
	Name         string
	WeeklyHours  float64      // paid hours a week, 0 to 168
	Productivity Opt[float64] // share of paid hours that end up on jobs, 0 to 1
	Skills       []string     // job kinds; nil means all
	From, Until  Opt[forecast.Date]
	HourlyCost   Opt[float64]
}

// RowKind gives Crew.
func (p *Person) RowKind() RowKind { return Crew }

// Key is the folded name and the first day, so that new hours from a new day
// are a new spell.
func (p *Person) Key() string {
	if !p.From.Valid {
		return Fold(p.Name) + "\t"
	}
	return spellKey(p.Name, p.From.V)
}

// An Absence is time off of one person, or days on which the shop is closed.
type Absence struct {
	Name        string
	From, Until forecast.Date // both included; a row without until is one day
}

// RowKind gives TimeOff.
func (a *Absence) RowKind() RowKind { return TimeOff }

// ShopName, as the name of an absence, closes the shop as a whole.
const ShopName = "shop"

// Shop tells whether the shop as a whole is closed.
func (a *Absence) Shop() bool { return Fold(a.Name) == ShopName }

// Key is the folded name and the first day.
func (a *Absence) Key() string { return spellKey(a.Name, a.From) }

// An Effect is what an event means for a forecast.
type Effect string

// The effects of events.
const (
	OneTime Effect = "one-time" // keeps those weeks out of the season's shape
	Yearly  Effect = "yearly"   // teaches a recurring date
	Known   Effect = "known"    // will come
)

// An Event is something beside the season that brings or keeps away work.
type Event struct {
	Name        string
	From, Until forecast.Date // both included; a row without until is one day
	Effect      Effect
}

// RowKind gives Events.
func (e *Event) RowKind() RowKind { return Events }

// Key is the folded name and the first day.
func (e *Event) Key() string { return spellKey(e.Name, e.From) }

func spellKey(name string, from forecast.Date) string { return Fold(name) + "\t" + from.String() }
