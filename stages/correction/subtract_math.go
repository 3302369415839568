package correction

import (
	"errors"
	"fmt"
	"math"
)

// ErrBackgroundAxis says that the axis of a background neither rises nor falls
// strictly, so that nothing can be interpolated on it.
var ErrBackgroundAxis = errors.New("the background's axis must rise or fall strictly from point to point")

// ErrScale says that the factor on a background is not a finite number.
var ErrScale = errors.New("the factor on the background must be a finite number")

// ErrNoOverlap says that no point of a curve lies within its background.
var ErrNoOverlap = errors.New("the curve and its background have no range of the axis in common")

// sameAxis is the part of the distance between two neighbouring background
// points within which a point of the curve counts as lying on one of them: text
// files and unit conversions round an axis by far less, and no peak moves
// visibly by it.
const sameAxis = 1e-6

// Subtracted is a curve less its background, on the curve's axis.
type Subtracted struct {
	Y        []float64 // NaN where there is no result
	U        []float64 // nil: unknown; NaN where Y is NaN, or where a part of it is unknown
	Outside  int       // points beyond the background's range, which are not extrapolated
	Missing  int       // points without a result because the curve or the background has none there
	Matched  int       // points that lie on a background point
	Between  int       // points whose background was interpolated
	First    int       // first and last point with a result; Last < First: none
	Last     int
	Coverage [2]float64 // ends of the background's range
	Places   []Place    // where each point lies among the background's
}

// Place says between which points of another curve a point lies, so that a call on shifted axes can take the same ones.
type Place struct {
	At   int  // the first of two neighbours; −1: beyond the curve
	Upon bool // it lies on the point At
}

// Subtract takes scale times a background off a curve. Where a point of the
// curve lies on a background point (within 1e-6 of the distance to the nearest
// neighbour of that point), the background's value is taken as it is; between
// two points it is interpolated linearly on the curve's axis,
//
//	b(x) = w1·b1 + w2·b2, w1 = (x2−x)/(x2−x1), w2 = 1 − w1,
//	y − s·b,  u² = u_y² + s²·(w1²·u1² + w2²·u2²).
//
// Nothing is extrapolated. The uncertainties are those of independent noise:
// neighbouring results that were interpolated from the same background points
// share its noise, and that covariance is neglected, as it is whenever one
// background serves several curves. Interpolated noise is smaller than measured
// noise (w1² + w2² < 1) for the same reason. Fits over many points weigh such a
// background a little too high; where both axes are the same nothing of this
// arises. scale is exact here; its uncertainty is a matter of the caller.
//
// u or bu nil: unknown, and then U is nil. NaN in any slice means missing, and so
// does a negative uncertainty. The curve's axis may be in any order (an ordered
// one is fastest), the background's must rise or fall.
//
// Errors: ErrBackgroundAxis, ErrScale, ErrNoOverlap. It panics when lengths
// differ.
//
// Source: linear interpolation and JCGM 100:2008, 5.1.2.
func Subtract(x, y, u, bx, by, bu []float64, scale float64) (Subtracted, error) {
	if len(x) != len(y) || u != nil && len(u) != len(x) || len(bx) != len(by) || bu != nil && len(bu) != len(bx) {
		panic("correction: slices of different lengths")
	}
	if math.IsNaN(scale) || math.IsInf(scale, 0) {
		return Subtracted{}, fmt.Errorf("%w (it is %v)", ErrScale, scale)
	}
	rising := len(bx) < 2 || bx[0] < bx[len(bx)-1]
	for j := range bx {
		if bx[j]-bx[j] != 0 || j > 0 && (bx[j] > bx[j-1]) != rising || j > 0 && bx[j] == bx[j-1] {
			return Subtracted{}, fmt.Errorf("%w (point %d, %v)", ErrBackgroundAxis, j+1, bx[j])
		}
	}
	r := Subtracted{Y: make([]float64, len(x)), First: len(x), Last: -1, Places: make([]Place, len(x))}
	if u != nil && bu != nil {
		r.U = make([]float64, len(x))
	}
	if n := len(bx); n > 0 {
		r.Coverage = [2]float64{min(bx[0], bx[n-1]), max(bx[0], bx[n-1])}
	}
	b := background{bx, by, bu, rising}
	j, inside := 0, false
	for i, at := range x {
		r.Y[i], r.Places[i].At = math.NaN(), -1
		if r.U != nil {
			r.U[i] = math.NaN()
		}
		if at-at != 0 {
			r.Missing++
			continue
		}
		var where place
		j, where = b.find(at, j)
		if where == outside {
			r.Outside++
			continue
		}
		inside = true
		r.Places[i] = Place{j, where == onPoint}
		level, variance := b.at(at, j, where)
		v := y[i] - scale*level
		if v-v != 0 {
			r.Missing++
			continue
		}
		r.Y[i] = v
		if where == between {
			r.Between++
		} else {
			r.Matched++
		}
		r.First, r.Last = min(r.First, i), i
		if r.U != nil {
			own := known(u[i])
			r.U[i] = math.Sqrt(own*own + scale*scale*variance)
		}
	}
	if !inside && r.Outside > 0 {
		return Subtracted{}, fmt.Errorf("%w (the background reaches from %v to %v)", ErrNoOverlap, r.Coverage[0], r.Coverage[1])
	}
	return r, nil
}

