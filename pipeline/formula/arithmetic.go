package formula

import (
	"fmt"
	"math"

	"fascicle/catalog"
)

// maxExponent bounds the exponents of a unit, which are small in anything physical; beyond it, scale factors leave the range of
// floating point.
const maxExponent = 16

// convert gives the same number in another unit.
func convert(o operand, unit catalog.Unit) (operand, error) {
	if o.typ.Unit.Equal(unit) {
		o.typ.Unit = unit
		return o, nil
	}
	conv, err := catalog.Convert(o.typ.Unit, unit)
	if err != nil {
		return operand{}, &Error{Offset: o.at, Found: o.describe(), Expected: "a number" + inUnit(unit), Remedy: err.Error()}
	}
	if o.literal {
		x := conv.Float(o.value)
		if !finite(x) {
			return operand{}, &Error{Offset: o.at, Found: o.describe() + ", which is out of range" + inUnit(unit), Expected: "a smaller number", Remedy: "correct the exponent"}
		}
		return numberAs(o.at, x, unit), nil
	}
	f := o.number
	o.typ.Unit = unit
	o.single = false
	o.number = func(env Env) (float64, bool) {
		x, ok := f(env)
		if !ok {
			return 0, false
		}
		return defined(conv.Float(x))
	}
	return o, nil
}

// defined turns a result that is not finite into null.
func defined(x float64) (float64, bool) {
	if !finite(x) {
		return 0, false
	}
	return x, true
}

// absolute turns a number in a unit with a zero point of its own (°C) into the unit without (K), in which alone sums, products
// and differences have a meaning.
func absolute(o operand) (operand, error) {
	canonical := catalog.Canonical(o.typ.Unit.Dim(), false)
	conv, err := catalog.Convert(o.typ.Unit, canonical)
	if err != nil || conv.Float(0) == 0 {
		return o, nil
	}
	return convert(o, canonical)
}

// plain scales a dimensionless number (5 %) to 1, and leaves others.
func plain(o operand) (operand, error) {
	if o.typ.Unit.Dim() != (catalog.Dimension{}) {
		return o, nil
	}
	return convert(o, catalog.Unit{})
}

// factor prepares an operand for a product.
func factor(o operand) (operand, error) {
	o, err := absolute(o)
	if err != nil {
		return o, err
	}
	return plain(o)
}

// arithmetic compiles l op r for + - * / % ^ **. opAt is the place of the operator.
func arithmetic(op string, l, r operand, at, opAt int) (operand, error) {
	for _, o := range []operand{l, r} {
		if o.typ.Sort != Number {
			e := &Error{Offset: o.at, Found: fmt.Sprintf("%s beside %s", o.describe(), op), Expected: "a number", Remedy: "only numbers can be calculated with"}
			if o.literal && o.typ.Sort == Text {
				e.Remedy = "a quantity in quotes can be compared, not calculated with: name a constant"
			}
			return operand{}, e
		}
	}
	switch op {
	case "+", "-", "%":
		return sum(op, l, r, at)
	case "*", "/":
		return product(op, l, r, at, opAt)
	case "^", "**":
		return power(l, r, at)
	}
	return operand{}, &Error{Offset: opAt, Found: fmt.Sprintf("%q", op), Expected: "an operator such as == < && + *", Remedy: "use one of these"}
}

func sum(op string, l, r operand, at int) (operand, error) {
	if l.typ.Unit.Dim() != r.typ.Unit.Dim() {
		return operand{}, mismatch(l, r, "two numbers of one dimension beside "+op)
	}
	l, err := absolute(l)
	if err != nil {
		return operand{}, err
	}
	if r, err = absolute(r); err != nil {
		return operand{}, err
	}
	if r, err = convert(r, l.typ.Unit); err != nil {
		return operand{}, err
	}
	out := operand{typ: l.typ, at: at}
	switch op {
	case "+":
		out.number = both(l.number, r.number, func(x, y float64) float64 { return x + y })
	case "-":
		out.number = both(l.number, r.number, func(x, y float64) float64 { return x - y })
	default:
		out.number = both(l.number, r.number, math.Mod)
	}
	return out, nil
}

