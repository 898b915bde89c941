package web

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"

	"freshet/ingest/store"
)

// inGroup keeps a shop's files in the database of its group, so that any of the
// processes that serve it goes on where another was.
type inGroup struct {
	group *store.Group
	shop  string
}

func (g inGroup) most() int64 { return store.MostHandedIn }

func (g inGroup) add(ctx context.Context, a arrival, from io.Reader) (bool, error) {
	text, err := io.ReadAll(from)
	if err != nil {
		return false, err
	}
	state, err := json.Marshal(a)
	if err != nil {
		return false, err
	}
	return g.group.AddArrival(ctx, g.shop, a.ID, text, state, a.At, mostArrivals)
}

// gone says of an arrival that isn't there that it isn't.
func gone(err error) error {
	if errors.Is(err, store.ErrNoArrival) {
		return noArrival
	}
	return err
}

func (g inGroup) get(ctx context.Context, id string) (a arrival, err error) {
	state, err := g.group.Arrival(ctx, g.shop, id)
	if err != nil {
		return a, gone(err)
	}
	return a, json.Unmarshal(state, &a)
}

type inMemory struct{ *bytes.Reader }

func (inMemory) Close() error { return nil }

func (g inGroup) open(ctx context.Context, id string) (content, int64, error) {
	text, err := g.group.ArrivalContent(ctx, g.shop, id)
	if err != nil {
		return nil, 0, gone(err)
	}
	return inMemory{bytes.NewReader(text)}, int64(len(text)), nil
}

func (g inGroup) change(ctx context.Context, id string, how func(*arrival) error) (a arrival, err error) {
	err = g.group.ChangeArrival(ctx, g.shop, id, func(state []byte) ([]byte, bool, error) {
		if err := json.Unmarshal(state, &a); err != nil {
			return nil, false, err
		}
		if err := how(&a); err != nil {
			return nil, false, err
		}
		state, err := json.Marshal(a)
		return state, a.Ended, err
	})
	return a, gone(err)
}

func (g inGroup) remove(ctx context.Context, id string) error {
	return g.group.RemoveArrival(ctx, g.shop, id)
}

func (inGroup) close() {}
