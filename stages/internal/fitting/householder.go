package fitting

import (
	"math"

	"gonum.org/v1/gonum/floats"
)

// reflect turns the first lead columns of a (column by column, rows long
// each, cols of them, rows ≥ lead) into an upper triangle by Householder
// reflections, and applies these to all columns. Below the triangle a is
// spoilt. The triangle has all that the columns say of each other, RᵀR = AᵀA,
// also where they depend on each other.
//
// Source: Golub and Van Loan, Matrix Computations, algorithm 5.2.1 (from
// memory).
func reflect(a []float64, rows, cols, lead int) {
	for j := range lead {
		reflectColumn(a, rows, cols, j)
	}
}

// reflectColumn does reflect's step for column j.
func reflectColumn(a []float64, rows, cols, j int) {
	v := a[j*rows+j : (j+1)*rows]
	square, unit := floats.Dot(v, v), 1.0
	if square < 1e-280 || square > 1e280 {
		// Its square is at the ends of what a number can be. The
		// reflection does not depend on the scale of v.
		if unit = floats.Norm(v, math.Inf(1)); unit == 0 {
			return
		}
		for i := range v {
			v[i] /= unit
		}
		square = floats.Dot(v, v)
	}
	alpha := -math.Copysign(math.Sqrt(square), v[0])
	v[0] -= alpha
	// H = 1 − v·vᵀ/(−α·v₀), since vᵀv = −2·α·v₀.
	scale := 1 / (alpha * v[0])
	for k := j + 1; k < cols; k++ {
		y := a[k*rows+j : (k+1)*rows]
		floats.AddScaled(y, scale*floats.Dot(v, y), v)
	}
	v[0] = alpha * unit
}

// gain is how far a step x brings |q − R·x|² below |q|², R upper triangular,
// n×n, column by column with ld a column.
func gain(r []float64, ld, n int, q, x []float64) float64 {
	g := 0.0
	for i := range n {
		y := 0.0
		for j := i; j < n; j++ {
			y += r[j*ld+i] * x[j]
		}
		g += y * (2*q[i] - y)
	}
	return g
}

// svd works out the singular values and right singular vectors of the n×n
// matrix a (column by column): a·v = (columns of length sigma). It leaves the
// scaled left vectors in a. One-sided Jacobi rotations: small singular values
// keep their relative accuracy.
//
// Source: Demmel and Veselić, SIAM J. Matrix Anal. Appl. 13 (1992) 1204 (from
// memory).
func svd(a, v, sigma []float64, n int) {
	for i := range v[:n*n] {
		v[i] = 0
	}
	for i := range n {
		v[i*n+i] = 1
	}
	for range 60 {
		rotated := false
		for i := range n - 1 {
			for j := i + 1; j < n; j++ {
				x, y := a[i*n:(i+1)*n], a[j*n:(j+1)*n]
				var xx, yy, xy float64
				for k := range x {
					xx += x[k] * x[k]
					yy += y[k] * y[k]
					xy += x[k] * y[k]
				}
				if xy == 0 || math.Abs(xy) <= 1e-15*math.Sqrt(xx*yy) {
					continue
				}
				rotated = true
				zeta := (yy - xx) / (2 * xy)
				t := math.Copysign(1, zeta) / (math.Abs(zeta) + math.Hypot(1, zeta))
				c := 1 / math.Sqrt(1+t*t)
				rotate(x, y, c, c*t)
				rotate(v[i*n:(i+1)*n], v[j*n:(j+1)*n], c, c*t)
			}
		}
		if !rotated {
			break
		}
	}
	for j := range n {
		sigma[j] = floats.Norm(a[j*n:(j+1)*n], 2)
	}
}

func rotate(x, y []float64, c, s float64) {
	for k, xk := range x {
		x[k], y[k] = c*xk-s*y[k], s*xk+c*y[k]
	}
}

// grow makes *s n long, keeping its memory where that suffices. The contents
// are whatever was there.
func grow[T any](s *[]T, n int) []T {
	if cap(*s) < n {
		*s = make([]T, n)
	}
	*s = (*s)[:n]
	return *s
}