// Again subtracts a background from a curve whose numbers are those of the call that gave r, shifted a little: each point takes the same
// points of the background as before, also where it has come to lie just beyond them, so that the result moves smoothly with every axis.
// U, counts and coverage stay as they were. It panics when lengths differ.
func (r Subtracted) Again(x, y, bx, by []float64, scale float64) Subtracted {
	if len(x) != len(y) || len(x) != len(r.Places) || len(bx) != len(by) {
		panic("correction: slices of different lengths")
	}
	b := background{x: bx, y: by, rising: len(bx) < 2 || bx[0] < bx[len(bx)-1]}
	out := make([]float64, len(x))
	for i := range x {
		out[i] = math.NaN()
		if r.Places[i].At >= 0 {
			out[i] = y[i] - scale*b.read(x[i], r.Places[i]).value
		}
	}
	r.Y = out
	return r
}

// reading is a value interpolated between the points at and at+1 with the weights w1 and w2; the zero reading is exactly 0.
type reading struct {
	value  float64
	at     int
	w1, w2 float64
}

// read interpolates at x in the segment of a place. A point that was found to lie on another is read there as long as it stays there;
// shifted away, it is interpolated on the side that it went to.
func (b *background) read(x float64, p Place) reading {
	n, j := len(b.x), p.At
	if n == 1 {
		return reading{value: b.y[0], w1: 1}
	}
	if p.Upon {
		step := math.Inf(1)
		if j > 0 {
			step = math.Abs(b.x[j] - b.x[j-1])
		}
		if j+1 < n {
			step = min(step, math.Abs(b.x[j+1]-b.x[j]))
		}
		if math.Abs(x-b.x[j]) <= sameAxis*step {
			return reading{value: b.y[j], at: j, w1: 1}
		}
		if j > 0 && (x < b.x[j]) == b.rising {
			j--
		}
	}
	j = min(j, n-2)
	w2 := (x - b.x[j]) / (b.x[j+1] - b.x[j])
	w1 := (b.x[j+1] - x) / (b.x[j+1] - b.x[j])
	return reading{w1*b.y[j] + w2*b.y[j+1], j, w1, w2}
}

// place says how a point lies to the background points.
type place uint8

const (
	outside place = iota
	onPoint       // on point j
	between       // between j and j+1
)

// background is a curve with a strictly monotonic axis.
type background struct {
	x, y, u []float64
	rising  bool
}

// find places x among the points, starting at the place of the last one found,
// so that two axes in the same order cost one walk.
func (b *background) find(x float64, j int) (int, place) {
	n := len(b.x)
	if n == 0 {
		return 0, outside
	}
	before := func(j int) bool { // point j comes at or before x in the axis's direction
		if b.rising {
			return b.x[j] <= x
		}
		return b.x[j] >= x
	}
	for j > 0 && !before(j) {
		j--
	}
	for j+1 < n && before(j+1) {
		j++
	}
	if b.x[j] == x {
		return j, onPoint
	}
	if n == 1 {
		return j, outside
	}
	// The nearer of j and j+1, and the distance to its nearest neighbour.
	k := j
	if j+1 < n && math.Abs(b.x[j+1]-x) < math.Abs(x-b.x[j]) {
		k = j + 1
	}
	step := math.Inf(1)
	if k > 0 {
		step = math.Abs(b.x[k] - b.x[k-1])
	}
	if k+1 < n {
		step = min(step, math.Abs(b.x[k+1]-b.x[k]))
	}
	switch {
	case math.Abs(b.x[k]-x) <= sameAxis*step:
		return k, onPoint
	case !before(j) || j+1 == n:
		return j, outside
	}
	return j, between
}

// known is a standard uncertainty, NaN when it is negative: squaring would hide
// the marks that some programs write for none.
func known(u float64) float64 {
	if u < 0 {
		return math.NaN()
	}
	return u
}

// at is the background's value and variance at a place.
func (b *background) at(x float64, j int, where place) (level, variance float64) {
	u := func(j int) float64 {
		if b.u == nil {
			return 0
		}
		return known(b.u[j])
	}
	if where == onPoint {
		return b.y[j], u(j) * u(j)
	}
	w2 := (x - b.x[j]) / (b.x[j+1] - b.x[j])
	w1 := (b.x[j+1] - x) / (b.x[j+1] - b.x[j])
	return w1*b.y[j] + w2*b.y[j+1], w1*w1*u(j)*u(j) + w2*w2*u(j+1)*u(j+1)
}
