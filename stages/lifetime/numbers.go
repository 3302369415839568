package lifetime

import "math"

// Number is one number of a solution with its gradient by the parameters τ_i, δ, a_i, b, s.
type Number struct {
	Name, Unit string
	Value      float64 // NaN: there is none
	U          float64 // NaN: not known
	gradient   vector
}

// Numbers gives the numbers of a solution, times in the unit of width (of a channel), lifetimes the shortest first:
// tau_i, a_i, share_i, tau_amplitude, tau_intensity, shift, background, scatter. Each has its standard uncertainty from the whole
// covariance, to first order (JCGM 100:2008, 5.2.2); Covariance gives the covariance of two.
//
// A lifetime at its bound keeps the bound as its value, without an uncertainty, and the averages do not exist then. A term without amplitude
// has no lifetime, and counts for nothing in the averages; their uncertainties hold that amplitude at 0.
func (s *Solution) Numbers(p *Problem, width float64) []Number {
	n := p.Terms
	var order [MaxTerms]int
	s.Order(order[:n])
	var list []Number
	add := func(name, unit string, value float64, set func(g *vector)) {
		x := Number{Name: name, Unit: unit, Value: value}
		if set != nil {
			set(&x.gradient)
		}
		x.U = s.uncertainty(p, &x)
		list = append(list, x)
	}
	nan := math.NaN()
	var share, da, dtau [MaxTerms]float64
	Shares(share[:n], s.Amp[:n])
	atBound := false
	for i := range n {
		atBound = atBound || s.side[i] != Inside && s.Amp[i] != 0
	}
	for rank, i := range order[:n] {
		value := s.Tau[i] * width
		if s.Amp[i] == 0 {
			value = nan
		}
		add(numbered("tau_", rank), "ns", value, func(g *vector) { g[i] = width })
	}
	for rank, i := range order[:n] {
		value := s.Amp[i]
		if s.Amp[i] == 0 {
			value = nan
		}
		add(numbered("a_", rank), "1", value, func(g *vector) { g[p.ampAt()+i] = 1 })
	}
	sum := 0.0
	for _, a := range s.Amp[:n] {
		sum += a
	}
	for rank, i := range order[:n] {
		value := share[i]
		if s.Amp[i] == 0 {
			value = nan
		}
		add(numbered("share_", rank), "1", value, func(g *vector) {
			for j := range n {
				g[p.ampAt()+j] = -share[i] / sum
			}
			g[p.ampAt()+i] += 1 / sum
		})
	}
	average := func(name string, f func(a, tau, da, dtau []float64) float64) {
		value := f(s.Amp[:n], s.Tau[:n], da[:n], dtau[:n]) * width
		if atBound {
			value = nan
		}
		add(name, "ns", value, func(g *vector) {
			for i := range n {
				g[i], g[p.ampAt()+i] = dtau[i]*width, da[i]*width
			}
		})
	}
	average("tau_amplitude", AmplitudeAverage)
	average("tau_intensity", IntensityAverage)
	if p.Response == nil {
		add("shift", "ns", nan, nil)
	} else {
		add("shift", "ns", s.Shift*width, func(g *vector) { g[p.shiftAt()] = width })
	}
	add("background", "1", s.Background, func(g *vector) { g[p.backgroundAt()] = 1 })
	if p.Response == nil {
		add("scatter", "1", nan, nil)
		return list
	}
	light := 0.0
	for i := range n {
		light += s.Amp[i] * s.Tau[i]
	}
	add("scatter", "1", s.Scatter/(s.Scatter+light), func(g *vector) {
		if p.ScatterShare != 0 { // the share is given
			return
		}
		all := s.Scatter + light
		g[p.scatterAt()] = light / (all * all)
		for i := range n {
			g[i] = -s.Scatter * s.Amp[i] / (all * all)
			g[p.ampAt()+i] = -s.Scatter * s.Tau[i] / (all * all)
		}
	})
	return list
}

func numbered(stem string, rank int) string { return stem + string(rune('1'+rank)) }

// uncertainty of a number; NaN when there is no value, or when the parameter that it is has none.
func (s *Solution) uncertainty(p *Problem, x *Number) float64 {
	if math.IsNaN(x.Value) || s.Status != Converged && !s.sure(p, x) {
		return math.NaN()
	}
	if i := x.parameter(p); i >= 0 && !s.known[i] { // which ended at its bound
		return math.NaN()
	}
	return math.Sqrt(math.Max(0, s.Covariance(p, x, x)))
}

// parameter is the one parameter that a number leans on, −1 when there are more, or none.
func (x *Number) parameter(p *Problem) int {
	at := -1
	for i, g := range x.gradient[:p.size()] {
		if g != 0 && at >= 0 {
			return -1
		} else if g != 0 {
			at = i
		}
	}
	return at
}

// sure tells whether all parameters that a number leans on have an uncertainty.
func (s *Solution) sure(p *Problem, x *Number) bool {
	for i, g := range x.gradient[:p.size()] {
		if g != 0 && !s.known[i] {
			return false
		}
	}
	return true
}

// Covariance of two numbers of this solution.
func (s *Solution) Covariance(p *Problem, x, y *Number) float64 {
	sum := 0.0
	for i := range p.size() {
		if x.gradient[i] == 0 {
			continue
		}
		for j := range p.size() {
			sum += x.gradient[i] * s.cov[i][j] * y.gradient[j]
		}
	}
	return sum
}
