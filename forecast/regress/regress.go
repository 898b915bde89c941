// Package regress solves weighted linear least squares, many problems of one
// shape in the same memory.
//
// It is the numerics under the regressions of the forecast models. Columns are
// scaled by powers of two, factored by Householder reflections (QR), and the
// solution of an ill-conditioned problem is refined with residuals of twice
// the precision. With a column of ones first, the factorization centres the
// columns after it, so callers needn't.
//
// The package refuses what it can't answer: a problem whose scaled condition
// exceeds [MaxCond] is a [*Singular] error, never a wrong solution. It knows
// no formulas, no dates and no missing values: a row of weight 0 isn't there,
// whatever its y.
//
// To use it: [NewSolver] for the largest shape, Factor the data, Solve for the
// first so many columns, then read Coef, RSS and Root. Factor again for the
// next weights; neither step allocates. [Minimize] finds the one constant
// that a least squares problem isn't linear in.
package regress

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack"
	"gonum.org/v1/gonum/lapack/lapack64"
	"gonum.org/v1/gonum/mat"
)

// MaxCond is the largest condition number, in the 1-norm after scaling, of a
// problem that is answered: some six digits of the solution are then sure.
const MaxCond = 1e10

// refineAbove is the condition below which a plain QR solution already has
// more digits than any data, so that refining it would only cost time.
const refineAbove = 1e3

// Singular is the error of columns that are, nearly, combinations of others.
type Singular struct {
	Cols int
	Cond float64
}

func (e *Singular) Error() string {
	return fmt.Sprintf("regress: need %d columns with condition below %g after scaling, have %.3g", e.Cols, MaxCond, e.Cond)
}

// Solver holds one least squares problem, min Σ w(y − Xb)², and its solution.
// It isn't safe for concurrent use.
type Solver struct {
	rows, cols int
	x          blas64.General // weighted and scaled, as given
	y          []float64      // weighted
	scale      []float64      // of each column, a power of two
	qr         blas64.General // of [x y]: the last column holds Qᵀy
	tau        []float64

	q       int       // columns in the solution
	coef    []float64 // of the scaled columns
	resid   []float64 // weighted
	rss     float64
	cond    float64
	work    []float64
	f, g, d []float64 // of the refinement
	iwork   []int
}

// NewSolver gives a solver of problems with this many rows and columns.
// It panics unless rows ≥ cols ≥ 1.
func NewSolver(rows, cols int) *Solver {
	if cols < 1 || rows < cols {
		panic(fmt.Sprintf("regress: need at least 1 column and as many rows, have %d rows, %d columns", rows, cols))
	}
	s := &Solver{
		rows: rows, cols: cols,
		x:     blas64.General{Rows: rows, Cols: cols, Stride: cols, Data: make([]float64, rows*cols)},
		qr:    blas64.General{Rows: rows, Cols: cols + 1, Stride: cols + 1, Data: make([]float64, rows*(cols+1))},
		y:     make([]float64, rows),
		scale: make([]float64, cols),
		tau:   make([]float64, min(rows, cols+1)),
		coef:  make([]float64, cols),
		resid: make([]float64, rows),
		f:     make([]float64, rows),
		g:     make([]float64, cols),
		d:     make([]float64, rows),
		iwork: make([]int, cols),
	}
	best := []float64{0}
	lapack64.Geqrf(s.qr, s.tau, best, -1)
	s.work = make([]float64, max(int(best[0]), 3*cols, rows, cols+1))
	return s
}

// Factor takes a problem: x has the solver's shape, y a value a row, w a
// weight a row (nil: all 1). A row of weight 0 is left out and its y may be
// anything. It returns an error if a weight is negative or a value that counts
// isn't finite, and panics if the shapes differ.
func (s *Solver) Factor(x *mat.Dense, y, w []float64) error {
	if r, c := x.Dims(); r != s.rows || c != s.cols || len(y) != r || w != nil && len(w) != r {
		panic(fmt.Sprintf("regress: need %d rows and %d columns, have %d and %d, with %d values and %d weights",
			s.rows, s.cols, r, c, len(y), len(w)))
	}
	s.q = 0
	for i := range s.rows {
		row, to := x.RawRowView(i), s.x.Data[i*s.cols:(i+1)*s.cols]
		root := 1.0
		if w != nil {
			root = math.Sqrt(w[i])
		}
		if root == 0 {
			clear(to)
			s.y[i] = 0
			continue
		}
		s.y[i] = root * y[i]
		sum := s.y[i]
		for j, v := range row {
			to[j] = root * v
			sum += math.Abs(to[j])
		}
		if math.IsNaN(sum) || math.IsInf(sum, 0) {
			return fmt.Errorf("regress: need finite values and weights of 0 or more, have y %v and x %v at row %d", y[i], row, i+1)
		}
	}
	for j := range s.cols {
		norm := blas64.Nrm2(blas64.Vector{N: s.rows, Inc: s.cols, Data: s.x.Data[j:]})
		_, e := math.Frexp(norm)
		s.scale[j] = math.Ldexp(1, -e)
	}
	for i := range s.rows {
		row := s.x.Data[i*s.cols : (i+1)*s.cols]
		for j := range row {
			row[j] *= s.scale[j]
		}
		to := s.qr.Data[i*s.qr.Stride:]
		copy(to, row)
		to[s.cols] = s.y[i]
	}
	lapack64.Geqrf(s.qr, s.tau, s.work, len(s.work))
	return nil
}

