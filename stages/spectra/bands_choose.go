package spectra

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Baseline says what is taken off under a band before it is measured.
type Baseline uint8

const (
	NoBaseline Baseline = iota
	ConstantBaseline
	LinearBaseline
)

// BandOptions are the rules of a measurement of bands.
type BandOptions struct {
	Degree   int     // of the polynomial through the top, 2 to 6
	Top      float64 // share of the height down to which the top's points reach, 0 to 1
	Baseline Baseline
	// Absorption: the values belong to a wavelength alone (absorbance), so that none changes when the axis becomes an energy, and
	// the onset is the edge at long wavelengths. Otherwise they are densities over the wavelength (emission).
	Absorption bool
}

// Shares of the height between which the flanks are fitted: for the onset about
// the steepest place, which a Gaussian has at 0.61 of its height and a
// Lorentzian at 0.75, for the width about the half. Common practice, no source.
const (
	flankHigh, flankLow = 0.85, 0.35
	halfHigh, halfLow   = 0.65, 0.35
)

// window is a run of points, both ends included; last < first: none.
type window struct {
	first, last int
	degree      int
	start       float64 // where a search in it starts
}

var noWindow = window{first: 0, last: -1}

func (w window) points() int { return w.last - w.first + 1 }
func (w window) some() bool  { return w.last >= w.first }

// TopState says what was found at the top of a band.
type TopState uint8

const (
	TopFound   TopState = iota
	TopUnseen           // no band stands out of the noise
	TopAtShort          // the highest point is the first of the range
	TopAtLong           // the highest point is the last of the range
	TopFlat             // several equal highest values: the detector or the file clips the band
	TopFew              // the range has fewer points than the polynomial has coefficients
	TopNone             // the polynomial has no maximum among the points of the top
)

// BandChoice is all that is decided about a band before it is measured: with
// it, the measurement is a smooth function of the data.
type BandChoice struct {
	State       TopState
	first, last int     // the range
	ends        int     // points at each end that the baseline is from
	top         window  // points of the top, or of the plateau
	left, right window  // about half the height, at short and at long wavelengths
	flank       window  // for the onset
	Again       float64 // the curve rises over half the height again here, beyond where it had fallen; NaN: it does not
	Rounded     bool    // several equal highest values, which the rounding of the file explains
	// WeakArea: the area is not five times its u, or not positive where u is unknown: nothing is divided by it.
	WeakArea bool
	noise    float64 // from second differences
}

// Workspace holds the buffers of a measurement. The zero value is ready; it must
// not be shared between goroutines.
type Workspace struct {
	level, smooth             []float64 // values less the baseline; smoothed
	top, other, edge          localPolynomial
	left, right               localPolynomial
	gradients                 [numbers + 3][]float64
	variance, sorted, scratch []float64
	component                 []int8
	windows                   []scatter
}

// ChooseBand decides how the band between points first and last of x, y is
// measured: which points make its top, and which its flanks. x rises strictly;
// y is finite; u is nil or NaN where it is unknown. It panics when the range has
// fewer than three points.
//
// The highest point is sought in a running mean of as many points as the noise
// asks for (until it is 2 % of the height) but at most two fifths of those above
// half the height. The top is the run of points around it above Top of its
// height, made as long as the polynomial's degree plus 3 where the range allows.
// Noise is taken from second differences, σ² = Σ(y_{i−1} − 2y_i + y_{i+1})²/6n.
// A band counts as seen when its height exceeds what the highest of as many
// windows of noise exceed with a probability of 1 %.
//
// Several (three or more) equal highest values in a row mean a clipped band,
// unless the values are rounded so coarsely that neighbours are equal by chance:
// their step is then more than half the noise, and a parabola through the points
// beside the run does not rise above it by more than two steps.
//
// Source: common practice, no source.
func ChooseBand(x, y, u []float64, first, last int, o BandOptions, w *Workspace) BandChoice {
	c := BandChoice{State: TopFew, first: first, last: last, top: noWindow, left: noWindow, right: noWindow, flank: noWindow, Again: math.NaN()}
	n := last - first + 1
	c.ends = max(1, n/20)
	if n < 3 {
		panic("spectra: a band has at least three points")
	}
	c.noise = noiseOf(y[first : last+1])
	c.takeBaseline(x, y, o, w)
	c.WeakArea = c.weak(x, u, o, w)
	if n <= o.Degree {
		return c
	}
	peak := c.smoothTop(w)
	height := w.smooth[peak]
	if run := equalRun(y, first, last); run.points() >= 3 && height > 0 {
		if c.clipped(x, y, run, w) {
			c.State, c.top = TopFlat, run
			c.sides(x, run.first, run.last, w.level[run.first], w)
			return c
		}
		c.Rounded = true
	}
	c.top = window{first: peak, last: peak, degree: o.Degree, start: x[peak]}
	for c.top.first > first && w.smooth[c.top.first-1] >= o.Top*height {
		c.top.first--
	}
	for c.top.last < last && w.smooth[c.top.last+1] >= o.Top*height {
		c.top.last++
	}
	c.widen(&c.top, min(n, o.Degree+3), w.smooth)
	c.State = TopFound
	switch {
	case height <= 0:
		c.State = TopUnseen
		return c
	case peak == first:
		c.State = TopAtShort
	case peak == last:
		c.State = TopAtLong
	}
	c.State = c.seen(x, u, w)
	if c.State == TopFound {
		c.sides(x, c.top.first, c.top.last, height, w)
		c.chooseFlank(peak, height, o, w)
	}
	return c
}

