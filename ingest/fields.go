package ingest

import "freshet/forecast"

// A field is something that a column may hold.
type field struct {
	name   string
	needed bool // a row without it is refused, and so is a file
	money  bool // amounts of money are at home here, and nowhere else
	put    func(*cell, Record)
}

// A schema is what the rows of one kind hold.
type schema struct {
	fields []field
	blank  func() Record
	check  func(Record, *verdict) // what no single cell can tell
}

func of[T any, P interface {
	*T
	Record
}](check func(P, *verdict), fields ...field) *schema {
	return &schema{
		fields: fields,
		blank:  func() Record { return P(new(T)) },
		check:  func(r Record, v *verdict) { check(r.(P), v) },
	}
}

func need[P Record](name string, put func(*cell, P)) field {
	f := may(name, put)
	f.needed = true
	return f
}

func may[P Record](name string, put func(*cell, P)) field {
	return field{name: name, put: func(c *cell, r Record) { put(c, r.(P)) }}
}

// schemas holds the contract's fields, in the order in which they are listed
// to people.
var schemas = map[RowKind]*schema{
	DropOffs: of(checkDropOff,
		need("ro_number", func(c *cell, d *DropOff) { d.RO = c.id() }),
		need("dropped_off", func(c *cell, d *DropOff) { d.DroppedOff = c.day().V }),
		may("line", func(c *cell, d *DropOff) { d.Line = c.reference() }),
		may("kind", func(c *cell, d *DropOff) { d.Kind = c.label() }),
		may("unit", func(c *cell, d *DropOff) {
			if !c.empty() { // "n/a" is no rig that comes again and again
				d.Unit = c.label()
			}
		}),
		may("quoted_hours", func(c *cell, d *DropOff) { d.QuotedHours = c.hours() }),
		may("clocked_hours", func(c *cell, d *DropOff) { d.ClockedHours = c.hours() }),
		may("billed_hours", func(c *cell, d *DropOff) { d.BilledHours = c.hours() }),
		may("parts_wait_days", func(c *cell, d *DropOff) { d.PartsWaitDays = c.days() }),
		may("emergency", func(c *cell, d *DropOff) { d.Emergency = c.flag() }),
		may("deferrable", func(c *cell, d *DropOff) { d.Deferrable = c.flag() }),
		may("comeback_of", func(c *cell, d *DropOff) { d.ComebackOf = c.reference() }),
		may("promised", func(c *cell, d *DropOff) { d.Promised = c.plannedDay() }),
		may("ready", func(c *cell, d *DropOff) { d.Ready = c.day() }),
		may("picked_up", func(c *cell, d *DropOff) { d.PickedUp = c.day() }),
		may("status", func(c *cell, d *DropOff) { d.Status = c.label() }),
		may("note", func(c *cell, d *DropOff) { d.Note = c.text() }),
	),
	Crew: of(checkPerson,
		need("name", func(c *cell, p *Person) { p.Name = c.id() }),
		need("weekly_hours", func(c *cell, p *Person) { p.WeeklyHours = c.weeklyHours().V }),
		may("productivity", func(c *cell, p *Person) { p.Productivity = c.share() }),
		may("skills", func(c *cell, p *Person) { p.Skills = c.skills() }),
		may("from", func(c *cell, p *Person) { p.From = c.plannedDay() }),
		may("until", func(c *cell, p *Person) { p.Until = c.plannedDay() }),
		field{name: "hourly_cost", money: true, put: func(c *cell, r Record) { r.(*Person).HourlyCost = c.money() }},
	),
	TimeOff: of(checkAbsence,
		need("name", func(c *cell, a *Absence) { a.Name = c.id() }),
		need("from", func(c *cell, a *Absence) { a.From = c.plannedDay().V }),
		may("until", func(c *cell, a *Absence) { a.Until = c.plannedDay().V }),
	),
	Events: of(checkEvent,
		need("name", func(c *cell, e *Event) { e.Name = c.id() }),
		need("from", func(c *cell, e *Event) { e.From = c.plannedDay().V }),
		may("until", func(c *cell, e *Event) { e.Until = c.plannedDay().V }),
		need("effect", func(c *cell, e *Event) { e.Effect = c.effect() }),
	),
}

// Fields lists the fields that a column of such rows may hold.
func (k RowKind) Fields() []string {
	var names []string
	for _, f := range schemas[k].fields {
		names = append(names, f.name)
	}
	return names
}

func (k RowKind) field(name string) (field, bool) {
	for _, f := range schemas[k].fields {
		if f.name == name {
			return f, true
		}
	}
	return field{}, false
}

// A verdict collects what is wrong or doubtful across the cells of a row.
type verdict struct{ fault, warning finding }

// A finding names a field and what is said about it.
type finding struct{ field, reason string }

func checkDropOff(d *DropOff, v *verdict) {
	in := d.DroppedOff
	before := func(o Opt[forecast.Date]) bool { return o.Valid && o.V < in }
	const early = "is before the drop-off on "
	switch {
	case before(d.Ready):
		v.fault = finding{"ready", early + in.String()}
	case before(d.PickedUp):
		v.fault = finding{"picked_up", early + in.String()}
	case before(d.Promised):
		v.warning = finding{"promised", early + in.String()}
	case d.Ready.Valid && d.PickedUp.Valid && d.PickedUp.V < d.Ready.V:
		v.warning = finding{"picked_up", "is before the job was ready on " + d.Ready.V.String()}
	}
}

func checkPerson(p *Person, v *verdict) {
	if p.From.Valid && p.Until.Valid && p.Until.V < p.From.V {
		v.fault = finding{"until", "is before " + p.From.V.String()}
	}
}

func checkAbsence(a *Absence, v *verdict) { checkSpell(a.From, &a.Until, v) }

func checkEvent(e *Event, v *verdict) { checkSpell(e.From, &e.Until, v) }

// checkSpell makes a spell without an end one day long. The zero Date is
// before any that can be read.
func checkSpell(from forecast.Date, until *forecast.Date, v *verdict) {
	if *until == 0 {
		*until = from
	} else if *until < from {
		v.fault = finding{"until", "is before " + from.String()}
	}
}
