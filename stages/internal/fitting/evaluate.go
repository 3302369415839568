package fitting

import (
	"math"

	"gonum.org/v1/gonum/floats"
)

// evaluate works out the model at pt.p into pt and each block's alt, with the
// free linear parameters at their best; the search for them begins at pt.c
// when warm. Poisson fits leave them at pt.c when the deviance there is no
// more than enough: the next linearisation then moves them together with the
// others. It tells whether the objective is finite.
func (w *Workspace) evaluate(pt *point, warm bool, enough float64) bool {
	w.eval++
	pt.obj = math.Inf(1)
	sum := 0.0
	poisson := w.problem.Estimator == Poisson
	for i := range w.blocks {
		b := &w.blocks[i]
		f := pt.f[b.off : b.off+b.n]
		c := pt.c[b.coff : b.coff+b.k]
		b.Basis.Curves(b.alt, pt.p)
		if t := floats.Sum(b.alt); math.IsNaN(t) || math.IsInf(t, 0) {
			return false
		}
		if !warm {
			for j := range c {
				c[j] = 0
				if b.Start != nil {
					c[j] = b.Start[j]
				}
			}
		}
		if len(b.lfree) > 0 && !poisson {
			w.linear(b, b.weight, c, f)
		}
		b.combine(b.alt, c, f)
		if poisson {
			if warm {
				b.dev = b.devCur + change(b.Y, w.cur.f[b.off:b.off+b.n], f, w.tiny)
			} else {
				b.dev = deviance(b.Y, f, w.tiny)
			}
			sum += b.dev
		} else {
			sum += squares(b, f)
		}
	}
	if poisson && w.nlinear > 0 && !(sum <= enough) {
		for i := range w.blocks {
			b := &w.blocks[i]
			sum = 0
			for j := range w.blocks {
				if j != i {
					sum += w.blocks[j].dev
				}
			}
			b.dev = w.poissonLinear(b, pt.c[b.coff:b.coff+b.k], pt.f[b.off:b.off+b.n], b.dev, enough-sum)
			sum += b.dev
		}
	}
	if math.IsNaN(sum) || math.IsInf(sum, 0) {
		return false
	}
	pt.obj = sum
	return true
}

// combine writes Σ c_j·φ_j into f; the one curve, when there is no linear
// parameter.
func (b *block) combine(phi, c, f []float64) {
	if b.k == 0 {
		copy(f, phi)
		return
	}
	floats.ScaleTo(f, c[0], phi[:b.n])
	for j := 1; j < b.k; j++ {
		floats.AddScaled(f, c[j], phi[j*b.n:(j+1)*b.n])
	}
}

// squares is Σ ((y−f)/u)².
func squares(b *block, f []float64) float64 {
	sum := 0.0
	if len(b.weight) == 0 {
		for i, y := range b.Y {
			r := y - f[i]
			sum += r * r
		}
		return sum
	}
	for i, y := range b.Y {
		r := (y - f[i]) * b.weight[i]
		sum += r * r
	}
	return sum
}

// weigh writes s·x into dst (x itself when s is empty), zeros behind it.
func weigh(dst, x, s []float64) {
	if len(s) == 0 {
		copy(dst, x)
	} else {
		s, dst := s[:len(x)], dst[:len(x)]
		for i, v := range x {
			dst[i] = v * s[i]
		}
	}
	for i := len(x); i < len(dst); i++ {
		dst[i] = 0
	}
}

// linear solves for the free linear parameters of a block by least squares
// with row weights s, within their bounds. f is only used as scratch.
func (w *Workspace) linear(b *block, s, c, f []float64) {
	kf := len(b.lfree)
	rows := max(b.n, kf+1)
	for l, j := range b.lfree {
		weigh(w.a[l*rows:(l+1)*rows], b.alt[j*b.n:(j+1)*b.n], s)
	}
	copy(f, b.Y)
	if b.Fixed != nil {
		for j, fixed := range b.Fixed {
			if fixed {
				floats.AddScaled(f, -c[j], b.alt[j*b.n:(j+1)*b.n])
			}
		}
	}
	weigh(w.a[kf*rows:(kf+1)*rows], f, s)
	reflect(w.a, rows, kf+1, kf)
	for l, j := range b.lfree {
		w.linLo[l], w.linHi[l] = math.Inf(-1), math.Inf(1)
		w.lin[l] = c[j]
		if b.NonNegative != nil && b.NonNegative[j] {
			w.linLo[l], w.lin[l] = 0, max(0, c[j])
		}
	}
	w.box.solve(w.a, rows, kf, w.a[kf*rows:], nil, 0, w.linLo, w.linHi, w.lin)
	for l, j := range b.lfree {
		c[j] = w.lin[l]
	}
}

