package fitting

import (
	"math"

	"gonum.org/v1/gonum/floats"
)

// bendTrial adds to trial half the second-order step along it (geodesic
// acceleration), and tells whether that is small enough, next to a trial of
// this length, for the approximation to be believed. It is what takes fits
// through long bent valleys, and is only for models without free linear
// parameters; where some are eliminated the valleys are mostly gone.
//
// The curvature is a finite difference of the model, 2/h·[(m(p+h·v)−m(p))/h −
// J·v]. Source: Transtrum and Sethna, arXiv:1201.5885 (2012), with h = 0.1 and
// the limit 0.75 (from memory).
func (w *Workspace) bendTrial(lambda, length float64) bool {
	const h = 0.1
	q := len(w.free)
	copy(w.next.p, w.cur.p)
	for k, j := range w.free {
		w.next.p[j] += h * w.trial[k]
	}
	w.eval++
	g, bend := w.bend[:q], w.bend[q:]
	clear(g)
	for i := range w.blocks {
		b := &w.blocks[i]
		b.Basis.Curves(b.alt, w.next.p)
		f := w.next.f[b.off : b.off+b.n]
		b.combine(b.alt, w.next.c[b.coff:b.coff+b.k], f)
		cur := w.cur.f[b.off : b.off+b.n]
		for i := range f {
			f[i] = (f[i] - cur[i]) / h
		}
		for l, u := range b.used {
			floats.AddScaled(f, -w.trial[b.to[l]], b.jac[u*b.n:(u+1)*b.n])
		}
		for i := range f {
			f[i] *= 2 / h
			if w.problem.Estimator == Poisson {
				f[i] /= max(cur[i], w.tiny)
			} else if len(b.weight) > 0 {
				f[i] *= b.weight[i] * b.weight[i]
			}
		}
		for l, u := range b.used {
			g[b.to[l]] -= floats.Dot(f, b.jac[u*b.n:(u+1)*b.n])
		}
	}
	// q' with Rᵀ·q' = g.
	for k := range q {
		for i := range k {
			g[k] -= w.tri[k*w.triLD+i] * g[i]
		}
		if diag := w.tri[k*w.triLD+k]; diag != 0 {
			g[k] /= diag
		} else {
			g[k] = 0
		}
	}
	for k := range q {
		if math.IsNaN(g[k]) || math.IsInf(g[k], 0) {
			return false
		}
	}
	for k := range q {
		w.lo[k] -= w.trial[k]
		w.hi[k] -= w.trial[k]
	}
	clear(bend)
	w.box.solve(w.tri, w.triLD, q, g, w.d, max(lambda, 1e-30), w.lo, w.hi, bend)
	for k := range q {
		w.lo[k] += w.trial[k]
		w.hi[k] += w.trial[k]
	}
	if 2*w.length(bend) > 0.75*length {
		return false
	}
	for k := range q {
		w.trial[k] += bend[k] / 2
	}
	return true
}
