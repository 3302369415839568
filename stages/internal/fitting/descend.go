package fitting

import "math"

const eps = 0x1p-52

// stuck is the distance from the minimum, in standard uncertainties, below
// which a fit that cannot go further down has met rounding, not a fault.
const stuck = 1e-3

// nearby is the squared distance below which the secant matrix is used; further
// away it mostly tells of bends already left behind.
const nearby = 0.1

// widest is the first radius, in lengths of the parameters at the start (but
// at least a standard uncertainty). Of 1, 3 and 10 all do for the NIST
// problems, but for MGH10, which 1 and 10 lose from its far start.
const widest = 3

// descend goes from cur to a minimum by trust-region steps: the quadratic
// approximation is minimised within a radius, measured in w.d, that grows
// where the objective does what the approximation says and shrinks where it
// does not.
//
// Source: Moré, Lecture Notes in Mathematics 630 (1978) 105 (from memory).
func (w *Workspace) descend() (Status, error) {
	q := len(w.free)
	w.secant.reset(q)
	radius, lambda := -1.0, 0.0
	before, idle, settled := math.Inf(1), 0, 0
	for {
		if err := w.linearise(); err != nil {
			return BadJacobian, err
		}
		if w.pressing { // let it rise first
			copy(w.next.p, w.cur.p)
			copy(w.next.c, w.cur.c)
			if w.evaluate(&w.next, true, math.Inf(-1)) && w.next.obj <= w.cur.obj {
				w.accept()
				if err := w.linearise(); err != nil {
					return BadJacobian, err
				}
			}
		}
		w.tri, w.triLD, w.rhs = w.stack, w.ld, w.q
		clear(w.step)
		w.box.solve(w.tri, w.triLD, q, w.rhs, nil, 0, w.lo, w.hi, w.step)
		hope := gain(w.tri, w.triLD, q, w.rhs, w.step) + w.inner
		if w.secant.learn(w.stack, w.ld, w.q, w.d) && hope < nearby*w.variance() {
			w.tri, w.triLD, w.rhs = w.secant.tri, q, w.secant.tri[q*q:]
			clear(w.step)
			w.box.solve(w.tri, w.triLD, q, w.rhs, nil, 0, w.lo, w.hi, w.step)
			hope = gain(w.tri, w.triLD, q, w.rhs, w.step) + w.inner
		}
		w.distance = 0
		if hope > 0 {
			w.distance = math.Sqrt(hope / w.variance())
		}
		w.tolerance = max(1e-18, 1e-4*hope)
		noise := w.noise()
		if hope <= noise && w.distance >= before {
			idle++ // rounding moves it as far as the steps do
		}
		// What cannot be told from 0 next to the points themselves.
		rounding := 100 * eps * eps * w.ndata
		switch {
		case w.distance <= w.Tolerance, hope <= rounding/25, idle > 2 && w.distance <= stuck:
			if settled < 3 && w.settle() {
				settled++
				w.observed = true
				copy(w.next.p, w.cur.p)
				w.tolerance = 1e-18
				if w.evaluate(&w.next, true, math.Inf(-1)) && w.next.obj <= w.cur.obj+noise {
					w.accept()
					continue
				}
			}
			return w.end()
		case w.iterations >= w.Iterations && w.distance <= stuck:
			return w.end() // dst.Distance tells
		case w.iterations >= w.Iterations:
			return NotConverged, nil
		}
		before = w.distance
		if radius < 0 { // not yet set
			for k, j := range w.free {
				w.trial[k] = w.cur.p[j]
			}
			radius = max(widest*w.length(w.trial), math.Sqrt(w.variance()))
		}
		for tries := 0; ; tries++ {
			lambda = w.within(radius, lambda)
			want := gain(w.tri, w.triLD, q, w.rhs, w.trial) + w.inner
			length := w.length(w.trial)
			far := w.distance > 0.1 && want > 100*noise
			if w.nlinear == 0 && far && tries < 100 && !w.bendTrial(lambda, length) {
				radius = 0.5 * min(radius, length)
				continue
			}
			still := !w.propose()
			ok := w.evaluate(&w.next, true, w.cur.obj-0.5*want+noise)
			drop := w.cur.obj - w.next.obj
			accept := ok && (drop > 1e-4*want || hope <= noise && drop >= -noise) && !(still && drop <= 0)
			switch ratio := drop / want; {
			case !ok:
				radius = 0.1 * min(radius, length)
			case accept && (hope <= noise || ratio >= 0.75):
				radius = max(radius, 2*length)
			case ratio < 0:
				radius = 0.25 * min(radius, length)
			case ratio < 0.25:
				radius = 0.5 * min(radius, length)
			}
			if accept {
				// Twice what was wanted means that there was no curvature.
				w.observed = want > noise && (drop > 1.5*want || w.observed && drop > 0.5*want)
				break
			}
			if still || tries > 200 {
				if w.distance <= stuck || hope <= rounding {
					return w.end()
				}
				return Stalled, nil
			}
		}
		for k, j := range w.free {
			w.secant.step[k] = w.next.p[j] - w.cur.p[j]
		}
		w.accept()
	}
}

// end is Converged, with the triangles of the expected curvature.
func (w *Workspace) end() (Status, error) {
	if w.observed {
		w.observed = false
		if err := w.linearise(); err != nil {
			return BadJacobian, err
		}
	}
	return Converged, nil
}

// accept makes next the current point.
func (w *Workspace) accept() {
	w.iterations++
	w.cur, w.next = w.next, w.cur
	for i := range w.blocks {
		b := &w.blocks[i]
		b.phi, b.alt = b.alt, b.phi
		b.devCur = b.dev
	}
}

// length of a step, in the scales w.d.
func (w *Workspace) length(x []float64) float64 {
	s := 0.0
	for j, v := range x {
		s += v * w.d[j] * v * w.d[j]
	}
	return math.Sqrt(s)
}

// within leaves in trial the minimum of the quadratic approximation no
// further away than radius (to a tenth), and gives its damping; lambda is
// where the search for that begins.
func (w *Workspace) within(radius, lambda float64) float64 {
	copy(w.trial, w.step)
	if w.length(w.trial) <= 1.1*radius {
		return 0
	}
	if lambda <= 0 {
		lambda = 1e-6
	}
	// The length falls with the damping: bracket it, then interpolate.
	var lo, hi, atLo, atHi float64
	for range 40 {
		clear(w.trial)
		w.box.solve(w.tri, w.triLD, len(w.free), w.rhs, w.d, lambda, w.lo, w.hi, w.trial)
		n := w.length(w.trial)
		if math.Abs(n-radius) <= 0.1*radius {
			break
		}
		if n > radius {
			lo, atLo = lambda, n
		} else {
			hi, atHi = lambda, n
		}
		switch {
		case hi == 0:
			lambda = min(lambda*max(10, n/radius), 1e60)
		case lo == 0:
			lambda *= min(0.1, n/radius)
		default:
			t := math.Log(atLo/radius) / math.Log(atLo/atHi)
			lambda = lo * math.Pow(hi/lo, min(max(t, 0.1), 0.9))
		}
	}
	return lambda
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
