package fitting

import "math"

// secant keeps what the Jacobian alone does not say of the objective's
// curvature, Σ residual·∂²m, as a matrix that is learnt from the slopes at
// successive points. Where residuals are large, because the model is wrong or
// the noise strong, steps without it creep.
//
// Source: Dennis, Gay and Welsch, ACM Trans. Math. Softw. 7 (1981) 348 (from
// memory).
type secant struct {
	q       int
	known   bool      // there is an earlier point
	s       []float64 // the matrix, q×q, symmetric
	slope   []float64 // half the gradient at the earlier point
	step    []float64 // from there to here
	tri     []float64 // triangle and right side with the matrix in, q×(q+1)
	y, v, u []float64
}

func (c *secant) reset(q int) {
	c.q, c.known = q, false
	clear(grow(&c.s, q*q))
	grow(&c.tri, q*(q+1))
	for _, s := range []*[]float64{&c.slope, &c.step, &c.y, &c.v, &c.u} {
		grow(s, q)
	}
}

// learn takes the triangle and right side of a new point (ld a column), and
// the scales d, and tells whether the next step should use c.tri: whether the
// matrix foretold the new slope clearly better than its absence, and the whole
// is positive.
func (c *secant) learn(r []float64, ld int, rhs, d []float64) bool {
	q := c.q
	if q == 0 {
		return false
	}
	// v = new − old slope; the old one gives way to the new.
	for j := range q {
		g := 0.0
		for i := range j + 1 {
			g -= r[j*ld+i] * rhs[i]
		}
		c.v[j], c.slope[j] = g-c.slope[j], g
	}
	if !c.known {
		c.known = true
		return false
	}
	// y = v − RᵀR·step: what the Jacobian does not explain; u = S·step.
	for i := range q {
		c.u[i] = 0
		for j := i; j < q; j++ {
			c.u[i] += r[j*ld+i] * c.step[j]
		}
	}
	var without, with, before, sy, ss float64
	for j := range q {
		c.y[j] = c.v[j]
		for i := range j + 1 {
			c.y[j] -= r[j*ld+i] * c.u[i]
		}
	}
	for i := range q {
		c.u[i] = 0
		for j := range q {
			c.u[i] += c.s[i*q+j] * c.step[j]
		}
		if d[i] == 0 {
			continue
		}
		without += c.y[i] / d[i] * c.y[i] / d[i]
		with += (c.y[i] - c.u[i]) / d[i] * (c.y[i] - c.u[i]) / d[i]
		before += (c.slope[i] - c.v[i]) / d[i] * (c.slope[i] - c.v[i]) / d[i]
		sy += c.step[i] * c.y[i]
		ss += c.step[i] * c.u[i]
	}
	use := with < 0.25*without && without > 1e-3*before
	c.update(sy, ss)
	if !use {
		return false
	}
	// Upper half of RᵀR + S, and −slope.
	for j := range q {
		for i := range j + 1 {
			m := 0.5 * (c.s[i*q+j] + c.s[j*q+i])
			for k := range i + 1 {
				m += r[i*ld+k] * r[j*ld+k]
			}
			c.tri[j*q+i] = m
		}
		c.tri[q*q+j] = -c.slope[j]
	}
	return cholesky(c.tri, q, q)
}

// update makes the matrix explain y along step, changing it least; it is first
// made smaller where it says more than y does.
func (c *secant) update(sy, ss float64) {
	q := c.q
	if size := math.Abs(sy); size < math.Abs(ss) {
		size /= math.Abs(ss)
		for i := range c.s[:q*q] {
			c.s[i] *= size
		}
		for i := range c.u[:q] {
			c.u[i] *= size
		}
	}
	vs, us := 0.0, 0.0
	for i := range q {
		c.u[i] = c.y[i] - c.u[i]
		vs += c.v[i] * c.step[i]
		us += c.u[i] * c.step[i]
	}
	if !(vs > 0) || math.IsInf(1/vs, 0) {
		return
	}
	for i := range q {
		for j := range q {
			c.s[i*q+j] += (c.u[i]*c.v[j]+c.v[i]*c.u[j])/vs - us/vs*c.v[i]*c.v[j]/vs
		}
	}
	for _, v := range c.s[:q*q] {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			clear(c.s)
			return
		}
	}
}
