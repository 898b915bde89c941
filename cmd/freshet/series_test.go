package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
)

// The golden file holds auto's answers to AirPassengers' first five years (R's
// datasets package), to gaps, to three values, to none and to a word. Numbers
// may differ as processors round.
func TestSeriesGolden(t *testing.T) {
	golden := filepath.Join("testdata", "series.jsonl")
	status, out, errs := call(t, "series", filepath.Join("testdata", "series.csv"), "--period", "12", "--horizon", "2")
	if status != done || errs != "" {
		t.Fatalf("want 0 and nothing said, have %d and %q", status, errs)
	}
	if *update {
		if err := os.WriteFile(golden, []byte(out), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	b, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	want, have := decode[any](t, string(b)), decode[any](t, out)
	if len(want) != len(have) {
		t.Fatalf("want %d lines, have %d", len(want), len(have))
	}
	for i := range want {
		if !alike(want[i], have[i]) {
			t.Errorf("line %d: want %v, have %v", i+1, want[i], have[i])
		}
	}
}

// alike tells whether two decoded values are equal, numbers to a millionth.
func alike(a, b any) bool {
	switch a := a.(type) {
	case float64:
		b, ok := b.(float64)
		return ok && math.Abs(a-b) <= 1e-6*math.Abs(a)
	case []any:
		b, ok := b.([]any)
		return ok && slices.EqualFunc(a, b, alike)
	case map[string]any:
		b, ok := b.(map[string]any)
		return ok && maps.EqualFunc(a, b, alike)
	}
	return reflect.DeepEqual(a, b)
}

func decode[T any](t *testing.T, lines string) []T {
	t.Helper()
	var out []T
	for line := range strings.Lines(lines) {
		var v T
		if err := json.Unmarshal([]byte(line), &v); err != nil {
			t.Fatalf("%q: %v", line, err)
		}
		out = append(out, v)
	}
	return out
}

// manySeries writes n series of 40 months that go down to 0.
func manySeries(t *testing.T, n int) string {
	t.Helper()
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, "s%d", i)
		for k := range 40 {
			fmt.Fprintf(&b, ",%d", max(0, 40-k+(k*k+7*i)%11))
		}
		b.WriteByte('\n')
	}
	path := filepath.Join(t.TempDir(), "many.csv")
	if err := os.WriteFile(path, []byte(b.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestSeriesOrder(t *testing.T) {
	path := manySeries(t, 40)
	_, one, _ := call(t, "series", path, "--workers", "1")
	_, many, _ := call(t, "series", path, "--workers", "7", "--seed", "5")
	if one != many {
		t.Error("the number of workers changes the answers")
	}
	for i, l := range decode[seriesLine](t, many) {
		if want := fmt.Sprintf("s%d", i); l.ID != want {
			t.Fatalf("line %d: want %s, have %s", i+1, want, l.ID)
		}
	}
}

// Every model answers with the fields that programs rely on; held models
// never go below 0, and counts stay whole.
func TestSeriesModels(t *testing.T) {
	path := manySeries(t, 2)
	for _, name := range append(slices.Sorted(maps.Keys(seriesModels)), "auto") {
		for _, flags := range [][]string{{}, {"--nonnegative"}, {"--counts"}} {
			args := append([]string{"series", path, "--period", "12", "--horizon", "14", "--model", name}, flags...)
			status, out, errs := call(t, args...)
			if status != done {
				t.Fatalf("%v: %s", args, errs)
			}
			fields := decode[map[string]any](t, out)[0]
			for _, f := range strings.Fields("id n model mean quantiles parameters loglik aicc warnings") {
				if _, ok := fields[f]; !ok {
					t.Errorf("%v: need %q", args, f)
				}
			}
			for _, l := range decode[seriesLine](t, out) {
				if l.Error != "" || l.N != 40 || len(l.Mean) != 14 {
					t.Fatalf("%v: want 14 means from 40 values, have %d from %d (%s)", args, len(l.Mean), l.N, l.Error)
				}
				before := l.Quantiles["0.025"]
				for _, p := range []string{"0.025", "0.1", "0.5", "0.9", "0.975"} {
					q := l.Quantiles[p]
					if len(q) != 14 {
						t.Fatalf("%v: want 14 %s quantiles, have %d", args, p, len(q))
					}
					for j, v := range q {
						if v < before[j] {
							t.Errorf("%v: the %s quantile %v lies below a lower one", args, p, v)
						}
						if len(flags) > 0 && (v < 0 || l.Mean[j] < 0) {
							t.Errorf("%v: step %d is below 0", args, j+1)
						}
						if flags := strings.Join(flags, ""); flags == "--counts" && (name == "auto" || name == "counts") && v != math.Floor(v) {
							t.Errorf("%v: %v isn't a count", args, v)
						}
					}
					before = q
				}
				if name == "ets" && len(flags) == 0 && (l.LogLik == nil || l.AICc == nil || l.Parameters["alpha"] == nil) {
					t.Errorf("%v: want a likelihood and parameters, have %v %v %v", args, l.LogLik, l.AICc, l.Parameters)
				}
				if name == "auto" && len(l.Warnings) == 0 {
					t.Errorf("%v: want a reason among the warnings", args)
				}
			}
		}
	}
}

// Bad lines give an error each, and the others their forecast.
func TestSeriesBadLines(t *testing.T) {
	var out bytes.Buffer
	r := seriesRun{period: 1, horizon: 3, model: "theta", workers: 2}
	if err := r.stream(context.Background(), strings.NewReader("\ufeffa,1,x\nb\nc,1,Inf\n\n\"d\",4,6,5,7,8,6,7,9\ne,1"), &out); err != nil {
		t.Fatal(err)
	}
	lines := decode[map[string]any](t, out.String())
	if len(lines) != 5 {
		t.Fatalf("want 5 answers, have %d", len(lines))
	}
	if lines[0]["id"] != "a" {
		t.Errorf("want the mark of a spreadsheet's file left out, have %q", lines[0]["id"])
	}
	for i, l := range lines {
		_, failed := l["error"]
		_, answered := l["mean"]
		if failed == answered || answered != (i == 3) {
			t.Errorf("line %d: want an error or a mean, have %v", i+1, l)
		}
	}
}

type broken struct{}

func (broken) Write([]byte) (int, error) { return 0, errors.New("the pipe is closed") }

func TestSeriesStops(t *testing.T) {
	r := seriesRun{period: 1, horizon: 3, model: "theta", workers: 2}
	many := strings.NewReader(strings.Repeat("a,1,2,3,4,5\n", 100))
	if err := r.stream(context.Background(), many, broken{}); err == nil || !strings.Contains(err.Error(), "pipe") {
		t.Errorf("want the writer's error, have %v", err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	many.Seek(0, 0)
	if err := r.stream(ctx, many, &bytes.Buffer{}); !errors.Is(err, context.Canceled) {
		t.Errorf("want it cancelled, have %v", err)
	}
}

func TestSeriesMisuse(t *testing.T) {
	for args, says := range map[string]string{
		"--model best":  "seasonal-naive",
		"--period 0.5":  "--period",
		"--period NaN":  "--period",
		"--horizon 0":   "--horizon",
		"--workers 0":   "--workers",
		"--workers two": "two",
	} {
		status, out, errs := call(t, append([]string{"series", "testdata/series.csv"}, strings.Fields(args)...)...)
		if status != misuse || out != "" || !strings.Contains(errs, says) {
			t.Errorf("series %s: want 2 and %q, have %d, %q", args, says, status, errs)
		}
	}
	if status, _, errs := call(t, "series", "nowhere.csv"); status != failed || !strings.Contains(errs, "nowhere.csv") {
		t.Errorf("want 1 and the file's name, have %d and %q", status, errs)
	}
}
