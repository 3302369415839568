package spectra

import "math"

// maxDegree is the highest degree of a local polynomial.
const maxDegree = 6

// localPolynomial is a polynomial fitted to neighbouring points by weighted
// least squares, on the polynomials that are orthogonal over these points:
//
//	p(x) = Σ_k a_k·P_k(t), t = (x − mid)/half,
//	P_0 = 1, P_{k+1} = (t − α_k)·P_k − β_k·P_{k−1},
//	a_k = Σ_i w_i·y_i·P_k(t_i)/N_k, N_k = Σ_i w_i·P_k(t_i)².
//
// So each coefficient, and with it each value or derivative of p, is a linear
// functional of the data, whose gradient over them is at hand: a standard
// uncertainty needs no matrix.
//
// Source: Forsythe, J. Soc. Indust. Appl. Math. 5 (1957) 74 (from memory).
type localPolynomial struct {
	first, n, degree int     // the points first … first+n−1
	mid, half        float64 // t = (x − mid)/half lies in [−1, 1] over the points
	alpha, beta      [maxDegree + 1]float64
	norm, a          [maxDegree + 1]float64
	basis            []float64 // P_k(t_i) at k·n + i
	w                []float64
	chi2             float64 // Σ w·(y − p)²; w is 1/u² where the fit is weighted, else 1
	weighted         bool
}

// dof is the number of degrees of freedom.
func (p *localPolynomial) dof() int { return p.n - p.degree - 1 }

// fit fits points first … last of x, y. It weights by 1/u² where u is known and
// positive at all of them; else all weigh the same. It says false where they
// are too few for the degree.
func (p *localPolynomial) fit(x, y, u []float64, first, last, degree int) bool {
	if degree < 0 || degree > maxDegree {
		panic("spectra: a local polynomial has a degree from 0 to 6")
	}
	n := last - first + 1
	p.first, p.n, p.degree = first, n, degree
	if n <= degree {
		return false
	}
	p.mid, p.half = (x[first]+x[last])/2, (x[last]-x[first])/2
	if n == 1 {
		p.half = 1
	}
	p.basis = sized(p.basis, n*(degree+1))
	p.w = sized(p.w, n)
	p.weights(u)
	clear(p.alpha[:])
	clear(p.beta[:])
	for k := 0; k <= degree; k++ {
		now := p.basis[k*n : (k+1)*n]
		switch k {
		case 0:
			for i := range now {
				now[i] = 1
			}
		default:
			before := p.basis[(k-1)*n : k*n]
			for i := range now {
				now[i] = ((x[first+i]-p.mid)/p.half - p.alpha[k-1]) * before[i]
			}
			if k > 1 {
				for i, v := range p.basis[(k-2)*n : (k-1)*n] {
					now[i] -= p.beta[k-1] * v
				}
			}
		}
		norm, turn := 0.0, 0.0
		for i, v := range now {
			norm += p.w[i] * v * v
			turn += p.w[i] * v * v * (x[first+i] - p.mid) / p.half
		}
		p.norm[k] = norm
		p.alpha[k] = turn / norm
		if k > 0 {
			p.beta[k] = norm / p.norm[k-1]
		}
	}
	p.solve(y)
	return true
}

// weights are 1/u², or 1.
func (p *localPolynomial) weights(u []float64) {
	p.weighted = u != nil
	for i := range p.w {
		if u == nil || !(u[p.first+i] > 0) || math.IsInf(u[p.first+i], 0) {
			p.weighted = false
		}
	}
	for i := range p.w {
		p.w[i] = 1
		if p.weighted {
			p.w[i] = 1 / (u[p.first+i] * u[p.first+i])
		}
	}
}

// solve finds the coefficients, each from what the ones before it leave.
func (p *localPolynomial) solve(y []float64) {
	n := p.n
	left := func(i, k int) float64 {
		r := y[p.first+i]
		for j := 0; j < k; j++ {
			r -= p.a[j] * p.basis[j*n+i]
		}
		return r
	}
	for k := 0; k <= p.degree; k++ {
		sum := 0.0
		for i := range n {
			sum += p.w[i] * left(i, k) * p.basis[k*n+i]
		}
		p.a[k] = sum / p.norm[k]
	}
	p.chi2 = 0
	for i := range n {
		r := left(i, p.degree+1)
		p.chi2 += p.w[i] * r * r
	}
}

