package lifetime

import "math"

const (
	maxPar = 2*MaxTerms + 3 // parameters of a fit
	maxCol = 2*MaxTerms + 3 // curves of which its Jacobian is composed
)

type (
	vector [maxPar]float64
	matrix [maxPar][maxPar]float64
)

// cholesky factors the block of m that belongs to the n indices in use, scaled to a diagonal of 1, and says which pivot vanishes (−1:
// none). scale gets the factors.
func cholesky(l *matrix, scale *vector, m *matrix, use []int, damping, floor float64) int {
	for i, a := range use {
		if !(m[a][a] > 0) || math.IsInf(m[a][a], 1) {
			return i
		}
		scale[i] = 1 / math.Sqrt(m[a][a])
	}
	for i, a := range use {
		for j := 0; j <= i; j++ {
			v := m[a][use[j]] * scale[i] * scale[j]
			if i == j {
				v += damping
			}
			for k := range j {
				v -= l[i][k] * l[j][k]
			}
			if i > j {
				l[i][j] = v / l[j][j]
				continue
			}
			if !(v > floor) {
				return i
			}
			l[i][i] = math.Sqrt(v)
		}
	}
	return -1
}

// solve gives x of L·Lᵀ·x = b in place, for the first n.
func (l *matrix) solve(b *vector, n int) {
	for i := range n {
		v := b[i]
		for k := range i {
			v -= l[i][k] * b[k]
		}
		b[i] = v / l[i][i]
	}
	for i := n - 1; i >= 0; i-- {
		v := b[i]
		for k := i + 1; k < n; k++ {
			v -= l[k][i] * b[k]
		}
		b[i] = v / l[i][i]
	}
}

// boxStep minimises ½·sᵀ·(G + λ·diag G)·s − gᵀ·s over lo ≤ s ≤ hi for the parameters in use (active set; the others keep s = 0). Parameters
// without any influence, or that the others make superfluous, are left where they are.
//
// Parameters whose bound is crossed are put there one at a time, the worst first, and the rest is solved anew; then those at a bound whose
// slope points inside are let go, once each, so that the loop ends.
func boxStep(s *vector, g *vector, m *matrix, damping float64, lo, hi *vector, free *[maxPar]bool, n int) {
	var at, released [maxPar]bool
	var l matrix
	var scale, x vector
	var buffer [maxPar]int
	*s = vector{}
	for i := range n {
		at[i] = !free[i] || !(m[i][i] > 0)
		if at[i] {
			continue
		}
		// already at a bound with the slope pointing outside
		if lo[i] >= 0 && g[i] <= 0 || hi[i] <= 0 && g[i] >= 0 {
			at[i] = true
		}
	}
	for range 4 * maxPar {
		use := buffer[:0]
		for i := range n {
			if !at[i] {
				use = append(use, i)
			}
		}
		if bad := cholesky(&l, &scale, m, use, damping, 1e-14); bad >= 0 {
			at[use[bad]], released[use[bad]] = true, true
			s[use[bad]] = 0
			continue
		}
		for i, a := range use {
			v := g[a]
			for b := range n {
				if at[b] {
					v -= m[a][b] * s[b]
				}
			}
			x[i] = v * scale[i]
		}
		l.solve(&x, len(use))
		worst, which, to := 1e-12, -1, 0.0
		for i, a := range use {
			v := x[i] * scale[i]
			if over := (lo[a] - v) / (math.Abs(v) + math.Abs(lo[a]) + 1e-300); over > worst {
				worst, which, to = over, a, lo[a]
			}
			if over := (v - hi[a]) / (math.Abs(v) + math.Abs(hi[a]) + 1e-300); over > worst {
				worst, which, to = over, a, hi[a]
			}
		}
		if which >= 0 {
			at[which], s[which] = true, to
			continue
		}
		for i, a := range use {
			s[a] = math.Max(lo[a], math.Min(hi[a], x[i]*scale[i]))
		}
		again := false
		for i := range n {
			if !at[i] || !free[i] || released[i] || !(m[i][i] > 0) {
				continue
			}
			slope := g[i] - damping*m[i][i]*s[i]
			for b := range n {
				slope -= m[i][b] * s[b]
			}
			if s[i] <= lo[i] && slope > 0 || s[i] >= hi[i] && slope < 0 {
				at[i], released[i], again = false, true, true
			}
		}
		if !again {
			return
		}
	}
}

// quadratic gives sᵀ·G·s.
func quadratic(s *vector, m *matrix, n int) float64 {
	sum := 0.0
	for i := range n {
		if s[i] == 0 {
			continue
		}
		for j := range n {
			sum += s[i] * m[i][j] * s[j]
		}
	}
	return sum
}

func dotN(a, b *vector, n int) float64 {
	sum := 0.0
	for i := range n {
		sum += a[i] * b[i]
	}
	return sum
}

// dot is Σ a·b; b is at least as long as a.
func dot(a, b []float64) float64 {
	b = b[:len(a)]
	var s0, s1, s2, s3 float64
	i := 0
	for ; i+3 < len(a); i += 4 {
		s0 += a[i] * b[i]
		s1 += a[i+1] * b[i+1]
		s2 += a[i+2] * b[i+2]
		s3 += a[i+3] * b[i+3]
	}
	for ; i < len(a); i++ {
		s0 += a[i] * b[i]
	}
	return (s0 + s1) + (s2 + s3)
}

// dotTwo is Σ x·a and Σ x·b; a and b are at least as long as x.
func dotTwo(x, a, b []float64) (xa, xb float64) {
	a, b = a[:len(x)], b[:len(x)]
	var a0, a1, b0, b1 float64
	i := 0
	for ; i+1 < len(x); i += 2 {
		u, v := x[i], x[i+1]
		a0 += u * a[i]
		b0 += u * b[i]
		a1 += v * a[i+1]
		b1 += v * b[i+1]
	}
	if i < len(x) {
		a0 += x[i] * a[i]
		b0 += x[i] * b[i]
	}
	return a0 + a1, b0 + b1
}

// products writes a·b into x, which is as long as a, and gives Σ a·b and Σ a·c.
func products(x, a, b, c []float64) (ab, ac float64) {
	x, b, c = x[:len(a)], b[:len(a)], c[:len(a)]
	var b0, b1, c0, c1 float64
	i := 0
	for ; i+1 < len(a); i += 2 {
		u, v := a[i], a[i+1]
		c0 += u * c[i]
		c1 += v * c[i+1]
		u, v = u*b[i], v*b[i+1]
		x[i], x[i+1] = u, v
		b0 += u
		b1 += v
	}
	if i < len(a) {
		c0 += a[i] * c[i]
		x[i] = a[i] * b[i]
		b0 += x[i]
	}
	return b0 + b1, c0 + c1
}
