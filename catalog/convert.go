package catalog

import (
	"math"
	"math/big"

	"fascicle/catalog/fault"
)

// A Conversion takes numbers from one unit to another: y = f·x + c, with exact rational f and c. The zero Conversion
// changes nothing.
type Conversion struct {
	way         uint8
	hi, lo      float64 // the factor (or the divisor, then lo is 0) as an unevaluated sum of two float64
	offset      float64
	factor, off *big.Rat // exact; nil: 1 and 0
}

const (
	wayIdentity = iota
	wayMultiply
	wayDivide
)

// Convert gives the conversion between two units of one dimension. The error, a *fault.Fault without a place, names both
// units and their dimensions.
func Convert(from, to Unit) (Conversion, error) {
	a, b := from.data(), to.data()
	if a.dim != b.dim || !a.dim.valid() {
		return Conversion{}, &fault.Fault{
			Found:    "a quantity in " + from.Code() + " (dimension " + a.dim.String() + ")",
			Expected: "one in " + to.Code() + " (dimension " + b.dim.String() + ")",
			Remedy:   "correct the unit",
		}
	}
	factor := new(big.Rat).Quo(a.factor, b.factor)
	off := new(big.Rat).Sub(ratOrZero(a.offset), ratOrZero(b.offset))
	off.Quo(off, b.factor)
	if factor.Cmp(ratOne) == 0 && off.Sign() == 0 {
		return Conversion{}, nil
	}
	c := Conversion{way: wayMultiply, factor: factor, off: off}
	c.hi, c.lo = twoFloats(factor)
	if c.hi == 0 || math.IsInf(c.hi, 0) {
		return Conversion{}, &fault.Fault{Found: "the units " + from.Code() + " and " + to.Code(), Expected: "units less than 1e300 apart"}
	}
	if c.lo != 0 && factor.Num().IsInt64() && factor.Num().Int64() == 1 {
		if divisor, lo := twoFloats(new(big.Rat).Inv(factor)); lo == 0 {
			c.way, c.hi, c.lo = wayDivide, divisor, 0
		}
	}
	c.offset, _ = off.Float64()
	return c, nil
}

// twoFloats splits r into its nearest float64 and the rest.
func twoFloats(r *big.Rat) (hi, lo float64) {
	if hi, _ = r.Float64(); !math.IsInf(hi, 0) {
		rest := new(big.Rat).SetFloat64(hi)
		lo, _ = rest.Sub(r, rest).Float64()
	}
	return hi, lo
}

// Float converts a value. The result is the nearest float64 to f·x where f or 1/f is exact in a float64 (every step
// between metric units that a float64 can hold), and within 0.5000001 of a unit in the last place for other factors; the
// offset of °C is then added, which rounds once more.
func (c Conversion) Float(x float64) float64 {
	return float64(c.Delta(x)) + c.offset
}

// Delta converts a difference, such as a standard uncertainty: the offset of °C has no part in it.
func (c Conversion) Delta(u float64) float64 {
	switch c.way {
	case wayMultiply:
		if c.lo == 0 || math.IsInf(u, 0) {
			return u * c.hi
		}
		return math.FMA(u, c.hi, u*c.lo)
	case wayDivide:
		return u / c.hi
	}
	return u
}

// Slice converts the values of src into dst, which may be src itself. Their lengths must agree.
func (c Conversion) Slice(dst, src []float64) {
	if len(dst) != len(src) {
		panic("catalog: lengths of the two slices differ")
	}
	switch { // one loop for each way: the choice inside costs more than the arithmetic
	case c.way == wayIdentity:
		copy(dst, src)
	case c.way == wayDivide:
		for i, x := range src {
			dst[i] = x/c.hi + c.offset
		}
	case c.lo == 0:
		hi, offset := c.hi, c.offset
		for i, x := range src {
			dst[i] = float64(x*hi) + offset // not fused: as Float does it
		}
	default:
		for i, x := range src {
			dst[i] = c.Float(x)
		}
	}
}

// rat converts an exact value; delta leaves the offset out.
func (c Conversion) rat(x *big.Rat, delta bool) *big.Rat {
	if c.factor == nil {
		return x
	}
	y := new(big.Rat).Mul(x, c.factor)
	if !delta {
		y.Add(y, c.off)
	}
	return y
}
