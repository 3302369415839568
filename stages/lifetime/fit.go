package lifetime

import (
	"math"

	"fascicle/stages/internal/fitting"
)

// Status says how a fit ended.
type Status uint8

const (
	Converged    Status = iota // a minimum, all parameters determined
	NotConverged               // the iterations ran out; there are no numbers
	Singular                   // a minimum at which the counts leave a direction of the parameters undetermined
)

func (s Status) String() string {
	return [...]string{"converged", "not converged", "singular"}[s]
}

// Side says where a parameter ended.
type Side int8

const (
	AtLower Side = -1
	Inside  Side = 0
	AtUpper Side = 1
)

// Solution is the result of a fit, in channels. Terms come in the order of the start; Order sorts them.
type Solution struct {
	Status     Status
	Tau, Amp   [MaxTerms]float64
	Shift      float64
	Background float64
	Scatter    float64
	Objective  float64 // deviance or χ²
	N, Free    int     // channels; parameters that were neither fixed nor at a bound
	Iterations int

	theta vector // ln τ_i, δ, a_i, b, s
	cov   matrix // of τ_i, δ, a_i, b, s (not of the logarithms)
	side  [maxPar]Side
	known [maxPar]bool // its row of cov stands
	limit vector       // of background and scattered light that ended at 0: what they are below (confidence 95 %)
	slope vector       // half the slope of −objective: at a bound it says how hard the parameter leans on it
}

// maxIterations of a fit. From a start of the search a dozen is usual.
const maxIterations = 200

// tolerance is how near, in standard uncertainties, the minimum must be for a fit to have converged. What remains after a step is judged by
// the step and by how much it is shorter than the one before it, by no more than a twentieth, the usual rate of Fisher's scoring.
const (
	tolerance = 1e-5
	usualRate = 0.05
	undamped  = 1e-12
)

// fit fits a decay from a start: ln τ_i, δ, a_i, b, s in the vector's order, moved into the bounds. Fisher scoring with the damping of
// Levenberg and Marquardt and an active set for the bounds; steps are judged by the deviance (or χ²) itself.
//
// Sources: Marquardt, J. SIAM 11 (1963) 431; Nielsen, IMM-REP-1999-05 (damping); Baker and Cousins, Nucl. Instrum. Methods 221 (1984) 437
// (likelihood); all from memory.
//
// enough is how near the minimum must be in a fit that only prepares another; 0 stands for tolerance.
func (w *Workspace) fit(s *Solution, p *Problem, start *vector, enough float64) {
	var lo, hi vector
	var free [maxPar]bool
	p.frame(&lo, &hi, &free)
	w.prepare(p.Last-p.First+1, p.columns())
	n := p.size()
	t := *start
	for i := range n {
		t[i] = math.Max(lo[i], math.Min(hi[i], t[i]))
	}
	var g, step, slo, shi vector
	var m matrix
	best := w.evaluate(p, &t)
	w.normal(p, &t, &m, &g)
	damping, factor, before := 1e-3, 2.0, 0.0
	s.Status, s.Iterations = NotConverged, 0
	held := false   // a step failed, so that damping is let go only by and by
	short := 0      // accepted steps that led nowhere
	current := true // the workspace holds the curves at t
	for it := 0; it < maxIterations; it++ {
		s.Iterations = it + 1
		for i := range n {
			slo[i], shi[i] = lo[i]-t[i], hi[i]-t[i]
			if i < p.Terms { // no lifetime by more than a factor e at a step
				slo[i], shi[i] = math.Max(slo[i], -1), math.Min(shi[i], 1)
			}
		}
		boxStep(&step, &g, &m, damping, &slo, &shi, &free, n)
		curved := quadratic(&step, &m, n)
		if curved < 1 && damping > undamped && !held { // near: damping would only hold back what the counts tell least about
			damping = undamped
			boxStep(&step, &g, &m, damping, &slo, &shi, &free, n)
			curved = quadratic(&step, &m, n)
		}
		gain := 2*dotN(&step, &g, n) - curved // of the objective, by the quadratic approximation
		if !(curved > 0) {
			s.Status = Converged
			break
		}
		next := t
		for i := range n {
			next[i] = math.Max(lo[i], math.Min(hi[i], t[i]+step[i]))
		}
		value := w.evaluate(p, &next)
		current = false
		rounding := 1e-9 + 1e-15*math.Abs(best)
		if curved < 1e-6 { // the objective is flat here, and the step surer than the difference of two large sums
			rounding += 1e-7
		}
		if !(value <= best+rounding) {
			if curved < 1e-8 && damping < 1 { // no better: rounding
				s.Status = Converged
				break
			}
			held = true
			damping = math.Max(damping, 1e-4) * factor
			factor *= 2
			if damping > 1e12 {
				break
			}
			continue
		}
		ratio := math.Max(0, math.Min(1, (best-value)/gain))
		t, best, current = next, value, true
		length := math.Sqrt(curved)
		rate := 1.0
		if before > 0 {
			rate = length / before
		}
		if length < 10*tolerance {
			short++
		}
		done := (damping <= undamped || held && damping < 1e-4) && (length*math.Max(usualRate, rate) < tolerance || length < enough) || short > 3
		before = length
		if done {
			s.Status = Converged
		}
		if done && enough > 0 {
			s.theta = t
			return
		}
		w.normal(p, &t, &m, &g)
		if done {
			break
		}
		damping = math.Max(undamped, damping*math.Max(1./10, 1-math.Pow(2*ratio-1, 3)))
		factor = 2
	}
	if !current {
		best = w.evaluate(p, &t)
		w.normal(p, &t, &m, &g)
	}
	s.N, s.theta, s.slope = len(w.mean), t, g
	if s.Objective = best; p.Weights == nil {
		s.Objective = fitting.PoissonDeviance(p.Counts[p.First:p.Last+1], w.mean)
	}
	s.finish(p, &m, &lo, &hi, &free)
}

