package regress

import (
	"math"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack/lapack64"
)

// refine improves coefficients and residuals together, as the solution of
// r + Xb = y, Xᵀr = 0, by residuals of those two equations in twice the
// precision (Björck 1967; Higham 2002, section 20.5; both from memory).
// Correcting b alone would stall where the residuals are large.
func (s *Solver) refine() {
	const most = 6 // steps; each gains about 16 − log10(condition) digits
	b, g, d := s.coef[:s.q], s.g[:s.q], s.d
	q := blas64.General{Rows: s.rows, Cols: s.q, Stride: s.qr.Stride, Data: s.qr.Data}
	tau := s.tau[:s.q]
	last := math.Inf(1)
	for range most {
		for i := range s.rows {
			acc := twofold{hi: s.y[i]}
			acc.add(-s.resid[i])
			for j, v := range b {
				acc.addProduct(-s.x.Data[i*s.cols+j], v)
			}
			s.f[i] = acc.hi + acc.lo
		}
		for j := range g {
			var acc twofold
			for i, v := range s.resid {
				acc.addProduct(-s.x.Data[i*s.cols+j], v)
			}
			g[j] = acc.hi + acc.lo
		}
		// h = R⁻ᵀg; (d1, d2) = Qᵀf; δr = Q(h, d2); δb = R⁻¹(d1 − h).
		blas64.Trsv(blas.Trans, s.r(), vector(g))
		copy(d, s.f)
		column := blas64.General{Rows: s.rows, Cols: 1, Stride: 1, Data: d}
		lapack64.Ormqr(blas.Left, blas.Trans, q, tau, column, s.work, len(s.work))
		for j, h := range g {
			g[j], d[j] = d[j]-h, h
		}
		lapack64.Ormqr(blas.Left, blas.NoTrans, q, tau, column, s.work, len(s.work))
		blas64.Trsv(blas.NoTrans, s.r(), vector(g))
		step := 0.0
		for j, v := range g {
			step = max(step, math.Abs(v)/math.Max(math.Abs(b[j]), math.SmallestNonzeroFloat64))
		}
		if !(step < last/2) {
			return // no longer converging: keep what there is
		}
		last = step
		for j, v := range g {
			b[j] += v
		}
		for i, v := range d {
			s.resid[i] += v
		}
		if step < 1e-16 {
			return
		}
	}
}

// twofold is an unevaluated sum of two floats, about 32 digits: a sum of
// products kept as by Ogita, Rump and Oishi 2005 (Dot2).
type twofold struct{ hi, lo float64 }

func (t *twofold) add(v float64) {
	sum := t.hi + v
	part := sum - t.hi
	t.lo += (t.hi - (sum - part)) + (v - part)
	t.hi = sum
}

func (t *twofold) addProduct(a, b float64) {
	p := a * b
	t.lo += math.FMA(a, b, -p)
	t.add(p)
}
