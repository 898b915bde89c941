package store_test

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"freshet/ingest"
	"freshet/ingest/store"
)

// Whoever waits for a long file hears of it every 5,000 rows, and no oftener.
func TestProgress(t *testing.T) {
	s := open(t)
	var b strings.Builder
	b.WriteString("ro_number,dropped_off\n")
	for i := range 12_000 {
		fmt.Fprintf(&b, "%d,2026-03-%02d\n", i, 1+i%28)
	}
	var said []int
	at := time.Date(2026, 4, 1, 9, 0, 0, 0, time.UTC)
	if _, err := s.TakeIn(context.Background(), store.HandIn{Name: "long.csv", File: strings.NewReader(b.String()), Size: int64(b.Len()), As: ingest.DropOffs}, 20600, at, func(n int) { said = append(said, n) }); err != nil {
		t.Fatal(err)
	}
	for i, n := range said {
		said[i] = n / 5000
	}
	if !slices.Equal(said, []int{1, 2}) {
		t.Errorf("want a word past 5,000 and past 10,000 rows, have %v of 5,000", said)
	}
}
