package phase

import (
	"math"
	"slices"
)

// edgeState says how an edge's place is known.
type edgeState uint8

const (
	fitted edgeState = iota // a gradual step with middle and width
	narrow                  // a step whose width may be nothing: its middle lies within the limits of the likelihood
	placed                  // between two places of the series, or beyond one
)

// edgeChoice is what was decided of an edge: places, −1 where there is none.
type edgeChoice struct {
	state  edgeState
	lo, hi int // the edge lies between these
	w0, w1 int // its width is less than from one to the other
}

// Choices is all that Analyse decided of a series.
type Choices struct {
	order  []int // of the points along the axis
	places []int // number of points at each place
	turns  []int
	sharp  []bool
	cut    []int
	theta  []float64
	at     []float64 // the places, in z, that theta belongs to
	edges  []edgeChoice
	turbid bool // of a series without edges
	judged bool
}

// Edge is one change of a series, along the rising axis.
type Edge struct {
	Turbid  bool   // it turns turbid here; else it clears
	At      Number // where half of the change is done
	Width   Number // from a tenth of the change to nine tenths
	Before  float64
	After   float64
	UBefore float64 // NaN where it is not known
	UAfter  float64
	z       Number
	outside bool // its end lies beyond the measured range
}

// Transition is what a series shows.
type Transition struct {
	Edges   []Edge
	Windows []Window
	Turbid  bool    // without edges: turbid from end to end
	Level   float64 // without edges: mean transmittance, and its standard uncertainty
	ULevel  float64
	Points  int
	Nu      int     // degrees of freedom of the fit
	Chi2    float64 // weighted squares, unweighted where the noise is not known
	Known   bool    // the noise is known
	Judged  bool    // the number of edges is by evidence, not by the rule alone
	fit     *steps
	series  *series
	log     bool
}

// Analyse finds where a series of transmittances turns turbid and where it clears.
//
//	x   places on the axis, in any order and unit; positive when the axis is logarithmic
//	t   transmittances, as fractions
//	u   their standard uncertainties, nil where they are not known
//	opt what a person said of it
//
// All must be finite and u positive: a caller's duty. given is nil or what an earlier call on a series of the same points decided, which
// is then kept: only the fit is made anew, from where it ended.
//
// An edge lies where half of the change between the levels on both sides is done. Its place and width are measured where the points
// between show them. Where the step is steeper than the distance of two points, the place is an interval: between the two places, or,
// where a single point lies within the step, all middles for which χ² rises by no more than 99 % of its distribution (profile
// likelihood) whatever the width. Where a level is not reached before the range ends, only a bound is known, worked out for any level
// that there may be beyond.
//
// Errors: ErrShort, ErrOrder. Source of the limits: Venzon and Moolgavkar, Appl. Stat. 37 (1988) 87 (from memory).
func Analyse(x, t, u []float64, opt SeriesOptions, given *Choices) (*Transition, *Choices, error) {
	if opt.Contrast == 0 {
		opt.Contrast = 0.1
	}
	if opt.Clear == 0 {
		opt.Clear = 0.9
	}
	z := x
	if opt.Log {
		z = make([]float64, len(x))
		for i, v := range x {
			z[i] = math.Log(v)
		}
	}
	var order, places []int
	if given != nil {
		order, places = given.order, given.places
	}
	s, err := newSeries(z, t, u, order, places)
	if err != nil {
		return nil, nil, err
	}
	c := given
	var f *steps
	if c == nil {
		best := newChooser(s, opt).choose()
		f = newFitter(s, best.fit.k).polish(best.fit)
		c = &Choices{order: s.order, places: s.counts(), turns: best.turns, sharp: f.sharp, cut: f.cut, judged: best.ok}
		c.turbid = f.k == 0 && f.theta[0] < opt.Clear
	} else {
		f = newSteps(max(0, len(c.turns)-1))
		copy(f.sharp, c.sharp)
		copy(f.cut, c.cut)
		copy(f.theta, c.theta)
		f.follow(c.at, s.zp)
	}
	w := newFitter(s, f.k)
	w.fit(f, fine)
	a := &analysis{s: s, opt: opt, w: w, f: f, turns: c.turns, nu: len(s.z) - f.parameters(), lost: make([]bool, f.k+1)}
	if given == nil {
		c.edges = a.decide()
		c.theta, c.at = slices.Clone(f.theta), s.zp
	}
	a.covariance(c.edges)
	return a.result(c), c, nil
}

