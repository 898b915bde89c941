package desk

import (
	"context"
	"encoding/json"
	"fmt"

	"freshet/capacity"
	"freshet/forecast"
	"freshet/forecast/workload"
	"freshet/ingest/store"
	"freshet/report"
)

// Brief is what a group of shops keeps of one's report.
type Brief struct {
	Shop      string            `json:"shop"`
	AsOf      forecast.Date     `json:"as_of"`
	DataUntil *forecast.Date    `json:"data_until"`
	Weeks     []BriefWeek       `json:"weeks"`
	Spare     []capacity.Spared `json:"spare"`  // nil where the crew or hours aren't known
	Lesson    *workload.Lesson  `json:"lesson"` // what younger shops may borrow; nil before it has records enough
}

// BriefWeek is one week. The crew's side is nil where it isn't known.
type BriefWeek struct {
	Week           forecast.Date   `json:"week"`
	DropOffs       forecast.Spread `json:"drop_offs"`
	Hours          forecast.Spread `json:"hours"`
	AvailableHours *float64        `json:"available_hours"`
	ChanceShort    *float64        `json:"chance_short"`
}

// grown is the weeks of records from which a shop teaches others and borrows
// nothing: from then on the season of others adds little to its own
// (workload.TestSiblings).
const grown = 156

// SettingSiblings names the setting that holds what a young shop borrows from
// the shops of its group, as JSON of workload.Siblings.
const SettingSiblings = "shop.siblings"

// readSiblings takes in what a young shop may borrow.
func (s *shop) readSiblings(ctx context.Context, db *store.Store) error {
	text, err := db.Setting(ctx, SettingSiblings, "")
	if err != nil || text == "" {
		return err
	}
	if err := json.Unmarshal([]byte(text), &s.book.Siblings); err != nil {
		return fmt.Errorf("the shop's setting %s: %w", SettingSiblings, err)
	}
	return nil
}

// ReportAndBrief answers with the weekly report, and what the group keeps of it.
func (d *Desk) ReportAndBrief(ctx context.Context, ask Ask, version string) (report.Report, Brief, error) {
	s, r, err := d.report(ctx, ask, version)
	if err != nil {
		return r, Brief{}, err
	}
	b := Brief{Shop: s.name, AsOf: ask.AsOf, DataUntil: s.lastDay()}
	for _, w := range r.Weeks {
		week := BriefWeek{Week: w.Monday, DropOffs: w.DropOffs, Hours: w.Hours}
		if c := w.Crew; c != nil {
			week.AvailableHours, week.ChanceShort = &c.Available, &c.ChanceShort
		}
		b.Weeks = append(b.Weeks, week)
	}
	b.Spare = s.spare[:min(len(s.spare), len(b.Weeks))]
	if s.known.Total.Observed() >= grown {
		l, err := s.fit.Lesson()
		if err != nil {
			return r, b, err
		}
		b.Lesson = &l
	}
	return r, b, nil
}
