package scattering

import (
	"math"

	"fascicle/stages/internal/stats"
)

// Shape is what the scattering bodies are like, as far as Guinier's law depends
// on it.
type Shape uint8

const (
	Compact Shape = iota // globular bodies
	Chain                // flexible chains
	Rod                  // long stiff bodies
)

// GuinierLimit is the usual bound on q·Rg for a shape: 1.3 for compact bodies,
// 0.8 for chains and rods, whose curves leave Guinier's law earlier.
//
// Source: Guinier and Fournet (1955); Trewhella et al., Acta Cryst. D 73 (2017)
// 710 (both from memory).
func GuinierLimit(s Shape) float64 {
	if s == Compact {
		return 1.3
	}
	return 0.8
}

// bodyCurvature bounds C/Rg⁴, the term that follows Guinier's in
// ln P = −x/3 + (C/Rg⁴)·x², x = (q·Rg)², for bodies of a shape. From the power
// series of the closed forms: hollow sphere −1/90, sphere −1/126, two points
// +1/90, thin rod 11/450, Gaussian chain +1/36. What bends more than these is
// not the body.
func bodyCurvature(s Shape) (low, high float64) {
	if s == Compact {
		return -1. / 90, 1. / 90
	}
	return -1. / 90, 1. / 36
}

// LowQ says how the points below a range depart from its straight line.
type LowQ uint8

const (
	Straight LowQ = iota
	Upturn        // they lie above: aggregates, or parasitic scattering at the beam stop
	Downturn      // they lie below: repulsion between particles, or a shadowed detector
)

func (l LowQ) String() string { return [...]string{"straight", "upturn", "downturn"}[l] }

// Stop says why a range ends where it does.
type Stop uint8

const (
	AtLimit Stop = iota // the next point would exceed the limit on q·Rg
	AtEnd               // the data end
)

func (s Stop) String() string {
	return [...]string{"limit on q·Rg", "end of the data"}[s]
}

// RangeOptions are the rules of a search. The zero value means compact bodies
// and the usual numbers.
type RangeOptions struct {
	Shape     Shape
	Limit     float64 // on q_max·Rg; 0: GuinierLimit(Shape)
	MinPoints int     // 0: 6
	// Shoulder: the range may be a shoulder above a larger structure, so that
	// any number of points may lie below it. Without it such a range is refused.
	Shoulder bool
}

// GuinierRange is a range found for a Guinier fit.
type GuinierRange struct {
	Status      Status  // Fitted: found; TooFew; NoPlateau (the rest then tells of the range that was refused; Points 0: there was none)
	First, Last int     // indices into the input, inclusive, First < Last
	QMin, QMax  float64 // q at the ends
	QMinRg      float64 // q·Rg there, with the Rg of the search
	QMaxRg      float64
	Points      int // usable points within
	Stop        Stop
	LowQ        LowQ
	Dropped     int     // usable points below the range
	LowRatio    float64 // I of the lowest point over the range's line there; 1 when none was dropped
	LowP        float64 // p of the test that dropped the last point (one-sided); 1: none was dropped; 0: no range starts at it
}

// Levels of the low-q test. The first point to be dropped must be beyond doubt,
// since some eight overlapping blocks are tried; once there is a departure, its
// tail is followed at a lower level. Common practice, no source.
const (
	firstLevel = 5e-4
	tailLevel  = 5e-3
)

// lnFloor is the noise of ln I below which no measurement lies; it keeps the
// tests meaningful on computed curves.
const lnFloor = 1e-6

// allowance widens the curvature of bodies for the terms of the series that
// follow (a tenth at q·Rg = 1.3 for a sphere).
const allowance = 1.25

// leastSpan is the least ratio of q² at the ends of a range. Over less, a power
// law passes for a straight line of ln I over q². Common practice, no source.
const leastSpan = 2

