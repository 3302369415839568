package fitting

import (
	"math"

	"gonum.org/v1/gonum/floats"
)

// sharp is how much of a column's length, squared, must be left after the
// columns before it for normal equations to be good enough: they lose that
// factor in relative accuracy.
const sharp = 1e-6

// poissonTriangle writes into tri (column by column, ld long, len(cols)+1 of
// them) the triangle R and the right side q of the least-squares problem that
// has rows ∂m/∂p/√m and residuals (n−m)/√m: RᵀR is the expected information,
// Rᵀq half the slope of the deviance downwards.
//
// It goes by normal equations, which cost a third of what reflections do, and
// by reflections where the columns are nearly dependent.
func (w *Workspace) poissonTriangle(cols [][]float64, n, m, tri []float64, ld int) {
	p := len(cols)
	w.poissonWeights(n, m)
	weight, slope := w.s[:len(n)], w.slope[:len(n)]
	weighted := w.a[:len(n)]
	for j, col := range cols {
		for i, v := range col {
			weighted[i] = v * weight[i]
		}
		for i := range j + 1 {
			tri[j*ld+i] = floats.Dot(weighted, cols[i])
		}
		tri[p*ld+j] = floats.Dot(slope, col)
	}
	if cholesky(tri, ld, p) {
		return
	}
	rows := max(len(n), p+1)
	for i, v := range weight {
		weight[i] = math.Sqrt(v)
		slope[i] /= weight[i]
	}
	for j, col := range cols {
		weigh(w.a[j*rows:(j+1)*rows], col, weight)
	}
	weigh(w.a[p*rows:(p+1)*rows], slope, nil)
	reflect(w.a, rows, p+1, p)
	for j := range p + 1 {
		for i := range ld {
			tri[j*ld+i] = 0
		}
		copy(tri[j*ld:j*ld+min(j+1, p)], w.a[j*rows:])
	}
}

// cholesky turns the upper half of a p×p matrix, and a right side behind it,
// into its triangle and the right side of that, or tells that it is too
// nearly singular. Zeros are written below the triangle.
func cholesky(tri []float64, ld, p int) bool {
	for j := range p {
		col := tri[j*ld : (j+1)*ld]
		whole := col[j]
		for i := range j {
			row := tri[i*ld : (i+1)*ld]
			for k := range i {
				col[i] -= row[k] * col[k]
			}
			col[i] /= row[i]
			col[j] -= col[i] * col[i]
		}
		if !(col[j] > sharp*whole) {
			return false
		}
		col[j] = math.Sqrt(col[j])
		for i := j + 1; i < ld; i++ {
			col[i] = 0
		}
	}
	right := tri[p*ld:]
	for j := range p {
		for k := range j {
			right[j] -= tri[j*ld+k] * right[k]
		}
		right[j] /= tri[j*ld+j]
	}
	return true
}

// poissonWeights writes the curvature into w.s and the slope n/m − 1 into
// w.slope. The curvature is the expected one, 1/m, or, in w.observed, n/m²
// and a little: where a mean without counts goes to 0, the expected curvature
// grows without limit, the real one is 0, and steps by the former creep.
func (w *Workspace) poissonWeights(n, m []float64) {
	s, g, m := w.s[:len(n)], w.slope[:len(n)], m[:len(n)]
	little := 1e-13 / w.tiny // a thousandth of that at the average count
	for i, y := range n {
		mean := m[i]
		if mean > w.tiny {
			weight := 1 / mean
			s[i] = weight
			g[i] = (y - mean) * weight
			if w.observed {
				s[i] = y*weight*weight + little
			}
			continue
		}
		// Under counts, what would be an absurd weight is that of a small
		// mean, from which a step leads out. Without counts the slope is
		// exact and the curvature cut off.
		s[i] = 1 / w.tiny
		g[i] = (y - w.tiny) * s[i]
		if y == 0 {
			g[i] = -1
			if w.observed {
				s[i] = little
			}
		}
	}
}
