package fitting

import (
	"math"
	"strconv"

	"gonum.org/v1/gonum/floats"
)

// negligible is the singular value, relative to the largest, of a Jacobian
// with columns of length 1, below which a direction is undetermined: no more
// than rounding.
const negligible = 1e-13

func (r *Result) reset() {
	*r = Result{P: r.P[:0], C: r.C[:0], F: r.F[:0], Cov: r.Cov[:0], SD: r.SD[:0], Bounds: r.Bounds[:0],
		Direction: r.Direction[:0], names: r.names[:0], Objective: math.NaN(), Condition: math.NaN(), Distance: math.NaN()}
}

// finish writes what came out into dst.
func (w *Workspace) finish(dst *Result, status Status, err error) {
	dst.Status, dst.err = status, err
	dst.names = append(dst.names, w.names...)
	dst.N, dst.DOF, dst.Scaled = w.n, w.n-w.nfree, w.scaled
	dst.Iterations, dst.Evaluations, dst.Distance = w.iterations, w.eval, w.distance
	dst.P = append(dst.P, w.cur.p...)
	dst.C = append(dst.C, w.cur.c...)
	dst.F = append(dst.F, w.cur.f...)
	dst.Objective = w.cur.obj
	if status == Converged && w.problem.Estimator == Poisson {
		dst.Objective = 0 // without what the steps' rounding added up to
		for i := range w.blocks {
			b := &w.blocks[i]
			dst.Objective += deviance(b.Y, dst.F[b.off:b.off+b.n], w.tiny)
		}
	}
	t := len(dst.P) + len(dst.C)
	grow(&dst.Cov, t*t)
	grow(&dst.SD, t)
	grow(&dst.Bounds, t)
	for i := range dst.Cov {
		dst.Cov[i] = math.NaN()
	}
	for i := range t {
		dst.SD[i], dst.Bounds[i] = math.NaN(), 0
	}
	if status != Converged {
		if math.IsNaN(dst.Objective) || math.IsInf(dst.Objective, 0) {
			dst.P, dst.C, dst.F = dst.P[:0], dst.C[:0], dst.F[:0]
			dst.Objective = math.NaN()
		}
		if err == nil {
			dst.err = w.giveUp(status)
		}
		return
	}
	w.findBounds(dst)
	w.covariance(dst)
	w.judge(dst)
}

// giveUp puts NotConverged and Stalled into words.
func (w *Workspace) giveUp(status Status) error {
	detail := "after " + strconv.Itoa(w.iterations) + " steps it is " + number(w.distance) +
		" standard uncertainties from a minimum; give a nearer start, bounds, or fewer parameters"
	if status == Stalled {
		detail = number(w.distance) + " standard uncertainties from a minimum no step goes down; " +
			"the model jumps there, or its derivatives are not those of its values"
	}
	return &Error{Status: status, Point: -1, Detail: detail}
}

// findBounds marks the parameters that lie at bounds.
func (w *Workspace) findBounds(dst *Result) {
	for _, j := range w.free {
		switch w.cur.p[j] {
		case w.lower[j]:
			dst.Bounds[j] = -1
		case w.upper[j]:
			dst.Bounds[j] = 1
		}
	}
	for i := range w.blocks {
		b := &w.blocks[i]
		for _, j := range b.lfree {
			if b.NonNegative != nil && b.NonNegative[j] && w.cur.c[b.coff+j] == 0 {
				dst.Bounds[len(w.cur.p)+b.coff+j] = -1
			}
		}
	}
}

