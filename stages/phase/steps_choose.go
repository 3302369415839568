package phase

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Model says how many edges a series may have.
type Model uint8

const (
	Evidence  Model = iota // as many as the series shows
	OneEdge                // one
	OneWindow              // two, the first of them into the turbid
)

// SeriesOptions are what a person may say of a series.
type SeriesOptions struct {
	Log      bool    // the axis is logarithmic
	Model    Model   // number of edges
	Contrast float64 // least change of the transmittance that is an edge; 0: 0.1
	Clear    float64 // transmittance from which on a series without edges is clear; 0: 0.9
}

// criterion compares models of one series; the least is best. With known noise it is Schwarz's, χ² + p·ln n; else Akaike's with the term
// for few points, n·ln(χ²/n) + 2q + 2q(q+1)/(n−q−1), q = p + 1. ok is false where n is too small for it.
//
// Source: Schwarz, Ann. Stat. 6 (1978) 461; Hurvich and Tsai, Biometrika 76 (1989) 297, equation 3 (both from memory).
func criterion(chi2 float64, n, p int, known bool) (value float64, ok bool) {
	if known {
		return chi2 + float64(p)*math.Log(float64(n)), n >= p
	}
	q := float64(p + 1)
	rest := float64(n) - q - 1
	if rest <= 0 {
		return 0, false
	}
	return float64(n)*math.Log(math.Max(chi2, 1e-300)/float64(n)) + 2*q + 2*q*(q+1)/rest, true
}

// chooser finds the steps of a series.
type chooser struct {
	s    *series
	opt  SeriesOptions
	zero float64 // squares that are nothing but rounding
}

func newChooser(s *series, opt SeriesOptions) *chooser {
	return &chooser{s: s, opt: opt, zero: rounding(s)}
}

// rounding gives the weighted squares of residuals that are nothing but rounding.
func rounding(s *series) float64 {
	sum := 0.0
	for i, t := range s.t {
		sum += 1e-24 * s.w[i] * math.Max(1, t*t)
	}
	return sum
}

// judged tells of a model of so many steps how the evidence stands.
type judged struct {
	turns []int // nil: no step
	fit   *steps
	value float64
	ok    bool // it can be judged by evidence
}

// choose finds number, place and sharpness of the steps.
//
// Turning points come first: an edge is a change of the transmittance by at least the contrast, by four standard uncertainties and by a
// third of the series' whole range. Of the models with as many edges and with fewer, the smallest change left out first, the one with
// the best criterion is taken; where there are too few points to judge, all that are seen.
func (c *chooser) choose() *judged {
	least := math.Max(c.opt.Contrast, math.Max(4*c.s.noise(), (slices.Max(c.s.tp)-slices.Min(c.s.tp))/3))
	turns := turningPoints(c.s.tp, least)
	switch c.opt.Model {
	case OneEdge:
		for len(turns) > 2 {
			turns = fewer(c.s.tp, turns)
		}
		return c.judge(turns)
	case OneWindow:
		for len(turns) > 3 {
			turns = fewer(c.s.tp, turns)
		}
		if len(turns) == 3 && c.s.tp[turns[1]] > c.s.tp[turns[0]] { // clear between two turbid ends: no window
			turns = fewer(c.s.tp, turns)
		}
		return c.judge(turns)
	}
	best := c.judge(turns)
	for turns != nil && best.ok && best.fit.chi2 > c.zero {
		turns = fewer(c.s.tp, turns)
		if other := c.judge(turns); other.ok && other.value < best.value {
			best = other
		}
	}
	return best
}

// judge fits steps between the turning points and finds out which of them are gradual: from all sharp, whichever gains most by the criterion
// is made gradual, one after the other; from all gradual, whichever gains most is made sharp. The better end is taken. (One step alone may
// gain nothing while the misfit of another hides it.)
func (c *chooser) judge(turns []int) *judged {
	k := max(0, len(turns)-1)
	f := newSteps(k)
	var cuts []int
	if k > 0 {
		cuts = c.s.cuts(turns)
	}
	for j := range k {
		f.sharp[j], f.cut[j] = true, cuts[j]
	}
	f.theta[0] = c.s.tp[0]
	for j := range k + 1 {
		if k > 0 {
			f.theta[j] = c.s.tp[turns[j]]
		}
	}
	w := newFitter(c.s, k)
	w.fit(f, coarse)
	sharp := c.value(turns, f)
	up := c.improve(sharp, func(f *steps, j int) *steps {
		if !f.sharp[j] {
			return nil
		}
		return c.gradual(w, f, turns, j)
	})
	all := f
	for j := range k {
		if all != nil {
			all = c.gradual(w, all, turns, j)
		}
	}
	if all == nil || k < 2 {
		return up
	}
	down := c.improve(c.value(turns, all), func(f *steps, j int) *steps {
		if f.sharp[j] {
			return nil
		}
		g := f.clone()
		g.sharp[j] = true
		w.fit(g, coarse)
		return g
	})
	if down.ok && (!up.ok || down.value < up.value) {
		return down
	}
	return up
}

