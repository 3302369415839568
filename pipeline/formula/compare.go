package formula

import (
	"fmt"
	"strings"
	"time"

	"fascicle/catalog"
)

// compare compiles l op r to three-valued logic.
func compare(op string, l, r operand) (func(Env) truth, error) {
	var err error
	switch {
	case l.typ.Sort == Number && r.typ.Sort == Text && r.literal:
		r, err = quantity(r, l)
	case r.typ.Sort == Number && l.typ.Sort == Text && l.literal:
		l, err = quantity(l, r)
	case l.typ.Sort == Date && r.typ.Sort == Text && r.literal:
		r, err = date(r, l)
	case r.typ.Sort == Date && l.typ.Sort == Text && l.literal:
		l, err = date(l, r)
	case l.typ.Sort == Number && r.typ.Sort == Number && r.literal && !l.literal:
		r, err = bare(r, l)
	case l.typ.Sort == Number && r.typ.Sort == Number && l.literal && !r.literal:
		l, err = bare(l, r)
	}
	if err != nil {
		return nil, err
	}
	if l.typ.Sort != r.typ.Sort {
		return nil, incomparable(l, r)
	}
	switch l.typ.Sort {
	case Number:
		if l.typ.Unit.Dim() != r.typ.Unit.Dim() {
			return nil, mismatch(l, r, "two sides of one dimension")
		}
		return compareNumbers(op, l, r)
	case Date:
		return compareDates(op, l.text, r.text), nil
	}
	if op != "==" && op != "!=" {
		e := &Error{Offset: l.at, Found: fmt.Sprintf("%s, compared by %s", l.describe(), op), Expected: "numbers or dates"}
		if l.typ.Sort == Text {
			e.Remedy = `texts have no order here ("10" would come before "9"): use == or in, or give the column or capture a unit, [1], to make it a number`
		} else {
			e.Remedy = "conditions have no order: use == or !="
		}
		return nil, e
	}
	var same func(Env) truth
	if l.typ.Sort == Text {
		if l.literal {
			l, r = r, l
		}
		if r.literal {
			same = compareWord(l.text, r.word)
		} else {
			same = compareTexts(l.text, r.text, func(a, b string) bool { return a == b })
		}
	} else {
		a, b := l.cond, r.cond
		same = func(env Env) truth {
			x, y := a(env), b(env)
			if x == unknown || y == unknown {
				return unknown
			}
			return truthOf(x == y)
		}
	}
	if op == "!=" {
		return negate(same), nil
	}
	return same, nil
}

// relation tells how two numbers stand to each other.
type relation func(x, y float64) bool

func equal(x, y float64) bool       { return x == y }
func unequal(x, y float64) bool     { return x != y }
func less(x, y float64) bool        { return x < y }
func lessOrEqual(x, y float64) bool { return x <= y }

// across compares x in one unit with y in another. Converted either way, 0.57 m and 57 cm or 25 °C and 298.15 K may miss each
// other by one rounding; they count as equal if they meet one way, so that a == b whenever b == a.
func across(op string, l, r catalog.Unit) (relation, error) {
	toLeft, err := catalog.Convert(r, l)
	if err != nil {
		return nil, err
	}
	toRight, err := catalog.Convert(l, r)
	if err != nil {
		return nil, err
	}
	meet := func(x, y float64) bool { return x == toLeft.Float(y) || toRight.Float(x) == y }
	switch op {
	case "==":
		return meet, nil
	case "!=":
		return func(x, y float64) bool { return !meet(x, y) }, nil
	case "<":
		return func(x, y float64) bool { return x < toLeft.Float(y) && !meet(x, y) }, nil
	}
	return func(x, y float64) bool { return x <= toLeft.Float(y) || meet(x, y) }, nil
}

// compareNumbers compares two numbers of one dimension.
func compareNumbers(op string, l, r operand) (func(Env) truth, error) {
	switch op {
	case ">":
		op, l, r = "<", r, l
	case ">=":
		op, l, r = "<=", r, l
	}
	test := map[string]relation{"==": equal, "!=": unequal, "<": less, "<=": lessOrEqual}[op]
	if !l.typ.Unit.Equal(r.typ.Unit) {
		var err error
		if test, err = across(op, l.typ.Unit, r.typ.Unit); err != nil {
			return nil, mismatch(l, r, "two sides of one dimension")
		}
	}
	f, g := l.number, r.number
	switch {
	case r.literal:
		y := r.value
		return func(env Env) truth {
			x, ok := f(env)
			if !ok {
				return unknown
			}
			return truthOf(test(x, y))
		}, nil
	case l.literal:
		x := l.value
		return func(env Env) truth {
			y, ok := g(env)
			if !ok {
				return unknown
			}
			return truthOf(test(x, y))
		}, nil
	}
	return func(env Env) truth {
		x, ok := f(env)
		if !ok {
			return unknown
		}
		y, ok := g(env)
		if !ok {
			return unknown
		}
		return truthOf(test(x, y))
	}, nil
}

func compareWord(f func(Env) (string, bool), word string) func(Env) truth {
	return func(env Env) truth {
		s, ok := f(env)
		if !ok {
			return unknown
		}
		return truthOf(s == word)
	}
}

func compareTexts(f, g func(Env) (string, bool), test func(a, b string) bool) func(Env) truth {
	return func(env Env) truth {
		s, ok := f(env)
		if !ok {
			return unknown
		}
		t, ok := g(env)
		if !ok {
			return unknown
		}
		return truthOf(test(s, t))
	}
}

// day is the length of an ISO date without a time.
const day = len("2006-01-02")

