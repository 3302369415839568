package pipeline

import (
	"errors"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"fascicle/catalog"
	"fascicle/catalog/fault"
	"fascicle/pipeline/study"
)

// unitTarget is the unit that a setting's place expects.
type unitTarget struct {
	unit           catalog.Unit
	any, text, key bool
}

func (u unitTarget) String() string {
	switch {
	case u.any:
		return "a quantity"
	case u.key:
		return "a field"
	case u.text:
		return "a text"
	case u.unit.IsOne():
		return "a pure number"
	}
	return "a quantity in " + u.unit.Symbol() + " or a unit like it"
}

func (d *decoder) target(tag reflect.StructTag) unitTarget {
	switch u := tag.Get("unit"); u {
	case "*":
		return unitTarget{any: true}
	case "text":
		return unitTarget{text: true}
	case "key":
		return unitTarget{text: true, key: true}
	default:
		unit, err := catalog.ParseUnit(u)
		if err != nil {
			panic("pipeline: setting tag: " + err.Error())
		}
		return unitTarget{unit: unit}
	}
}

// keyUnit parts `name [unit]`.
func (d *decoder) keyUnit(t study.Text) (name string, unit *catalog.Unit) {
	name, text, has := catalog.CutUnit(t.Value)
	if !catalog.IsIdentifier(name) {
		d.fail(t.Pos, fmt.Sprintf("the name %q", name), "letters, digits and _", "rename it")
		return "", nil
	}
	if !has {
		return name, nil
	}
	u, err := catalog.ParseUnit(text)
	if err != nil {
		d.failUnit(t.Pos, err)
		return "", nil
	}
	return name, &u
}

// failUnit reports an unreadable number or unit with the remedy that the catalog knows.
func (d *decoder) failUnit(p study.Pos, err error) {
	var f *fault.Fault
	if errors.As(err, &f) {
		d.fail(p, f.Found, f.Expected, f.Remedy)
		return
	}
	d.fail(p, err.Error(), "a unit", "")
}

// exprUnit turns what an expression gives into the unit that stands in the brackets behind its name.
func (d *decoder) exprUnit(x *Expr, at study.Pos, unit catalog.Unit, path string) {
	x.Unit = unit.Code()
	if x.formula == nil {
		return
	}
	f, err := x.formula.In(unit)
	if err != nil {
		d.fail(at, fmt.Sprintf("`%s` comes out in %s", path, unitWord(x.formula.Type().Unit)), "something that turns into "+unitWord(unit), "correct the expression, or the unit in the brackets")
		return
	}
	x.formula = f
}

// quantity reads a Quantity.
func (d *decoder) quantity(n *study.Node, tag reflect.StructTag, path string) Quantity {
	target := d.target(tag)
	t, ok := d.scalar(n, path, target.String())
	if !ok {
		return Quantity{}
	}
	if slices.Contains(words(tag, "words"), t.Value) {
		return Quantity{Word: t.Value}
	}
	q := d.number(t, target, path, true)
	if q == nil {
		return Quantity{}
	}
	if d.bounds(t, q.Value, tag, path) && tag.Get("whole") == "yes" && q.Value != math.Trunc(q.Value) {
		d.fail(t.Pos, fmt.Sprintf("%q for `%s`", t.Value, path), "a whole number", "write digits alone")
	}
	return *q
}

// number reads a quantity, or the name of a constant, into the target's unit; nil after a fault.
func (d *decoder) number(t study.Text, target unitTarget, path string, uncertain bool) *Quantity {
	num, source, err := d.literal(t, path)
	if err != nil {
		expected := target.String()
		remedy := ""
		if f := unitFault(err); f != nil {
			d.fail(t.Pos, f.Found+" for `"+path+"`", expected, f.Remedy)
			return nil
		}
		if near := fault.Nearest(t.Value, d.names); near != "" && !t.Quoted {
			remedy = "did you mean the constant " + near + "?"
		}
		if remedy == "" {
			remedy = "write a number with its unit, such as `10.00(2) mm`, or the name of a constant"
			if target.unit.IsOne() && !target.any {
				remedy = "write a number, or the name of a constant"
			}
		}
		d.fail(t.Pos, fmt.Sprintf("%q for `%s`", t.Value, path), expected, remedy)
		return nil
	}
	unit := target.unit
	if target.any {
		unit = catalog.Canonical(num.Unit.Dim(), true)
	}
	if !num.HasUnit && !unit.IsOne() && source != "constants."+t.Value {
		d.fail(t.Pos, fmt.Sprintf("%q for `%s`, without a unit", t.Value, path), target.String(), "write the unit behind the number: `"+t.Value+" "+unit.Symbol()+"`")
		return nil
	}
	in, err := num.In(unit)
	if err != nil && !num.HasUnit {
		d.fail(t.Pos, fmt.Sprintf("%q for `%s`, a constant without a unit", t.Value, path), target.String(), fmt.Sprintf("write the unit behind the constant's number: `%s: %s %s`", t.Value, num.Text, unit.Symbol()))
		return nil
	}
	if err != nil {
		d.fail(t.Pos, fmt.Sprintf("%q for `%s`, a number in %s", t.Value, path, unitWord(num.Unit)), target.String(), "correct the unit, or give another quantity")
		return nil
	}
	q := &Quantity{Value: in.Value, Unit: unit.Code()}
	if strings.HasPrefix(source, "constants.") {
		q.Name = source
	}
	if in.HasU && in.U > 0 {
		if !uncertain {
			d.fail(t.Pos, fmt.Sprintf("%q for `%s`, with an uncertainty", t.Value, path), "an exact number", "leave the bracket out")
			return nil
		}
		q.U, q.Nu, q.Source = in.U, in.Nu, source
	}
	return q
}

