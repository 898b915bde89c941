// Package workers does the recurring work of a group's shops, by as many processes
// on as many machines as one likes: River keeps the jobs in the group's
// PostgreSQL, hands each to one process, tries again what failed, and gives on
// what a process that died had begun.
//
// A job is one shop's work, by package week, in the same order as a shop alone
// has it done. It has a key of shop and ISO week (the letter) or day (the
// night), so that whoever asks for it, and however often, it is done once; the
// letter itself has the outbox's own key. Once a minute one of the processes,
// the one that River elects, asks what has become due.
//
// The package refuses to keep anything that the database doesn't know: a process
// may be killed at any moment.
//
// To use it: Prepare once, then Run in each worker; Hands asks for work from
// anywhere else.
package workers

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"
	"github.com/riverqueue/river/rivermigrate"
	"github.com/riverqueue/river/rivertype"

	"freshet/cmd/freshet/internal/desk"
	"freshet/cmd/freshet/internal/week"
	"freshet/ingest/store"
)

// schema is where River's tables are: with what is the group's.
const schema = "freshet"

// Prepare makes River's tables, or brings them up to date.
func Prepare(ctx context.Context, g *store.Group) error {
	m, err := rivermigrate.New(riverpgxv5.New(g.Pool()), &rivermigrate.Config{Schema: schema, Logger: slog.New(slog.DiscardHandler)})
	if err != nil {
		return fmt.Errorf("work: %w", err)
	}
	if _, err := m.Migrate(ctx, rivermigrate.DirectionUp, nil); err != nil {
		return fmt.Errorf("work: %w", err)
	}
	return nil
}

// Why a shop's work is done.
const (
	Night  = "night"  // of a day: the report is made anew
	Letter = "letter" // of an ISO week: the letter is due
	Anew   = "anew"   // since a person changed something, at a moment
	Post   = "post"   // since a letter waits until a moment
)

// Shop is the job of one shop's work.
type Shop struct {
	Shop string `json:"shop" river:"unique"`
	Why  string `json:"why" river:"unique"`
	Of   string `json:"of" river:"unique"` // the day, week or moment
}

// Kind names the job for River.
func (Shop) Kind() string { return "shop" }

// InsertOpts make it the only one of its key.
func (Shop) InsertOpts() river.InsertOpts {
	return river.InsertOpts{UniqueOpts: river.UniqueOpts{ByArgs: true}, MaxAttempts: tries}
}

// tries is how often a job is tried: River waits a second, then 16, 81 and so on
// (the fourth powers), half a day in all.
const tries = 12

// File is the job of taking in a file that was handed in.
type File struct {
	ID   int64  `json:"id" river:"unique"`
	Shop string `json:"shop"`
}

// Kind names the job for River.
func (File) Kind() string { return "file" }

// InsertOpts make it the only one of its file.
func (File) InsertOpts() river.InsertOpts {
	return river.InsertOpts{UniqueOpts: river.UniqueOpts{ByArgs: true}, MaxAttempts: tries}
}

// Config is what a worker needs.
type Config struct {
	Group   *store.Group
	Now     func() time.Time
	Getenv  func(string) string // where the mail password may stand
	Log     *slog.Logger
	Version string        // of freshet
	Weeks   int           // ahead
	AtOnce  int           // jobs at a time
	Rescue  time.Duration // after which a job of a process that died is given to another; 0 stands for a quarter of an hour
	Looks   time.Duration // between looks at what is due; 0 stands for a minute

	hands *Hands // that ask for more work; Run's own
}

// longest is how long a job may take: one shop's work is a few seconds.
const longest = 10 * time.Minute

// Run works until ctx ends, then lets go of what it has begun.
func Run(ctx context.Context, c Config) error {
	if c.Rescue == 0 {
		c.Rescue = longest + 5*time.Minute
	}
	if c.Looks == 0 {
		c.Looks = time.Minute
	}
	hands, err := NewHands(c.Group)
	if err != nil {
		return err
	}
	c.hands = hands
	workers := river.NewWorkers()
	river.AddWorker(workers, &shopWorker{Config: c})
	river.AddWorker(workers, &fileWorker{Config: c})
	river.AddWorker(workers, &lookWorker{Config: c})
	river.AddWorker(workers, &gatherWorker{Config: c})
	client, err := river.NewClient(riverpgxv5.New(c.Group.Pool()), &river.Config{
		Schema: schema, Workers: workers, Logger: slog.New(plain{c.Log.Handler()}), ErrorHandler: failures{c.Log}, JobTimeout: min(longest, c.Rescue), RescueStuckJobsAfter: c.Rescue, FetchPollInterval: c.Looks,
		Queues:       map[string]river.QueueConfig{river.QueueDefault: {MaxWorkers: c.AtOnce}},
		PeriodicJobs: []*river.PeriodicJob{river.NewPeriodicJob(river.PeriodicInterval(c.Looks), func() (river.JobArgs, *river.InsertOpts) { return Look{}, nil }, &river.PeriodicJobOpts{RunOnStart: true})},
	})
	if err != nil {
		return fmt.Errorf("work: %w", err)
	}
	if err := client.Start(context.WithoutCancel(ctx)); err != nil {
		return fmt.Errorf("work: %w", err)
	}
	<-ctx.Done()
	end, cancel := context.WithTimeout(context.WithoutCancel(ctx), 10*time.Second)
	defer cancel()
	if err := client.StopAndCancel(end); err != nil && !errors.Is(err, context.DeadlineExceeded) {
		return fmt.Errorf("work: %w", err)
	}
	return nil
}

