package stats

import "math"

// Parabola is y = B[0] + B[1]·x + B[2]·x² with the covariance of B.
type Parabola struct {
	B      [3]float64
	Cov    [3][3]float64
	Chi2   float64
	N, DOF int
	Scaled bool
}

// FitParabola fits a parabola by least squares with weights 1/u²; with u nil
// the points weigh the same and the covariance is scaled by χ²/ν, as in
// FitLine.
//
// The fit is made in polynomials that are orthogonal on the weighted points,
// p0 = 1, p1 = x−α0, p2 = (x−α1)·p1 − β1, whose coefficients are uncorrelated;
// coefficients and covariance are then taken back to powers of x. The normal
// equations in powers would lose twice the digits.
//
// Source: Forsythe, J. SIAM 5 (1957) 74 (from memory).
//
// Errors and panics as FitLine.
func FitParabola(x, y, u []float64) (Parabola, error) {
	if len(x) != len(y) || u != nil && len(u) != len(x) {
		panic("stats: slices of different lengths")
	}
	p := Parabola{N: len(x), DOF: len(x) - 3, Scaled: u == nil}
	if p.DOF < 0 || p.Scaled && p.DOF < 1 {
		return Parabola{}, ErrTooFew
	}
	var n0, sx, sy float64
	for i := range x {
		w := weight(u, i)
		n0 += w
		sx += w * x[i]
		sy += w * y[i]
	}
	a0, c0 := sx/n0, sy/n0
	if !finite(a0) || !finite(c0) || !(n0 > 0) || math.IsInf(n0, 1) {
		return Parabola{}, ErrNotFinite
	}
	var n1, m1, s1, span float64
	for i := range x {
		w, d := weight(u, i), x[i]-a0
		n1 += w * d * d
		m1 += w * d * d * d
		s1 += w * d * (y[i] - c0)
		span = math.Max(span, math.Abs(x[i]))
	}
	if !(n1 > n0*span*span*1e-28) {
		return Parabola{}, ErrSingular
	}
	c1, a1, b1 := s1/n1, m1/n1, n1/n0 // p2 = (d − a1)·d − b1 with d = x − a0
	var n2, s2 float64
	for i := range x {
		w, d := weight(u, i), x[i]-a0
		q := (d-a1)*d - b1
		n2 += w * q * q
		s2 += w * q * (y[i] - c0 - c1*d)
	}
	if !(n2 > n0*b1*b1*1e-26) {
		return Parabola{}, ErrSingular
	}
	c2 := s2 / n2
	for i := range x {
		d := x[i] - a0
		r := y[i] - c0 - c1*d - c2*((d-a1)*d-b1)
		p.Chi2 += weight(u, i) * r * r
	}
	if !finite(c1) || !finite(c2) || !finite(p.Chi2) {
		return Parabola{}, ErrNotFinite
	}
	scale := 1.0
	if p.Scaled {
		scale = p.Chi2 / float64(p.DOF)
	}
	// Rows: the three orthogonal polynomials in powers of x.
	rows := [3][3]float64{
		{1, 0, 0},
		{-a0, 1, 0},
		{a0*a0 + a1*a0 - b1, -2*a0 - a1, 1},
	}
	c, v := [3]float64{c0, c1, c2}, [3]float64{scale / n0, scale / n1, scale / n2}
	for i := 0; i < 3; i++ {
		for k := 0; k < 3; k++ {
			p.B[i] += c[k] * rows[k][i]
			for j := 0; j < 3; j++ {
				p.Cov[i][j] += v[k] * rows[k][i] * rows[k][j]
			}
		}
	}
	return p, nil
}
