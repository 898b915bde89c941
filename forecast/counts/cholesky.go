package counts

import "math"

// cholesky is a symmetric positive definite matrix of p rows, and after factor
// its upper factor U, where the matrix is U'U. Only the upper triangle counts.
type cholesky struct {
	p     int
	upper []float64 // p by p, row by row
}

// factor replaces the matrix by its factor, and says whether there is one.
func (c cholesky) factor() bool {
	p := c.p
	for i := range p {
		row := c.upper[i*p+i : (i+1)*p]
		if !(row[0] > 0) || math.IsInf(row[0], 1) {
			return false
		}
		pivot := math.Sqrt(row[0])
		for j := range row {
			row[j] /= pivot
		}
		for k := 1; k < len(row); k++ {
			dst := c.upper[(i+k)*p+i+k : (i+k+1)*p]
			src := row[k:][:len(dst)]
			for j := range dst {
				dst[j] -= row[k] * src[j]
			}
		}
	}
	return true
}

// logDet gives the logarithm of the matrix' determinant.
func (c cholesky) logDet() float64 {
	sum := 0.0
	for i := range c.p {
		sum += math.Log(c.upper[i*c.p+i])
	}
	return 2 * sum
}

// solve replaces b by U⁻¹b.
func (c cholesky) solve(b []float64) {
	for i := c.p - 1; i >= 0; i-- {
		row := c.upper[i*c.p : (i+1)*c.p]
		for j := i + 1; j < c.p; j++ {
			b[i] -= row[j] * b[j]
		}
		b[i] /= row[i]
	}
}

// solveTransposed replaces b by U'⁻¹b.
func (c cholesky) solveTransposed(b []float64) {
	for i := range c.p {
		row := c.upper[i*c.p : (i+1)*c.p]
		b[i] /= row[i]
		for j := i + 1; j < c.p; j++ {
			b[j] -= row[j] * b[i]
		}
	}
}
