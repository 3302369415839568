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
	w.inner = 0
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
				return &Error{Status: BadJacobian, Parameter: w.names[w.free[b.to[l]]], Point: -1, Value: w.cur.p[w.free[b.to[l]]],
					Detail: "the model is finite there; give another start or bounds"}
			}
		}
		b.in = b.in[:0]
		for _, j := range b.lfree {
			if b.NonNegative == nil || !b.NonNegative[j] || c[j] > 0 {
				b.in = append(b.in, j)
			}
		}
		nl, cols := len(b.in), len(b.in)+len(b.used)+1
		rows := max(b.n, cols)
		rhs := w.a[(cols-1)*rows : cols*rows]
		s := b.weight
		if w.problem.Estimator == Poisson {
			w.poissonRows(b.Y, f, rhs)
			s = w.s
		} else {
			for i, y := range b.Y {
				rhs[i] = y - f[i]
			}
			weigh(rhs, rhs[:b.n], s)
		}
		for l, j := range b.in {
			weigh(w.a[l*rows:(l+1)*rows], b.phi[j*b.n:(j+1)*b.n], s)
		}
		for l, u := range b.used {
			weigh(w.a[(nl+l)*rows:(nl+l+1)*rows], b.jac[u*b.n:(u+1)*b.n], s)
		}
		reflect(w.a, rows, cols, cols-1)
		for j := range cols {
			top := b.tri[j*b.ld : (j+1)*b.ld]
			for i := range top {
				top[i] = 0
			}
			copy(top, w.a[j*rows:j*rows+min(j+1, cols-1)])
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
