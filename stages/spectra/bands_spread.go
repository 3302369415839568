package spectra

import "math"

// gradient gives the k-th gradient, cleared.
func (w *Workspace) gradient(k, n int) []float64 {
	w.gradients[k] = sized(w.gradients[k], n)
	clear(w.gradients[k])
	return w.gradients[k]
}

// takeBaseline fills w.level with the values less the line (or constant) through
// the means of the range's first and last points.
func (c *BandChoice) takeBaseline(x, y []float64, o BandOptions, w *Workspace) {
	w.level = sized(w.level, len(x))
	copy(w.level, y)
	if o.Baseline == NoBaseline {
		return
	}
	a, left := c.mean(x, c.first), c.mean(y, c.first)
	b, right := c.mean(x, c.last-c.ends+1), c.mean(y, c.last-c.ends+1)
	for i := c.first; i <= c.last; i++ {
		s := o.share(x[i], a, b)
		w.level[i] -= (1-s)*left + s*right
	}
}

// mean is the mean of the points from one on that a baseline takes together.
func (c *BandChoice) mean(v []float64, from int) float64 {
	s := 0.0
	for _, x := range v[from : from+c.ends] {
		s += x / float64(c.ends)
	}
	return s
}

// share is the share of the right mean in the baseline at x between the means' places a and b.
func (o BandOptions) share(x, a, b float64) float64 {
	if o.Baseline == ConstantBaseline {
		return 0.5
	}
	return (x - a) / (b - a)
}

// undoBaseline turns a gradient over the values less the baseline into one over
// the values themselves.
func (c *BandChoice) undoBaseline(g, x []float64, o BandOptions) {
	if o.Baseline == NoBaseline {
		return
	}
	a, b := c.mean(x, c.first), c.mean(x, c.last-c.ends+1)
	left, right := 0.0, 0.0
	for i := c.first; i <= c.last; i++ {
		s := o.share(x[i], a, b)
		left += g[i] * (1 - s)
		right += g[i] * s
	}
	for i := range c.ends {
		g[c.first+i] -= left / float64(c.ends)
		g[c.last-i] -= right / float64(c.ends)
	}
}

// weak tells whether an area is too uncertain to divide by.
func (c *BandChoice) weak(x, u []float64, o BandOptions, w *Workspace) bool {
	g := w.gradient(0, len(x))
	a, v := 0.0, 0.0
	for i := c.first; i <= c.last; i++ {
		g[i] = c.trapezoid(x, i)
		a += g[i] * w.level[i]
	}
	c.undoBaseline(g, x, o)
	for i, s := range g {
		if u != nil && s != 0 && !math.IsNaN(u[i]) {
			v += s * s * u[i] * u[i]
		}
	}
	return a <= 5*math.Sqrt(v)
}

// scatter is the noise of a window's points about their polynomial.
type scatter struct {
	variance, nu float64
}

// known says in Workspace.component that a point's u is known, unknown that nothing is known of its noise.
const (
	knownNoise   = -1
	unknownNoise = -2
)

// variances starts the points' variances: those known.
func (m *measurement) variances(n int) {
	w := m.w
	w.variance = sized(w.variance, n)
	if cap(w.component) < n {
		w.component = make([]int8, n)
	}
	w.component = w.component[:n]
	m.windows = w.windows[:0]
	for i := range n {
		w.variance[i], w.component[i] = 0, unknownNoise
		if m.u != nil && !math.IsNaN(m.u[i]) {
			w.variance[i], w.component[i] = m.u[i]*m.u[i], knownNoise
		}
	}
}

// scattered takes the noise of a window's points from their scatter, where no u is known at all. A point in two windows keeps that of the first.
func (m *measurement) scattered(p *localPolynomial) (k int8, ok bool) {
	if m.u != nil || p.dof() < 1 {
		return 0, false
	}
	k = int8(len(m.windows))
	m.windows = append(m.windows, scatter{p.chi2 / float64(p.dof()), float64(p.dof())})
	for i := p.first; i < p.first+p.n; i++ {
		m.credit(i, k)
	}
	return k, true
}

// credit gives a point the noise of a window, unless it has one.
func (m *measurement) credit(i int, k int8) {
	if m.w.component[i] == unknownNoise {
		m.w.variance[i], m.w.component[i] = m.windows[k].variance, k
	}
}

// spread fills in uncertainties and covariances from the gradients.
func (m *measurement) spread(b *Bands) {
	w := m.w
	m.w.windows = m.windows
	var known [numbers]bool
	for k := range b.N {
		n := &b.N[k]
		n.U, n.Nu = math.NaN(), math.NaN()
		known[k] = !math.IsNaN(n.Value)
		g := w.gradients[k]
		total := 0.0
		var by [5]float64 // variance by window
		for i, s := range g {
			if s == 0 || !known[k] {
				continue
			}
			switch c := w.component[i]; c {
			case unknownNoise:
				known[k] = false
			case knownNoise:
				total += s * s * w.variance[i]
			default:
				by[c] += s * s * w.variance[i]
			}
		}
		if !known[k] {
			continue
		}
		below := 0.0
		for c, v := range by {
			total += v
			if v > 0 {
				below += v * v / m.windows[c].nu
			}
		}
		n.U, n.Nu = math.Sqrt(total), math.Inf(1)
		if below > 0 {
			n.Nu = total * total / below
		}
	}
	for j := range b.N {
		for k := range b.N {
			b.Cov[j][k] = math.NaN()
			if !known[j] || !known[k] {
				continue
			}
			sum := 0.0
			for i, s := range w.gradients[j] {
				sum += s * w.gradients[k][i] * w.variance[i]
			}
			b.Cov[j][k] = sum
		}
	}
}
