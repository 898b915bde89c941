package store

import (
	"context"

	"freshet/forecast"
)

// Emergencies gives the emergencies dropped off on or after since and before
// asOf, in order of drop-off, as they were known on asOf. One that was not ready
// before has no hours but the quoted ones.
func (s *Store) Emergencies(ctx context.Context, since, asOf forecast.Date) ([]Job, error) {
	out, err := s.jobs(ctx, "emergency = 1 AND dropped_off >= ? AND dropped_off < ?", since.String(), asOf.String())
	for i := range out {
		j := &out[i]
		if j.knownOn(asOf); !j.Ready.Valid {
			j.Clocked.Valid, j.Billed.Valid = false, false
		}
	}
	return out, err
}

// Visit is the last time that a unit was dropped off.
type Visit struct {
	Unit, RO string
	Day      forecast.Date
}

// NotSeen gives up to n units last dropped off on or after since and before
// until, the latest first, nothing on or after asOf being known.
func (s *Store) NotSeen(ctx context.Context, since, until, asOf forecast.Date, n int) ([]Visit, error) {
	rows, err := s.r.QueryContext(ctx, `SELECT unit, min(ro), dropped_off FROM job_lines JOIN
		(SELECT unit, max(dropped_off) AS last FROM job_lines WHERE unit <> '' AND dropped_off < ? GROUP BY unit) AS visits USING (unit)
		WHERE dropped_off = last AND dropped_off >= ? AND dropped_off < ? GROUP BY unit, dropped_off ORDER BY dropped_off DESC, unit LIMIT ?`,
		asOf.String(), since.String(), until.String(), n)
	if err != nil {
		return nil, wrap(err)
	}
	defer rows.Close()
	var out []Visit
	for rows.Next() {
		var v Visit
		var day string
		if err := rows.Scan(&v.Unit, &v.RO, &day); err != nil {
			return nil, wrap(err)
		}
		if v.Day, err = forecast.ParseDate(day); err != nil {
			return nil, wrap(err)
		}
		out = append(out, v)
	}
	return out, wrap(rows.Err())
}