// seen fits the top and tells what became of a top that promised to be in the given state.
func (c *BandChoice) seen(x, u []float64, w *Workspace) TopState {
	if !w.top.fit(x, w.level, u, c.top.first, c.top.last, c.top.degree) {
		return TopFew
	}
	at := x[c.first]
	switch c.State {
	case TopAtLong:
		at = x[c.last]
	case TopFound:
		var ok bool
		if at, ok = w.top.top(x); !ok {
			return TopNone
		}
	}
	d := w.top.at(at)
	g := w.gradient(0, len(x))
	w.top.addGradient(g, 1, &d, 0)
	v := 0.0
	for i, s := range g {
		noise := c.noise
		if u != nil && !math.IsNaN(u[i]) {
			noise = u[i]
		}
		v += s * s * noise * noise
	}
	windows := max(1, float64(c.last-c.first+1)/float64(c.top.points()))
	if w.top.value(&d, 0) < distuv.UnitNormal.Quantile(1-0.01/windows)*math.Sqrt(v) {
		return TopUnseen
	}
	return c.State
}

// noiseOf is the noise that second differences show.
func noiseOf(y []float64) float64 {
	if len(y) < 3 {
		return 0
	}
	s := 0.0
	for i := 1; i+1 < len(y); i++ {
		d := y[i-1] - 2*y[i] + y[i+1]
		s += d * d
	}
	return math.Sqrt(s / 6 / float64(len(y)-2))
}

// smoothTop fills w.smooth with a running mean and gives its highest point.
func (c *BandChoice) smoothTop(w *Workspace) (peak int) {
	high := math.Inf(-1)
	for _, v := range w.level[c.first : c.last+1] {
		high = max(high, v)
	}
	above := 0
	for _, v := range w.level[c.first : c.last+1] {
		if v > high/2 {
			above++
		}
	}
	m := 0
	for m < above/5 && c.noise > 0.02*high*math.Sqrt(float64(2*m+1)) {
		m++
	}
	w.smooth = sized(w.smooth, len(w.level))
	w.scratch = sized(w.scratch, len(w.level)+1)
	sum := w.scratch // of the values before a point
	sum[c.first] = 0
	for i := c.first; i <= c.last; i++ {
		sum[i+1] = sum[i] + w.level[i]
	}
	peak = c.first
	for i := c.first; i <= c.last; i++ {
		h := min(m, i-c.first, c.last-i)
		w.smooth[i] = w.level[i]
		if h > 0 {
			w.smooth[i] = (sum[i+h+1] - sum[i-h]) / float64(2*h+1)
		}
		if w.smooth[i] > w.smooth[peak] {
			peak = i
		}
	}
	return peak
}

// widen makes a window at least n points long, towards the higher side.
func (c *BandChoice) widen(at *window, n int, level []float64) {
	for at.points() < n {
		switch {
		case at.first == c.first && at.last == c.last:
			return
		case at.last == c.last, at.first > c.first && level[at.first-1] > level[at.last+1]:
			at.first--
		default:
			at.last++
		}
	}
}

