package relation

import (
	"math"
	"math/rand/v2"
	"slices"
)

// hinges are two lines that meet at any t between the second and the last but one x, as one direction in the space of whitened
// numbers for each t: (x − t)₊ less what a straight line has of it. Between two neighbouring x it is p − (t − x_j)·v, with p of (x − x_j)₊ and v of the
// step [x > x_j], so that the best t is known in closed form, for as many sets of numbers as are wanted.
//
// Source: Hudson, J. Am. Stat. Assoc. 61 (1966) 1097 (from memory).
type hinges struct {
	n      int
	at     []float64   // the x at which stretches of t begin, and the last one's end
	p, v   [][]float64 // v of the last one is nil
	pp, pv []float64
	vv     []float64
	line   [][]float64 // orthonormal whitened columns of the straight line: 1, then x − mid less its mean
	mid    float64
	r      [3]float64   // the whitened 1 is r0·line0, x − mid is r1·line0 + r2·line1
	pl, vl [][2]float64 // what p and v had of the line
	shared [][]float64  // what draws have in common: whitened, in units of the noise
}

// place is where a break takes most off a sum of squares.
type place struct {
	gain, t float64
	bend    float64 // change of slope
	j       int     // stretch, and how far behind its begin
	tau     float64
}

// leastPoints is the number of points from which a break can be told: two lines and their meeting take four, and one is to test them.
const leastPoints = 5

// newHinges needs the points' x, and the factor of the covariance of their y. ok is false when there are less than four different x.
func newHinges(x []float64, s *factor) (h *hinges, ok bool) {
	sorted := slices.Clone(x)
	slices.Sort(sorted)
	span := sorted[len(sorted)-1] - sorted[0]
	distinct := sorted[:1]
	for _, v := range sorted[1:] {
		if v-distinct[len(distinct)-1] > 1e-9*span {
			distinct = append(distinct, v)
		}
	}
	if len(distinct) < 4 {
		return nil, false
	}
	h = &hinges{n: len(x), at: slices.Clone(distinct[1 : len(distinct)-1])}
	mid := 0.5 * (distinct[0] + distinct[len(distinct)-1])
	c := make([]float64, len(x))
	for i, v := range x {
		c[i] = v - mid
	}
	g, ok := s.fit([][]float64{ones(len(x)), c}, c)
	if !ok {
		return nil, false
	}
	h.line, h.mid = g.q, mid
	w := make([]float64, len(x))
	s.whiten(w, ones(len(x)))
	h.r[0] = dot(h.line[0], w)
	s.whiten(w, c)
	h.r[1], h.r[2] = dot(h.line[0], w), dot(h.line[1], w)
	for j, t := range h.at {
		p, v := make([]float64, len(x)), make([]float64, len(x))
		for i, a := range x {
			if a-t > 1e-9*span {
				c[i] = a - t
			} else {
				c[i] = 0
			}
		}
		s.whiten(p, c)
		h.pl = append(h.pl, h.bare(p))
		h.p, h.pp = append(h.p, p), append(h.pp, dot(p, p))
		if j == len(h.at)-1 {
			h.v, h.vl, h.pv, h.vv = append(h.v, nil), append(h.vl, [2]float64{}), append(h.pv, 0), append(h.vv, 0)
			break
		}
		for i := range c {
			if c[i] > 0 {
				c[i] = 1
			}
		}
		s.whiten(v, c)
		h.vl = append(h.vl, h.bare(v))
		h.v, h.pv, h.vv = append(h.v, v), append(h.pv, dot(p, v)), append(h.vv, dot(v, v))
	}
	return h, true
}

// share lets draws have in common what sources do to the residuals. scale is the variance of a whitened number.
func (h *hinges) share(s *factor, parts [][]float64, scale float64) {
	sd := math.Sqrt(scale)
	h.shared = nil
	for _, part := range parts {
		w := make([]float64, h.n)
		s.whiten(w, part)
		for i := range w {
			w[i] /= sd
		}
		h.shared = append(h.shared, w)
	}
}

// draw adds noise to e.
func (h *hinges) draw(e []float64, rnd *rand.Rand) {
	for i := range e {
		e[i] += rnd.NormFloat64()
	}
	for _, w := range h.shared {
		addTimes(e, rnd.NormFloat64(), w)
	}
}

// bare takes off what the straight line has of w, and gives it.
func (h *hinges) bare(w []float64) (had [2]float64) {
	for range 2 {
		for k, q := range h.line {
			d := dot(q, w)
			had[k] += d
			addTimes(w, -d, q)
		}
	}
	return had
}