// value weighs a fit.
func (c *chooser) value(turns []int, f *steps) *judged {
	j := &judged{turns: turns, fit: f}
	j.value, j.ok = criterion(f.chi2, len(c.s.z), f.parameters(), c.s.u != nil)
	return j
}

// improve changes one step after the other, each time that which gains most, until none gains.
func (c *chooser) improve(best *judged, change func(f *steps, j int) *steps) *judged {
	for best.fit.chi2 > c.zero {
		var next *judged
		for j := range best.fit.k {
			g := change(best.fit, j)
			if g == nil {
				continue
			}
			v := c.value(best.turns, g)
			if v.ok && (!best.ok || v.value < best.value) && (next == nil || v.value < next.value) {
				next = v
			}
		}
		if next == nil {
			break
		}
		best = next
	}
	return best
}

// gradual makes step j gradual: the best fit from several widths, nil when none comes to rest.
func (c *chooser) gradual(w *fitter, f *steps, turns []int, j int) *steps {
	if len(c.s.z) < f.parameters()+2 {
		return nil
	}
	low, high := turns[j], turns[j+1]
	a, b := c.s.tp[low], c.s.tp[high]
	at := func(part float64) float64 { // where the step has gone so far, between places
		for i := low; i < high; i++ {
			p, q := (c.s.tp[i]-a)/(b-a), (c.s.tp[i+1]-a)/(b-a)
			if q >= part {
				if p >= part {
					return c.s.zp[i]
				}
				return c.s.zp[i] + (part-p)/(q-p)*(c.s.zp[i+1]-c.s.zp[i])
			}
		}
		return c.s.zp[high]
	}
	m, s0 := at(0.5), (at(0.9)-at(0.1))/tenths
	var best *steps
	try := func(m, s float64) {
		g := f.clone()
		g.sharp[j] = false
		g.theta[j], g.theta[j+1] = a, b
		g.theta[g.middle(j)], g.theta[g.log(j)] = m, math.Min(math.Max(math.Log(s), w.leastLog), w.mostLog)
		if w.fit(g, coarse) && (best == nil || g.chi2 < best.chi2*(1-1e-9)) {
			best = g
		}
	}
	for _, times := range [...]float64{1, 0.5} {
		try(m, times*s0)
	}
	// a single point within the step: whatever the width, the middle is where the curve goes through it. (Of many points none is the only one.)
	within := func(i int) bool { part := (c.s.tp[i] - a) / (b - a); return part > 0.02 && part < 0.98 }
	number := 0
	for i := low + 1; i < high; i++ {
		if within(i) {
			number++
		}
	}
	for i := low + 1; i < high && number <= 8; i++ {
		if part := (c.s.tp[i] - a) / (b - a); within(i) {
			gap := math.Min(c.s.zp[i]-c.s.zp[i-1], c.s.zp[i+1]-c.s.zp[i])
			for _, s := range [...]float64{gap / 20, gap / 6, gap / 3} {
				try(c.s.zp[i]-s*math.Log(part/(1-part)), s)
			}
		}
	}
	return best
}

// polish brings a fit to rest, and looks in other valleys: along one, width and middle of a step change together so that it goes through a
// single point, and χ² falls so slowly that a fit may stop anywhere.
func (w *fitter) polish(f *steps) *steps {
	w.fit(f, fine)
	s := w.s
	for j := range f.k {
		if f.sharp[j] {
			continue
		}
		best := f
		for i := 1; i+1 < len(s.zp); i++ {
			part := (s.tp[i] - f.theta[j]) / (f.theta[j+1] - f.theta[j])
			gap := math.Min(s.zp[i]-s.zp[i-1], s.zp[i+1]-s.zp[i])
			if !(part > 0.02 && part < 0.98) || math.Abs(f.theta[f.middle(j)]-s.zp[i]) > s.zp[i+1]-s.zp[i-1] {
				continue
			}
			for _, width := range [...]float64{gap / 16, gap / 8, gap / 4, gap / 2, gap} {
				g := f.clone()
				g.theta[g.log(j)] = math.Max(math.Log(width), w.leastLog)
				g.theta[g.middle(j)] = s.zp[i] - math.Log(part/(1-part))*width
				if w.fit(g, fine); g.chi2 < best.chi2*(1-1e-9)-w.least {
					best = g
				}
			}
		}
		f = best
	}
	return f
}

// threshold gives how much χ² may rise within an interval for one parameter that leaves out 1 − p on a side: with unknown noise it is scaled
// by χ²/ν and widened by Student's distribution.
func threshold(chi2 float64, nu int, known bool, p float64) float64 {
	if known {
		z := distuv.UnitNormal.Quantile(p)
		return z * z
	}
	if nu < 1 {
		return math.Inf(1)
	}
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(nu)}.Quantile(p)
	return t * t * chi2 / float64(nu)
}
