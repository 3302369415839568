package fitting

import (
	"math"

	"gonum.org/v1/gonum/floats"
)

const eps = 0x1p-52

// stuck is the distance from the minimum, in standard uncertainties, below
// which a fit that cannot go further down has met rounding, not a fault.
const stuck = 1e-3

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

// descend goes from cur to a minimum.
func (w *Workspace) descend() (Status, error) {
	q := len(w.free)
	lambda, growth := 1e-3, 2.0
	before := math.Inf(1)
	for {
		if err := w.linearise(); err != nil {
			return BadJacobian, err
		}
		for j := range w.step {
			w.step[j] = 0
		}
		w.box.solve(w.stack, w.ld, q, w.q, nil, 0, w.lo, w.hi, w.step)
		hope := gain(w.stack, w.ld, q, w.q, w.step) + w.inner
		w.distance = math.Sqrt(max(hope, 0) / w.variance())
		w.tolerance = min(1e-6, max(1e-18, 1e-4*hope))
		noise := w.noise()
		switch {
		case w.distance <= w.Tolerance, hope <= 4*eps*eps*w.ndata:
			return Converged, nil
		case hope <= noise && w.distance >= before/2 && w.distance <= stuck:
			return Converged, nil // rounding moves it as far as the steps do
		case w.iterations >= w.Iterations:
			return NotConverged, nil
		}
		before = w.distance
		for {
			clear(w.trial)
			w.box.solve(w.stack, w.ld, q, w.q, w.d, lambda, w.lo, w.hi, w.trial)
			want := gain(w.stack, w.ld, q, w.q, w.trial) + w.inner
			still := !w.propose()
			ok := w.evaluate(&w.next, true)
			drop := w.cur.obj - w.next.obj
			if ok && (drop > 1e-4*want || want <= noise && drop >= -noise) && !(still && drop <= 0) {
				ratio := 1.0
				if want > noise {
					ratio = drop / want
				}
				lambda *= max(0.1, 1-math.Pow(2*ratio-1, 3))
				if lambda < 1e-15 {
					lambda = 0
				}
				growth = 2
				break
			}
			if still || lambda > 1e40 {
				if w.distance <= stuck {
					return Converged, nil
				}
				return Stalled, nil
			}
			lambda = max(lambda*growth, 1e-12)
			growth *= 2
		}
		w.iterations++
		w.cur, w.next = w.next, w.cur
		for i := range w.blocks {
			b := &w.blocks[i]
			b.phi, b.alt = b.alt, b.phi
		}
	}
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

// variance is what a residual's square is measured in: 1, or, with u unknown,
// the scatter.
func (w *Workspace) variance() float64 {
	if w.scaled {
		return w.cur.obj / float64(w.n-w.nfree)
	}
	return 1
}

// noise is the rounding error of the objective at cur.
func (w *Workspace) noise() float64 {
	if w.problem.Estimator == Poisson {
		return 16*eps*w.ndata + 0.1*w.tolerance
	}
	return 16*eps*math.Sqrt(w.cur.obj*w.ndata) + 16*eps*eps*w.ndata
}