// both applies f to two numbers that are not null.
func both(a, b func(Env) (float64, bool), f func(x, y float64) float64) func(Env) (float64, bool) {
	return func(env Env) (float64, bool) {
		x, ok := a(env)
		if !ok {
			return 0, false
		}
		y, ok := b(env)
		if !ok {
			return 0, false
		}
		return defined(f(x, y))
	}
}

// each applies f to one number that is not null.
func each(a func(Env) (float64, bool), f func(float64) float64) func(Env) (float64, bool) {
	return func(env Env) (float64, bool) {
		x, ok := a(env)
		if !ok {
			return 0, false
		}
		return defined(f(x))
	}
}

func product(op string, l, r operand, at, opAt int) (operand, error) {
	l, err := factor(l)
	if err != nil {
		return operand{}, err
	}
	if r, err = factor(r); err != nil {
		return operand{}, err
	}
	sign := 1
	f := func(x, y float64) float64 { return x * y }
	if op == "/" {
		sign = -1
		f = func(x, y float64) float64 { return x / y }
	}
	if err := bounded(l.typ.Unit.Dim(), r.typ.Unit.Dim(), sign, opAt); err != nil {
		return operand{}, err
	}
	out := operand{typ: Type{Sort: Number}, at: at, number: both(l.number, r.number, f)}
	if sign > 0 {
		out.typ.Unit = l.typ.Unit.Mul(r.typ.Unit)
	} else {
		out.typ.Unit = l.typ.Unit.Div(r.typ.Unit)
	}
	if err := scalable(out.typ.Unit, opAt); err != nil {
		return operand{}, err
	}
	return plain(out)
}

// bounded refuses a unit whose exponents, a + n·b, are beyond all physics.
func bounded(a, b catalog.Dimension, n, at int) error {
	for i := range a {
		if e := int(a[i]) + n*int(b[i]); e > maxExponent || e < -maxExponent {
			return &Error{Offset: at, Found: fmt.Sprintf("a unit with the exponent %d", e), Expected: fmt.Sprintf("exponents of at most %d", maxExponent),
				Remedy: "check the formula, or divide by a constant of the same unit first"}
		}
	}
	return nil
}

// scalable refuses a unit whose scale is lost in floating point.
func scalable(u catalog.Unit, at int) error {
	conv, err := catalog.Convert(u, catalog.Canonical(u.Dim(), false))
	if err == nil {
		if k := conv.Delta(1); k != 0 && finite(k) && finite(1/k) {
			return nil
		}
	}
	return &Error{Offset: at, Found: "a unit whose scale is out of range", Expected: "a unit nearer to those in use", Remedy: "bring the factors to other units first"}
}

func power(l, r operand, at int) (operand, error) {
	l, err := factor(l)
	if err != nil {
		return operand{}, err
	}
	out := operand{typ: l.typ, at: at}
	if r.literal && r.value == math.Trunc(r.value) && math.Abs(r.value) <= maxExponent {
		n := int(r.value)
		if err := bounded(catalog.Dimension{}, l.typ.Unit.Dim(), n, r.at); err != nil {
			return operand{}, err
		}
		out.typ.Unit = l.typ.Unit.Pow(n)
		if err := scalable(out.typ.Unit, r.at); err != nil {
			return operand{}, err
		}
		x := r.value
		out.number = each(l.number, func(b float64) float64 { return math.Pow(b, x) })
		return plain(out)
	}
	if l.typ.Unit.Dim() != (catalog.Dimension{}) {
		return operand{}, &Error{Offset: r.at, Found: fmt.Sprintf("%s as the power of a number in %s", r.describe(), unitText(l.typ.Unit)),
			Expected: fmt.Sprintf("a whole number from -%d to %d, written out", maxExponent, maxExponent), Remedy: "divide the base by a constant of the same unit, or use sqrt"}
	}
	if r, err = dimensionless(r, "a power"); err != nil {
		return operand{}, err
	}
	out.number = both(l.number, r.number, math.Pow)
	return out, nil
}

// dimensionless prepares an operand that must have no dimension.
func dimensionless(o operand, what string) (operand, error) {
	if o.typ.Unit.Dim() != (catalog.Dimension{}) {
		return operand{}, &Error{Offset: o.at, Found: fmt.Sprintf("%s as %s", o.describe(), what), Expected: "a number without dimension",
			Remedy: "divide it by a constant or a name of the same dimension"}
	}
	return plain(o)
}