// finish turns parameters into what is read, and Fisher's information into a covariance. Parameters that are fixed have no variance;
// those at a bound, and lifetimes of terms without amplitude, have no uncertainty, and that of the others holds them where they are
// (apart from background and scattered light: see loosen).
func (s *Solution) finish(p *Problem, m *matrix, lo, hi *vector, free *[maxPar]bool) {
	n, t := p.size(), &s.theta
	for i := range p.Terms {
		s.Tau[i], s.Amp[i] = math.Exp(t[i]), t[p.ampAt()+i]
	}
	s.Shift, s.Background, s.Scatter = t[p.shiftAt()], t[p.backgroundAt()], p.scattered(t)
	var buffer [maxPar]int
	use := buffer[:0]
	s.cov, s.limit = matrix{}, vector{}
	for i := range n {
		s.side[i], s.known[i] = Inside, true
		if !free[i] {
			continue
		}
		span := 1e-9 * (1 + math.Abs(t[i]))
		switch {
		case t[i] <= lo[i]+span:
			s.side[i], s.known[i] = AtLower, false
		case t[i] >= hi[i]-span:
			s.side[i], s.known[i] = AtUpper, false
		case i < p.Terms && t[p.ampAt()+i] == 0:
			s.known[i] = false
		default:
			use = append(use, i)
		}
	}
	s.Free = len(use)
	var l matrix
	var scale, x vector
	if bad := cholesky(&l, &scale, m, use, 0, 1e-11); bad >= 0 {
		if s.Status == Converged {
			s.Status = Singular
		}
		for _, a := range use {
			s.known[a] = false
		}
		return
	}
	for j, b := range use {
		x = vector{}
		x[j] = 1
		l.solve(&x, len(use))
		for i, a := range use {
			s.cov[a][b] = x[i] * scale[i] * scale[j]
		}
	}
	for _, q := range [...]int{p.backgroundAt(), p.scatterAt()} {
		if s.side[q] == AtLower {
			s.loosen(m, q, use)
		}
	}
	for _, a := range use {
		for _, b := range use {
			s.cov[a][b] *= s.unit(p, a) * s.unit(p, b)
		}
	}
}

// loosen adds to the covariance of the others what a background or scattered light that ended at 0 might really be: its likelihood is
// e^(g·b − c·b²/2) for b ≥ 0, g ≤ 0 the slope and c the curvature when the others follow, and they follow by k·b. To hold it at 0 would
// make the others surer than they are.
func (s *Solution) loosen(m *matrix, q int, use []int) {
	var k vector
	c := m[q][q]
	for _, a := range use {
		for _, b := range use {
			k[a] -= s.cov[a][b] * m[b][q]
		}
		c += k[a] * m[a][q]
	}
	square := beyondZero(s.slope[q], c)
	s.limit[q] = upperLimit(s.slope[q], c)
	for _, a := range use {
		for _, b := range use {
			s.cov[a][b] += square * k[a] * k[b]
		}
	}
}

// beyondZero is the mean of b² for a density in proportion to e^(g·b − c·b²/2) over b ≥ 0, for g ≤ 0: the second moment of a normal density
// that is cut off at zero, (1 + z² − z·φ(z)/Q(z))/c with z = −g/√c; for large z (2/g²)·(1 − 5/z²). 0 when there is no such density.
func beyondZero(g, c float64) float64 {
	if g >= 0 && c <= 0 {
		return 0
	}
	z := -math.Min(g, 0) / math.Sqrt(math.Max(c, 0))
	if !(z < 25) {
		return 2 / (g * g) * (1 - 5*math.Max(c, 0)/(g*g))
	}
	upper := 0.5 * math.Erfc(z/math.Sqrt2)
	density := math.Exp(-z*z/2) / math.Sqrt(2*math.Pi)
	return (1 + z*z - z*density/upper) / c
}

// unit is dτ/d ln τ for a lifetime, else 1.
func (s *Solution) unit(p *Problem, i int) float64 {
	if i < p.Terms {
		return s.Tau[i]
	}
	return 1
}

// Order writes the indices of the terms into dst, shortest lifetime first, terms without amplitude last.
func (s *Solution) Order(dst []int) {
	for i := range dst {
		dst[i] = i
	}
	less := func(a, b int) bool {
		if (s.Amp[a] == 0) != (s.Amp[b] == 0) {
			return s.Amp[b] == 0
		}
		return s.Tau[a] < s.Tau[b]
	}
	for i := 1; i < len(dst); i++ {
		for j := i; j > 0 && less(dst[j], dst[j-1]); j-- {
			dst[j], dst[j-1] = dst[j-1], dst[j]
		}
	}
}

// upperLimit is the b below which 95 % of the density of beyondZero lie: Q(z + b·√c) = 0.05·Q(z) with z = −g/√c; for large z
// (L/|g|)·(1 − (L/2 + 1)/z²) with L = −ln 0.05. 0 when there is no such density.
func upperLimit(g, c float64) float64 {
	if g >= 0 && c <= 0 {
		return 0
	}
	root := math.Sqrt(math.Max(c, 0))
	z := -math.Min(g, 0) / root
	if !(z < 25) {
		l := math.Log(20)
		return l / -g * (1 - (l/2+1)*math.Max(c, 0)/(g*g))
	}
	level := 0.05 * math.Erfc(z/math.Sqrt2)
	lo, hi := 0.0, 2.0 // Q(2) < 0.05·Q(0), and the more so for z > 0
	for range 60 {
		if mid := (lo + hi) / 2; math.Erfc((z+mid)/math.Sqrt2) > level {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2 / root
}
