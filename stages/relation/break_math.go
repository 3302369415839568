package relation

import (
	"errors"
	"math"
	"math/rand/v2"

	"fascicle/stages/internal/stats"

	"gonum.org/v1/gonum/stat/distuv"
)

// ErrFewPlaces says that there are fewer than four different x, so that no line can be seen on both sides of a break.
var ErrFewPlaces = errors.New("fewer than four different x")

// Break is two straight lines that meet. P of its Fit is at, before, after, level: the place of the break, the slopes before and
// behind it, and y there.
type Break struct {
	Fit
	Lo, Hi     float64    // at, with 95 % confidence; NaN: the end is not within the points
	Along, Far []float64  // along x: 95 % of the two lines drawn about the fitted ones come within this of them; nil: the points lie on them within rounding
	U95        [4]float64 // of P: of draws about the fitted lines, 95 % come within 1.96·U95; more than √Cov, which takes the lines for straight
	Evidence   float64    // how much better than a line, in χ²
	Edge       int        // −1, 1: the best place is the first or the last one that was tried, and the break may lie beyond it
	Chance     float64    // probability of as much evidence on a straight line
	Relative   bool       // the evidence is taken relative to the scatter of the points
	Whole      float64    // χ² with what the points share, see wholeChi2
	Settled    bool       // the fit with uncertain x came to rest
	Bend       bool       // a parabola, which has no break, describes the points as well (by Schwarz's criterion)
}

// FitBreak fits two lines that meet, and tests them against the straight line that FitStraight gave. The place of the break is tried everywhere between
// the second and the last but one x, so that each line has two; with exact x the least χ² is found in closed form. With uncertain x
// the fit is linearised about the adjusted points (as in FitStraight) until these come to rest; a point belongs to the side on which its
// adjusted x lies.
//
// Chance: the gain over the straight line is compared with what `draws` sets of normal numbers about that line give; relative to what
// is left where u is not known, or where the points scatter about the broken line more than u says (χ², p < 0.05). Lo and Hi: the
// profile of χ² over the place of the break, up to a threshold that draws about the broken line give (see redraw), which
// also give U95. The draws have what the points share.
//
// The errors are ErrFewPoints (less than five), ErrFewPlaces and ErrSingularCovariance.
//
// Source: Hudson, J. Am. Stat. Assoc. 61 (1966) 1097; bootstrap test: Davison and Hinkley, Bootstrap Methods (Cambridge, 1997), 4.2
// (both from memory).
func FitBreak(p *Points, line *Fit, draws int, rnd *rand.Rand, stop func() error) (*Break, error) {
	n := len(p.X)
	if n < leastPoints {
		return nil, ErrFewPoints
	}
	null, ok := newHinges(line.X, line.s)
	if !ok {
		return nil, ErrFewPlaces
	}
	b, err := p.meet(line)
	if err != nil {
		return nil, err
	}
	gain := null.best(line.e).gain
	b.Lo, b.Hi = b.P[0], b.P[0]
	b.Along = bandPlaces(p.X, b.P[0])
	b.Evidence = gain
	b.Whole = p.wholeChi2(&b.Fit, true)
	b.Relative = p.Vyy == nil || stats.ChiSquareUpper(b.Whole, float64(n-4)) < 0.05
	if b.Relative && line.Chi2 <= exactly*line.about() {
		b.Chance = 1 // on a line within rounding, and what is left of it says nothing
		return b, nil
	}
	null.share(line.s, p.sharedResiduals(line.B, p.modelled(line)), b.scale())
	if b.Chance, err = null.chance(gain, line.Chi2, b.Relative, draws, rnd, stop); err != nil {
		return nil, err
	}
	if p.Vyy == nil && b.Chi2 <= exactly*line.about() {
		return b, nil // on two lines within rounding: the break has no width
	}
	b.Bend = bends(line, gain)
	err = b.interval(p, draws, rnd, stop)
	return b, err
}

