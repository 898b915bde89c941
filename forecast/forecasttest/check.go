package forecasttest

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"sync"
	"testing"
)

// Reference is one row of testdata/reference/check_values.csv: a number that
// was computed outside the project, with its source.
type Reference struct {
	ID, Area, Inputs, Source string
	Expected                 json.RawMessage
	Data                     json.RawMessage
	Tolerance                float64 // absolute, for each element
	Compare                  string  // equal, at_most, at_least, simulated, informative
}

var references = sync.OnceValues(func() (map[string]Reference, error) {
	_, here, _, _ := runtime.Caller(0)
	f, err := os.Open(filepath.Join(filepath.Dir(here), "..", "..", "testdata", "reference", "check_values.csv"))
	if err != nil {
		return nil, err
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		return nil, err
	}
	at := map[string]int{}
	for i, name := range rows[0] {
		at[name] = i
	}
	out := make(map[string]Reference, len(rows))
	for _, r := range rows[1:] {
		tol, err := strconv.ParseFloat(r[at["tolerance"]], 64)
		if err != nil && r[at["tolerance"]] != "" {
			return nil, err
		}
		id := r[at["id"]]
		out[id] = Reference{ID: id, Area: r[at["area"]], Inputs: r[at["inputs"]], Source: r[at["source"]],
			Expected: json.RawMessage(r[at["expected"]]), Data: json.RawMessage(r[at["data"]]), Tolerance: tol, Compare: r[at["compare"]]}
	}
	return out, nil
})

// Ref gives the reference with this id, or ends the test.
func Ref(t testing.TB, id string) Reference {
	t.Helper()
	all, err := references()
	if err != nil {
		t.Fatal(err)
	}
	r, ok := all[id]
	if !ok {
		t.Fatalf("no reference %q", id)
	}
	return r
}

// Refs gives every reference whose id satisfies keep, in no order.
func Refs(t testing.TB, keep func(Reference) bool) []Reference {
	t.Helper()
	all, err := references()
	if err != nil {
		t.Fatal(err)
	}
	var out []Reference
	for _, r := range all {
		if keep(r) {
			out = append(out, r)
		}
	}
	return out
}

// Values gives the expected numbers, one or several, as a slice.
func (r Reference) Values(t testing.TB) []float64 {
	t.Helper()
	var many []float64
	if json.Unmarshal(r.Expected, &many) == nil {
		return many
	}
	var one float64
	if err := json.Unmarshal(r.Expected, &one); err != nil {
		t.Fatalf("%s: expected %s: %v", r.ID, r.Expected, err)
	}
	return []float64{one}
}

// Into decodes the row's data into v.
func (r Reference) Into(t testing.TB, v any) {
	t.Helper()
	if err := json.Unmarshal(r.Data, v); err != nil {
		t.Fatalf("%s: data %s: %v", r.ID, r.Data, err)
	}
}

// Equal fails the test where have differs from the expected numbers by more
// than the row's tolerance.
func (r Reference) Equal(t testing.TB, have ...float64) {
	t.Helper()
	want := r.Values(t)
	if len(have) != len(want) {
		t.Fatalf("%s: want %d numbers, have %d", r.ID, len(want), len(have))
	}
	for i := range want {
		if !(math.Abs(have[i]-want[i]) <= r.Tolerance) {
			t.Errorf("%s[%d]: want %.15g ± %g, have %.15g (%s)", r.ID, i, want[i], r.Tolerance, have[i], r.Source)
		}
	}
}

// DataSet gives a series that references name, such as AirPassengers from R's
// datasets package, with its period.
func DataSet(t testing.TB, name string) (values []float64, period float64) {
	t.Helper()
	var d struct {
		Values []float64
		Period float64
	}
	Ref(t, "series_"+name).Into(t, &d)
	return d.Values, d.Period
}