// compareDates compares ISO texts, which sort as the calendar does. Where one side is a day, days are compared: otherwise
// taken == "2031-03-04" would never hold for a column of dates with times.
func compareDates(op string, f, g func(Env) (string, bool)) func(Env) truth {
	order := func(a, b string) int {
		if len(a) == day && len(b) > day {
			b = b[:day]
		} else if len(b) == day && len(a) > day {
			a = a[:day]
		}
		return strings.Compare(a, b)
	}
	test := func(a, b string) bool { return order(a, b) == 0 }
	switch op {
	case "!=":
		test = func(a, b string) bool { return order(a, b) != 0 }
	case "<":
		test = func(a, b string) bool { return order(a, b) < 0 }
	case "<=":
		test = func(a, b string) bool { return order(a, b) <= 0 }
	case ">":
		test = func(a, b string) bool { return order(a, b) > 0 }
	case ">=":
		test = func(a, b string) bool { return order(a, b) >= 0 }
	}
	return compareTexts(f, g, test)
}

// date reads a text in quotes that stands beside a date.
func date(o, beside operand) (operand, error) {
	for _, layout := range []string{"2006-01-02", "2006-01-02T15:04:05", "2006-01-02 15:04:05", "2006-01-02T15:04", "2006-01-02 15:04"} {
		t, err := time.Parse(layout, o.word)
		if err != nil {
			continue
		}
		s := t.Format("2006-01-02T15:04:05")
		if layout == "2006-01-02" {
			s = s[:day]
		}
		return operand{typ: Type{Sort: Date}, at: o.at, literal: true, word: s, text: constantText(s)}, nil
	}
	return operand{}, &Error{Offset: o.at, Found: o.describe() + " beside " + beside.describe(), Expected: `a date such as "2031-03-04" or "2031-03-04T10:30:00"`,
		Remedy: "write the date in this form"}
}

// quantity reads a text in quotes that stands beside a number, and converts it to that number's unit.
func quantity(o, beside operand) (operand, error) {
	unit := beside.typ.Unit
	fail := &Error{Offset: o.at, Found: fmt.Sprintf("%s beside %s", o.describe(), beside.describe()), Expected: "a quantity" + inUnit(unit)}
	n, err := catalog.ParseNumber(o.word)
	if err != nil {
		fail.Remedy = fmt.Sprintf("write it as %q, or compare it with a name that holds texts", example(unit))
		return operand{}, fail
	}
	if n.HasU {
		fail.Remedy = "leave its uncertainty out: conditions see central values"
		return operand{}, fail
	}
	if !n.HasUnit {
		if !unit.IsOne() {
			fail.Remedy = fmt.Sprintf("give it its unit, as in %q", strings.TrimSpace(o.word)+" "+unitText(unit))
			return operand{}, fail
		}
		return numberAs(o.at, n.Value, unit), nil
	}
	m, err := n.In(unit)
	if err != nil {
		fail.Remedy = fmt.Sprintf("write it as %q, or correct the unit of the name it stands beside", example(unit))
		return operand{}, fail
	}
	if !finite(m.Value) {
		fail.Remedy = "correct the exponent"
		return operand{}, fail
	}
	return numberAs(o.at, m.Value, unit), nil
}

func numberAs(at int, x float64, unit catalog.Unit) operand {
	o := numberLiteral(at, x)
	o.typ.Unit = unit
	return o
}

// bare gives a bare number the unit of the single name that it is compared with.
func bare(o, beside operand) (operand, error) {
	if beside.single || beside.typ.Unit.IsOne() {
		return numberAs(o.at, o.value, beside.typ.Unit), nil
	}
	return operand{}, &Error{Offset: o.at, Found: fmt.Sprintf("%s, compared with an expression in %s", o.describe(), unitText(beside.typ.Unit)),
		Expected: "a quantity with a unit", Remedy: fmt.Sprintf("write %q", catalog.FormatPlain(o.value)+" "+unitText(beside.typ.Unit))}
}

// unitText is the unit as a user may write it in a quantity.
func unitText(u catalog.Unit) string {
	if u.IsOne() {
		return "1"
	}
	return u.Code()
}

func inUnit(u catalog.Unit) string {
	if u.IsOne() {
		return " without unit"
	}
	return " in " + unitText(u)
}

func example(u catalog.Unit) string {
	if u.IsOne() {
		return "0.5"
	}
	return "5 " + unitText(u)
}

// mismatch reports two numbers of different dimensions.
func mismatch(l, r operand, expected string) error {
	e := &Error{Offset: r.at, Found: fmt.Sprintf("%s beside %s", r.describe(), l.describe()), Expected: expected, Remedy: "correct the expression, or the unit in the sheet's head or the constant"}
	if l.literal != r.literal {
		e.Remedy = "a bare number has a unit only where it is compared with a single name: name a constant with a unit"
		if l.literal {
			e.Offset = l.at
		}
	}
	return e
}

func incomparable(l, r operand) error {
	e := &Error{Offset: r.at, Found: fmt.Sprintf("%s beside %s", r.describe(), l.describe()), Expected: "two sides of one sort", Remedy: "compare like with like"}
	if l.literal {
		e.Offset = l.at
	}
	number, text := l, r
	if l.typ.Sort == Text {
		number, text = r, l
	}
	switch {
	case text.typ.Sort == Text && number.typ.Sort == Number && number.literal && text.single:
		e.Remedy = fmt.Sprintf(`write "%s" in quotes, or make %s a number by a unit, [1], in the sheet's head or the capture`, catalog.FormatPlain(number.value), text.name)
	case text.typ.Sort == Text && number.typ.Sort == Bool && number.single:
		e.Remedy = fmt.Sprintf("put %q in quotes if a text is meant", number.name)
	}
	return e
}
