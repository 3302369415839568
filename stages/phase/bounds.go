package phase

import "math"

// Bound says what is known of a number.
type Bound uint8

const (
	Measured Bound = iota // it is X ± U
	Lower                 // it lies above X
	Upper                 // it lies below X
	Interval              // it lies from Lo to Hi; X is the middle
	Unknown               // nothing is known
)

// String gives the word that stands in a column NAME_bound, "" for Measured and Unknown.
func (b Bound) String() string { return [...]string{"", "lower", "upper", "interval", ""}[b] }

// Number is a number or a bound of one. U is the own standard uncertainty of X, or of the bound.
type Number struct {
	X, U   float64
	Bound  Bound
	Lo, Hi float64 // of an interval
}

func unknown() Number {
	return Number{X: math.NaN(), U: math.NaN(), Bound: Unknown, Lo: math.NaN(), Hi: math.NaN()}
}

func measured(x, u float64) Number {
	return Number{X: x, U: u, Lo: math.NaN(), Hi: math.NaN()}
}

// between gives what is known of a number from lo to hi, either of which may be infinite, with the own standard uncertainty of the limits.
func between(lo, hi, u float64) Number {
	n := Number{U: u, Lo: math.NaN(), Hi: math.NaN()}
	switch {
	case math.IsInf(lo, -1) && math.IsInf(hi, 1):
		return unknown()
	case math.IsInf(hi, 1):
		n.X, n.Bound = lo, Lower
	case math.IsInf(lo, -1):
		n.X, n.Bound = hi, Upper
	default:
		n.X, n.Bound, n.Lo, n.Hi = (lo+hi)/2, Interval, lo, hi
	}
	return n
}

// limits gives what a number lies between.
func (n Number) limits() (lo, hi float64) {
	switch n.Bound {
	case Measured:
		return n.X, n.X
	case Lower:
		return n.X, math.Inf(1)
	case Upper:
		return math.Inf(-1), n.X
	case Interval:
		return n.Lo, n.Hi
	}
	return math.Inf(-1), math.Inf(1)
}

// along turns a place z into the axis: exp z when it is logarithmic, the own uncertainty with it.
func (n Number) along(log bool) Number {
	if !log || n.Bound == Unknown {
		return n
	}
	out := n
	out.X, out.Lo, out.Hi = math.Exp(n.X), math.Exp(n.Lo), math.Exp(n.Hi)
	if n.Bound == Interval {
		out.X = (out.Lo + out.Hi) / 2
	}
	out.U = out.X * n.U
	return out
}

// Window is a stretch of turbid samples. Opens is where the series turns turbid along the rising axis, Closes where it clears.
type Window struct {
	Opens, Closes, Middle, Width Number
	// Cov is the own covariance of opens, closes, middle and width, row by row; nil unless both edges are measured.
	Cov *[4][4]float64
	// how often an edge was seen, 0 to 2
	seen int
}

// window joins two edges in z (with their own covariance there) to a window on the axis:
//
//	middle = (opens + closes)/2, on a logarithmic axis √(opens·closes);  width = closes − opens.
//
// Bounds go through as intervals do: what lies above a bound less what is measured lies above the difference.
func window(opens, closes Number, cov float64, log bool) Window {
	w := Window{Opens: opens.along(log), Closes: closes.along(log)}
	ox, ou := w.Opens.limits()
	cx, cu := w.Closes.limits()
	oz, oh := opens.limits()
	cz, ch := closes.limits()
	own := func(a, b Number, cov float64) float64 { // of a sum; edges that are not measured bring nothing of their own
		v := 0.0
		if a.Bound != Unknown {
			v += a.U * a.U
		}
		if b.Bound != Unknown {
			v += b.U * b.U
		}
		return math.Sqrt(math.Max(v+2*cov, 0))
	}
	both := opens.Bound == Measured && closes.Bound == Measured
	if !both {
		cov = 0
		w.Width = between(cx-ou, cu-ox, own(w.Opens, w.Closes, 0))
		w.Middle = between((oz+cz)/2, (oh+ch)/2, own(opens, closes, 0)/2).along(log)
	} else {
		jo, jc := 1.0, 1.0 // d axis / dz
		middle := (opens.X + closes.X) / 2
		jm := 0.5
		if log {
			jo, jc = w.Opens.X, w.Closes.X
			middle = math.Exp(middle)
			jm = middle / 2
		}
		j := [4][2]float64{{jo, 0}, {0, jc}, {jm, jm}, {-jo, jc}}
		w.Cov = &[4][4]float64{}
		for a := range j {
			for b := range j {
				w.Cov[a][b] = j[a][0]*j[b][0]*opens.U*opens.U + j[a][1]*j[b][1]*closes.U*closes.U + (j[a][0]*j[b][1]+j[a][1]*j[b][0])*cov
			}
		}
		w.Middle = measured(middle, math.Sqrt(w.Cov[2][2]))
		w.Width = measured(w.Closes.X-w.Opens.X, math.Sqrt(math.Max(w.Cov[3][3], 0)))
	}
	for _, n := range [...]Number{opens, closes} {
		if n.Bound == Measured || n.Bound == Interval {
			w.seen++
		}
	}
	return w
}
