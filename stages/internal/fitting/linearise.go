package fitting

import (
	"math"

	"gonum.org/v1/gonum/floats"
)

// linearise works out the Jacobian at cur, projects it off the free linear
// curves and leaves the triangle of what remains in stack and q.
func (w *Workspace) linearise() error {
	q := len(w.free)
	for i := range w.stack {
		w.stack[i] = 0
	}
	w.inner, w.pressing = 0, false
	row := 0
	for i := range w.blocks {
		b := &w.blocks[i]
		f := w.cur.f[b.off : b.off+b.n]
		c := w.cur.c[b.coff : b.coff+b.k]
		if len(b.used) > 0 {
			b.Basis.Jacobian(b.jac, w.cur.p, c)
		}
		for l, u := range b.used {
			if t := floats.Sum(b.jac[u*b.n : (u+1)*b.n]); math.IsNaN(t) || math.IsInf(t, 0) {
				return &Error{Status: BadJacobian, Parameter: w.names[w.free[b.to[l]]], Point: -1, Found: number(w.cur.p[w.free[b.to[l]]]),
					Detail: "the model is finite there; give another start or bounds"}
			}
		}
		b.in = b.in[:0]
		for _, j := range b.lfree {
			if b.NonNegative == nil || !b.NonNegative[j] || c[j] > 0 {
				b.in = append(b.in, j)
			}
		}
		w.cols = w.cols[:0]
		for _, j := range b.in {
			w.cols = append(w.cols, b.phi[j*b.n:(j+1)*b.n])
		}
		for _, u := range b.used {
			w.cols = append(w.cols, b.jac[u*b.n:(u+1)*b.n])
		}
		nl, cols := len(b.in), len(b.in)+len(b.used)+1
		if w.problem.Estimator == Poisson {
			w.poissonTriangle(w.cols, b.Y, f, b.tri, b.ld)
			w.findPressing(b, f, c)
		} else {
			w.squaresTriangle(b, f)
		}
		right := b.tri[(cols-1)*b.ld : cols*b.ld]
		for _, v := range right[:nl] {
			w.inner += v * v
		}
		for i := range b.used {
			for j := i; j < len(b.used); j++ {
				w.stack[b.to[j]*w.ld+row] = b.tri[(nl+j)*b.ld+nl+i]
			}
			w.stack[q*w.ld+row] = right[nl+i]
			row++
		}
	}
	if len(w.blocks) > 1 {
		reflect(w.stack, w.ld, q+1, q)
	}
	copy(w.q, w.stack[q*w.ld:q*w.ld+q])
	for j := range q {
		w.d[j] = max(w.d[j], floats.Norm(w.stack[j*w.ld:j*w.ld+j+1], 2))
		p := w.cur.p[w.free[j]]
		w.lo[j], w.hi[j] = w.lower[w.free[j]]-p, w.upper[w.free[j]]-p
	}
	return nil
}

// squaresTriangle is poissonTriangle for least squares, by reflections.
func (w *Workspace) squaresTriangle(b *block, f []float64) {
	p := len(w.cols)
	rows := max(b.n, p+1)
	rhs := w.a[p*rows : (p+1)*rows]
	for i, y := range b.Y {
		rhs[i] = y - f[i]
	}
	weigh(rhs, rhs[:b.n], b.weight)
	for j, col := range w.cols {
		weigh(w.a[j*rows:(j+1)*rows], col, b.weight)
	}
	reflect(w.a, rows, p+1, p)
	for j := range p + 1 {
		top := b.tri[j*b.ld : (j+1)*b.ld]
		clear(top)
		copy(top, w.a[j*rows:j*rows+min(j+1, p)])
	}
}

// findPressing looks whether a linear parameter that is held at 0 would lower
// the deviance if it rose. (Least-squares fits have seen to that already.)
func (w *Workspace) findPressing(b *block, f, c []float64) {
	if len(b.in) == len(b.lfree) {
		return
	}
	before := w.observed
	w.observed = true
	w.poissonWeights(b.Y, f)
	w.observed = before
	for _, j := range b.lfree {
		if b.NonNegative == nil || !b.NonNegative[j] || c[j] > 0 {
			continue
		}
		col := b.phi[j*b.n : (j+1)*b.n]
		slope := floats.Dot(w.slope[:b.n], col)
		if slope <= 0 {
			continue
		}
		curvature := 0.0
		for i, v := range col {
			curvature += v * v * w.s[i]
		}
		if slope*slope > w.Tolerance*w.Tolerance*curvature {
			w.pressing = true
		}
	}
}

// settle looks, where a Poisson fit would end, at linear parameters that must
// not be negative and are still changing by more than a thousandth of
// themselves: they are so small that this hardly matters to the deviance by
// its expected curvature. Those that fall are put to 0; the others are left to
// steps by the observed curvature. It tells whether there were any.
func (w *Workspace) settle() bool {
	if w.problem.Estimator != Poisson {
		return false
	}
	clear(w.trial)
	w.propose() // next.c is where the linear parameters would go
	found := false
	for i := range w.blocks {
		b := &w.blocks[i]
		if b.NonNegative == nil {
			continue
		}
		for _, j := range b.in {
			c, to := w.cur.c[b.coff+j], w.next.c[b.coff+j]
			if !b.NonNegative[j] || math.Abs(to-c) <= 1e-3*c {
				continue
			}
			found = true
			if to < c {
				w.next.c[b.coff+j] = 0
			}
		}
	}
	return found
}

// propose puts cur moved by trial into next, with the linear parameters moved
// as the linearisation says, and tells whether any nonlinear one moved.
func (w *Workspace) propose() bool {
	copy(w.next.p, w.cur.p)
	copy(w.next.c, w.cur.c)
	moved := false
	for k, j := range w.free {
		v := w.cur.p[j] + w.trial[k]
		switch {
		case w.box.at[k] < 0:
			v = w.lower[j]
		case w.box.at[k] > 0:
			v = w.upper[j]
		}
		v = min(max(v, w.lower[j]), w.upper[j])
		moved = moved || v != w.cur.p[j]
		w.next.p[j] = v
	}
	for i := range w.blocks {
		b := &w.blocks[i]
		nl := len(b.in)
		right := b.tri[(nl+len(b.used))*b.ld:]
		for k := nl - 1; k >= 0; k-- {
			v := right[k]
			for l, to := range b.to {
				v -= b.tri[(nl+l)*b.ld+k] * w.trial[to]
			}
			for l := k + 1; l < nl; l++ {
				v -= b.tri[l*b.ld+k] * w.lin[l]
			}
			w.lin[k] = 0
			if diag := b.tri[k*b.ld+k]; math.Abs(diag) > 1e-10*floats.Norm(b.tri[k*b.ld:k*b.ld+k+1], 2) {
				w.lin[k] = v / diag
			}
			j := b.in[k]
			v = w.cur.c[b.coff+j] + w.lin[k]
			if b.NonNegative != nil && b.NonNegative[j] {
				v = max(0, v)
			}
			w.next.c[b.coff+j] = v
		}
	}
	return moved
}