// plain leaves out what River says of its own housekeeping.
type plain struct{ slog.Handler }

func (p plain) Enabled(ctx context.Context, l slog.Level) bool {
	return l >= slog.LevelWarn && p.Handler.Enabled(ctx, l)
}

func (p plain) WithAttrs(a []slog.Attr) slog.Handler { return plain{p.Handler.WithAttrs(a)} }
func (p plain) WithGroup(name string) slog.Handler   { return plain{p.Handler.WithGroup(name)} }

type shopWorker struct {
	river.WorkerDefaults[Shop]
	Config
}

// Work does one shop's work.
func (w *shopWorker) Work(ctx context.Context, job *river.Job[Shop]) error {
	wish := week.Due
	if job.Args.Why == Night {
		wish = week.Anew
	}
	db, err := w.Group.Open(ctx, job.Args.Shop)
	if err != nil {
		return err
	}
	defer db.Close()
	var failure error
	for _, f := range w.week(db, job.Args.Shop).Do(ctx, wish) {
		if !f.Minor() {
			failure = errors.Join(failure, f)
		}
	}
	if ctx.Err() != nil {
		return ctx.Err() // broken off: it is done again
	}
	if failure != nil && job.Attempt < job.MaxAttempts {
		return failure
	}
	if err := w.did(ctx, db, job.Args); err != nil {
		return err
	}
	return failure
}

// fileFailures is for how many days it is said of a file that it isn't in: a
// letter comes in them.
const fileFailures = 8

// did keeps how far a shop's work is done, and has the outbox looked at when
// one of its letters waits.
func (c Config) did(ctx context.Context, db *store.Store, did Shop) error {
	r, err := roundOf(ctx, db, did.Shop)
	if err != nil {
		return err
	}
	switch did.Why {
	case Night:
		r.Night = did.Of
		if err := db.ForgetFileFailures(ctx, c.Now().AddDate(0, 0, -fileFailures)); err != nil {
			return err
		}
	case Letter:
		r.Letter = did.Of
	}
	if err := c.Group.SetRound(ctx, r); err != nil {
		return err
	}
	due, ok, err := db.NextLetter(ctx)
	if err != nil || !ok {
		return err
	}
	_, err = c.hands.client.Insert(ctx, Shop{did.Shop, Post, due.UTC().Format(time.RFC3339)}, &river.InsertOpts{ScheduledAt: time.Now().Add(due.Sub(c.Now()))})
	return err
}

// week gives a shop's recurring work.
func (c Config) week(db *store.Store, shop string) *week.Week {
	d := &desk.Desk{Store: db}
	return &week.Week{Store: db, Now: c.Now, Getenv: c.Getenv, Log: c.Log.With("shop", shop), Version: c.Version,
		Ask: func(ctx context.Context) (desk.Ask, error) {
			loc, err := d.Zone(ctx)
			day := today(c.Now(), loc)
			return desk.Ask{AsOf: day, Weeks: c.Weeks, Seed: desk.Seed(day)}, err
		},
		Brief: func(ctx context.Context, b desk.Brief) error { return keep(ctx, c.Group, shop, b, c.Now()) }}
}

// Hands asks the workers for work.
type Hands struct {
	group  *store.Group
	client *river.Client[pgx.Tx]
}

// NewHands gives the hands of a group that was prepared.
func NewHands(g *store.Group) (*Hands, error) {
	client, err := river.NewClient(riverpgxv5.New(g.Pool()), &river.Config{Schema: schema, Logger: slog.New(slog.DiscardHandler)})
	if err != nil {
		return nil, fmt.Errorf("work: %w", err)
	}
	return &Hands{g, client}, nil
}

// Anew asks for a shop's work, since something changed at a moment.
func (h *Hands) Anew(ctx context.Context, shop string, at time.Time) error {
	_, err := h.client.Insert(ctx, Shop{shop, Anew, at.UTC().Format(time.RFC3339Nano)}, nil)
	return err
}

// HandIn asks for a file to be taken in, and gives its number.
func (h *Hands) HandIn(ctx context.Context, shop, name string, content []byte) (int64, error) {
	id, err := h.group.HandIn(ctx, shop, name, content)
	if err != nil {
		return 0, err
	}
	_, err = h.client.Insert(ctx, File{id, shop}, nil)
	return id, err
}

// Busy tells whether work of a shop is wanted or being done.
func (h *Hands) Busy(ctx context.Context, shop string) (busy bool, err error) {
	err = h.group.Pool().QueryRow(ctx, `SELECT EXISTS (SELECT 1 FROM freshet.river_job WHERE kind = 'shop' AND args->>'why' IN ('night', 'letter', 'anew') AND args->>'shop' = $1 AND state IN ('available', 'running', 'retryable'))`, shop).Scan(&busy)
	return busy, err
}

// Counts gives how many jobs are in each state, by River's words.
func (h *Hands) Counts(ctx context.Context) (map[string]float64, error) {
	counts := map[string]float64{}
	for _, s := range rivertype.JobStates() {
		counts[string(s)] = 0
	}
	rows, err := h.group.Pool().Query(ctx, "SELECT state::text, count(*) FROM freshet.river_job GROUP BY state")
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		var state string
		var n float64
		if err := rows.Scan(&state, &n); err != nil {
			return nil, err
		}
		counts[state] = n
	}
	return counts, rows.Err()
}
