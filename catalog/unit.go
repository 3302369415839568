package catalog

import (
	"math/big"
)

// Places of the base quantities in a Dimension.
const (
	dimLength = iota
	dimMass
	dimTime
	dimTemperature
	dimAmount
	dimCurrent
	dimAngle
	dimInvalid // not a quantity: set when an exponent left the range of a Dimension
)

// A Dimension holds the exponents of length, mass, time, temperature, amount of substance, electric current and plane
// angle, in this order; the last place is spare. Counts, fractions and absorbances are dimensionless: all zero. The angle
// is kept as a dimension of its own, so that radians and degrees are not taken for bare numbers.
type Dimension [8]int8

// IsZero tells whether the dimension is that of a bare number.
func (d Dimension) IsZero() bool { return d == Dimension{} }

// String writes the dimension with the symbols of the SI brochure (L M T Θ N I), and A for the angle: `L⁻³·N`.
func (d Dimension) String() string {
	names := [...]string{"L", "M", "T", "Θ", "N", "I", "A"}
	terms := make([]term, 0, len(names))
	for i, name := range names {
		if d[i] != 0 {
			terms = append(terms, term{name, int(d[i])})
		}
	}
	if d[dimInvalid] != 0 {
		return "out of range"
	}
	if len(terms) == 0 {
		return "1"
	}
	return writePowers(terms, "·")
}

func (d Dimension) valid() bool { return d[dimInvalid] == 0 }

// plus is d·e^n. An exponent that leaves the range of int8 marks the result as out of range, which converts to nothing.
func (d Dimension) plus(e Dimension, n int) Dimension {
	for i := range d[:dimInvalid] {
		sum := int(d[i]) + int(e[i])*n
		if sum < -128 || sum > 127 {
			return Dimension{dimInvalid: 1}
		}
		d[i] = int8(sum)
	}
	d[dimInvalid] |= e[dimInvalid]
	return d
}

// A Unit is an immutable unit of measurement: a dimension, an exact factor to the SI base unit of that dimension, for
// degrees Celsius an offset, and the spelling for machines and for people. The zero Unit is the dimensionless 1. Two units
// are compared with Equal; == does not compile.
type Unit struct {
	_ [0]func() // == would compare pointers
	d *unitData // nil: 1
}

type unitData struct {
	dim    Dimension
	factor *big.Rat // one of this unit in SI base units
	offset *big.Rat // SI value at 0 of this unit; nil: 0
	code   []term   // UCUM spelling
	symbol []term   // spelling for people
}

// A term is one power in the spelling of a unit: {"cm", -1}.
type term struct {
	name string
	exp  int
}

var ratOne = big.NewRat(1, 1)

func (u Unit) data() unitData {
	if u.d == nil {
		return unitData{factor: ratOne}
	}
	return *u.d
}

// Dim gives the dimension of the unit.
func (u Unit) Dim() Dimension { return u.data().dim }

// Equal tells whether the two units mean the same: M and mol/L are equal, µL and mm3 are, kcps and cps are not.
func (u Unit) Equal(v Unit) bool {
	if u.d == v.d {
		return true
	}
	a, b := u.data(), v.data()
	return a.dim == b.dim && a.dim.valid() && a.factor.Cmp(b.factor) == 0 && ratOrZero(a.offset).Cmp(ratOrZero(b.offset)) == 0
}

// IsOne tells whether the unit is dimensionless with factor 1, as 1 and counts are, and % is not.
func (u Unit) IsOne() bool { return u.Equal(Unit{}) }

// Mul is the unit u·v. In a product °C is a difference of temperature, so K.
func (u Unit) Mul(v Unit) Unit { return u.times(v, 1) }

// Div is the unit u/v. In a quotient °C is a difference of temperature, so K.
func (u Unit) Div(v Unit) Unit { return u.times(v, -1) }

// Recip is the unit 1/u.
func (u Unit) Recip() Unit { return u.Pow(-1) }

// Pow is the unit u to the power n; to the power 1 it is u itself. A power that no Dimension can hold gives a unit that
// converts to nothing.
func (u Unit) Pow(n int) Unit {
	if n == 1 {
		return u
	}
	return Unit{}.times(u, n)
}

// times is u·v^n.
func (u Unit) times(v Unit, n int) Unit {
	a, b := u.data().asDifference(), v.data().asDifference()
	dim := a.dim.plus(b.dim, n)
	if n > maxPower || n < -maxPower {
		dim = Dimension{dimInvalid: 1}
	}
	if !dim.valid() {
		return Unit{d: &unitData{dim: dim, factor: ratOne, code: a.code, symbol: a.symbol}}
	}
	return Unit{d: &unitData{
		dim:    dim,
		factor: new(big.Rat).Mul(a.factor, ratPow(b.factor, n)),
		code:   mergeTerms(a.code, b.code, n),
		symbol: mergeTerms(a.symbol, b.symbol, n),
	}}
}

// maxPower keeps factors to a sensible number of digits.
const maxPower = 127

func (d unitData) asDifference() unitData {
	if d.offset == nil {
		return d
	}
	return unitData{dim: d.dim, factor: d.factor, code: []term{{"K", 1}}, symbol: []term{{"K", 1}}}
}

// mergeTerms is a·b^n with equal names taken together, in order of first appearance; powers of zero vanish.
func mergeTerms(a, b []term, n int) []term {
	merged := make([]term, 0, len(a)+len(b))
	add := func(t term) {
		for i := range merged {
			if merged[i].name == t.name {
				merged[i].exp += t.exp
				return
			}
		}
		merged = append(merged, t)
	}
	for _, t := range a {
		add(t)
	}
	for _, t := range b {
		add(term{t.name, t.exp * n})
	}
	kept := merged[:0]
	for _, t := range merged {
		if t.exp != 0 {
			kept = append(kept, t)
		}
	}
	return kept
}

func ratOrZero(r *big.Rat) *big.Rat {
	if r == nil {
		return new(big.Rat)
	}
	return r
}

func ratPow(r *big.Rat, n int) *big.Rat {
	if n == 1 {
		return r
	}
	if n < 0 {
		r, n = new(big.Rat).Inv(r), -n
	}
	power := new(big.Rat).Set(ratOne)
	for range n {
		power.Mul(power, r)
	}
	return power
}
