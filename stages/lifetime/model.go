package lifetime

import "math"

// Workspace holds the memory of fits, so that one that is no larger than an earlier one allocates nothing. The zero value is ready; it
// must not be shared between goroutines.
type Workspace struct {
	col    [maxCol][]float64 // the curves of which model and Jacobian are composed, over the range of the fit
	mean   []float64
	weight []float64 // 1/mean, or 1/u²
	scaled []float64 // weight·(counts − mean)
	memory []float64
	find   searchMemory
	other  Solution
	wide   Problem // the decay in wide channels
}

// least is the mean below which a channel is held to be without light in the model: it then has no weight, and its deviance is that of
// this mean. It stands far below the mean of any channel that can be told from empty.
const least = 1e-8

var lnLeast = math.Log(least)

// blockLength is how many channels are summed at a time, so that their curves stay near the processor.
const blockLength = 256

// prepare makes room for n channels and c columns.
func (w *Workspace) prepare(n, c int) {
	need := n * (maxCol + 3)
	if cap(w.memory) < need {
		w.memory = make([]float64, need)
	}
	m := w.memory[:need]
	take := func() []float64 {
		s := m[:n:n]
		m = m[n:]
		return s
	}
	for i := range w.col {
		w.col[i] = nil
		if i < c {
			w.col[i] = take()
		}
	}
	w.mean, w.weight, w.scaled = take(), take(), take()
}

// curves works out the columns at parameters t: ∂h_i/∂τ_i, h_i, 1, R and R', as far as they are in use.
func (w *Workspace) curves(p *Problem, t *vector) {
	n, c := p.Terms, p.columns()
	one := w.col[p.oneAt()]
	for k := range one {
		one[k] = 1
	}
	if p.Response == nil {
		for i := range n {
			tail(w.col[n+i], w.col[i], float64(p.First)-p.Origin, math.Exp(t[i]), p.Period)
		}
		return
	}
	off := float64(p.First) + p.Offset - t[p.shiftAt()]
	for i := range n {
		p.Response.Exponential(w.col[n+i], w.col[i], off, math.Exp(t[i]), p.Period)
	}
	var slope []float64
	if c > p.slopeAt() {
		slope = w.col[p.slopeAt()]
	}
	p.Response.Shifted(w.col[p.responseAt()], slope, off)
}

// tail writes e^(−(k + from)/τ) into h and its derivative by τ into d. With a period it is the sum over all earlier pulses, which is
// 1/(1 − e^(−T/τ)) times as much.
func tail(h, d []float64, from, tau, period float64) {
	q, v := math.Exp(-1/tau), math.Exp(-from/tau)
	g, dg := 1.0, 0.0
	if period > 0 {
		g = -1 / math.Expm1(-period/tau)
		dg = (g - 1) * period / (tau * tau) // of ln g
	}
	v *= g
	for k := range h {
		h[k] = v
		d[k] = v * ((float64(k)+from)/(tau*tau) + dg)
		v *= q
	}
}

// evaluate works out curves, means, weights and the objective at parameters t: the deviance less what does not depend on them, or χ².
func (w *Workspace) evaluate(p *Problem, t *vector) float64 {
	w.curves(p, t)
	n := p.Terms
	amp := t[p.ampAt() : p.ampAt()+n]
	b := t[p.backgroundAt()]
	mean := w.mean
	switch n {
	case 1:
		h0 := w.col[1][:len(mean)]
		a0 := amp[0]
		for k := range mean {
			mean[k] = b + a0*h0[k]
		}
	case 2:
		h0, h1 := w.col[2][:len(mean)], w.col[3][:len(mean)]
		a0, a1 := amp[0], amp[1]
		for k := range mean {
			mean[k] = b + a0*h0[k] + a1*h1[k]
		}
	default:
		for k := range mean {
			mean[k] = b
		}
		for i, a := range amp {
			h := w.col[n+i][:len(mean)]
			for k := range mean {
				mean[k] += a * h[k]
			}
		}
	}
	if s := p.scattered(t); s != 0 {
		r := w.col[p.responseAt()][:len(mean)]
		for k := range mean {
			mean[k] += s * r[k]
		}
	}
	if p.Weights != nil {
		return w.leastSquares(p)
	}
	return w.deviance(p)
}

// scattered is how many counts come straight through.
func (p *Problem) scattered(t *vector) float64 {
	if p.Response == nil {
		return 0
	}
	s := t[p.scatterAt()]
	if p.ScatterShare != 0 {
		for i := range p.Terms {
			s += p.ScatterShare * t[p.ampAt()+i] * math.Exp(t[i])
		}
	}
	return s
}

