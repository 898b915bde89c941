package forecast_test

import (
	"fmt"
	"runtime"
	"strings"
	"testing"

	"freshet/forecast"
)

func TestTogether(t *testing.T) {
	done := make([]int, 1000)
	if err := forecast.Together(len(done), func(i int) error { done[i]++; return nil }); err != nil {
		t.Fatal(err)
	}
	for i, n := range done {
		if n != 1 {
			t.Fatalf("piece %d is done %d times", i, n)
		}
	}
	// Whichever of two comes first on the clock, the first in order counts.
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(2))
	third := make(chan bool)
	err := forecast.Together(1000, func(i int) error {
		switch i {
		case 0:
			<-third
		case 1:
			defer close(third)
		case 998, 999:
			t.Errorf("piece %d begins after one has failed", i)
		default:
			return nil
		}
		return fmt.Errorf("piece %d", i)
	})
	if err == nil || err.Error() != "piece 0" {
		t.Errorf("want the error of piece 0, have %v", err)
	}
}

// A piece that panics does so where it can be recovered from, with its words and
// its place.
func TestTogetherPanics(t *testing.T) {
	defer func() {
		if said := fmt.Sprint(recover()); !strings.HasPrefix(said, "no such week\n") || !strings.Contains(said, "TestTogetherPanics") {
			t.Errorf("have %s", said)
		}
	}()
	t.Error(forecast.Together(3, func(int) error { panic("no such week") }))
}