// scale is the factor by which the points' variance is greater than their uncertainties say.
func (b *Break) scale() float64 {
	if nu := float64(len(b.X) - 4); b.Relative && nu > 0 && b.Whole > 0 {
		return b.Whole / nu
	}
	return 1
}

// exactly is the part of the sum of squares of y about their mean that is rounding.
const exactly = 1e-20

// about is the whitened sum of squares of y about the best constant.
func (f *Fit) about() float64 {
	g, ok := f.s.fit([][]float64{ones(len(f.y))}, f.y)
	if !ok {
		return 0
	}
	return g.chi2
}

// bends tells whether a parabola does as well: it has one parameter less.
func bends(line *Fit, gain float64) bool {
	n := len(line.X)
	c, c2 := make([]float64, n), make([]float64, n)
	for i, x := range line.X {
		c[i] = x - line.origin
		c2[i] = c[i] * c[i]
	}
	g, ok := line.s.fit([][]float64{ones(n), c, c2}, line.y)
	if !ok {
		return false
	}
	size := math.Log(float64(n))
	if line.unweighted {
		return float64(n)*math.Log(g.chi2/(line.Chi2-gain)) < size
	}
	return g.chi2-(line.Chi2-gain) < size
}

// interval looks for the places of the break that the points allow.
func (b *Break) interval(p *Points, draws int, rnd *rand.Rand, stop func() error) error {
	h, ok := newHinges(b.X, b.s)
	if !ok {
		return ErrFewPlaces
	}
	relative := p.Vyy == nil
	nu := float64(len(b.X) - 4)
	least, scale := chi95, 1.0
	if relative {
		q := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: nu}.Quantile(0.975)
		least, scale = q*q, b.Chi2/nu
	}
	h.share(b.s, p.sharedResiduals(b.B, p.modelled(&b.Fit)), scale)
	e := make([]float64, len(b.y))
	b.s.whiten(e, b.y)
	sd := math.Sqrt(scale)
	for i := range e {
		e[i] /= sd
	}
	m := h.best(e)
	gain := m.gain
	r, err := h.redraw(e, m, b.Along, relative, draws, rnd, least, stop)
	if err != nil {
		return err
	}
	b.Far = r.band
	for k := range b.U95 {
		b.U95[k] = r.far[k] / math.Sqrt(chi95)
		if k > 0 { // in units of y
			b.U95[k] *= sd
		}
	}
	// the break may lie elsewhere, and draws about there may go further
	h.bare(e)
	lo, hi := h.within(e, gain-r.most)
	if math.IsNaN(lo) {
		lo = h.at[0]
	}
	if math.IsNaN(hi) {
		hi = h.at[len(h.at)-1]
	}
	most, far := r.most, r.far[0]
	b.s.whiten(e, b.y)
	for i := range e {
		e[i] /= sd
	}
	for k := range elsewhere {
		t := lo + (hi-lo)*float64(k)/(elsewhere-1)
		if r, err = h.redraw(e, h.placeAt(e, t), b.Along, relative, draws, rnd, least, stop); err != nil {
			return err
		}
		most, far = max(most, r.most), max(far, r.far[0])
		for i, v := range r.band {
			b.Far[i] = max(b.Far[i], v)
		}
	}
	for i := range b.Far {
		b.Far[i] *= sd
	}
	h.bare(e)
	b.Lo, b.Hi = h.within(e, gain-most)
	if !b.Settled { // anew linearised, the break lies elsewhere
		b.Lo, b.Hi = math.Min(b.Lo, b.P[0]), math.Max(b.Hi, b.P[0])
	}
	b.U95[0] = far / math.Sqrt(chi95)
	if half := 0.5 * (b.Hi - b.Lo) / math.Sqrt(chi95); half > b.U95[0] {
		b.U95[0] = half
	}
	return nil
}

// elsewhere is the number of further places about which a break is drawn.
const elsewhere = 6

// chi95 is the χ² that one degree of freedom exceeds with a probability of 5 %: 1.959964² (Abramowitz and Stegun, table 26.1, from memory).
const chi95 = 3.841458820694124

// mostRounds bounds the linearisations of a break with uncertain x.
const mostRounds = 100

