package convolution

import "math"

// Exponential writes the convolution of the response with e^(−s/τ) at the places k + offset, k = 0, 1, …, len(h)−1,
//
//	h_k = ∫₀^∞ R(k + offset − s)·e^(−s/τ) ds   (with a period T: + what pulses at −T, −2T, … left over)
//
// into h and, unless d is nil, ∂h_k/∂τ into d, which is then as long as h. τ > 0, offset and the period are in channels; a period of 0
// means a single pulse. A response that comes later by δ channels than its decay says has offset −δ, and
//
//	∂h_k/∂offset = R(k + offset) − h_k/τ.
//
// With a period the response must have ended when the next pulse comes: T ≥ the number of its channels, apart from zeros.
// From one channel to the next h follows by
//
//	h_{k+1} = q·h_k + Σ_i ω_i·c_{k+i}, q = e^(−1/τ)
//
// with five weights ω_i for the coefficients of the spline within reach. What remains from earlier pulses when the response has ended is
// itself an exponential, h_end·e^(−(t + T − t_end)/τ)/(1 − e^(−T/τ)), the sum of a geometric series.
//
// It panics when τ is not positive or the lengths differ: τ is the caller's to bound.
func (r *Response) Exponential(h, d []float64, offset, tau, period float64) {
	if !(tau > 0) {
		panic("convolution: a lifetime must be positive")
	}
	if d != nil && len(d) != len(h) {
		panic("convolution: slices of different lengths")
	}
	if len(h) == 0 {
		return
	}
	x := 1 / tau
	j0, p := split(offset)
	e := newStep(p, x)
	var s state
	// From channel −2 of the response to its channel n + 2 there is something to add; channel j of the response is channel j − j0 of h.
	first, last := -2, r.n+2
	k := 0
	if j0 > first { // light before the first channel of h
		s = r.roll(&e, s, first, min(j0, last+1))
		if j0 > last+1 {
			s = s.decay(float64(j0-last-1), x)
		}
	} else {
		k = min(first-j0, len(h))
		clear(h[:k])
		if d != nil {
			clear(d[:k])
		}
	}
	if to := min(last+1-j0, len(h)); to > k {
		if d != nil {
			s = r.both(&e, s, h[k:to], d[k:to], k+j0)
		} else {
			s = r.alone(&e, s, h[k:to], k+j0)
		}
		k = to
	}
	for ; k < len(h); k++ {
		s.d = e.q*s.d + e.dq*s.h
		s.h *= e.q
		h[k] = s.h
		if d != nil {
			d[k] = s.d
		}
	}
	if period > 0 {
		next := max(len(h)+j0, first) // the channel of the response at which the next step would begin
		if next <= last {
			s = r.roll(&e, s, next, last+1)
			next = last + 1
		}
		end := float64(next - 1 - j0)
		wrap(h, d, s, &e, x, period-end, period)
	}
	if d != nil { // from ∂/∂(1/τ) to ∂/∂τ
		f := -x * x
		for i := range d {
			d[i] *= f
		}
	}
}

// state is h and ∂h/∂x at one place, x = 1/τ.
type state struct{ h, d float64 }

// decay lets n channels without light pass.
func (s state) decay(n, x float64) state {
	q := math.Exp(-n * x)
	return state{q * s.h, q*s.d - n*q*s.h}
}

// both steps over channels j, j + 1, … of the response, with derivatives.
func (r *Response) both(e *step, s state, h, d []float64, j int) state {
	c := r.c[pad+j-2 : pad+j+2+len(h)]
	d = d[:len(h)]
	w0, w1, w2, w3, w4 := e.w[0], e.w[1], e.w[2], e.w[3], e.w[4]
	v0, v1, v2, v3, v4 := e.dw[0], e.dw[1], e.dw[2], e.dw[3], e.dw[4]
	q, dq := e.q, e.dq
	c0, c1, c2, c3 := c[0], c[1], c[2], c[3]
	c = c[4:]
	c = c[:len(h)]
	for k := range h {
		c4 := c[k]
		s.d = q*s.d + (dq*s.h + (v0*c0 + v1*c1 + (v2*c2 + v3*c3) + v4*c4))
		s.h = q*s.h + (w0*c0 + w1*c1 + (w2*c2 + w3*c3) + w4*c4)
		h[k], d[k] = s.h, s.d
		c0, c1, c2, c3 = c1, c2, c3, c4
	}
	return s
}