// derivatives holds the polynomials P_k and their derivatives after x at one
// place: the functionals "value", "slope" and "bend" of a polynomial there.
type derivatives [3][maxDegree + 1]float64

// at works out the functionals at x.
func (p *localPolynomial) at(x float64) (d derivatives) {
	t := (x - p.mid) / p.half
	d[0][0] = 1
	for k := 0; k < p.degree; k++ {
		f := t - p.alpha[k]
		d[0][k+1] = f * d[0][k]
		d[1][k+1] = d[0][k] + f*d[1][k]
		d[2][k+1] = 2*d[1][k] + f*d[2][k]
		if k > 0 {
			for m := range d {
				d[m][k+1] -= p.beta[k] * d[m][k-1]
			}
		}
	}
	scale := 1.0
	for m := range d {
		for k := range d[m] {
			d[m][k] /= scale
		}
		scale *= p.half
	}
	return d
}

// value gives the m-th derivative of the polynomial where d was worked out.
func (p *localPolynomial) value(d *derivatives, m int) float64 {
	s := 0.0
	for k := 0; k <= p.degree; k++ {
		s += p.a[k] * d[m][k]
	}
	return s
}

// addGradient adds, times c, the gradient of the m-th derivative over the data
// to g, which is as long as the data.
func (p *localPolynomial) addGradient(g []float64, c float64, d *derivatives, m int) {
	for k := 0; k <= p.degree; k++ {
		f := c * d[m][k] / p.norm[k]
		for i, v := range p.basis[k*p.n : (k+1)*p.n] {
			g[p.first+i] += f * v * p.w[i]
		}
	}
}

// top finds the maximum within the points: the highest of the polynomial's
// values at the points, refined between its neighbours to where the slope is
// zero. It says false where the highest is the first or the last point.
func (p *localPolynomial) top(x []float64) (float64, bool) {
	best, high := -1, math.Inf(-1)
	for i := range p.n {
		v := 0.0
		for k := 0; k <= p.degree; k++ {
			v += p.a[k] * p.basis[k*p.n+i]
		}
		if v > high {
			best, high = i, v
		}
	}
	if best <= 0 || best >= p.n-1 {
		return math.NaN(), false
	}
	lo, hi := x[p.first+best-1], x[p.first+best+1]
	slope := func(at float64) (float64, float64) {
		d := p.at(at)
		return p.value(&d, 1), p.value(&d, 2)
	}
	if s, _ := slope(lo); s <= 0 {
		return math.NaN(), false
	}
	if s, _ := slope(hi); s >= 0 {
		return math.NaN(), false
	}
	return root(slope, lo, hi, x[p.first+best]), true
}

// cross finds where the polynomial has the given height, by Newton's steps from
// start. It says false where they leave the points by more than their span.
func (p *localPolynomial) cross(height, start float64) (float64, bool) {
	at := start
	for range 60 {
		d := p.at(at)
		step := (p.value(&d, 0) - height) / p.value(&d, 1)
		at -= step
		if math.IsNaN(at) || math.Abs(at-p.mid) > 3*p.half {
			return math.NaN(), false
		}
		if math.Abs(step) <= 1e-13*math.Abs(at) {
			return at, true
		}
	}
	return math.NaN(), false
}

// root finds the zero of a falling f between lo and hi, where it is positive and
// negative; f gives value and slope. Newton's steps, halved where they leave the
// bracket.
func root(f func(float64) (float64, float64), lo, hi, start float64) float64 {
	at := start
	for range 200 {
		v, slope := f(at)
		switch {
		case v == 0:
			return at
		case v > 0:
			lo = at
		default:
			hi = at
		}
		next := at - v/slope
		if !(next > lo && next < hi) {
			next = lo + (hi-lo)/2
		}
		if next == at || math.Abs(next-at) <= 1e-14*math.Abs(at) {
			return next
		}
		at = next
	}
	return at
}

// sized gives a slice of length n, with room of an earlier one where it is enough. What it holds is not cleared.
func sized(s []float64, n int) []float64 {
	if cap(s) < n {
		return make([]float64, n)
	}
	return s[:n]
}
