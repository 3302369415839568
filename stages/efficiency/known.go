package efficiency

import "math"

// Bound says how much is known of a number.
type Bound uint8

const (
	Plain    Bound = iota // Value
	Lower                 // at least Value
	Upper                 // at most Value
	Interval              // from Lo to Hi; Value is NaN
	Nothing               // not even a bound; Value is NaN
)

// Known is what is known of a number. U and Nu belong to Value, which is a bound
// where Bound says so; U is NaN where it is unknown. Nu are U's degrees of
// freedom, 0 or +Inf where they are infinite.
type Known struct {
	Value, U, Nu float64
	Bound        Bound
	Lo, Hi       float64 // of an Interval
}

// ends gives the interval in which a number lies.
func (k Known) ends() (lo, hi float64) {
	switch k.Bound {
	case Plain:
		return k.Value, k.Value
	case Lower:
		return k.Value, math.Inf(1)
	case Upper:
		return math.Inf(-1), k.Value
	case Interval:
		return k.Lo, k.Hi
	}
	return math.Inf(-1), math.Inf(1)
}

// over gives a/b of a positive b, with the uncertainty of a alone. negative says
// on which side of zero a's value lies; it is handed in, so that a's small shifts
// do not change what becomes of a bound.
//
// The ends of a/b are the quotients of the ends; an end that would need an
// unlimited b is none, since it tells nothing beyond the sign.
func over(a, b Known, negative bool) Known {
	aLo, aHi := a.ends()
	bLo, bHi := b.ends()
	if b.Bound == Upper {
		bLo = 0
	}
	// the b that makes a/b least, and greatest
	least, greatest := bHi, bLo
	if a.Bound != Interval && negative || a.Bound == Interval && aLo < 0 {
		least = bLo
	}
	if a.Bound != Interval && negative || a.Bound == Interval && aHi < 0 {
		greatest = bHi
	}
	q := Known{Nu: a.Nu}
	q.Lo, q.Hi = end(aLo, least, -1), end(aHi, greatest, 1)
	switch {
	case a.Bound == Plain && b.Bound == Plain:
		q.Value, q.U = a.Value/b.Value, a.U/b.Value
	case math.IsInf(q.Lo, 0) && math.IsInf(q.Hi, 0):
		q.Bound, q.Value, q.U = Nothing, math.NaN(), math.NaN()
	case math.IsInf(q.Lo, 0):
		q.Bound, q.Value, q.U = Upper, q.Hi, a.U/greatest
	case math.IsInf(q.Hi, 0):
		q.Bound, q.Value, q.U = Lower, q.Lo, a.U/least
	default:
		q.Bound, q.Value, q.U = Interval, math.NaN(), math.NaN()
	}
	return q
}

// end is one end of a quotient, infinite on its side where it is none.
func end(a, b float64, side int) float64 {
	if math.IsInf(a, 0) || math.IsInf(b, 0) || b == 0 {
		return math.Inf(side)
	}
	return a / b
}

// less gives 1 − k: bounds turn over, and the uncertainty stays.
func (k Known) less() Known {
	k.Value = 1 - k.Value
	k.Lo, k.Hi = 1-k.Hi, 1-k.Lo
	switch k.Bound {
	case Lower:
		k.Bound = Upper
	case Upper:
		k.Bound = Lower
	}
	return k
}
