package phase

import "math"

// steps is a model of k steps between k+1 levels,
//
//	T(z) = L0 + Σ_j (L_j − L_{j−1})·σ_j(z),  σ_j(z) = 1/(1 + exp(−(z − m_j)/s_j)),
//
// or σ_j = 0 up to place cut_j and 1 behind it, where step j is sharp: then it has a level but neither middle nor width.
// theta holds L0 … Lk, then m_j and ln s_j of each step.
type steps struct {
	k     int
	sharp []bool
	cut   []int
	theta []float64
	chi2  float64
	fixed []bool // of theta: not fitted
	free  []int  // the others
	cov   []float64
	sound bool      // the covariance is known
	rate  []float64 // 1/s of each step, as prepare left it
}

func newSteps(k int) *steps {
	f := &steps{k: k, sharp: make([]bool, k), cut: make([]int, k), theta: make([]float64, 3*k+1), fixed: make([]bool, 3*k+1), rate: make([]float64, k)}
	return f
}

func (f *steps) middle(j int) int { return f.k + 1 + 2*j }
func (f *steps) log(j int) int    { return f.k + 2 + 2*j }

// isFree tells whether a parameter is fitted.
func (f *steps) isFree(p int) bool { return !f.fixed[p] && (p <= f.k || !f.sharp[(p-f.k-1)/2]) }

// follow moves middles and widths with the places of the series when these have moved a little, so that a fit starts where it would end if
// nothing else changed.
func (f *steps) follow(was, now []float64) {
	for j := range f.k {
		m := f.theta[f.middle(j)]
		i := 0
		for i+2 < len(was) && was[i+1] <= m {
			i++
		}
		stretch := (now[i+1] - now[i]) / (was[i+1] - was[i])
		f.theta[f.middle(j)] = now[i] + (m-was[i])*stretch
		if stretch > 0 {
			f.theta[f.log(j)] += math.Log(stretch)
		}
	}
}

// clone gives a copy that shares nothing.
func (f *steps) clone() *steps {
	g := newSteps(f.k)
	copy(g.sharp, f.sharp)
	copy(g.cut, f.cut)
	copy(g.theta, f.theta)
	copy(g.fixed, f.fixed)
	copy(g.rate, f.rate)
	g.chi2, g.sound = f.chi2, f.sound
	g.free = append([]int(nil), f.free...)
	g.cov = append([]float64(nil), f.cov...)
	return g
}

// parameters counts what is fitted, each sharp step's place not among it: it is one of a few, not any number.
func (f *steps) parameters() int {
	n := f.k + 1
	for _, sharp := range f.sharp {
		if !sharp {
			n += 2
		}
	}
	return n
}

// prepare works out what all points have in common.
func (f *steps) prepare() {
	for j := range f.k {
		f.rate[j] = math.Exp(-f.theta[f.log(j)])
	}
}

// sigma gives σ_j at z, which lies at or behind place p. f must be prepared.
func (f *steps) sigma(j int, z float64, p int) float64 {
	if f.sharp[j] {
		if p > f.cut[j] {
			return 1
		}
		return 0
	}
	return logistic((z - f.theta[f.middle(j)]) * f.rate[j])
}

func logistic(x float64) float64 {
	if x > 40 { // 1 to the last digit
		return 1
	}
	if x < 0 {
		e := math.Exp(x)
		return e / (1 + e)
	}
	return 1 / (1 + math.Exp(-x))
}

// at gives the model at z, which lies at or behind place p.
func (f *steps) at(z float64, p int) float64 {
	y := f.theta[0]
	for j := range f.k {
		y += (f.theta[j+1] - f.theta[j]) * f.sigma(j, z, p)
	}
	return y
}

// fitter holds the memory of fits to one series.
type fitter struct {
	s                        *series
	row, normal, factor      []float64
	gradient, step, try, was []float64
	sigmas                   []float64
	leastLog, mostLog        float64 // of ln s
	span                     float64
	least                    float64 // of χ²: what is nothing but rounding
}

func newFitter(s *series, k int) *fitter {
	p := 3*k + 1
	w := &fitter{s: s, row: make([]float64, p), normal: make([]float64, p*p), factor: make([]float64, p*p), gradient: make([]float64, p),
		step: make([]float64, p), try: make([]float64, p), was: make([]float64, p), sigmas: make([]float64, k)}
	n := len(s.zp)
	w.least = 1e-6 * rounding(s)
	w.span = s.zp[n-1] - s.zp[0]
	least := w.span
	for i := 1; i < n; i++ {
		least = math.Min(least, s.zp[i]-s.zp[i-1])
	}
	w.leastLog, w.mostLog = math.Log(least/200), math.Log(10*w.span)
	return w
}

// chi2 gives the weighted squares of the model with parameters theta.
func (w *fitter) chi2(f *steps, theta []float64) float64 {
	was := f.theta
	f.theta = theta
	f.prepare()
	sum := 0.0
	for i, z := range w.s.z {
		r := w.s.t[i] - f.at(z, w.s.at[i])
		sum += w.s.w[i] * r * r
	}
	f.theta = was
	return sum // the rates are those of theta now
}

