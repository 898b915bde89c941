package smooth

import "math"

// Sums of squares of Holt-Winters have several minima, often on the border
// (gamma = 1), along curved valleys. So: try a coarse grid, then go down from
// its best few points by the method of Levenberg and Marquardt (Marquardt
// 1963) with exact derivatives, kept within the box. That is robust and slows
// down near a minimum with large errors, so only the best is followed to the
// end, by Newton's method.

// grid holds the values tried first for alpha, beta and gamma.
var grid = [3][]float64{{.02, .1, .3, .6, .95}, {.005, .05, .3, .95}, {.05, .3, .6, .95}}

// starts is how many points of the grid are followed down.
const starts = 4

// minimize gives the x with the least sum of squares over the free
// parameters, the others staying as they are in x. The sum is +Inf if every
// point tried is infeasible. It allocates nothing.
func (p *problem) minimize(x vector, free [5]bool) (vector, float64) {
	var best [starts]vector // rising sums
	var sums [starts]float64
	for i := range sums {
		best[i], sums[i] = x, math.Inf(1)
	}
	points := 1
	for i, values := range grid {
		if free[i] {
			points *= len(values)
		}
	}
	for point := range points {
		at := x
		for i, values := range grid {
			if free[i] {
				at[i] = values[point%len(values)]
				point /= len(values)
			}
		}
		sum, _, _, _ := p.run(&at, nil)
		for i := range best {
			if sum < sums[i] {
				at, best[i] = best[i], at
				sum, sums[i] = sums[i], sum
			}
		}
	}
	least := 0
	for i := range best {
		if math.IsInf(sums[i], 1) {
			break
		}
		best[i], sums[i] = p.descend(best[i], free, roughly)
		if sums[i] < sums[least] {
			least = i
		}
	}
	if math.IsInf(sums[least], 1) {
		return best[least], sums[least]
	}
	return p.descend(best[least], free, fully)
}

// How far a descent goes: until a step moves the fit by less than the root of
// this share of the sum of squares.
const (
	roughly = 1e-8
	fully   = 1e-24
)

// descend goes down from a feasible x to a point where no step within the box
// helps.
func (p *problem) descend(x vector, free [5]bool, tiny float64) (vector, float64) {
	tries := 30
	sse, grad, curv := p.slopes(&x, &free)
	if tiny == fully {
		tries = 200
		p.bend(&x, &grad, &curv, &free, sse)
	}
	damp := 1e-2
	for try := 0; try < tries && damp < 1e12; try++ {
		to, gain := x, 0.0
		d, ok := downhill(&x, &grad, &curv, &free, damp)
		for i := range to {
			to[i] += d[i]
			if i < 3 {
				to[i] = min(max(to[i], 0), 1)
			}
			gain += (to[i] - x[i]) * (to[i] - x[i]) * curv[i][i]
		}
		// A short step may only be a heavily damped one.
		if ok && !(gain > tiny*sse) && damp < 1 {
			break
		}
		s, g, c := p.slopes(&to, &free)
		// Close to the minimum sums differ by less than their rounding: there
		// the derivatives, which are good to the last digits, have the say.
		if ok && s < sse*(1+1e-13) {
			x, sse, grad, curv = to, s, g, c
			if tiny == fully {
				p.bend(&x, &grad, &curv, &free, sse)
			}
			damp = max(damp/16, 1e-14)
		} else {
			damp *= 4
		}
	}
	return x, sse
}

// bend replaces curv by the exact second derivatives, as differences of the
// gradient over steps that move the fit by a hundred-thousandth of the errors.
// Where they aren't convex in each parameter it leaves curv alone.
func (p *problem) bend(x, grad *vector, curv *[5]vector, free *[5]bool, sse float64) {
	var exact [5]vector
	for i := range x {
		if !free[i] || curv[i][i] <= 0 {
			continue
		}
		h := 1e-5 * math.Sqrt(sse/curv[i][i])
		if i < 3 {
			h = min(h, 1e-4)
			if x[i]+h > 1 {
				h = -h
			}
		}
		to := *x
		to[i] += h
		_, g, _ := p.slopes(&to, free)
		for j := range g {
			exact[i][j] = (g[j] - grad[j]) / h
		}
		if !(exact[i][i] > 0) {
			return
		}
	}
	for i := range x {
		for j := range i {
			exact[i][j] = (exact[i][j] + exact[j][i]) / 2
		}
	}
	*curv = exact
}

