package store_test

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
)

// Rows that are written together are counted, and end, as if each were written
// alone: wherever among new ones there is one on record, or the same line again.
func TestTogether(t *testing.T) {
	s := open(t)
	hours := map[int]int{} // of a repair order's line, as on record
	for seed := range uint64(40) {
		r := rand.New(rand.NewPCG(seed, 9))
		rows, old := 20+r.IntN(100), r.IntN(1+r.IntN(20)) // of a hundred
		text := strings.Builder{}
		text.WriteString("ro_number,line,dropped_off,quoted_hours\n")
		added, updated, unchanged := 0, 0, 0
		first := len(hours)
		for range rows {
			ro := first + r.IntN(3*rows)
			if r.IntN(100) < old && first > 0 {
				ro = r.IntN(first)
			}
			h := r.IntN(3)
			switch on, ok := hours[ro]; {
			case !ok:
				added++
			case on == h:
				unchanged++
			default:
				updated++
			}
			hours[ro] = h
			fmt.Fprintf(&text, "%d,A,2026-02-02,%d\n", ro, h)
		}
		if b := take(t, s, text.String()); b.Added != added || b.Updated != updated || b.Unchanged != unchanged {
			t.Fatalf("seed %d: want %d added, %d updated, %d unchanged, have %+v", seed, added, updated, unchanged, b)
		}
	}
	var have, want float64
	if err := raw(t, s).QueryRow("SELECT sum(CAST(ro AS INTEGER) * quoted) FROM job_lines").Scan(&have); err != nil {
		t.Fatal(err)
	}
	for ro, h := range hours {
		want += float64(ro * h)
	}
	if have != want {
		t.Errorf("want hours that sum up to %v by repair order, have %v", want, have)
	}
	healthy(t, s)
}