// covariance is (JᵀJ)⁻¹ of the weighted Jacobian of all parameters that are
// free and at no bound, by singular values of its triangle with columns of
// length 1.
func (w *Workspace) covariance(dst *Result) {
	np, t := len(dst.P), len(dst.SD)
	for i := range dst.Cov {
		dst.Cov[i] = 0
	}
	q := len(w.free)
	w.columns = w.columns[:0]
	for _, j := range w.free {
		if dst.Bounds[j] == 0 {
			w.columns = append(w.columns, j)
		}
	}
	rows := q
	for i := range w.blocks {
		b := &w.blocks[i]
		for _, j := range b.in {
			w.columns = append(w.columns, np+b.coff+j)
		}
		rows += len(b.in)
	}
	n := len(w.columns)
	side := max(rows, n) // rows ≥ n, since every column has a row of its own
	grow(&w.matrix, side*side)
	grow(&w.vecs, side*side)
	grow(&w.sigma, side)
	grow(&w.norms, side)
	clear(w.matrix)
	k := 0
	for col, j := range w.free {
		if dst.Bounds[j] != 0 {
			continue
		}
		m := w.matrix[k*side : (k+1)*side]
		copy(m, w.stack[col*w.ld:col*w.ld+col+1])
		row := q
		for i := range w.blocks {
			b := &w.blocks[i]
			for l, to := range b.to {
				if to == col {
					copy(m[row:row+len(b.in)], b.tri[(len(b.in)+l)*b.ld:])
				}
			}
			row += len(b.in)
		}
		k++
	}
	row := q
	for i := range w.blocks {
		b := &w.blocks[i]
		for l := range b.in {
			copy(w.matrix[k*side+row:], b.tri[l*b.ld:l*b.ld+l+1])
			k++
		}
		row += len(b.in)
	}
	for k := range n {
		col := w.matrix[k*side : (k+1)*side]
		w.norms[k] = floats.Norm(col, 2)
		if w.norms[k] > 0 {
			floats.Scale(1/w.norms[k], col)
		}
	}
	// Columns beyond n are zero, and stay apart.
	svd(w.matrix, w.vecs, w.sigma, side)
	w.spread(dst, n, side)
	for _, j := range w.free {
		if dst.Bounds[j] != 0 {
			dst.forget(j)
		}
	}
	for i := np; i < t; i++ {
		if dst.Bounds[i] != 0 {
			dst.forget(i)
		}
	}
	for i := range t {
		dst.SD[i] = math.Sqrt(dst.Cov[i*t+i])
	}
}

// spread turns singular values into the covariance, and finds undetermined
// directions.
func (w *Workspace) spread(dst *Result, n, side int) {
	t := len(dst.SD)
	largest, least, which := 0.0, math.Inf(1), -1
	for s := range side {
		if !w.own(s, n, side) {
			continue
		}
		largest = max(largest, w.sigma[s])
		if w.sigma[s] < least {
			least, which = w.sigma[s], s
		}
	}
	dst.Condition = 1
	if which < 0 {
		return
	}
	dst.Condition = largest / least
	null := negligible * largest
	if least <= null || largest == 0 {
		dst.Condition = math.Inf(1)
		grow(&dst.Direction, t)
		clear(dst.Direction)
		for k, j := range w.columns {
			dst.Direction[j] = w.vecs[which*side+k]
		}
	}
	scale := 1.0
	if w.scaled {
		scale = w.variance()
	}
	for s := range side {
		if !w.own(s, n, side) || w.sigma[s] <= null {
			continue
		}
		v := w.vecs[s*side : (s+1)*side]
		g := scale / (w.sigma[s] * w.sigma[s])
		for k, i := range w.columns {
			if w.norms[k] == 0 {
				continue
			}
			for l, j := range w.columns {
				if w.norms[l] != 0 {
					dst.Cov[i*t+j] += g * ((v[k] / w.norms[k]) * (v[l] / w.norms[l]))
				}
			}
		}
	}
	for s := range side {
		if !w.own(s, n, side) || w.sigma[s] > null {
			continue
		}
		for k, j := range w.columns {
			if math.Abs(w.vecs[s*side+k]) > 1e-6 {
				dst.forget(j)
			}
		}
	}
}

// own tells whether singular vector s lies in the n columns that are there,
// and not in the empty ones that fill the square.
func (w *Workspace) own(s, n, side int) bool {
	for _, v := range w.vecs[s*side : s*side+n] {
		if v != 0 {
			return true
		}
	}
	return false
}

// forget makes the covariances of parameter i unknown.
func (r *Result) forget(i int) {
	t := len(r.SD)
	for j := range t {
		r.Cov[i*t+j], r.Cov[j*t+i] = math.NaN(), math.NaN()
	}
}

// judge sets the status of a minimum.
func (w *Workspace) judge(dst *Result) {
	worst := -1
	for j, v := range dst.Direction {
		if worst < 0 || math.Abs(v) > math.Abs(dst.Direction[worst]) {
			worst = j
		}
	}
	for i, side := range dst.Bounds {
		if side == 0 {
			continue
		}
		which, bound := "lower", 0.0
		if i < len(dst.P) {
			bound = w.lower[i]
		}
		if side > 0 {
			which, bound = "upper", w.upper[i]
		}
		detail := "its " + which + " bound, where it has no standard uncertainty; widen the bound if that makes sense, or fit fewer parameters"
		if worst >= 0 {
			detail += "; " + dst.names[worst] + " is then not determined"
		}
		dst.Status = AtBound
		dst.err = &Error{Status: AtBound, Parameter: dst.names[i], Point: -1, Found: number(bound), Detail: detail}
		return
	}
	if worst >= 0 {
		dst.Status = Singular
		dst.err = &Error{Status: Singular, Parameter: dst.names[worst], Point: -1,
			Detail: "it can be changed, alone or with others, without changing the model; fix it, or fit fewer parameters"}
	}
}