// analysis turns a fit into edges.
type analysis struct {
	s     *series
	opt   SeriesOptions
	w     *fitter
	f     *steps
	turns []int
	nu    int
	lost  []bool // levels that turned out not to be seen
}

// scale is what the covariance is multiplied by: 1 where the noise is known, else χ²/ν, NaN without degrees of freedom or without scatter.
func (a *analysis) scale() float64 {
	switch {
	case a.s.u != nil:
		return 1
	case a.nu < 1 || a.f.chi2 <= rounding(a.s): // nothing to learn the noise from
		return math.NaN()
	}
	return a.f.chi2 / float64(a.nu)
}

// reached tells whether the level before (side 0) or behind (side 1) step j is seen: when two neighbouring places agree on it, when the series
// turns back from it before it ends, or when the fit of a step that is certainly gradual knows it well.
func (a *analysis) reached(j, side int, steep bool) bool {
	level := j + side
	if a.lost[level] {
		return false
	}
	loose := !a.f.sharp[j] && !steep
	if level != 0 && level != a.f.k {
		return !loose || a.flat(level) || a.f.sound && a.knows(level)
	}
	end := 0
	if side == 1 {
		end = len(a.s.tp) - 1
	}
	if a.turns[level] != end || a.flat(level) {
		return true
	}
	m := a.f.theta[a.f.middle(j)]
	return loose && a.f.sound && a.knows(level) && m > a.s.zp[0] && m < a.s.zp[len(a.s.zp)-1]
}

// flat tells whether a place next to the one where the series turns agrees with it.
func (a *analysis) flat(level int) bool {
	turn := a.turns[level]
	drop := math.Inf(1)
	for _, other := range [...]int{level - 1, level + 1} {
		if other >= 0 && other < len(a.turns) {
			drop = math.Min(drop, math.Abs(a.s.tp[a.turns[other]]-a.s.tp[turn]))
		}
	}
	for _, i := range [...]int{turn - 1, turn + 1} {
		if i >= 0 && i < len(a.s.tp) && math.Abs(a.s.tp[i]-a.s.tp[turn]) < math.Min(math.Max(4*a.s.noise(), 0.1*drop), 0.4*drop) {
			return true
		}
	}
	return false
}

// knows tells whether the fit knows a level well: to 15 % of the series' range, and as something that a transmittance can be.
func (a *analysis) knows(level int) bool {
	y, u := a.f.theta[level], math.Sqrt(a.f.covOf(level, level)*a.scale())
	return u < 0.15*(slices.Max(a.s.tp)-slices.Min(a.s.tp)) && y > -0.05-3*u && y < 1.05+3*u
}

// decide says how the place of each edge is known.
func (a *analysis) decide() []edgeChoice {
	out := make([]edgeChoice, a.f.k)
	for j := range out {
		out[j].state = placed
		if a.f.sharp[j] || math.IsNaN(a.scale()) {
			continue
		}
		out[j].state = fitted
		if g := a.steep(j); g != nil && g.chi2-a.f.chi2 <= threshold(a.f.chi2, a.nu, a.s.u != nil, 0.9995) {
			out[j].state = narrow
		}
	}
	// each step that turns out not to be known well may be what hid the others
	for range out {
		a.covariance(out)
		again := false
		for j := range out {
			if out[j].state == placed {
				continue
			}
			steep := out[j].state == narrow
			before, behind := a.reached(j, 0, steep), a.reached(j, 1, steep)
			if before && behind && (steep || a.f.sound) {
				continue
			}
			out[j].state, again = placed, true
			a.lost[j], a.lost[j+1] = a.lost[j] || !before, a.lost[j+1] || !behind
			break
		}
		if !again {
			break
		}
	}
	for j := range out {
		a.place(j, &out[j])
	}
	return out
}

// covariance works out the covariance of what is known: of a narrow step the width does not belong to it, of one that is placed neither width
// nor middle.
func (a *analysis) covariance(edges []edgeChoice) {
	skip := make([]bool, len(a.f.theta))
	for j, e := range edges {
		skip[a.f.log(j)] = e.state != fitted
		// a middle far from all points has no effect either
		skip[a.f.middle(j)] = e.state == placed || e.state == narrow && a.idle(j)
	}
	a.w.covariance(a.f, skip)
}

