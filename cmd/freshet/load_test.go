package main

import (
	"flag"
	"io"
	"math/rand/v2"
	"net/http"
	"slices"
	"sync"
	"testing"
	"time"
)

var load = flag.Duration("load", 0, "how long TestLoad has 200 people look at the pages; it logs what they waited")

// 200 people look at the pages of the demo shop, with up to two seconds between
// one page and the next. Every answer has to be a good one; what they waited is
// logged, and fails nothing.
func TestLoad(t *testing.T) {
	if *load == 0 {
		t.Skip("a measurement: go test ./cmd/freshet -run TestLoad -v -load 20s")
	}
	base := served(t, time.Now, "demo")
	settled(t, base)
	paths := []string{"/", "/jobs", "/records", "/report", "/kinds", "/settings", "/time-off"}
	client := &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: 200}}
	var mu sync.Mutex
	var waits []time.Duration
	var people sync.WaitGroup
	end := time.Now().Add(*load)
	for i := range 200 {
		rng := rand.New(rand.NewPCG(1, uint64(i)))
		people.Go(func() {
			for time.Now().Before(end) {
				time.Sleep(time.Duration(rng.Int64N(int64(2 * time.Second))))
				path, start := paths[rng.IntN(len(paths))], time.Now()
				r, err := client.Get(base + path)
				if err != nil {
					t.Error(err)
					return
				}
				if _, err := io.Copy(io.Discard, r.Body); err != nil || r.StatusCode != 200 {
					t.Errorf("%s: %d, %v", path, r.StatusCode, err)
				}
				r.Body.Close()
				mu.Lock()
				waits = append(waits, time.Since(start))
				mu.Unlock()
			}
		})
	}
	people.Wait()
	if len(waits) < 200 {
		t.Fatalf("only %d pages were looked at", len(waits))
	}
	slices.Sort(waits)
	at := func(p float64) time.Duration { return waits[int(p*float64(len(waits)-1))] }
	t.Logf("%d pages in %v: half within %v, 99 in 100 within %v, all within %v", len(waits), *load, at(.5), at(.99), at(1))
}
