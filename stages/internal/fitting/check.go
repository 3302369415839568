package fitting

import "math"

// JacobianError tells how far a model's derivatives at p are from central
// differences of its n values: the largest difference in a column over the
// largest derivative there. It is for tests of models; 1e-6 or less is right
// unless the model is rough. Steps are 1e-5 of a parameter (1e-5 where it is
// 0).
func JacobianError(m Model, n int, p []float64) float64 {
	f, jac := make([]float64, n), make([]float64, n*len(p))
	m.Values(f, p)
	m.Jacobian(jac, p)
	return differ(jac, n, p, m.Values)
}

// BasisError is JacobianError for a basis with coefficients c.
func BasisError(b Basis, n int, a, c []float64) float64 {
	phi, jac := make([]float64, n*max(len(c), 1)), make([]float64, n*len(a))
	b.Curves(phi, a)
	b.Jacobian(jac, a, c)
	one := block{Block: &Block{}, n: n, k: len(c)}
	return differ(jac, n, a, func(f, a []float64) {
		b.Curves(phi, a)
		one.combine(phi, c, f)
	})
}

func differ(jac []float64, n int, p []float64, values func(f, p []float64)) float64 {
	up, down, q := make([]float64, n), make([]float64, n), make([]float64, len(p))
	worst := 0.0
	for j, v := range p {
		h := 1e-5 * math.Abs(v)
		if h == 0 {
			h = 1e-5
		}
		copy(q, p)
		q[j] = v + h
		values(up, q)
		q[j] = v - h
		values(down, q)
		most, off := 0.0, 0.0
		for i := range n {
			d := (up[i] - down[i]) / (2 * h)
			most = max(most, math.Abs(d))
			off = max(off, math.Abs(d-jac[j*n+i]))
		}
		if off > 0 {
			worst = max(worst, off/most)
		}
		if math.IsNaN(off) {
			return math.NaN()
		}
	}
	return worst
}
