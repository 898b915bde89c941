package workers

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"github.com/riverqueue/river"
	"github.com/riverqueue/river/rivertype"

	"freshet/cmd/freshet/internal/week"
	"freshet/forecast"
	"freshet/ingest/store"
	"freshet/report"
)

// failures logs what fails, and gives up the work of a shop that was taken away.
type failures struct{ log *slog.Logger }

func (f failures) HandleError(_ context.Context, job *rivertype.JobRow, err error) *river.ErrorHandlerResult {
	if errors.Is(err, context.Canceled) {
		return nil // this process ends, and another does it
	}
	f.log.Error("a job failed: 'freshet group' says why", "shop", shopOf(job.EncodedArgs), "job", job.Kind, "try", job.Attempt, "error", err)
	return &river.ErrorHandlerResult{SetCancelled: errors.As(err, new(*store.NoShop))}
}

func (f failures) HandlePanic(_ context.Context, job *rivertype.JobRow, p any, _ string) *river.ErrorHandlerResult {
	f.log.Error("a job broke off: that is a fault of freshet", "shop", shopOf(job.EncodedArgs), "job", job.Kind, "try", job.Attempt, "panic", fmt.Sprintf("%T", p))
	return nil
}

// shopOf gives the shop that a job is for, empty if it is for all.
func shopOf(args []byte) string {
	var of struct{ Shop string }
	json.Unmarshal(args, &of) // Gather and Look have none
	return of.Shop
}

// A Failing is work that failed when it was last tried.
type Failing struct {
	Shop  string // empty: what is of all shops
	What  string // as people read it
	File  int64  // number of the file that it takes in, 0 if none
	Tries int
	Next  time.Time // when it is tried again, zero if it is not
	Why   string
}

// Failing gives the work that failed when it was last tried, by shop: what is
// tried again, and what was given up within a day.
func (h *Hands) Failing(ctx context.Context) (all []Failing, err error) {
	rows, err := h.group.Pool().Query(ctx, `SELECT j.kind, j.args, coalesce(f.file, ''), j.attempt, j.scheduled_at, j.finalized_at IS NULL, j.errors[array_upper(j.errors, 1)]->>'error'
		FROM freshet.river_job j LEFT JOIN freshet.handed_in f ON j.kind = 'file' AND f.id = (j.args->>'id')::bigint
		WHERE array_upper(j.errors, 1) > 0 AND j.kind <> 'look' AND (j.finalized_at IS NULL OR j.state = 'discarded' AND j.finalized_at > now() - interval '1 day')
		ORDER BY j.args->>'shop' NULLS FIRST, j.id`)
	if err != nil {
		return nil, fmt.Errorf("work: %w", err)
	}
	defer rows.Close()
	for rows.Next() {
		var f Failing
		var kind, file string
		var args []byte
		var next time.Time
		var again bool
		if err := rows.Scan(&kind, &args, &file, &f.Tries, &next, &again, &f.Why); err != nil {
			return nil, fmt.Errorf("work: %w", err)
		}
		if again {
			f.Next = next
		}
		var of struct {
			Shop, Why, Of string
			ID            int64
		}
		if err := json.Unmarshal(args, &of); err != nil {
			return nil, fmt.Errorf("work: %w", err)
		}
		f.Shop, f.File = of.Shop, of.ID
		switch {
		case kind == (File{}).Kind():
			f.What = "the file " + file
		case kind == (Gather{}).Kind():
			f.What = "what shops lend and teach each other"
		case of.Why == Night:
			f.What = "the night's report of " + dayOf(of.Of)
		case of.Why == Letter:
			f.What = "the letter of the week of " + weekOf(of.Of)
		case of.Why == Post:
			f.What = "a letter that waits"
		default:
			f.What = "the report after a change"
		}
		all = append(all, f)
	}
	return all, rows.Err()
}

// dayOf and weekOf write a job's day, and the Monday of its week, as people do.
func dayOf(of string) string {
	if d, err := forecast.ParseDate(of); err == nil {
		return report.LongDay(d)
	}
	return of
}

func weekOf(of string) string {
	if monday, err := week.ParseWeek(of); err == nil {
		return report.LongDay(monday)
	}
	return of
}
