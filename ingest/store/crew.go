package store

import (
	"context"
	"fmt"
	"slices"

	"freshet/ingest"
)

// Crew gives everyone on the crew, past and to come. Skills are the groups that
// their words mean, as far as they are words of the shop's, see SkillDoubts.
func (s *Store) Crew(ctx context.Context) ([]Person, error) {
	v, err := s.vocabulary(ctx)
	if err != nil {
		return nil, err
	}
	crew, _, err := s.crew(ctx, v)
	return crew, err
}

// crew gives everyone, with their skills as they were written: nil for those
// who can do all.
func (s *Store) crew(ctx context.Context, v vocabulary) (out []Person, written [][]skill, err error) {
	t := tables[ingest.Crew]
	rows, err := s.r.QueryContext(ctx, "SELECT "+t.list()+" FROM "+t.name+" ORDER BY key")
	if err != nil {
		return nil, nil, wrap(err)
	}
	defer rows.Close()
	for rows.Next() {
		values := make([]any, len(t.columns))
		if err := rows.Scan(into(values)...); err != nil {
			return nil, nil, wrap(err)
		}
		p, have, err := v.person(values)
		if err != nil {
			return nil, nil, err
		}
		out, written = append(out, p), append(written, have)
	}
	return out, written, wrap(rows.Err())
}

// person reads a person's columns, in the table's order, back into what tables
// made them of.
func (v vocabulary) person(columns []any) (p Person, written []skill, err error) {
	name, named := columns[0].(string)
	skills, skilled := columns[3].(string)
	hours := number(columns[1])
	if !named || !skilled || !hours.Valid {
		return p, nil, fmt.Errorf("store: a damaged person: %.200v", columns)
	}
	p = Person{Name: name, WeeklyHours: hours.V, Productivity: number(columns[2]), HourlyCost: number(columns[6])}
	if p.From, err = day(columns[4]); err != nil {
		return p, nil, err
	}
	if p.Until, err = day(columns[5]); err != nil {
		return p, nil, err
	}
	if skills != everything {
		written = v.skills(skills)
	}
	for _, k := range written {
		names := k.kinds
		if names == nil {
			names = []string{k.word}
		}
		for _, name := range names {
			if !slices.Contains(p.Skills, name) {
				p.Skills = append(p.Skills, name)
			}
		}
	}
	return p, written, nil
}

// CrewSpell is one spell of a person on the crew as it stands, to be looked at and
// changed.
type CrewSpell struct {
	Person
	Key     string
	Version Version
	Before  *Person // what it said before a person changed it last; nil if a file has the last word
}

// CrewSpell gives the spell under a key, and false if there is none.
func (s *Store) CrewSpell(ctx context.Context, key string) (m CrewSpell, ok bool, err error) {
	v, err := s.vocabulary(ctx)
	if err != nil {
		return m, false, err
	}
	x, ok, err := s.standing(ctx, ingest.Crew, key)
	if err != nil || !ok {
		return m, ok, err
	}
	m.Key, m.Version = key, x.version
	if m.Person, _, err = v.person(x.values); err != nil || x.before == nil {
		return m, true, err
	}
	p, _, err := v.person(x.before)
	m.Before = &p
	return m, true, err
}

// OffCrew gives those who were taken off the crew by hand and have no other
// spell on it, the newest first.
func (s *Store) OffCrew(ctx context.Context, most int) ([]Person, error) {
	v, err := s.vocabulary(ctx)
	if err != nil {
		return nil, err
	}
	crew, _, err := s.crew(ctx, v)
	if err != nil {
		return nil, err
	}
	var out []Person
	err = s.takenOut(ctx, ingest.Crew, most, func(_ string, columns []any) error {
		p, _, err := v.person(columns)
		if !slices.ContainsFunc(crew, func(c Person) bool { return ingest.Fold(c.Name) == ingest.Fold(p.Name) }) {
			out = append(out, p)
		}
		return err
	})
	return out, err
}
