package regress

import (
	"encoding/csv"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"
)

// strd reads a file of testdata/strd without its heading: numbers where they
// are numbers, NaN where not.
func strd(t testing.TB, name string) ([][]string, [][]float64) {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "strd", name+".csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	rows = rows[1:]
	out := make([][]float64, len(rows))
	for i, r := range rows {
		out[i] = make([]float64, len(r))
		for j, c := range r {
			if out[i][j], err = strconv.ParseFloat(c, 64); err != nil {
				out[i][j] = math.NaN()
			}
		}
	}
	return rows, out
}

// design gives a problem of NIST's: a polynomial of the degree, or, with
// degree 0, the columns as they stand after a column of ones.
func design(t testing.TB, name string, degree int) (*mat.Dense, []float64) {
	_, rows := strd(t, name)
	cols := max(degree+1, len(rows[0]))
	x, y := mat.NewDense(len(rows), cols, nil), make([]float64, len(rows))
	for i, r := range rows {
		y[i] = r[0]
		for j := range cols {
			if degree > 0 {
				x.Set(i, j, math.Pow(r[1], float64(j)))
			} else if j == 0 {
				x.Set(i, j, 1)
			} else {
				x.Set(i, j, r[j])
			}
		}
	}
	return x, y
}

func digits(have, want float64) float64 {
	return min(15, -math.Log10(math.Abs(have/want-1)))
}

// TestCertified compares with the certified values of the NIST Statistical
// Reference Datasets, in testdata/strd with their source.
func TestCertified(t *testing.T) {
	names, certified := strd(t, "certified")
	for _, c := range []struct {
		name             string
		degree           int
		needCoef, needSE float64 // digits of the worst one
	}{{"longley", 0, 14, 12}, {"wampler5", 5, 14, 13}, {"filip", 10, 7, 7}} {
		t.Run(c.name, func(t *testing.T) {
			x, y := design(t, c.name, c.degree)
			n, p := x.Dims()
			s := NewSolver(n, p)
			if err := s.Factor(x, y, nil); err != nil {
				t.Fatal(err)
			}
			if err := s.Solve(p); err != nil {
				t.Fatal(err)
			}
			coef, u := s.Coef(nil), s.Root()
			sigma := math.Sqrt(s.RSS() / float64(n-p))
			ofCoef, ofSE, j := 15.0, 15.0, 0
			for i, row := range certified {
				if names[i][0] != c.name {
					continue
				}
				se := sigma * mat.Norm(u.RowView(j), 2)
				ofCoef = min(ofCoef, digits(coef[j], row[2]))
				ofSE = min(ofSE, digits(se, row[3]))
				j++
			}
			t.Logf("%.1f digits, of standard errors %.1f, condition %.3g", ofCoef, ofSE, s.Cond())
			if j != p || !(ofCoef >= c.needCoef && ofSE >= c.needSE) {
				t.Errorf("want %v and %v digits of %d coefficients, have %.1f and %.1f of %d", c.needCoef, c.needSE, p, ofCoef, ofSE, j)
			}
		})
	}
}

func random(n, p int, seed uint64) (*mat.Dense, []float64) {
	rng := rand.New(rand.NewPCG(seed, 1))
	x, y := mat.NewDense(n, p, nil), make([]float64, n)
	for i := range n {
		y[i] = 3 + rng.NormFloat64()
		for j := range p {
			x.Set(i, j, rng.NormFloat64())
		}
		x.Set(i, 0, 1)
	}
	return x, y
}

func solve(t testing.TB, x *mat.Dense, y, w []float64) *Solver {
	t.Helper()
	s := NewSolver(x.Dims())
	if err := s.Factor(x, y, w); err != nil {
		t.Fatal(err)
	}
	_, p := x.Dims()
	if err := s.Solve(p); err != nil {
		t.Fatal(err)
	}
	return s
}