// downhill solves (curv + damp diag(curv)) d = -grad over the parameters that
// are free to move: not those on the border whose slope pushes them out, nor
// those that nothing depends on. It isn't ok if the matrix isn't positive
// definite, which more damping cures.
func downhill(x, grad *vector, curv *[5]vector, free *[5]bool, damp float64) (d vector, ok bool) {
	var at [5]int
	n := 0
	for i := range x {
		stuck := i < 3 && (x[i] <= 0 && grad[i] > 0 || x[i] >= 1 && grad[i] < 0)
		if free[i] && !stuck && curv[i][i] > 0 {
			at[n] = i
			n++
		}
	}
	// Cholesky's factor of the matrix scaled to ones on the diagonal.
	var l [5]vector
	var z vector
	for i := range n {
		a := at[i]
		for j := range i + 1 {
			b := at[j]
			v := curv[a][b] / math.Sqrt(curv[a][a]*curv[b][b])
			if i == j {
				v = 1 + damp
			}
			for k := range j {
				v -= l[i][k] * l[j][k]
			}
			if i == j {
				if v <= 1e-14 {
					return d, false
				}
				l[i][i] = math.Sqrt(v)
			} else {
				l[i][j] = v / l[j][j]
			}
		}
		z[i] = -grad[a] / math.Sqrt(curv[a][a])
		for k := range i {
			z[i] -= l[i][k] * z[k]
		}
		z[i] /= l[i][i]
	}
	for i := n - 1; i >= 0; i-- {
		for k := i + 1; k < n; k++ {
			z[i] -= l[k][i] * z[k]
		}
		z[i] /= l[i][i]
		d[at[i]] = z[i] / math.Sqrt(curv[at[i]][at[i]])
	}
	return d, true
}

// slopes is run with derivatives: it gives the sum of squares at x, half its
// gradient, and the sums of products of the expected values' derivatives,
// which is Gauss and Newton's half of its second derivatives. It differentiates
// rule.next line by line, by each free parameter.
func (p *problem) slopes(x *vector, free *[5]bool) (sse float64, grad vector, curv [5]vector) {
	var of [5]int
	n := 0
	for i, f := range free {
		if f {
			of[n] = i
			n++
		}
	}
	copy(p.season, p.start.Season)
	clear(p.slope)
	alpha, beta, gamma := x[0], x[1], x[2]
	l, b, k := x[3], x[4], 0
	dl, db := vector{3: 1}, vector{4: 1}
	for t := p.start.At; t < len(p.y); t++ {
		y, season, ds := p.y[t], &p.season[k], &p.slope[k]
		if k++; k == len(p.season) {
			k = 0
		}
		s := *season
		q := l + b
		if p.multiplicative && q <= 0 {
			return math.Inf(1), grad, curv
		}
		if math.IsNaN(y) {
			l = q
			for _, i := range of[:n] {
				dl[i] += db[i]
			}
			continue
		}
		// f is expected, u the level's error, v what the season should have
		// been; each comes with its derivatives by q and s, or by the level.
		var f, u, v, fq, fs, us, vl float64
		if p.multiplicative {
			f, fq, fs = q*s, s, q
			u, us = y/s-q, -y/(s*s)
			l = q + alpha*u
			v = y / l
			vl = -v / l
		} else {
			f, fq, fs = q+s, 1, 1
			u, us = y-s-q, -1
			l = q + alpha*u
			v, vl = y-l, -1
		}
		e := y - f
		sse += e * e
		var df vector
		for _, i := range of[:n] {
			dq := dl[i] + db[i]
			df[i] = fq*dq + fs*ds[i]
			step := alpha * (us*ds[i] - dq)
			switch i {
			case 0:
				step += u
			case 1:
				db[i] += alpha * u
			}
			dl[i] = dq + step
			db[i] += beta * step
			ds[i] += gamma * (vl*dl[i] - ds[i])
			if i == 2 {
				ds[i] += v - s
			}
		}
		for a, i := range of[:n] {
			grad[i] -= e * df[i]
			for _, j := range of[:a+1] {
				curv[i][j] += df[i] * df[j]
			}
		}
		b += beta * (l - q)
		*season += gamma * (v - s)
	}
	return sse, grad, curv
}