// normals fills the normal matrix JᵀWJ of the free parameters and the gradient JᵀWr.
func (w *fitter) normals(f *steps) {
	n := len(f.free)
	clear(w.normal[:n*n])
	clear(w.gradient[:n])
	f.prepare()
	for i, z := range w.s.z {
		y := f.theta[0]
		clear(w.row)
		for j := range f.k {
			sigma := f.sigma(j, z, w.s.at[i])
			drop := f.theta[j+1] - f.theta[j]
			y += drop * sigma
			w.row[j] -= sigma
			w.row[j+1] += sigma
			if !f.sharp[j] {
				m, l := f.middle(j), f.log(j)
				slope := drop * sigma * (1 - sigma) * f.rate[j]
				w.row[m] = -slope
				w.row[l] = -slope * (z - f.theta[m])
			}
		}
		w.row[0]++
		r := w.s.t[i] - y
		for a, pa := range f.free {
			ga := w.s.w[i] * w.row[pa]
			w.gradient[a] += ga * r
			for b := 0; b <= a; b++ {
				w.normal[a*n+b] += ga * w.row[f.free[b]]
			}
		}
	}
}

// cholesky factors the lower triangle of a (n × n) plus damp times its diagonal; false when it is not positive definite.
func cholesky(l, a []float64, n int, damp float64) bool {
	for i := range n {
		for j := 0; j <= i; j++ {
			v := a[i*n+j]
			if i == j {
				v += damp * v
			}
			for k := range j {
				v -= l[i*n+k] * l[j*n+k]
			}
			if i > j {
				l[i*n+j] = v / l[j*n+j]
				continue
			}
			if !(v > 1e-14*a[i*n+i]) || !(a[i*n+i] > 0) {
				return false
			}
			l[i*n+i] = math.Sqrt(v)
		}
	}
	return true
}

// solve solves L·Lᵀ·x = b.
func solve(x, l, b []float64, n int) {
	for i := range n {
		v := b[i]
		for k := range i {
			v -= l[i*n+k] * x[k]
		}
		x[i] = v / l[i*n+i]
	}
	for i := n - 1; i >= 0; i-- {
		v := x[i]
		for k := i + 1; k < n; k++ {
			v -= l[k*n+i] * x[k]
		}
		x[i] = v / l[i*n+i]
	}
}

// rest says when a fit is at rest: when χ² fell, in two rounds, by less than a part of it.
type rest float64

const (
	coarse rest = 1e-6 // enough to tell models apart
	fine   rest = 1e-13
)

// fit brings the free parameters of f to the least weighted squares near where they are: damped Gauss-Newton steps with the analytic
// Jacobian.
//
// Source: Levenberg, Q. Appl. Math. 2 (1944) 164; Marquardt, J. SIAM 11 (1963) 431 (both from memory).
//
// It says whether it came to rest. ln s is held within the fitter's bounds.
func (w *fitter) fit(f *steps, until rest) bool {
	f.free = f.free[:0]
	for p := range f.theta {
		if f.isFree(p) {
			f.free = append(f.free, p)
		}
	}
	n := len(f.free)
	f.chi2 = w.chi2(f, f.theta)
	damp, still := 1e-3, 0
	for range 200 {
		w.normals(f)
		moved := false
		for damp < 1e12 {
			// a parameter without any effect would leave a zero on the diagonal: it stays where it is
			for a := range n {
				if !(w.normal[a*n+a] > 0) {
					w.normal[a*n+a] = 1
				}
			}
			if !cholesky(w.factor, w.normal, n, damp) {
				damp = math.Max(10*damp, 1e-12)
				continue
			}
			solve(w.step, w.factor, w.gradient, n)
			gain := 0.0 // about twice what the step takes off χ², so a step of less is rounding
			for a := range n {
				gain += w.step[a] * w.gradient[a]
			}
			if gain <= 1e-15*f.chi2+w.least {
				return true
			}
			copy(w.try, f.theta)
			far := 0.0
			for a, p := range f.free {
				w.try[p] += w.step[a]
				scale := 1.0
				if p > f.k && (p-f.k-1)%2 == 0 {
					scale = w.span
					w.try[p] = math.Min(math.Max(w.try[p], w.s.zp[0]-2*w.span), w.s.zp[len(w.s.zp)-1]+2*w.span)
				} else if p > f.k {
					w.try[p] = math.Min(math.Max(w.try[p], w.leastLog), w.mostLog)
				}
				far = math.Max(far, math.Abs(w.try[p]-f.theta[p])/scale)
			}
			chi2 := w.chi2(f, w.try)
			if chi2 <= f.chi2 {
				if f.chi2-chi2 <= float64(until)*f.chi2 {
					still++
				} else {
					still = 0
				}
				copy(f.theta, w.try)
				f.chi2 = chi2
				damp = math.Max(damp/10, 1e-15)
				moved = true
				if far < 1e-11 || still >= 2 {
					return true
				}
				break
			}
			if far < 1e-9 {
				return true // nothing but rounding is left
			}
			damp = math.Max(10*damp, 1e-12)
		}
		if !moved {
			return true // no direction leads down any more
		}
	}
	return false
}

// covariance inverts the normal matrix of the free parameters into f.cov, over all of theta; f.sound says whether it could be. Those
// that skip names count as known: a parameter without effect, or one that others can stand in for.
func (w *fitter) covariance(f *steps, skip []bool) {
	all := len(f.theta)
	f.free = f.free[:0]
	for p := range all {
		if f.isFree(p) && !skip[p] {
			f.free = append(f.free, p)
		}
	}
	n := len(f.free)
	f.cov = make([]float64, all*all)
	w.normals(f)
	if f.sound = cholesky(w.factor, w.normal, n, 0); !f.sound {
		return
	}
	unit, column := make([]float64, n), make([]float64, n)
	for a := range n {
		clear(unit)
		unit[a] = 1
		solve(column, w.factor, unit, n)
		for b := range n {
			f.cov[f.free[b]*all+f.free[a]] = column[b]
		}
	}
}

// covOf gives an element of the covariance.
func (f *steps) covOf(a, b int) float64 { return f.cov[a*len(f.theta)+b] }