// best finds the t at which a break takes most off the sum of squares of e, and how much. e may still have a straight line in it.
func (h *hinges) best(e []float64) (m place) {
	m.gain = -1
	for j, from := range h.at {
		a := dot(h.p[j], e)
		if g := a * a / h.pp[j]; g > m.gain {
			m = place{gain: g, t: from, bend: a / h.pp[j], j: j}
		}
		if h.v[j] == nil {
			break
		}
		b := dot(h.v[j], e)
		det := h.pp[j]*h.vv[j] - h.pv[j]*h.pv[j]
		if !(det > 1e-12*h.pp[j]*h.vv[j]) {
			continue
		}
		c1, c2 := (a*h.vv[j]-b*h.pv[j])/det, (b*h.pp[j]-a*h.pv[j])/det
		// p and v are to enter as c1·(p − τ·v)
		tau := -c2 / c1
		if tau > 0 && tau < h.at[j+1]-from {
			if g := a*c1 + b*c2; g > m.gain {
				m = place{gain: g, t: from + tau, bend: c1, j: j, tau: tau}
			}
		}
	}
	return m
}

// placeAt is a break at a given t.
func (h *hinges) placeAt(e []float64, t float64) (m place) {
	last := len(h.at) - 1
	for m.j < last && t >= h.at[m.j+1] {
		m.j++
	}
	m.t, m.tau = t, t-h.at[m.j]
	if m.j == last {
		m.t, m.tau = h.at[last], 0
	}
	w := h.bareAt(m)
	size := dot(w, w)
	m.bend = dot(w, e) / size
	m.gain = m.bend * m.bend * size
	return m
}

// bareAt is the direction of a break, without what the straight line has of it.
func (h *hinges) bareAt(m place) []float64 {
	w := slices.Clone(h.p[m.j])
	if h.v[m.j] != nil {
		addTimes(w, -m.tau, h.v[m.j])
	}
	return w
}

// lineOf gives the line before the break found in e: its value at mid and its slope.
func (h *hinges) lineOf(e []float64, m place) (value, slope float64) {
	var c [2]float64
	for k, q := range h.line {
		c[k] = dot(q, e) - m.bend*(h.pl[m.j][k]-m.tau*h.vl[m.j][k])
	}
	slope = c[1] / h.r[2]
	return (c[0] - h.r[1]*slope) / h.r[0], slope
}

// within gives the ends of the t whose breaks take at least `enough` off the sum of squares of e, or as much as the best. NaN: such t reach to
// the last place that was tried.
func (h *hinges) within(e []float64, enough float64) (lo, hi float64) {
	lo, hi = math.NaN(), math.NaN()
	last := len(h.at) - 1
	a, b := make([]float64, last+1), make([]float64, last+1)
	for j := range h.at {
		a[j] = dot(h.p[j], e)
		if h.v[j] != nil {
			b[j] = dot(h.v[j], e)
		}
	}
	passes := func(j int) bool { return a[j]*a[j] >= enough*h.pp[j] }
	if enough <= 0 {
		return lo, hi
	}
	if !passes(0) {
		for j := range last {
			if x, ok := h.crossing(j, a[j], b[j], enough, false); ok {
				lo = h.at[j] + x
				break
			} else if passes(j + 1) {
				lo = h.at[j+1]
				break
			}
		}
	}
	if !passes(last) {
		for j := last - 1; j >= 0; j-- {
			if x, ok := h.crossing(j, a[j], b[j], enough, true); ok {
				hi = h.at[j] + x
				break
			} else if passes(j) {
				hi = h.at[j]
				break
			}
		}
	}
	return lo, hi
}

// crossing finds the first (or last) τ of a stretch at which (a − τb)² = enough·|p − τv|².
func (h *hinges) crossing(j int, a, b, enough float64, fromEnd bool) (tau float64, ok bool) {
	width := h.at[j+1] - h.at[j]
	c2, c1, c0 := b*b-enough*h.vv[j], -2*a*b+2*enough*h.pv[j], a*a-enough*h.pp[j]
	d := c1*c1 - 4*c2*c0
	if d < 0 {
		return 0, false
	}
	q := -0.5 * (c1 + math.Copysign(math.Sqrt(d), c1))
	for _, x := range [...]float64{q / c2, c0 / q} {
		if !(x >= 0 && x <= width) || ok && (x > tau) != fromEnd {
			continue
		}
		tau, ok = x, true
	}
	return tau, ok
}

