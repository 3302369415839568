package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"fascicle/catalog"
	"fascicle/pipeline"
)

// A plot is a figure in numbers, before it is drawn.
type plot struct {
	title, about string // about: what the figure is of, a lesser line below the title
	x, y         plotAxis
	series       []plotSeries
	residual     *plotSeries // drawn below, over the same x
	marks        []plotMark
	notes        []string // remarks for the caption, beside those that drawing adds
	wide         float64  // in units of the drawing; 0: drawWidth
	head         float64  // room above the axes, at least
}

func (pl *plot) width() float64 {
	if pl.wide > 0 {
		return pl.wide
	}
	return drawWidth
}

// A plotAxis says what an axis shows. On a square axis unit is that of the quantity itself.
type plotAxis struct {
	label string
	unit  catalog.Unit
	scale pipeline.Scale
}

// caption is the axis' text: quantity [unit], with the power of ten that was taken out of the tick labels before the unit.
func (a plotAxis) caption(power int) string {
	label, unit := a.label, a.unit
	if a.scale == pipeline.Square {
		unit = unit.Pow(2)
		if last := label[strings.LastIndexByte(label, ' ')+1:]; len([]rune(last)) <= 3 {
			label += "²"
		} else {
			label += ", squared"
		}
	}
	in := unit.Symbol()
	if power != 0 {
		in = strings.TrimSpace(tenTo(power) + " " + in)
	}
	switch {
	case in == "":
		return label
	case label == "":
		return "[" + in + "]"
	}
	return label + " [" + in + "]"
}

// Which way a value is censored.
const (
	measured uint8 = iota
	atLeast
	atMost
)

// A plotSeries is one set of points or one line. Missing numbers are NaN.
type plotSeries struct {
	role   pipeline.Role
	label  string
	x, y   []float64
	u      []float64 // nil: no bars; NaN: no bar at this point
	used   []float64 // nil: all; else 1 for those that a fit used
	bound  []uint8   // nil: all measured
	noU    []bool    // nil, or true where u is unknown: drawn open
	lo, hi []float64 // nil, or the ends of the bar where it is no ±u: NaN elsewhere
	ux     []float64 // nil, or half lengths of bars along x: NaN for none
	colour int
	tone   string // colour of its own; "": that of the palette
	mark   string // mark of its own, a word of study files; "": filled, in the shape that goes with colour
}

// A plotMark is a line across the plot at x, or a span from x to to (NaN: none).
type plotMark struct {
	at, to float64
	label  string
	tone   string // "": that of all marks
}

// placed is a series on scaled axes.
type placed struct {
	*plotSeries
	sx, sy []float64 // NaN: not drawn
}

// tally counts what a plot leaves out.
type tally struct {
	x, y    int // no place on the axis
	beyond  int // outside the axes' range
	thinned bool
}

// place scales a series.
func place(s *plotSeries, x, y pipeline.Scale, t *tally) placed {
	n := min(len(s.x), len(s.y))
	both := make([]float64, 2*n)
	p := placed{s, both[:n], both[n:]}
	for i := range n {
		a, b := s.x[i], s.y[i]
		p.sx[i], p.sy[i] = math.NaN(), math.NaN()
		if math.IsNaN(a) || math.IsNaN(b) {
			continue
		}
		sa, okX := scaled(x, a)
		sb, okY := scaled(y, b)
		switch {
		case !okX:
			t.x++
		case !okY:
			t.y++
		default:
			p.sx[i], p.sy[i] = sa, sb
		}
	}
	return p
}

// bar is the bar of a point: from one whole u below it to one above, or the interval in which it lies.
func (s *plotSeries) bar(i int) (from, to float64, ok bool) {
	switch {
	case s.lo != nil && !math.IsNaN(s.lo[i]):
		return s.lo[i], s.hi[i], true
	case s.u != nil && s.u[i] > 0:
		return s.y[i] - s.u[i], s.y[i] + s.u[i], true
	}
	return 0, 0, false
}