// A weight of k is the row k times, and a weight of 0 is no row.
func TestWeights(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		x, y := random(12, 3, rapid.Uint64().Draw(rt, "seed"))
		w := make([]float64, 12)
		var rows, values []float64
		for i := range w {
			k := rapid.IntRange(0, 3).Draw(rt, "weight")
			if i < 4 {
				k++
			}
			w[i] = float64(k)
			if k == 0 {
				y[i] = math.NaN()
			}
			for range k {
				rows = append(rows, x.RawRowView(i)...)
				values = append(values, y[i])
			}
		}
		a, b := solve(t, x, y, w), solve(t, mat.NewDense(len(values), 3, rows), values, nil)
		for j, v := range a.Coef(nil) {
			if want := b.Coef(nil)[j]; math.Abs(v-want) > 1e-9*(1+math.Abs(want)) {
				rt.Fatalf("coefficient %d: want %v, have %v", j, want, v)
			}
		}
		if math.Abs(a.RSS()-b.RSS()) > 1e-9*(1+b.RSS()) {
			rt.Fatalf("RSS: want %v, have %v", b.RSS(), a.RSS())
		}
	})
}

// The one factorization gives the same as factoring fewer columns.
func TestNested(t *testing.T) {
	for _, n := range []int{5, 6, 40} {
		x, y := random(n, 5, 3)
		s := NewSolver(n, 5)
		if err := s.Factor(x, y, nil); err != nil {
			t.Fatal(err)
		}
		rss := make([]float64, 6)
		s.Nested(rss)
		for q := 1; q <= 5; q++ {
			if err := s.Solve(q); err != nil {
				t.Fatal(err)
			}
			alone := solve(t, mat.DenseCopyOf(x.Slice(0, n, 0, q)), y, nil)
			if want := alone.RSS(); math.Abs(s.RSS()-want) > 1e-10 || math.Abs(rss[q]-want) > 1e-10 {
				t.Errorf("%d rows, %d columns: want %v, have %v and %v", n, q, want, s.RSS(), rss[q])
			}
		}
	}
}

func TestSingular(t *testing.T) {
	x, y := random(20, 4, 4)
	for i := range 20 {
		x.Set(i, 2, x.At(i, 1)*3+1e-12*x.At(i, 2))
	}
	s := NewSolver(20, 4)
	if err := s.Factor(x, y, nil); err != nil {
		t.Fatal(err)
	}
	var singular *Singular
	if err := s.Solve(4); !errors.As(err, &singular) || s.Rank() != 2 {
		t.Errorf("want a singular error and rank 2, have %v and %d", err, s.Rank())
	}
	if err := s.Solve(2); err != nil {
		t.Errorf("the first two columns: %v", err)
	}
	for i := range 20 {
		x.Set(i, 2, 0)
	}
	if err := s.Factor(x, y, nil); err != nil {
		t.Fatal(err)
	}
	if err := s.Solve(3); !errors.As(err, &singular) {
		t.Errorf("a column of zeros: want a singular error, have %v", err)
	}
}

func TestRefusals(t *testing.T) {
	for name, spoil := range map[string]func(x *mat.Dense, y, w []float64){
		"x not finite":       func(x *mat.Dense, _, _ []float64) { x.Set(3, 1, math.NaN()) },
		"y missing":          func(_ *mat.Dense, y, _ []float64) { y[3] = math.NaN() },
		"y infinite":         func(_ *mat.Dense, y, _ []float64) { y[3] = math.Inf(1) },
		"weight below 0":     func(_ *mat.Dense, _, w []float64) { w[3] = -1 },
		"weight not defined": func(_ *mat.Dense, _, w []float64) { w[3] = math.NaN() },
	} {
		x, y := random(9, 2, 5)
		w := []float64{1, 1, 1, 1, 1, 1, 1, 1, 1}
		spoil(x, y, w)
		if err := NewSolver(9, 2).Factor(x, y, w); err == nil {
			t.Errorf("%s: want an error", name)
		}
	}
}

// The scales of columns and of y don't matter, however far apart.
func TestScale(t *testing.T) {
	x, y := random(30, 3, 6)
	want := solve(t, x, y, nil).Coef(nil)
	scales := []float64{1, 1e-90, 1e60}
	for i := range 30 {
		for j, c := range scales {
			x.Set(i, j, x.At(i, j)*c)
		}
	}
	for j, v := range solve(t, x, y, nil).Coef(nil) {
		if math.Abs(v*scales[j]-want[j]) > 1e-12 {
			t.Errorf("coefficient %d: want %v, have %v", j, want[j], v*scales[j])
		}
	}
}

