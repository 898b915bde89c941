package store

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"strconv"
	"strings"

	"freshet/forecast"
	"freshet/ingest"
)

// table says how records of one kind are laid out: the columns after key, in
// the order in which values gives them.
type table struct {
	name    string
	columns []string
	values  func([]any, ingest.Record, *days) []any
}

// list names the columns for a query.
func (t table) list() string { return strings.Join(t.columns, ", ") }

var tables = map[ingest.RowKind]table{
	ingest.DropOffs: {"job_lines", []string{"ro", "dropped_off", "kind", "unit", "quoted", "clocked", "billed", "parts_wait",
		"emergency", "deferrable_", "comeback_of", "promised", "ready", "picked_up", "status", "note"},
		func(a []any, r ingest.Record, days *days) []any {
			d := r.(*ingest.DropOff)
			return append(a, d.RO, days.text(d.DroppedOff), d.Kind, d.Unit, float(d.QuotedHours), float(d.ClockedHours), float(d.BilledHours), float(d.PartsWaitDays),
				bit(d.Emergency.Valid && d.Emergency.V), bit(d.Deferrable.Valid && d.Deferrable.V), d.ComebackOf, days.maybe(d.Promised), days.maybe(d.Ready), days.maybe(d.PickedUp), d.Status, d.Note)
		}},
	ingest.Crew: {"crew", []string{"name", "weekly_hours", "productivity", "skills", "from_", "until", "hourly_cost"},
		func(a []any, r ingest.Record, days *days) []any {
			p := r.(*ingest.Person)
			skills := "all"
			if p.Skills != nil {
				skills = strings.Join(p.Skills, ";")
			}
			return append(a, p.Name, p.WeeklyHours, float(p.Productivity), skills, days.maybe(p.From), days.maybe(p.Until), float(p.HourlyCost))
		}},
	ingest.TimeOff: {"absences", []string{"name", "from_", "until"},
		func(a []any, r ingest.Record, days *days) []any {
			o := r.(*ingest.Absence)
			return append(a, o.Name, days.text(o.From), days.text(o.Until))
		}},
	ingest.Events: {"events", []string{"name", "from_", "until", "effect"},
		func(a []any, r ingest.Record, days *days) []any {
			e := r.(*ingest.Event)
			return append(a, e.Name, days.text(e.From), days.text(e.Until), string(e.Effect))
		}},
}

func float(o ingest.Opt[float64]) any {
	if !o.Valid {
		return nil
	}
	return o.V
}

// days writes days, and remembers the text of some: most rows are of the days
// of the rows before.
type days [512]struct {
	day  forecast.Date
	text any // nil, or a string
}

func (x *days) text(d forecast.Date) any {
	e := &x[uint32(d)%uint32(len(x))]
	if e.day != d || e.text == nil {
		e.day, e.text = d, d.String()
	}
	return e.text
}

func (x *days) maybe(o ingest.Opt[forecast.Date]) any {
	if !o.Valid {
		return nil
	}
	return x.text(o.V)
}

func bit(b bool) int64 {
	if b {
		return 1
	}
	return 0
}

// A hash is of one version of a record.
type hash [sha256.Size]byte

// with adds another hash to a sum that is the same in any order.
func (h *hash) with(o hash) {
	for i := range h {
		h[i] ^= o[i]
	}
}

func digestOf(text []byte) hash { return sha256.Sum256(text) }

// versionHash is of a record's version under its key, as a batch's content
// holds it.
func versionHash(key string, digest []byte) hash {
	var short [256]byte
	b := append(short[:0], key...)
	b = append(b, 0)
	return digestOf(append(b, digest...))
}

// encode writes values so that no two records write the same text, each marked
// with its type and its length, and decode can read them back. A record's
// digest is the SHA-256 of it.
func encode(text *bytes.Buffer, values []any) {
	b := text.AvailableBuffer()
	for _, v := range values {
		switch v := v.(type) {
		case nil:
			b = append(b, '-')
		case int64:
			b = strconv.AppendInt(append(b, 'i'), v, 10)
		case float64:
			b = appendFloat(append(b, 'f'), v)
		case string:
			b = strconv.AppendInt(append(b, 's'), int64(len(v)), 10)
			b = append(append(b, ':'), v...)
		case []byte: // no record has any: it is from a damaged page
			b = append(append(b, 'b'), v...)
		default:
			panic(fmt.Sprintf("store: no code for a %T", v))
		}
		b = append(b, 0)
	}
	text.Write(b)
}

// appendFloat writes the shortest text that reads back as v, as strconv does
// under 'g'. Hours mostly have a digit or two after the point: such a text has
// no shorter one beside it, and is found faster.
func appendFloat(b []byte, v float64) []byte {
	n := int64(v*100 + 0.5)
	if n <= 0 || n >= 1e6 || float64(n)/100 != v {
		return strconv.AppendFloat(b, v, 'g', -1, 64)
	}
	b = strconv.AppendInt(b, n/100, 10)
	if n%100 != 0 {
		b = append(b, '.', byte('0'+n/10%10))
	}
	if n%10 != 0 {
		b = append(b, byte('0'+n%10))
	}
	return b
}

// decode reads a version of a record from the history: the columns' values.
func (t table) decode(version []byte) ([]any, error) {
	values, err := decode(version)
	if err == nil && len(values) != len(t.columns) {
		err = fmt.Errorf("store: need %d values of %s in the history, have %d", len(t.columns), t.name, len(values))
	}
	return values, err
}

// decode reads what encode wrote.
func decode(text []byte) ([]any, error) {
	var values []any
	for len(text) > 0 {
		mark, rest := text[0], text[1:]
		var word []byte
		var err error
		if mark == 's' {
			length, after, _ := bytes.Cut(rest, []byte{':'})
			n, err := strconv.Atoi(string(length))
			if err != nil || n < 0 || n >= len(after) {
				return nil, fmt.Errorf("store: a damaged version in the history: %.100q", text)
			}
			word, rest = after[:n], after[n:]
		} else if end := bytes.IndexByte(rest, 0); end >= 0 {
			word, rest = rest[:end], rest[end:]
		}
		var v any
		switch mark {
		case '-':
			if len(word) > 0 {
				err = strconv.ErrSyntax
			}
		case 'i':
			v, err = strconv.ParseInt(string(word), 10, 64)
		case 'f':
			v, err = strconv.ParseFloat(string(word), 64)
		case 's':
			v = string(word)
		default:
			err = strconv.ErrSyntax
		}
		if err != nil || len(rest) == 0 || rest[0] != 0 {
			return nil, fmt.Errorf("store: a damaged version in the history: %.100q", text)
		}
		values, text = append(values, v), rest[1:]
	}
	return values, nil
}