// meet finds the two lines.
func (p *Points) meet(line *Fit) (*Break, error) {
	work := &Break{Fit: Fit{X: line.X, B: line.B, s: line.s, y: line.y, origin: line.origin, unweighted: line.unweighted}}
	var best *Break
	before := math.Inf(1)
	for round := range mostRounds {
		next, err := p.joined(work)
		if err != nil {
			return nil, err
		}
		if p.Vxx == nil || p.Vyy == nil {
			next.Settled = true
			return next, nil
		}
		if best == nil || next.Chi2 < best.Chi2 {
			best = next
		}
		still := math.Abs(next.Chi2-before) <= 1e-12*(1+before)
		for k, v := range next.P {
			still = still && round > 0 && math.Abs(v-work.P[k]) <= 1e-9*math.Sqrt(next.Cov[k*4+k])
		}
		if still {
			next.Settled = true
			return next, nil
		}
		work, before = next, next.Chi2
	}
	return best, nil
}

// joined fits the two lines once, linearised about `from`, and linearises anew about what comes out.
func (p *Points) joined(from *Break) (*Break, error) {
	n := len(p.X)
	h, ok := newHinges(from.X, from.s)
	if !ok {
		return nil, ErrFewPlaces
	}
	e := make([]float64, n)
	from.s.whiten(e, from.y)
	h.bare(e)
	t := h.best(e).t
	c, ok := columnsAt(t, from.X, from.s, from.y)
	if !ok {
		return nil, ErrFewPlaces
	}
	b := &Break{Fit: Fit{B: make([]float64, n), R: make([]float64, n), s: from.s, origin: from.origin, unweighted: from.unweighted}}
	for i := range n {
		b.B[i] = c.p[1]
		if from.X[i] > t {
			b.B[i] = c.p[2]
		}
		b.R[i] = p.Y[i] - c.p[0] - b.B[i]*(p.X[i]-t)
	}
	if p.Vxx != nil && p.Vyy != nil {
		if b.s, ok = factorPositive(p.residualCovariance(b.B), n); !ok {
			return nil, ErrSingularCovariance
		}
	}
	b.U = b.s.s
	w := make([]float64, n)
	b.s.whiten(w, b.R)
	b.Chi2 = dot(w, w)
	if p.Vyy == nil {
		b.X = p.X
	} else {
		b.X = p.adjust(b.s, b.B, b.R)
	}
	b.y = make([]float64, n)
	for i := range n {
		b.y[i] = p.Y[i] - b.B[i]*(p.X[i]-b.X[i])
	}
	b.P = []float64{t, c.p[1], c.p[2], c.p[0]}
	if t == h.at[0] {
		b.Edge = -1
	} else if t == h.at[len(h.at)-1] {
		b.Edge = 1
	}
	b.derivatives()
	return b, nil
}

// columnsAt fits y = level + before·(x − t)₋ + after·(x − t)₊ with t given.
func columnsAt(t float64, x []float64, s *factor, y []float64) (linearFit, bool) {
	before, after := make([]float64, len(x)), make([]float64, len(x))
	for i, v := range x {
		if v > t {
			after[i] = v - t
		} else {
			before[i] = v - t
		}
	}
	return s.fit([][]float64{ones(len(x)), before, after}, y)
}

// derivatives gives D and Cov of at, before, after, level; no D where both slopes are equal, so that the place of the break is not determined.
func (b *Break) derivatives() {
	n := len(b.X)
	t := b.P[0]
	columns := [][]float64{make([]float64, n), make([]float64, n), make([]float64, n), ones(n)}
	for i, x := range b.X {
		if x > t {
			columns[2][i] = x - t
		} else {
			columns[1][i] = x - t
		}
		columns[0][i] = -b.B[i]
	}
	g, ok := b.s.fit(columns, b.y)
	if !ok {
		b.Cov = make([]float64, 16)
		for k := range 4 {
			b.Cov[k*4+k] = math.Inf(1)
		}
		return
	}
	b.D, b.Cov = g.g, g.cov
}
