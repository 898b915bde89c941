package desk

import (
	"context"
	"slices"

	"freshet/forecast"
	"freshet/report"
)

// quotesDue sets the quotes whose 8 in 10 date fell into the last complete week
// against what came, as far as it was known before asOf. It is nil where none
// fell due.
func (d *Desk) quotesDue(ctx context.Context, asOf forecast.Date) (*report.QuotesDue, error) {
	const most = 10000 // a week holds a few dozen; the newest come first
	all, err := d.Store.Quotes(ctx, most)
	if err != nil {
		return nil, err
	}
	due := report.QuotesDue{From: asOf.Monday() - forecast.Week}
	due.Until = due.From + forecast.Week - 1
	since := asOf
	for i := len(all) - 1; i >= 0; i-- { // as they were given
		q := all[i]
		if q.P80 < due.From || q.P80 > due.Until || q.AsOf >= asOf {
			continue
		}
		since = min(since, q.AsOf)
		due.Quotes = append(due.Quotes, report.QuoteDue{RO: q.RO, Kind: q.Kind, By: q.P80})
	}
	if len(due.Quotes) == 0 {
		return nil, nil
	}
	// A rig may have stood there before it was quoted for.
	jobs, err := d.Store.Jobs(ctx, since-forgotten, asOf)
	if err != nil {
		return nil, err
	}
	for i := range due.Quotes {
		q := &due.Quotes[i]
		open := false
		for _, j := range jobs {
			if q.RO == "" || j.RO != q.RO {
				continue
			}
			q.Known = true
			open = open || !j.Ready.Valid
			if j.Ready.Valid && (q.Ready == nil || j.Ready.V > *q.Ready) {
				q.Ready = &j.Ready.V
			}
		}
		if open {
			q.Ready = nil // the order is ready when its last line is
		}
	}
	slices.SortStableFunc(due.Quotes, func(a, b report.QuoteDue) int { return int(a.By - b.By) })
	return &due, nil
}
