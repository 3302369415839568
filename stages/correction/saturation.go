package correction

import "math"

// clipRun is the number of equal points in a row at the top of a curve that may be a clipped one.
const clipRun = 4

// Clipped looks for a flat top that a detector at its limit leaves: at least four points in a row that all have the greatest
// absolute value of the curve, to the last digit. It gives the first point and how many there are; n = 0: none.
//
// Coarse digits also make neighbours equal, and are told from clipping by two signs: then more than one pair of neighbours in fifty is
// equal elsewhere too, or the step off the top is one digit, or two or three, and all values lie a whole number of digits below the top.
// A curve that is constant, or of fewer than twelve points, is not judged. NaN are missing points.
//
// Source: common practice, no source.
func Clipped(y []float64) (first, n int) {
	top, at := 0.0, -1
	for i, v := range y {
		if math.Abs(v) > top {
			top, at = math.Abs(v), i
		}
	}
	if at < 0 || len(y) < 12 {
		return 0, 0
	}
	last := at
	for last+1 < len(y) && y[last+1] == y[at] {
		last++
	}
	if n = last - at + 1; n < clipRun {
		return 0, 0
	}
	pairs, equal := 0, 0
	for i := 1; i < len(y); i++ {
		if d := y[i] - y[i-1]; d == d && (i <= at || i > last) {
			pairs++
			if d == 0 {
				equal++
			}
		}
	}
	if pairs < 8 || 50*equal > pairs {
		return 0, 0
	}
	off := math.Inf(1)
	if at > 0 && y[at-1] == y[at-1] {
		off = math.Abs(y[at] - y[at-1])
	}
	if last+1 < len(y) && y[last+1] == y[last+1] {
		off = min(off, math.Abs(y[at]-y[last+1]))
	}
	for digits := 1.0; digits <= 3; digits++ {
		if whole(y, y[at], off/digits) {
			return 0, 0
		}
	}
	return at, n
}

// whole tells whether all values lie whole numbers of steps from top.
func whole(y []float64, top, step float64) bool {
	for _, v := range y {
		if d := (top - v) / step; math.Abs(d-math.Round(d)) > 1e-3 {
			return false
		}
	}
	return true
}