// poissonLinear finds the free linear parameters of a block that minimise its
// deviance, which is convex in them, and gives that; +Inf when no parameters
// were found whose means are possible. It begins at c, with means f and
// deviance d there. Fisher scoring: each round is a least-squares problem with
// weights 1/m and the bounds inside it. It stops early when the deviance is no
// more than enough.
func (w *Workspace) poissonLinear(b *block, c, f []float64, d, enough float64) float64 {
	kf := len(b.lfree)
	if kf == 0 {
		return d
	}
	if math.IsInf(d, 1) || w.eval == 1 && b.Start == nil {
		if d = w.poissonStart(b, c, f); math.IsInf(d, 1) {
			return d
		}
	}
	loose := 0.0
	if w.eval == 1 && len(w.free) > 0 {
		// Far from the minimum scoring is slow, and soon idle: the
		// nonlinear parameters are wrong.
		loose = 0.3
	}
	w.cols = w.cols[:0]
	for _, j := range b.lfree {
		w.cols = append(w.cols, b.alt[j*b.n:(j+1)*b.n])
	}
	before := w.observed
	defer func() { w.observed = before }()
	w.observed = w.observed || w.pressing
	for range 50 {
		w.poissonTriangle(w.cols, b.Y, f, w.linTri, kf)
		rhs, delta, old := w.linTri[kf*kf:], w.lin[:kf], w.lin[b.k:]
		for l, j := range b.lfree {
			w.linLo[l], w.linHi[l], delta[l] = math.Inf(-1), math.Inf(1), 0
			if b.NonNegative != nil && b.NonNegative[j] {
				w.linLo[l] = -c[j]
			}
			old[l] = c[j]
		}
		w.box.solve(w.linTri, kf, kf, rhs, nil, 0, w.linLo, w.linHi, delta)
		hope := gain(w.linTri, kf, kf, rhs, delta)
		better, moved := d, false
		for t := 1.0; t > 1e-9 && !moved; t /= 2 {
			for l, j := range b.lfree {
				c[j] = old[l] + t*delta[l]
				if b.NonNegative != nil && b.NonNegative[j] {
					c[j] = max(0, c[j])
				}
			}
			b.combine(b.alt, c, f)
			if hope <= w.tolerance {
				// So near that the quadratic says what the deviance
				// would, to more digits than its sum carries.
				if possible(b.Y, f, w.tiny) {
					return d - hope
				}
				continue
			}
			better = deviance(b.Y, f, w.tiny)
			moved = better < d
		}
		if !moved {
			for l, j := range b.lfree {
				c[j] = old[l]
			}
			b.combine(b.alt, c, f)
			return d
		}
		w.observed = d-better > 1.5*hope || w.observed && d-better > 0.5*hope
		d = better
		if d <= enough || hope <= loose*d {
			return d
		}
	}
	return d
}

// poissonStart finds linear parameters with possible means: least squares
// with weights 1/max(counts, 1), with a share of every curve mixed in where
// that leaves means of 0 under counts.
func (w *Workspace) poissonStart(b *block, c, f []float64) float64 {
	s := w.s[:b.n]
	counts := 0.0
	for i, y := range b.Y {
		s[i] = 1 / math.Sqrt(max(y, 1))
		counts += y
	}
	w.linear(b, s, c, f)
	b.combine(b.alt, c, f)
	d := deviance(b.Y, f, w.tiny)
	for mix := 0.01; math.IsInf(d, 1) && mix <= 1; mix *= 10 {
		for _, j := range b.lfree {
			if area := floats.Sum(b.alt[j*b.n : (j+1)*b.n]); area > 0 {
				c[j] = (1-mix)*max(c[j], 0) + mix*max(counts, 1)/area
			}
		}
		b.combine(b.alt, c, f)
		d = deviance(b.Y, f, w.tiny)
	}
	return d
}