// equalRun is the longest run of neighbours that have the highest value.
func equalRun(y []float64, first, last int) window {
	high := slices.Max(y[first : last+1])
	best := noWindow
	for i := first; i <= last; i++ {
		if y[i] != high {
			continue
		}
		r := window{first: i, last: i}
		for r.last < last && y[r.last+1] == high {
			r.last++
		}
		if r.points() > best.points() {
			best = r
		}
		i = r.last
	}
	return best
}

// clipped tells whether a run of equal highest values is a clipped band, not one of rounded values.
func (c *BandChoice) clipped(x, y []float64, run window, w *Workspace) bool {
	w.sorted = append(w.sorted[:0], y[c.first:c.last+1]...)
	slices.Sort(w.sorted)
	step := math.Inf(1)
	for i, v := range w.sorted[1:] {
		if d := v - w.sorted[i]; d > 0 {
			step = min(step, d)
		}
	}
	if c.noise > 2*step {
		return true
	}
	// the parabola through as many points on both sides
	k := min(max(3, run.points()), run.first-c.first, c.last-run.last)
	if k < 2 {
		return false
	}
	w.scratch = w.scratch[:0]
	at := make([]float64, 0, 2*k)
	for i := run.first - k; i <= run.last+k; i++ {
		if i < run.first || i > run.last {
			at, w.scratch = append(at, x[i]), append(w.scratch, y[i])
		}
	}
	if !w.other.fit(at, w.scratch, nil, 0, len(at)-1, 2) {
		return false
	}
	d := w.other.at((x[run.first] + x[run.last]) / 2)
	return w.other.value(&d, 0)-y[run.first] > 2*step+3*c.noise/math.Sqrt(float64(2*k))
}

// sides chooses the windows about half the height on both sides of the points a … b.
func (c *BandChoice) sides(x []float64, a, b int, height float64, w *Workspace) {
	l := w.smooth
	if cut := c.fallsBelow(l, a, -1, height/2); cut >= 0 {
		c.left = c.aboutHalf(x, l, cut, cut+1, height, c.first, a-1)
		c.again(x, l, cut, -1, height)
	}
	if cut := c.fallsBelow(l, b, 1, height/2); cut >= 0 {
		c.right = c.aboutHalf(x, l, cut-1, cut, height, b+1, c.last)
		c.again(x, l, cut, 1, height)
	}
}

// fallsBelow is the first point from `from` in a direction that lies below a level, −1 where there is none in the range.
func (c *BandChoice) fallsBelow(l []float64, from, step int, level float64) int {
	for i := from; i >= c.first && i <= c.last; i += step {
		if l[i] < level {
			return i
		}
	}
	return -1
}

// aboutHalf is the run of points about a crossing between neighbours i and j, within lowest … highest.
func (c *BandChoice) aboutHalf(x, l []float64, i, j int, height float64, lowest, highest int) window {
	at := window{first: i, last: j}
	in := func(k int) bool { return l[k] <= halfHigh*height && l[k] >= halfLow*height }
	for at.first > lowest && in(at.first-1) {
		at.first--
	}
	for at.last < highest && in(at.last+1) {
		at.last++
	}
	for at.points() < 4 && (at.first > lowest || at.last < highest) {
		if at.first > lowest {
			at.first--
		}
		if at.last < highest && at.points() < 4 {
			at.last++
		}
	}
	at.degree = min(3, max(1, (at.points()-1)/2))
	switch noise := c.noise / math.Sqrt(float64(at.points())) / height; {
	case noise > 0.01:
		at.degree = 1
	case noise > 0.002:
		at.degree = min(2, at.degree)
	}
	at.start = x[i] + (x[j]-x[i])*(height/2-l[i])/(l[j]-l[i])
	return at
}

// again notes where the curve rises over half its height beyond a place where it had fallen below.
func (c *BandChoice) again(x, l []float64, from, step int, height float64) {
	margin := height/2 + 3*c.noise
	for i := from; i >= c.first && i <= c.last; i += step {
		if l[i] > margin && math.IsNaN(c.Again) {
			c.Again = x[i]
		}
	}
}

// chooseFlank chooses the points of the flank whose line gives the onset.
func (c *BandChoice) chooseFlank(peak int, height float64, o BandOptions, w *Workspace) {
	l, step := w.smooth, -1
	if o.Absorption {
		step = 1
	}
	from := c.fallsBelow(l, peak, step, flankHigh*height)
	to := c.fallsBelow(l, peak, step, flankLow*height)
	if from < 0 || to < 0 {
		return
	}
	to -= step
	c.flank = window{first: min(from, to), last: max(from, to), degree: 1}
}
