package workers

import (
	"bytes"
	"context"
	"crypto/sha256"
	"database/sql"
	"errors"
	"fmt"

	"github.com/riverqueue/river"

	"freshet/cmd/freshet/internal/desk"
	"freshet/cmd/freshet/internal/week"
	"freshet/ingest/store"
)

// unreadAfter is how often a file is tried before it is taken for one that can't
// be read, and not for a database that didn't answer.
const unreadAfter = 3

type fileWorker struct {
	river.WorkerDefaults[File]
	Config
}

// Work takes a file in, the way that the watched folder does: once by its
// content, and not at all where a person has to say how it is meant. Why it
// isn't in is kept as a failure of the shop's. Then the shop's work is asked for.
func (w *fileWorker) Work(ctx context.Context, job *river.Job[File]) error {
	shop, name, content, said, err := w.Group.HandedIn(ctx, job.Args.ID)
	if errors.Is(err, sql.ErrNoRows) {
		return nil // its shop was taken away, and the file with it
	}
	if err != nil {
		return err
	}
	if said == "" {
		db, err := w.Group.Open(ctx, shop)
		if err != nil {
			return err
		}
		defer db.Close()
		said, err = w.takeIn(ctx, db, name, content)
		failed := func(why string) error {
			_, err := db.SetFailure(ctx, store.FileFailure(name, why, w.Now()))
			return err
		}
		switch {
		case ctx.Err() != nil:
			return errors.Join(err, ctx.Err())
		case err != nil && job.Attempt < unreadAfter:
			return errors.Join(err, failed("it waits to be taken in, "+week.Unread(err)))
		case err != nil:
			said = "It was not taken in, " + week.Unread(err)
			err = failed("it was not taken in, " + week.Unread(err))
		default:
			err = failed("")
		}
		if err != nil {
			return err
		}
		if err := w.Group.TakenIn(ctx, job.Args.ID, said); err != nil {
			return err
		}
	}
	_, err = w.hands.client.Insert(ctx, Shop{shop, Anew, fmt.Sprint("file ", job.Args.ID)}, nil)
	return err
}

// takeIn takes a file in, and says how it went.
func (w *fileWorker) takeIn(ctx context.Context, db *store.Store, name string, content []byte) (said string, err error) {
	sum := sha256.Sum256(content)
	if before, err := db.WasTakenIn(ctx, store.Hash(sum[:])); err != nil || before {
		return "It was taken in before.", err
	}
	loc, err := (&desk.Desk{Store: db}).Zone(ctx)
	if err != nil {
		return "", err
	}
	b, err := db.TakeIn(ctx, store.HandIn{Name: name, File: bytes.NewReader(content), Size: int64(len(content)), Zone: loc}, today(w.Now(), loc)+1, w.Now(), nil)
	if err != nil {
		return "", err
	}
	said = week.Account(b.Batch)
	return said, db.Note(ctx, store.Change{At: w.Now(), Who: "a file handed in", What: "took in " + name + ", " + said})
}
