package workers

import (
	"cmp"
	"context"
	"fmt"
	"time"

	"github.com/riverqueue/river"

	"freshet/cmd/freshet/internal/desk"
	"freshet/cmd/freshet/internal/post"
	"freshet/cmd/freshet/internal/weekly"
	"freshet/forecast"
	"freshet/ingest/store"
)

// Look is the job of looking what has become due.
type Look struct{}

// Kind names the job for River.
func (Look) Kind() string { return "look" }

// InsertOpts lets no more than one look be asked for in a second.
func (Look) InsertOpts() river.InsertOpts {
	return river.InsertOpts{MaxAttempts: 1, UniqueOpts: river.UniqueOpts{ByPeriod: time.Second}}
}

type lookWorker struct {
	river.WorkerDefaults[Look]
	Config
}

// Work asks for the shops' work that is due, and once there is none, has what
// concerns them all gathered.
func (w *lookWorker) Work(ctx context.Context, _ *river.Job[Look]) error {
	rounds, err := w.Group.Rounds(ctx)
	if err != nil {
		return err
	}
	// A file whose job was given up, or never made as the process died, has one
	// again; the others have theirs.
	files, err := w.Group.WaitingFiles(ctx)
	if err != nil {
		return err
	}
	if len(files) > 0 {
		waiting := make([]river.InsertManyParams, len(files))
		for i, f := range files {
			waiting[i].Args = File{f.ID, f.Shop}
		}
		if _, err := w.hands.client.InsertMany(ctx, waiting); err != nil {
			return err
		}
	}
	var wanted []river.InsertManyParams
	for _, r := range rounds {
		for _, s := range due(r, w.Now()) {
			wanted = append(wanted, river.InsertManyParams{Args: s})
		}
	}
	if len(wanted) > 0 {
		_, err := w.hands.client.InsertMany(ctx, wanted)
		return err
	}
	of, err := w.Group.Newest(ctx)
	if err != nil || of == "" {
		return err
	}
	_, err = w.hands.client.Insert(ctx, Gather{of}, nil)
	return err
}

// atNight is when the night's work is due, in the shop's own time.
const atNight = "0 2 * * *"

// due gives what of a shop's work has become due: the last night's, the letter's
// of the last slot, and nothing that is older.
func due(r store.Round, now time.Time) (wanted []Shop) {
	loc, err := time.LoadLocation(r.Zone) // none before the first night: UTC
	if err != nil {
		loc = time.UTC
	}
	night, _ := weekly.Parse(atNight)
	if last, ok := night.Last(now, loc); ok {
		if day := forecast.DateOf(last.In(loc)).String(); day > r.Night {
			wanted = append(wanted, Shop{r.Shop, Night, day})
		}
	}
	letter, err := weekly.Parse(cmp.Or(r.Schedule, weekly.Usual))
	if err != nil {
		return wanted // the shop's own page says so
	}
	if last, ok := letter.Last(now, loc); ok && r.Night != "" {
		if week := isoWeek(last.In(loc)); week > r.Letter {
			wanted = append(wanted, Shop{r.Shop, Letter, week})
		}
	}
	return wanted
}

func isoWeek(t time.Time) string {
	year, week := t.ISOWeek()
	return fmt.Sprintf("%d-W%02d", year, week)
}

func today(now time.Time, loc *time.Location) forecast.Date {
	if loc == nil {
		loc = time.UTC
	}
	return forecast.DateOf(now.In(loc))
}

// roundOf reads when a shop's work is due.
func roundOf(ctx context.Context, db *store.Store, shop string) (store.Round, error) {
	loc, err := (&desk.Desk{Store: db}).Zone(ctx)
	if err != nil {
		return store.Round{}, err
	}
	schedule, err := db.Setting(ctx, post.SettingSchedule, weekly.Usual)
	return store.Round{Shop: shop, Zone: loc.String(), Schedule: schedule}, err
}