// Rank gives the number of leading columns before the first that is, nearly,
// a combination of those before it.
func (s *Solver) Rank() int {
	for j := range s.cols {
		// Scaled columns have a norm between a half and 1.
		if math.Abs(s.qr.Data[j*s.qr.Stride+j]) < 1/MaxCond {
			return j
		}
	}
	return s.cols
}

// Nested gives the residual sums of squares of the solutions on the first
// 0, 1, … columns, from the one factorization: dst needs one more element than
// there are columns.
func (s *Solver) Nested(dst []float64) {
	sum := 0.0
	for i := min(s.rows-1, s.cols); i >= 0; i-- {
		v := s.qr.Data[i*s.qr.Stride+s.cols]
		sum += v * v
		dst[i] = sum
	}
	if s.rows == s.cols {
		dst[s.cols] = 0
	}
}

// Solve finds the coefficients of the first q columns, the others left out.
// It returns a [*Singular] error if their condition exceeds [MaxCond], and
// panics unless 1 ≤ q ≤ columns.
func (s *Solver) Solve(q int) error {
	if q < 1 || q > s.cols {
		panic(fmt.Sprintf("regress: need 1 to %d columns, have %d", s.cols, q))
	}
	s.q = q
	r := s.r()
	s.cond = math.Inf(1)
	if s.regular() {
		s.cond = 1 / lapack64.Trcon(lapack.MaxColumnSum, r, s.work, s.iwork)
	}
	if !(s.cond <= MaxCond) {
		return &Singular{Cols: q, Cond: s.cond}
	}
	for i := range q {
		s.coef[i] = s.qr.Data[i*s.qr.Stride+s.cols]
	}
	blas64.Trsv(blas.NoTrans, r, vector(s.coef[:q]))
	s.residuals()
	if s.cond > refineAbove {
		s.refine()
	}
	s.rss = 0
	for _, v := range s.resid {
		s.rss += v * v
	}
	return nil
}

// regular tells that R can be inverted at all.
func (s *Solver) regular() bool {
	for j := range s.q {
		if s.qr.Data[j*s.qr.Stride+j] == 0 {
			return false
		}
	}
	return true
}

func (s *Solver) r() blas64.Triangular {
	return blas64.Triangular{Uplo: blas.Upper, Diag: blas.NonUnit, N: s.q, Stride: s.qr.Stride, Data: s.qr.Data}
}

func vector(v []float64) blas64.Vector { return blas64.Vector{N: len(v), Inc: 1, Data: v} }

func (s *Solver) residuals() {
	for i := range s.rows {
		v := s.y[i]
		for j, b := range s.coef[:s.q] {
			v -= s.x.Data[i*s.cols+j] * b
		}
		s.resid[i] = v
	}
}

// Coef gives the coefficients in dst, or in a new slice if dst is nil. It
// panics, as all that follow, if no Solve has succeeded since the last Factor.
func (s *Solver) Coef(dst []float64) []float64 {
	s.solved()
	if dst == nil {
		dst = make([]float64, s.q)
	}
	for j := range s.q {
		dst[j] = s.coef[j] * s.scale[j]
	}
	return dst
}

// RSS gives the weighted residual sum of squares.
func (s *Solver) RSS() float64 {
	s.solved()
	return s.rss
}

// Cond gives the estimated condition number, in the 1-norm after scaling.
func (s *Solver) Cond() float64 {
	s.solved()
	return s.cond
}

// Root gives the upper triangle U with UUᵀ = (XᵀWX)⁻¹, q by q. With σ the
// residual standard deviation and z standard normal, b + σUz is a draw of the
// coefficients; the standard error of g·b is σ|Uᵀg|, that of coefficient j is σ
// times the length of row j.
func (s *Solver) Root() *mat.Dense {
	s.solved()
	u := mat.NewDense(s.q, s.q, nil)
	col := make([]float64, s.q)
	for k := range s.q {
		clear(col)
		col[k] = 1
		blas64.Trsv(blas.NoTrans, s.r(), vector(col))
		for j := range k + 1 {
			u.Set(j, k, col[j]*s.scale[j])
		}
	}
	return u
}

// Leverage gives, for each row, the weight of its own y in its fitted value:
// the diagonal of the hat matrix, between 0 and 1. They sum to q.
func (s *Solver) Leverage(dst []float64) {
	s.solved()
	for i := range s.rows {
		copy(s.g[:s.q], s.x.Data[i*s.cols:])
		blas64.Trsv(blas.Trans, s.r(), vector(s.g[:s.q]))
		dst[i] = blas64.Dot(vector(s.g[:s.q]), vector(s.g[:s.q]))
	}
}

func (s *Solver) solved() {
	if s.q == 0 || !(s.cond <= MaxCond) {
		panic("regress: need a successful Solve first")
	}
}
