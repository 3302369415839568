package relation

import "math"

// weakPivot is the part of a variance below which what a Cholesky step leaves of it is rounding, and no information.
const weakPivot = 1e-12

// factor is a covariance V = D·L·Lᵀ·D with D the standard uncertainties and L the lower factor of the correlation matrix.
type factor struct {
	n    int
	s    []float64 // of D
	l    []float64 // n × n, row by row; nil: the numbers are not correlated
	work []float64
}

// factorPositive factors a symmetric covariance, n × n, row by row; ok is false when it is not positive definite within rounding. The
// pivots of the correlation matrix tell rounding from weakness whatever the units.
func factorPositive(v []float64, n int) (f *factor, ok bool) {
	f = &factor{n: n, s: make([]float64, n), work: make([]float64, n)}
	return f, f.set(v)
}

// set factors another covariance of as many numbers, in the same place.
func (f *factor) set(v []float64) (ok bool) {
	n := f.n
	alone := true
	for i := range n {
		if f.s[i] = math.Sqrt(v[i*n+i]); !(f.s[i] > 0) || math.IsInf(f.s[i], 0) {
			return false
		}
		for k := range i {
			alone = alone && v[i*n+k] == 0
		}
	}
	if alone {
		f.l = nil
		return true
	}
	if f.l == nil {
		f.l = make([]float64, n*n)
	}
	for j := range n {
		pivot := 1.0
		for k := range j {
			pivot -= f.l[j*n+k] * f.l[j*n+k]
		}
		if !(pivot >= weakPivot) {
			return false
		}
		f.l[j*n+j] = math.Sqrt(pivot)
		for i := j + 1; i < n; i++ {
			x := v[i*n+j] / f.s[i] / f.s[j]
			a, b := f.l[i*n:i*n+j], f.l[j*n:j*n+j]
			for k := range b {
				x -= a[k] * b[k]
			}
			f.l[i*n+j] = x / f.l[j*n+j]
		}
	}
	return true
}

// whiten writes L⁻¹D⁻¹v into dst: numbers with the covariance V become uncorrelated, of variance 1.
func (f *factor) whiten(dst, v []float64) {
	for i := range f.n {
		dst[i] = v[i] / f.s[i]
		if f.l == nil {
			continue
		}
		row := f.l[i*f.n : i*f.n+i+1]
		for k := range i {
			dst[i] -= row[k] * dst[k]
		}
		dst[i] /= row[i]
	}
}

// back writes D⁻¹L⁻ᵀv into dst, so that whiten and back after each other are V⁻¹.
func (f *factor) back(dst, v []float64) {
	for i := f.n - 1; i >= 0; i-- {
		dst[i] = v[i]
		if f.l == nil {
			continue
		}
		for k := i + 1; k < f.n; k++ {
			dst[i] -= f.l[k*f.n+i] * dst[k]
		}
		dst[i] /= f.l[i*f.n+i]
	}
	for i := range f.n {
		dst[i] /= f.s[i]
	}
}

// solve writes V⁻¹b into dst.
func (f *factor) solve(dst, b []float64) {
	f.whiten(f.work, b)
	f.back(dst, f.work)
}

// linearFit is a generalised linear least squares fit.
type linearFit struct {
	p    []float64   // parameters, one for each column
	g    [][]float64 // g[k] = d p[k]/d y: p = G·y
	cov  []float64   // (AᵀV⁻¹A)⁻¹, row by row
	chi2 float64
	e    []float64   // whitened residuals
	q    [][]float64 // orthonormal whitened columns
}

// fit fits y by columns with the covariance of the factor: p = (AᵀV⁻¹A)⁻¹AᵀV⁻¹y, by orthogonalising the whitened columns (twice, so
// that rounding does not matter). ok is false when the columns depend on each other.
//
// Source: Aitken, Proc. R. Soc. Edinb. 55 (1936) 42; Björck, BIT 7 (1967) 1 (both from memory).
func (f *factor) fit(columns [][]float64, y []float64) (r linearFit, ok bool) {
	n, m := f.n, len(columns)
	upper := make([]float64, m*m) // R of A = Q·R
	r.q = make([][]float64, m)
	for j, c := range columns {
		w := make([]float64, n)
		f.whiten(w, c)
		before := norm(w)
		for range 2 {
			for k := range j {
				d := dot(r.q[k], w)
				upper[k*m+j] += d
				addTimes(w, -d, r.q[k])
			}
		}
		size := norm(w)
		if !(size > 1e-10*before) {
			return r, false
		}
		upper[j*m+j] = size
		for i := range w {
			w[i] /= size
		}
		r.q[j] = w
	}
	r.e = make([]float64, n)
	f.whiten(r.e, y)
	r.p = make([]float64, m)
	for j := range m {
		r.p[j] = dot(r.q[j], r.e)
		addTimes(r.e, -r.p[j], r.q[j])
	}
	r.chi2 = dot(r.e, r.e)
	r.g = make([][]float64, m)
	for j := range m {
		r.g[j] = make([]float64, n)
		f.back(r.g[j], r.q[j])
	}
	inverse := make([]float64, m*m) // of R
	for j := range m {
		inverse[j*m+j] = 1
	}
	for j := m - 1; j >= 0; j-- {
		for k := j + 1; k < m; k++ {
			r.p[j] -= upper[j*m+k] * r.p[k]
			addTimes(r.g[j], -upper[j*m+k], r.g[k])
			addTimes(inverse[j*m:j*m+m], -upper[j*m+k], inverse[k*m:k*m+m])
		}
		d := 1 / upper[j*m+j]
		r.p[j] *= d
		for i := range r.g[j] {
			r.g[j][i] *= d
		}
		for i := range m {
			inverse[j*m+i] *= d
		}
	}
	r.cov = make([]float64, m*m)
	for j := range m {
		for k := range m {
			r.cov[j*m+k] = dot(inverse[j*m:j*m+m], inverse[k*m:k*m+m])
		}
	}
	return r, true
}

func dot(a, b []float64) float64 {
	sum := 0.0
	for i, x := range a {
		sum += x * b[i]
	}
	return sum
}

func norm(a []float64) float64 { return math.Sqrt(dot(a, a)) }

// addTimes adds c·b to a.
func addTimes(a []float64, c float64, b []float64) {
	for i, x := range b {
		a[i] += c * x
	}
}