// literal finds the number that a text stands for: a constant's, or the one written.
func (d *decoder) literal(t study.Text, path string) (n catalog.Number, source string, err error) {
	if c, ok := d.constants[t.Value]; ok {
		return c.number, "constants." + c.name, nil
	}
	n, err = catalog.ParseNumber(t.Value)
	return n, d.stage + "." + path, err
}

// unitFault finds in an unreadable quantity the fault of its unit, when the number itself can be read.
func unitFault(err error) *fault.Fault {
	var f *fault.Fault
	if errors.As(err, &f) && strings.HasPrefix(f.Found, "unknown unit") {
		return f
	}
	return nil
}

// bounds holds a number against the tags min, max, above, below.
func (d *decoder) bounds(t study.Text, x float64, tag reflect.StructTag, path string) bool {
	for _, b := range [...]struct {
		tag, word string
		bad       func(x, b float64) bool
	}{
		{"min", "at least", func(x, b float64) bool { return x < b }},
		{"max", "at most", func(x, b float64) bool { return x > b }},
		{"above", "more than", func(x, b float64) bool { return x <= b }},
		{"below", "less than", func(x, b float64) bool { return x >= b }},
	} {
		s := tag.Get(b.tag)
		if s == "" {
			continue
		}
		limit, err := strconv.ParseFloat(s, 64)
		if err != nil {
			panic("pipeline: setting tag " + b.tag + " of " + path + ": " + err.Error())
		}
		if b.bad(x, limit) {
			unit := d.target(tag).unit.Symbol()
			d.fail(t.Pos, fmt.Sprintf("%q for `%s`", t.Value, path), strings.TrimSpace(b.word+" "+s+" "+unit), "give a value within the bounds")
			return false
		}
	}
	return true
}

// interval reads a Range.
func (d *decoder) interval(n *study.Node, tag reflect.StructTag, path string) Range {
	target := d.target(tag)
	expected := "a list of two: [from, to], each " + target.String() + " or - for an open end"
	if allowed := words(tag, "words"); n.Kind == study.Scalar {
		if slices.Contains(allowed, n.Text.Value) {
			return Range{Word: n.Text.Value}
		}
		if allowed != nil {
			expected += "; or " + strings.Join(allowed, ", ")
		}
		d.fail(n.Pos, fmt.Sprintf("%q for `%s`", n.Text.Value, path), expected, "write [from, to]")
		return Range{}
	}
	if n.Kind != study.List || len(n.Items) != 2 {
		d.fail(n.Pos, "a "+nodeWord(n)+" for `"+path+"`", expected, "write [from, to]")
		return Range{}
	}
	r := Range{Unit: target.unit.Code()}
	ends := [2]struct {
		v    *float64
		open *bool
	}{{&r.Lo, &r.OpenLo}, {&r.Hi, &r.OpenHi}}
	for i, e := range ends {
		t, ok := d.scalar(n.Items[i], path, target.String())
		if !ok {
			return Range{}
		}
		if t.Value == "-" {
			*e.open = true
			continue
		}
		q := d.number(t, target, path, false)
		if q == nil || !d.bounds(t, q.Value, tag, path) {
			return Range{}
		}
		*e.v = q.Value
		if i == 1 && !r.OpenLo && q.Unit != r.Unit {
			d.fail(n.Pos, fmt.Sprintf("a range of `%s` from %s to %s", path, n.Items[0].Text.Value, n.Items[1].Text.Value), "two quantities of one kind", "give both ends in units of one kind")
			return Range{}
		}
		r.Unit = q.Unit
	}
	if !r.OpenLo && !r.OpenHi && r.Lo >= r.Hi {
		d.fail(n.Pos, fmt.Sprintf("a range of `%s` that ends (%s) before it begins (%s)", path, n.Items[1].Text.Value, n.Items[0].Text.Value), "the smaller first", "exchange the two")
	}
	return r
}

func unitWord(u catalog.Unit) string {
	if s := u.Symbol(); s != "" {
		return s
	}
	return "no unit"
}

// endsInUnit tells whether what stands behind the number that begins a text can only be meant as a unit: in an expression a name
// does not follow a number without an operator, `1 / temperature`.
func endsInUnit(s string) bool {
	const number = "+-.0123456789() "
	rest := strings.TrimLeft(s, number)
	return s != "" && strings.IndexByte(number, s[0]) >= 0 && rest != "" && rest[0] != '/'
}
