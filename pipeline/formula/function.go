package formula

import (
	"fmt"
	"math"
	"strings"
	"unicode/utf8"

	"github.com/expr-lang/expr/ast"

	"fascicle/catalog"
)

// function is one that an expression may call: all of its arguments have one sort.
type function struct {
	sort  Sort
	many  bool // any number of arguments from one
	build func(name string, args []operand) (operand, error)
}

// functions is fixed when the program starts and never written again.
var functions = map[string]function{
	"abs":   {sort: Number, build: buildAbs},
	"sqrt":  {sort: Number, build: buildSqrt},
	"exp":   {sort: Number, build: transcendental(math.Exp)},
	"log":   {sort: Number, build: transcendental(math.Log)},
	"log10": {sort: Number, build: transcendental(math.Log10)},
	"min":   {sort: Number, many: true, build: extreme(math.Min)},
	"max":   {sort: Number, many: true, build: extreme(math.Max)},
	"round": {sort: Number, build: keepingUnit(math.Round)},
	"floor": {sort: Number, build: keepingUnit(math.Floor)},
	"ceil":  {sort: Number, build: keepingUnit(math.Ceil)},
	"lower": {sort: Text, build: changing(strings.ToLower)},
	"upper": {sort: Text, build: changing(strings.ToUpper)},
	"trim":  {sort: Text, build: changing(strings.TrimSpace)},
	"len":   {sort: Text, build: buildLen},
}

func functionNames() []string {
	return []string{"abs", "ceil", "exp", "floor", "len", "log", "log10", "lower", "max", "min", "round", "sqrt", "trim", "upper"}
}

func (c *compiler) call(name string, arguments []ast.Node, at int) (operand, error) {
	f, ok := functions[name]
	if !ok { // refused token by token before parsing
		return operand{}, &Error{Offset: at, Found: fmt.Sprintf("unknown function %q", name), Expected: "one of " + strings.Join(functionNames(), ", "),
			Remedy: "use arithmetic, or derive the value in the sheet"}
	}
	if len(arguments) == 0 || (!f.many && len(arguments) > 1) {
		expected := "one argument"
		if f.many {
			expected = "one argument or more"
		}
		return operand{}, &Error{Offset: at, Found: fmt.Sprintf("%s with %d arguments", name, len(arguments)), Expected: expected,
			Remedy: fmt.Sprintf("write %s(x)", name)}
	}
	args := make([]operand, len(arguments))
	for i, a := range arguments {
		o, err := c.compile(a)
		if err != nil {
			return operand{}, err
		}
		if o.typ.Sort != f.sort {
			e := &Error{Offset: o.at, Found: fmt.Sprintf("%s in %s", o.describe(), name), Expected: f.sort.String(), Remedy: "give " + name + " " + f.sort.String()}
			return operand{}, e
		}
		args[i] = o
	}
	out, err := f.build(name, args)
	if err != nil {
		return operand{}, err
	}
	out.at = at
	return out, nil
}

func buildAbs(_ string, args []operand) (operand, error) {
	o, err := absolute(args[0])
	if err != nil {
		return operand{}, err
	}
	return operand{typ: o.typ, number: each(o.number, math.Abs)}, nil
}

// buildSqrt takes the root in the canonical unit of half the dimension, because a root of an odd product (nm·µm) has no unit
// with an exact factor.
func buildSqrt(_ string, args []operand) (operand, error) {
	o, err := factor(args[0])
	if err != nil {
		return operand{}, err
	}
	half := o.typ.Unit.Dim()
	for i, e := range half {
		if e%2 != 0 {
			return operand{}, &Error{Offset: o.at, Found: fmt.Sprintf("the root of %s", o.describe()), Expected: "a unit of even powers, such as nm²",
				Remedy: "check the formula: the root of this unit is no unit"}
		}
		half[i] = e / 2
	}
	root := catalog.Canonical(half, false)
	if o, err = convert(o, root.Pow(2)); err != nil {
		return operand{}, err
	}
	return operand{typ: Type{Sort: Number, Unit: root}, number: each(o.number, math.Sqrt)}, nil
}

func transcendental(f func(float64) float64) func(string, []operand) (operand, error) {
	return func(name string, args []operand) (operand, error) {
		o, err := dimensionless(args[0], "the argument of "+name)
		if err != nil {
			return operand{}, err
		}
		return operand{typ: Type{Sort: Number}, number: each(o.number, f)}, nil
	}
}

func keepingUnit(f func(float64) float64) func(string, []operand) (operand, error) {
	return func(_ string, args []operand) (operand, error) {
		return operand{typ: args[0].typ, number: each(args[0].number, f)}, nil
	}
}

func extreme(f func(x, y float64) float64) func(string, []operand) (operand, error) {
	return func(name string, args []operand) (operand, error) {
		out := args[0]
		out.single, out.literal = false, false
		for _, o := range args[1:] {
			if o.typ.Unit.Dim() != out.typ.Unit.Dim() {
				return operand{}, mismatch(args[0], o, "arguments of one dimension in "+name)
			}
			o, err := convert(o, out.typ.Unit)
			if err != nil {
				return operand{}, err
			}
			out.number = both(out.number, o.number, f)
		}
		return out, nil
	}
}

func changing(f func(string) string) func(string, []operand) (operand, error) {
	return func(_ string, args []operand) (operand, error) {
		a := args[0].text
		return operand{typ: Type{Sort: Text}, text: func(env Env) (string, bool) {
			s, ok := a(env)
			if !ok {
				return "", false
			}
			return f(s), true
		}}, nil
	}
}

func buildLen(_ string, args []operand) (operand, error) {
	a := args[0].text
	return operand{typ: Type{Sort: Number}, number: func(env Env) (float64, bool) {
		s, ok := a(env)
		return float64(utf8.RuneCountInString(s)), ok
	}}, nil
}