// paint is the colour of a series.
func (s *plotSeries) paint() string {
	if s.tone != "" {
		return s.tone
	}
	return colour(s.colour)
}

// marker is the number of the shape of a series' marks, and whether they are open.
func (s *plotSeries) marker() (shape int, open bool) {
	switch k := slices.Index(shapeWords, s.mark); {
	case s.mark == "open":
		return s.colour % len(palette), true
	case k >= 0:
		return k, false
	}
	return s.colour % len(palette), false
}

// shapeWords name shapes in the order of shape.
var shapeWords = []string{"disc", "square", "triangle", "diamond", "point down", "cross"}

func (p placed) isUsed(i int) bool { return p.used == nil || p.used[i] == 1 }

// ranges finds the span of both axes: of the points if there are any, which lines and bars may widen a little. Where a fit used
// part of the points, x shows that part and its surroundings, so that a short range is not lost in a long curve.
func ranges(all []placed, marks []plotMark, xs, ys pipeline.Scale) (x, y span) {
	pointsX, linesX, used := emptySpan(), emptySpan(), emptySpan()
	partial := false
	for _, p := range all {
		for i, v := range p.sx {
			if math.IsNaN(v) {
				continue
			}
			if p.role == pipeline.Line {
				linesX = linesX.with(v)
				continue
			}
			pointsX = pointsX.with(v)
			if p.used != nil {
				partial = true
				if p.used[i] == 1 {
					used = used.with(v)
				}
			}
		}
	}
	x = pointsX.grownTo(linesX, 0.5)
	for _, m := range marks {
		if at, ok := scaled(xs, m.at); ok {
			x = x.grownTo(emptySpan().with(at), 0.25)
		}
	}
	if w := used.hi - used.lo; partial && !used.empty() && w > 0 {
		near := span{max(x.lo, used.lo-w), min(x.hi, used.hi+1.5*w)}
		if xs != pipeline.Linear || (near.hi-near.lo) < 0.5*(x.hi-x.lo) {
			x = near
		}
	}
	points, lines, bars := emptySpan(), emptySpan(), emptySpan()
	for _, p := range all {
		for i, v := range p.sy {
			if math.IsNaN(v) || p.sx[i] < x.lo || p.sx[i] > x.hi {
				continue
			}
			if p.role == pipeline.Line {
				lines = lines.with(v)
				continue
			}
			points = points.with(v)
			if from, to, ok := p.bar(i); ok {
				for _, end := range [2]float64{from, to} {
					if at, ok := scaled(ys, end); ok {
						bars = bars.with(at)
					}
				}
			}
		}
	}
	room := 0.5 // for bars that reach far
	if ys == pipeline.Linear {
		room = 1.5
	}
	y = points.grownTo(lines, 0.5).grownTo(bars, room)
	if ys == pipeline.Linear && y.lo > 0 && y.lo < 0.35*y.hi {
		y.lo = 0
	}
	return x, y
}

// notes says in words what the plot leaves out.
func (t tally) notes(x, y pipeline.Scale) []string {
	var out []string
	say := func(n int, axis string, s pipeline.Scale) {
		if n == 0 {
			return
		}
		why := "is not finite"
		switch s {
		case pipeline.Log:
			why = "is not positive and has no place on the logarithmic axis"
		case pipeline.Square:
			why = "is negative and has no place on the square axis"
		}
		out = append(out, fmt.Sprintf("%s left out: %s %s.", counted(n, "point"), axis, why))
	}
	say(t.x, "x", x)
	say(t.y, "y", y)
	if t.beyond > 0 {
		out = append(out, counted(t.beyond, "point")+" outside the axes.")
	}
	if t.thinned {
		out = append(out, "Thinned for drawing; extremes are kept.")
	}
	return out
}

func counted(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	if strings.HasSuffix(noun, "y") && noun != "day" {
		noun = noun[:len(noun)-1] + "ie"
	}
	return fmt.Sprintf("%d %ss", n, noun)
}