// deviance gives 2·Σ (m − n·ln m): the deviance but for what does not depend on the means.
//
// From channel to channel means change little, and so ln m follows by the series of ln(1 + d), d = m_k/m_{k−1} − 1, which costs less than a
// logarithm; every 16 channels, and wherever d is not small, a logarithm is taken, so that rounding does not add up.
func (w *Workspace) deviance(p *Problem) float64 {
	const small, every = 0.02, 16
	counts := p.Counts[p.First : p.Last+1]
	mean, weight, scaled := w.mean[:len(counts)], w.weight[:len(counts)], w.scaled[:len(counts)]
	sum, ln, before := 0.0, 0.0, 0.0 // before: 1/m of the channel before, 0: none
	for k, c := range counts {
		m := mean[k]
		if !(m > least) {
			if m != m {
				return math.NaN()
			}
			mean[k], weight[k], before = least, 0, 0
			if c > 0 { // nothing of the model can be there
				scaled[k] = 0
			} else { // an empty channel still speaks against light
				scaled[k] = -1
			}
			sum += least - c*lnLeast
			continue
		}
		inv := 1 / m
		weight[k] = inv
		scaled[k] = c*inv - 1
		if d := m*before - 1; k%every != 0 && d < small && d > -small {
			ln += d * (1 + d*(-1./2+d*(1./3+d*(-1./4+d*(1./5+d*(-1./6+d*(1./7+d*(-1./8))))))))
		} else {
			ln = math.Log(m)
		}
		before = inv
		sum += m - c*ln
	}
	return 2 * sum
}

func (w *Workspace) leastSquares(p *Problem) float64 {
	counts, weights := p.Counts[p.First:p.Last+1], p.Weights[p.First:p.Last+1]
	mean, weight, scaled := w.mean[:len(counts)], w.weight[:len(counts)], w.scaled[:len(counts)]
	sum := 0.0
	for k, c := range counts {
		r := c - mean[k]
		weight[k] = weights[k]
		scaled[k] = weights[k] * r
		sum += scaled[k] * r
	}
	return sum
}

// normal works out G = Jᵀ·W·J and g = Jᵀ·W·r at the parameters of the last evaluate. With the curves B of which the columns of J are
// composed, J = B·Lᵀ, it is G = L·(Bᵀ·W·B)·Lᵀ: the sums over channels are of the curves alone. For the likelihood W = 1/m, so that G is
// Fisher's information and g half the slope of −deviance.
func (w *Workspace) normal(p *Problem, t *vector, m *matrix, g *vector) {
	c := p.columns()
	var gram [maxCol][maxCol]float64
	var score [maxCol]float64
	var part [blockLength]float64
	for from := 0; from < len(w.mean); from += blockLength {
		to := min(from+blockLength, len(w.mean))
		weight, scaled := w.weight[from:to], w.scaled[from:to]
		for i := range c {
			ci := w.col[i][from:to]
			x := part[:len(ci)]
			total, slope := products(x, ci, weight, scaled)
			score[i] += slope
			j := i
			for ; j+1 < c; j += 2 {
				a, b := dotTwo(x, w.col[j][from:to], w.col[j+1][from:to])
				gram[i][j] += a
				gram[i][j+1] += b
			}
			if j < c && j == p.oneAt() {
				gram[i][j] += total
			} else if j < c {
				gram[i][j] += dot(x, w.col[j][from:to])
			}
		}
	}
	for i := range c {
		for j := range i {
			gram[i][j] = gram[j][i]
		}
	}
	var l [maxPar][maxCol]float64
	w.compose(p, t, &l)
	size := p.size()
	var lg [maxPar][maxCol]float64
	for i := range size {
		g[i] = 0
		for k := range c {
			if f := l[i][k]; f != 0 {
				g[i] += f * score[k]
				for j := range c {
					lg[i][j] += f * gram[k][j]
				}
			}
		}
	}
	for i := range size {
		for j := range size {
			m[i][j] = 0
			for k := range c {
				m[i][j] += lg[i][k] * l[j][k]
			}
		}
	}
}

// compose says of which curves each column of the Jacobian is composed.
func (w *Workspace) compose(p *Problem, t *vector, l *[maxPar][maxCol]float64) {
	n := p.Terms
	for i := range n {
		a := t[p.ampAt()+i]
		l[i][i] = a * math.Exp(t[i]) // ∂/∂ln τ
		l[p.ampAt()+i][n+i] = 1
		if p.Response != nil { // ∂/∂δ = −∂/∂offset = −(R − h/τ)
			l[p.shiftAt()][p.responseAt()] -= a
			l[p.shiftAt()][n+i] = a / math.Exp(t[i])
		}
	}
	l[p.backgroundAt()][p.oneAt()] = 1
	if p.Response == nil {
		return
	}
	l[p.scatterAt()][p.responseAt()] = 1
	if p.columns() > p.slopeAt() {
		l[p.shiftAt()][p.slopeAt()] = -p.scattered(t)
	}
	for i := range n { // light scattered in proportion
		tau := math.Exp(t[i])
		l[i][p.responseAt()] += p.ScatterShare * t[p.ampAt()+i] * tau
		l[p.ampAt()+i][p.responseAt()] += p.ScatterShare * tau
	}
}