// rest is the sum of squares of e less that of its straight line.
func (h *hinges) rest(e []float64) float64 {
	sum := dot(e, e)
	for _, q := range h.line {
		c := dot(q, e)
		sum -= c * c
	}
	return sum
}

// chance is the probability that points on a straight line would give as much for a break: the share of sets of normal numbers that do, the set
// in hand counted as one. With relative, what counts is the gain as a part of the line's sum of squares, so that the size of the
// uncertainties does not matter.
func (h *hinges) chance(gain, rest float64, relative bool, draws int, rnd *rand.Rand, stop func() error) (float64, error) {
	e := make([]float64, h.n)
	as := 1
	for k := range draws {
		if k%256 == 0 {
			if err := stop(); err != nil {
				return 0, err
			}
		}
		clear(e)
		h.draw(e, rnd)
		g := h.best(e).gain
		if relative && g*rest >= gain*h.rest(e) || !relative && g >= gain {
			as++
		}
	}
	return float64(as) / float64(draws+1), nil
}

// drawn is what draws about a fitted break show.
type drawn struct {
	most float64    // how much more than the least χ² (in units of the variance) a place of the break may have at 95 %
	band []float64  // 95 % of the two lines come within this of the fitted ones, at each x asked for
	far  [4]float64 // 95 % of at, before, after and level come within this of the fitted ones (in units of the standard deviation)
}

// redraw draws numbers about the break m of what was measured, and looks for the break in each set. The limit of χ² is not less than `least`. With
// relative, χ² is in units of the residual variance. The band is drawn at the x in along.
func (h *hinges) redraw(measured []float64, m place, along []float64, relative bool, draws int, rnd *rand.Rand, least float64, stop func() error) (r drawn, err error) {
	_, before := h.lineOf(measured, m)
	bare := h.bareAt(m)
	w := slices.Clone(bare) // with what the line has of it
	for k, q := range h.line {
		addTimes(w, h.pl[m.j][k]-m.tau*h.vl[m.j][k], q)
	}
	size := norm(bare)
	for i := range bare {
		bare[i] /= size
	}
	e := make([]float64, h.n)
	d := make([]float64, draws)
	var off [4][]float64
	for k := range off {
		off[k] = make([]float64, draws)
	}
	banded := min(draws, mostBanded)
	lines := make([][]float64, len(along))
	for i := range lines {
		lines[i] = make([]float64, banded)
	}
	for k := range d {
		if k%256 == 0 {
			if err := stop(); err != nil {
				return r, err
			}
		}
		for i := range e {
			e[i] = m.bend * w[i]
		}
		h.draw(e, rnd)
		got := h.best(e)
		c := dot(bare, e)
		if d[k] = got.gain - c*c; relative {
			rest := h.rest(e)
			d[k] *= float64(h.n-4) / max(rest-got.gain, 1e-12*rest)
		}
		value, slope := h.lineOf(e, got)
		off[0][k] = math.Abs(got.t - m.t)
		off[1][k] = math.Abs(slope)
		off[2][k] = math.Abs(slope + got.bend - m.bend)
		off[3][k] = math.Abs(value + slope*(got.t-h.mid) + before*(got.t-m.t))
		if k < banded {
			for i, x := range along {
				lines[i][k] = math.Abs(value + slope*(x-h.mid) + got.bend*max(0, x-got.t) - m.bend*max(0, x-m.t))
			}
		}
	}
	for _, l := range lines {
		r.band = append(r.band, ranked(l, rank95(banded)))
	}
	at := rank95(draws)
	r.most = max(least, ranked(d, at))
	for k := range off {
		r.far[k] = ranked(off[k], at)
	}
	return r, nil
}

// mostBanded is the number of draws from which a band is formed.
const mostBanded = 1000

// rank95 is the index of the sorted draw that 95 % do not exceed.
func rank95(draws int) int { return min(draws-1, int(math.Ceil(0.95*float64(draws+1)))-1) }

// ranked gives the number that would stand at index k if v were sorted, and puts v into another order (Hoare, Commun. ACM 4 (1961) 321,
// from memory). There must be no NaN.
func ranked(v []float64, k int) float64 {
	lo, hi := 0, len(v)-1
	for lo < hi {
		pivot := v[lo+(hi-lo)/2]
		i, j := lo, hi
		for i <= j {
			for v[i] < pivot {
				i++
			}
			for v[j] > pivot {
				j--
			}
			if i <= j {
				v[i], v[j] = v[j], v[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			hi = j
		case k >= i:
			lo = i
		default:
			return v[k]
		}
	}
	return v[k]
}