// UUᵀ is the inverse of XᵀX, and leverages are the diagonal of X(XᵀX)⁻¹Xᵀ.
func TestRootAndLeverage(t *testing.T) {
	x, y := random(25, 4, 7)
	s := solve(t, x, y, nil)
	u := s.Root()
	var c, xtx, one mat.Dense
	c.Mul(u, u.T())
	xtx.Mul(x.T(), x)
	one.Mul(&xtx, &c)
	for i := range 4 {
		for j := range 4 {
			if want := map[bool]float64{true: 1}[i == j]; math.Abs(one.At(i, j)-want) > 1e-12 {
				t.Errorf("XᵀX·UUᵀ at %d, %d: want %v, have %v", i, j, want, one.At(i, j))
			}
		}
	}
	lev := make([]float64, 25)
	s.Leverage(lev)
	sum := 0.0
	for i, v := range lev {
		sum += v
		if want := mat.Inner(x.RowView(i), &c, x.RowView(i)); math.Abs(v-want) > 1e-12 {
			t.Errorf("row %d: want %v, have %v", i, want, v)
		}
	}
	if math.Abs(sum-4) > 1e-12 {
		t.Errorf("want a sum of 4, have %v", sum)
	}
}

func TestNoAllocations(t *testing.T) {
	x, y := random(60, 8, 8)
	for i := range 60 {
		x.Set(i, 3, x.At(i, 2)+1e-6*x.At(i, 3)) // ill-conditioned enough to be refined
	}
	s, coef, w := NewSolver(60, 8), make([]float64, 8), make([]float64, 60)
	for i := range w {
		w[i] = 1 / float64(1+i)
	}
	if n := testing.AllocsPerRun(20, func() {
		if s.Factor(x, y, w) != nil || s.Solve(8) != nil {
			t.Fatal("no solution")
		}
		s.Coef(coef)
	}); n != 0 {
		t.Errorf("want no allocations a solution, have %v", n)
	}
	if s.Cond() < refineAbove {
		t.Errorf("want a condition above %g, have %g", refineAbove, s.Cond())
	}
}

func TestMinimize(t *testing.T) {
	for _, c := range []struct {
		name         string
		f            func(float64) float64
		lo, hi, want float64
		most         int // calls
	}{
		{"parabola", func(x float64) float64 { return (x - .3) * (x - .3) }, -1, 1, .3, 12},
		{"at the end", func(x float64) float64 { return x }, 2, 5, 2, 60},
		{"kink", func(x float64) float64 { return math.Abs(x - math.Sqrt2) }, 0, 2, math.Sqrt2, 60},
		{"steep", func(x float64) float64 { return x - math.Log(x) }, 1e-4, 50, 1, 60},
		{"not finite", func(x float64) float64 { return math.NaN() }, 0, 1, .5, 200},
	} {
		calls := 0
		x, fx := Minimize(func(x float64) float64 { calls++; return c.f(x) }, c.lo, c.hi, 1e-7)
		switch {
		case c.name == "not finite" && !(x >= 0 && x <= 1),
			c.name != "not finite" && (math.Abs(x-c.want) > 1e-6 || fx != c.f(x)),
			calls > c.most:
			t.Errorf("%s: want %v within %d calls, have %v, f %v, after %d", c.name, c.want, c.most, x, fx, calls)
		}
	}
}

// BenchmarkSolve is one regression of a weekly history of five years on 14
// columns: a step of a count model's iteration.
func BenchmarkSolve(b *testing.B) {
	x, y := random(260, 14, 1)
	s := NewSolver(260, 14)
	w := make([]float64, 260)
	for i := range w {
		w[i] = 1
	}
	b.ReportAllocs()
	for b.Loop() {
		if s.Factor(x, y, w) != nil || s.Solve(14) != nil {
			b.Fatal("no solution")
		}
	}
}