// alone is both without derivatives.
func (r *Response) alone(e *step, s state, h []float64, j int) state {
	c := r.c[pad+j-2 : pad+j+2+len(h)]
	w0, w1, w2, w3, w4 := e.w[0], e.w[1], e.w[2], e.w[3], e.w[4]
	q := e.q
	c0, c1, c2, c3 := c[0], c[1], c[2], c[3]
	c = c[4:]
	c = c[:len(h)]
	for k := range h {
		c4 := c[k]
		s.h = q*s.h + (w0*c0 + w1*c1 + (w2*c2 + w3*c3) + w4*c4)
		h[k] = s.h
		c0, c1, c2, c3 = c1, c2, c3, c4
	}
	return s
}

// roll steps over channels from ≤ j < to of the response and keeps the end alone.
func (r *Response) roll(e *step, s state, from, to int) state {
	for j := from; j < to; j++ {
		c := r.c[pad+j-2 : pad+j+3]
		s.d = q5(&e.dw, c) + e.q*s.d + e.dq*s.h
		s.h = q5(&e.w, c) + e.q*s.h
	}
	return s
}

func q5(w *[5]float64, c []float64) float64 {
	return w[0]*c[0] + w[1]*c[1] + (w[2]*c[2] + w[3]*c[3]) + w[4]*c[4]
}

// wrap adds what all earlier pulses left over: gap is the time from where s stands to the place k = 0, one period later.
func wrap(h, d []float64, s state, e *step, x, gap, period float64) {
	left := s.decay(gap, x)
	z := period * x
	g := -1 / math.Expm1(-z)    // 1/(1 − e^(−T/τ))
	dg := -period * g * (g - 1) // its derivative by x: −T·e^(−Tx)/(1 − e^(−Tx))²
	left.h, left.d = left.h*g, left.d*g+left.h*dg
	for k := range h {
		h[k] += left.h
		if d != nil {
			d[k] += left.d
		}
		left.d = e.q*left.d + e.dq*left.h
		left.h *= e.q
	}
}

// step holds the factors of one channel's step and their derivatives by x = 1/τ.
type step struct {
	q, dq float64
	w, dw [5]float64
}

// newStep works out the step that ends p channels after a knot: ∫₀¹ R(p − s)·e^(−s·x) ds in terms of the spline's coefficients at the knots
// −2, −1, 0, 1 and 2. Up to s = p the spline is the cubic of one cell, beyond it that of the cell before.
func newStep(p, x float64) (e step) {
	e.q = math.Exp(-x)
	e.dq = -e.q
	add := func(from int, at, length, before float64) {
		b, m := basis(at), moments(length, x)
		f := math.Exp(-before * x)
		for i := range 4 {
			sign, w, dw := 1.0, 0.0, 0.0
			for k := range 4 {
				w += sign * b[i][k] * m[k]
				dw -= sign * b[i][k] * m[k+1]
				sign = -sign
			}
			e.w[from+i] += f * w
			e.dw[from+i] += f * (dw - before*w)
		}
	}
	add(1, p, p, 0)
	add(0, 1, 1-p, p)
	return e
}

// moments gives M_m = ∫₀^L s^m·e^(−s·x) ds for m = 0 to 4 and x ≥ 0, to rounding: the highest by a series of positive terms,
//
//	M_m = L^(m+1)·e^(−z)·Σ_{n≥0} z^n/((m+1)(m+2)…(m+1+n)), z = x·L,
//
// and the others downwards from it, M_{m−1} = (x·M_m + L^m·e^(−z))/m; for large z upwards from M_0. Both recursions are stable there.
//
// Source: integration by parts; the series is Abramowitz and Stegun, eq. 6.5.29 (from memory).
func moments(l, x float64) (m [5]float64) {
	z := x * l
	ez := math.Exp(-z)
	var power [5]float64 // l^m
	power[0] = 1
	for i := 1; i < 5; i++ {
		power[i] = power[i-1] * l
	}
	if z < 8 {
		term := 1.0 / 5
		sum := term
		for n := 1; n < 200; n++ {
			term *= z / float64(5+n)
			sum += term
			if term < 1e-17*sum {
				break
			}
		}
		m[4] = power[4] * l * ez * sum
		for i := 4; i > 0; i-- {
			m[i-1] = (x*m[i] + power[i]*ez) / float64(i)
		}
		return m
	}
	m[0] = (1 - ez) / x
	for i := 1; i < 5; i++ {
		m[i] = (float64(i)*m[i-1] - power[i]*ez) / x
	}
	return m
}