// idle tells whether the middle of a narrow step could move without any point noticing.
func (a *analysis) idle(j int) bool {
	m, s := a.f.theta[a.f.middle(j)], math.Exp(a.f.theta[a.f.log(j)])
	for _, z := range a.s.zp {
		if math.Abs(z-m) < 15*s {
			return false
		}
	}
	return true
}

// place finds the places between which half of step j is done, whatever a level may be that is not reached: the last place before any that
// may be past the half, and the first behind all that may be before it.
func (a *analysis) place(j int, e *edgeChoice) {
	first, last := a.turns[j], a.turns[j+1]
	sign := 1.0 // of the step: all is worked out for one that rises
	if a.s.tp[last] < a.s.tp[first] {
		sign = -1
	}
	low := [2]float64{a.level(j, 0), a.level(j, 0)}
	high := [2]float64{a.level(j, 1), a.level(j, 1)}
	if !a.reached(j, 0, e.state == narrow) {
		low = beyond(a.s.tp[first], -sign)
	}
	if !a.reached(j, 1, e.state == narrow) {
		high = beyond(a.s.tp[last], sign)
	}
	for i := range low {
		low[i], high[i] = sign*low[i], sign*high[i]
	}
	drop := math.Abs(a.s.tp[last] - a.s.tp[first])
	margin := math.Min(math.Max(2*a.s.noise(), 0.1*drop), 0.4*drop)
	least := (math.Min(low[0], low[1])+math.Min(high[0], high[1]))/2 - margin
	most := (math.Max(low[0], low[1])+math.Max(high[0], high[1]))/2 + margin
	e.w0, e.w1 = -1, -1
	e.lo, e.hi = a.span(first, last, sign, least, most)
	// an edge next to another lies on its own side of the place where the series turns
	if e.lo < 0 && j > 0 {
		e.lo = first
	}
	if e.hi < 0 && j+1 < a.f.k {
		e.hi = last
	}
	if low[0] == low[1] && high[0] == high[1] {
		e.w0, e.w1 = a.span(first, last, sign, low[0]+0.1*drop, high[0]-0.1*drop)
	}
}

// level gives a level next to step j from the fit, or from the place where the series turns when the fit does not know it.
func (a *analysis) level(j, side int) float64 {
	if a.f.sharp[j] || !a.f.sound || !a.knows(j+side) {
		return a.s.tp[a.turns[j+side]]
	}
	return a.f.theta[j+side]
}

// beyond gives the least and the greatest level that a series may reach behind a place with transmittance t, going up or down.
func beyond(t, sign float64) [2]float64 {
	if sign > 0 {
		return [2]float64{t, math.Max(1, t)}
	}
	return [2]float64{math.Min(0, t), t}
}

// span gives the last place before the first that is above least, and the first behind the last that is below most; −1 where the range ends
// before. Signs are turned so that the step rises.
func (a *analysis) span(first, last int, sign, least, most float64) (lo, hi int) {
	lo, hi = -1, -1
	for i := first; i <= last; i++ {
		if sign*a.s.tp[i] > least {
			break
		}
		lo = i
	}
	for i := last; i >= first; i-- {
		if sign*a.s.tp[i] < most {
			break
		}
		hi = i
	}
	return lo, hi
}

// steep fits the series again with step j as good as sharp, its middle where a single point within the step asks for, and gives the best such
// fit.
func (a *analysis) steep(j int) *steps {
	var best *steps
	f := a.f
	try := func(m float64) {
		g := f.clone()
		g.fixed[g.log(j)] = true
		g.theta[g.log(j)], g.theta[g.middle(j)] = a.w.leastLog, m
		if a.w.fit(g, coarse) && (best == nil || g.chi2 < best.chi2) {
			best = g
		}
	}
	m := f.theta[f.middle(j)]
	for i := a.turns[j]; i <= a.turns[j+1]; i++ {
		if i > 1 && a.s.zp[i-2] > m || i+2 < len(a.s.zp) && a.s.zp[i+2] < m {
			continue // far from the middle
		}
		part := (a.s.tp[i] - f.theta[j]) / (f.theta[j+1] - f.theta[j])
		if part > 0.001 && part < 0.999 {
			try(a.s.zp[i] - math.Exp(a.w.leastLog)*math.Log(part/(1-part)))
		}
		if i < a.turns[j+1] {
			try((a.s.zp[i] + a.s.zp[i+1]) / 2)
		}
	}
	return best
}