// FindGuinier finds the range of a straight line of ln I over q².
//
// For a first point s the range reaches to the last point e with
// q_e·Rg(s..e) ≤ limit, where Rg is fitted to the points s..e themselves and
// growth ends where the limit is exceeded by more than two standard
// uncertainties of (q·Rg)²: so the range is self-consistent, and a chance
// excess among the first few points does not end it. A range whose ends lie
// closer than a factor √2 in q is none: a power law would pass for it. Then the lowest k points,
// k = 1, 2, 3, 5, 7, 10, … up to a third of the range, are held against the line
// through the others: a departure of their mean that the curvature of a body
// of this shape cannot explain drops the first point, and the search starts
// anew from the next one. Dropped points are reported as an upturn or a
// downturn. When they are more than half as many as the points kept, or reach
// more than twice the line over more than a tenth of that number (and more than
// three), the range found is no plateau of this curve (NoPlateau), unless
// Shoulder is set. Noise is taken from u, or from the scatter when that is larger or u is unknown.
//
// Nothing is random, and a falling axis gives the range of the rising one. NaN
// in intensity or u means missing. The error is ErrAxis. w may be nil. It
// panics when lengths differ.
//
// Source: the rules are common practice, no source; the test of the low points
// is the prediction test of Chow, Econometrica 28 (1960) 591 (from memory).
func FindGuinier(q, intensity, u []float64, o RangeOptions, w *Workspace) (GuinierRange, error) {
	if w == nil {
		w = &Workspace{}
	}
	if !monotonic(q) {
		return GuinierRange{}, ErrAxis
	}
	if o.Limit == 0 {
		o.Limit = GuinierLimit(o.Shape)
	}
	if o.MinPoints == 0 {
		o.MinPoints = 6
	}
	if o.MinPoints < 3 || !(o.Limit > 0) {
		panic("scattering: a Guinier range needs a positive limit and at least 3 points")
	}
	known, _, _, _ := w.load(q, intensity, u)
	r := GuinierRange{LowRatio: 1, LowP: 1, Status: TooFew}
	n := len(w.x)
	if n < o.MinPoints {
		return r, nil
	}
	w.accumulate(known)
	low, high := bodyCurvature(o.Shape)
	level := firstLevel
	p := 1.0
	for s := 0; s+o.MinPoints <= n; s++ {
		e := w.reach(s, o, known)
		if e < 0 || w.x[e] < leastSpan*w.x[s] {
			level, p = tailLevel, 0
			continue
		}
		if bad, at := w.lowTest(s, e, o.MinPoints, known, low, high, level); bad {
			level, p = tailLevel, at
			continue
		}
		w.report(&r, s, e, p)
		steep := r.LowRatio > 2 && r.Dropped > max(3, r.Points/10)
		if (steep || r.Dropped*2 > r.Points) && !o.Shoulder {
			r.Status = NoPlateau
		}
		return r, nil
	}
	r.Status = NoPlateau
	return r, nil
}

// report fills in a range from its usable points s..e.
func (w *Workspace) report(r *GuinierRange, s, e int, p float64) {
	r.Status = Fitted
	r.First, r.Last = min(w.at[s], w.at[e]), max(w.at[s], w.at[e])
	r.QMin, r.QMax, r.Points, r.Dropped = math.Sqrt(w.x[s]), math.Sqrt(w.x[e]), e-s+1, s
	f := w.fit(s, e)
	rg := math.Sqrt(math.Max(0, -3*f.slope))
	r.QMinRg, r.QMaxRg = r.QMin*rg, r.QMax*rg
	if e == len(w.x)-1 {
		r.Stop = AtEnd
	}
	if s == 0 {
		return
	}
	r.LowP = p
	mean := 0.0
	for k := 0; k < s; k++ {
		mean += w.y[k] - f.at(w.x[k])
	}
	r.LowQ = Downturn
	if mean > 0 {
		r.LowQ = Upturn
	}
	r.LowRatio = math.Exp(w.y[0] - f.at(w.x[0]))
}

// reach is the last point of the self-consistent range that starts at s, −1
// when there is none.
func (w *Workspace) reach(s int, o RangeOptions, known bool) int {
	end := -1
	limit := o.Limit * o.Limit
	for e := s + o.MinPoints - 1; e < len(w.x); e++ {
		f := w.fit(s, e)
		over := -3*f.slope*w.x[e] - limit // (q·Rg)² − limit²
		if over <= 0 {
			end = e
			continue
		}
		if u := 3 * w.x[e]; over*over > 4*u*u*f.noise(known)/f.sxx {
			break
		}
	}
	return end
}

// lowTest holds the lowest points of s..e against the line through the others
// and says whether they depart from it, and with which p.
func (w *Workspace) lowTest(s, e, minPoints int, known bool, low, high, level float64) (bad bool, p float64) {
	for k := 1; 3*k <= e-s+1 && e-s+1-k >= minPoints-1; k += 1 + k/3 {
		f, b := w.fit(s+k, e), w.fit(s, s+k-1)
		if f.n < 3 {
			break
		}
		d := b.xm - f.xm
		away := b.ym - f.ym - f.slope*d
		// What C·q⁴ with C = 1 would do to it.
		bend := b.x2m - f.x2m - f.slope2*d
		rg4 := 9 * f.slope * f.slope
		lo, hi := allowance*low*rg4*bend, allowance*high*rg4*bend
		if lo > hi {
			lo, hi = hi, lo
		}
		excess := 0.0
		switch {
		case away > hi:
			excess = away - hi
		case away < lo:
			excess = lo - away
		}
		z := excess / math.Sqrt(f.noise(known)*(1/b.sw+1/f.sw+d*d/f.sxx))
		if z < 2 {
			continue
		}
		nu := math.Inf(1)
		if f.scatter(known) {
			nu = float64(f.n - 2)
		}
		if p = stats.StudentUpper(z, nu); p < level {
			return true, p
		}
	}
	return false, 1
}

func monotonic(q []float64) bool {
	if len(q) < 2 {
		return true
	}
	rising := q[0] < q[len(q)-1]
	for i := 1; i < len(q); i++ {
		if !(q[i] > q[i-1]) && rising || !(q[i] < q[i-1]) && !rising {
			return false
		}
	}
	return true
}
