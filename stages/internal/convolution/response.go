package convolution

import "math"

// pad is the number of zeros kept on either side of a response's coefficients: a cubic B-spline reaches over four channels, and the
// step of a channel touches five.
const pad = 5

// Response is an instrument's response on a grid of channels, continued between them by a cubic spline and by zero beyond its ends.
// The zero value holds nothing; Set fills it, and may do so again without allocating.
type Response struct {
	n int
	c []float64 // coefficients of the cardinal cubic B-spline, with pad zeros on either side: c[pad+j] belongs to channel j
	w []float64 // work of the tridiagonal solution
}

// Len is the number of channels that the response was given with.
func (r *Response) Len() int { return r.n }

// Set makes the response from its values at channels 0, 1, …, len(y)−1, which must be finite. It takes them as they are: a background is
// the caller's to take off, and so is the norm (with Σy = 1 the amplitude of an exponential is in counts a channel at its start).
//
// The spline R(u) = Σ c_j·B(u − j) passes through all y: (c_{j−1} + 4·c_j + c_{j+1})/6 = y_j with c_{−1} = c_n = 0.
func (r *Response) Set(y []float64) {
	n := len(y)
	r.n = n
	if cap(r.c) < n+2*pad {
		r.c, r.w = make([]float64, n+2*pad), make([]float64, n)
	}
	r.c, r.w = r.c[:n+2*pad], r.w[:n]
	clear(r.c)
	if n == 0 {
		return
	}
	c := r.c[pad : pad+n]
	// Thomas's elimination on the diagonals (1, 4, 1)
	diag := 4.0
	c[0] = 6 * y[0] / diag
	for j := 1; j < n; j++ {
		r.w[j] = 1 / diag
		diag = 4 - r.w[j]
		c[j] = (6*y[j] - c[j-1]) / diag
	}
	for j := n - 2; j >= 0; j-- {
		c[j] -= r.w[j+1] * c[j+1]
	}
}

// basis gives the four pieces of the cubic B-spline that are not zero at a place p channels after a knot, 0 ≤ p ≤ 1, for the
// coefficients of the knots at −1, 0, 1 and 2, with their derivatives: b[i][m] is the m-th derivative of piece i over m!.
func basis(p float64) (b [4][4]float64) {
	m := 1 - p
	b[0] = [4]float64{m * m * m / 6, -m * m / 2, m / 2, -1. / 6}
	b[1] = [4]float64{(4 + p*p*(3*p-6)) / 6, p * (1.5*p - 2), (3*p - 2) / 2, 0.5}
	b[2] = [4]float64{(1 + p*(3+p*(3-3*p))) / 6, 0.5 + p*(1-1.5*p), (1 - 3*p) / 2, -0.5}
	b[3] = [4]float64{p * p * p / 6, p * p / 2, p / 2, 1. / 6}
	return b
}

// split takes a place on the grid apart into a channel and what follows it, 0 ≤ p < 1.
func split(offset float64) (j int, p float64) {
	f := math.Floor(offset)
	return int(f), offset - f
}

// Shifted writes R(k + offset), k = 0, 1, …, len(dst)−1, into dst and, unless slope is nil, its derivative R'(k + offset) into slope.
func (r *Response) Shifted(dst, slope []float64, offset float64) {
	j0, p := split(offset)
	b := basis(p)
	for k := range dst {
		j := k + j0
		if j < -2 || j > r.n {
			dst[k] = 0
			if slope != nil {
				slope[k] = 0
			}
			continue
		}
		c := r.c[pad+j-1 : pad+j+3]
		dst[k] = b[0][0]*c[0] + b[1][0]*c[1] + b[2][0]*c[2] + b[3][0]*c[3]
		if slope != nil {
			slope[k] = b[0][1]*c[0] + b[1][1]*c[1] + b[2][1]*c[2] + b[3][1]*c[3]
		}
	}
}
