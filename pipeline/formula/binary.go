package formula

import (
	"regexp"
	"strings"

	"github.com/expr-lang/expr/ast"
)

func (c *compiler) binary(n *ast.BinaryNode) (operand, error) {
	switch n.Operator {
	case "and", "&&", "or", "||":
		return c.connective(n)
	case "in":
		return c.in(n)
	case "..":
		return operand{}, &Error{Offset: begin(n), Found: "a range, a..b", Expected: "a single value", Remedy: "use a range behind in, as in fraction in 0.2..0.5"}
	}
	l, err := c.compile(n.Left)
	if err != nil {
		return operand{}, err
	}
	r, err := c.compile(n.Right)
	if err != nil {
		if e, ok := c.unquoted(l, n.Right, err); ok {
			return operand{}, e
		}
		return operand{}, err
	}
	at := begin(n)
	switch n.Operator {
	case "==", "!=", "<", "<=", ">", ">=":
		cond, err := compare(n.Operator, l, r)
		if err != nil {
			return operand{}, err
		}
		return operand{typ: Type{Sort: Bool}, at: at, cond: cond}, nil
	case "??":
		return coalesce(l, r)
	case "contains", "startsWith", "endsWith", "matches":
		return textTest(n.Operator, l, r, at)
	case "+":
		if l.typ.Sort == Text && r.typ.Sort == Text {
			return join(l, r, at), nil
		}
	}
	return arithmetic(n.Operator, l, r, at, n.Location().From)
}

// unquoted tells apart a misspelt name and a text without its quotes: role == water.
func (c *compiler) unquoted(l operand, right ast.Node, err error) (error, bool) {
	id, ok := right.(*ast.IdentifierNode)
	if !ok || l.typ.Sort != Text {
		return nil, false
	}
	if _, known := c.scope.Lookup(id.Value); known {
		return nil, false
	}
	e, ok := err.(*Error)
	if !ok {
		return nil, false
	}
	quoted := *e
	if !strings.Contains(e.Remedy, "quotes") {
		quoted.Remedy += " or put it in quotes if a text is meant"
	}
	return &quoted, true
}

func (c *compiler) connective(n *ast.BinaryNode) (operand, error) {
	l, err := c.condition(n.Left, "in front of "+n.Operator)
	if err != nil {
		return operand{}, err
	}
	r, err := c.condition(n.Right, "behind "+n.Operator)
	if err != nil {
		return operand{}, err
	}
	out := operand{typ: Type{Sort: Bool}, at: begin(n)}
	if n.Operator == "and" || n.Operator == "&&" {
		out.cond = conjunction(l.cond, r.cond)
	} else {
		out.cond = disjunction(l.cond, r.cond)
	}
	return out, nil
}

// in compiles x in [a, b, c..d] and x in a..b to the disjunction of the comparisons.
func (c *compiler) in(n *ast.BinaryNode) (operand, error) {
	x, err := c.compile(n.Left)
	if err != nil {
		return operand{}, err
	}
	var elements []ast.Node
	switch r := n.Right.(type) {
	case *ast.ArrayNode:
		elements = r.Nodes
		if len(elements) == 0 {
			return operand{}, &Error{Offset: begin(r), Found: "an empty list", Expected: "values to compare with", Remedy: "list them, or leave the condition out"}
		}
	case *ast.BinaryNode:
		if r.Operator == ".." {
			elements = []ast.Node{r}
		}
	}
	if elements == nil {
		return operand{}, &Error{Offset: begin(n.Right), Found: "a single value behind in", Expected: "a list or a range",
			Remedy: `write role in ["dilution", "standard"] or fraction in 0.2..0.5; compare with one value by ==, search in a text with contains`}
	}
	out := operand{typ: Type{Sort: Bool}, at: begin(n)}
	var words []string
	terms := make([]func(Env) truth, 0, len(elements))
	for _, e := range elements {
		if b, ok := e.(*ast.BinaryNode); ok && b.Operator == ".." {
			t, err := c.between(x, b)
			if err != nil {
				return operand{}, err
			}
			terms = append(terms, t)
			continue
		}
		y, err := c.compile(e)
		if err != nil {
			if quoted, ok := c.unquoted(x, e, err); ok {
				err = quoted
			}
			return operand{}, err
		}
		t, err := compare("==", x, y)
		if err != nil {
			return operand{}, err
		}
		if x.typ.Sort == Text && !x.literal && y.literal {
			words = append(words, y.word)
		}
		terms = append(terms, t)
	}
	switch {
	case len(words) == len(terms):
		out.cond = oneOf(x.text, words)
	case len(terms) == 1:
		out.cond = terms[0]
	default:
		out.cond = anyOf(terms)
	}
	return out, nil
}

// oneOf is the usual list, of texts only, with the text at hand read once.
func oneOf(f func(Env) (string, bool), words []string) func(Env) truth {
	return func(env Env) truth {
		s, ok := f(env)
		if !ok {
			return unknown
		}
		for _, w := range words {
			if w == s {
				return yes
			}
		}
		return no
	}
}

// between is low <= x <= high.
func (c *compiler) between(x operand, r *ast.BinaryNode) (func(Env) truth, error) {
	low, err := c.compile(r.Left)
	if err != nil {
		return nil, err
	}
	high, err := c.compile(r.Right)
	if err != nil {
		return nil, err
	}
	if low.literal && high.literal && low.typ.Sort == Number && high.typ.Sort == Number && low.value > high.value {
		return nil, &Error{Offset: low.at, Found: "a range whose end lies below its beginning", Expected: "low..high", Remedy: "exchange the two"}
	}
	a, err := compare("<=", low, x)
	if err != nil {
		return nil, err
	}
	b, err := compare("<=", x, high)
	if err != nil {
		return nil, err
	}
	return conjunction(a, b), nil
}

// coalesce is a ?? b.
func coalesce(l, r operand) (operand, error) {
	at := l.at
	l, r, err := unify(l, r, true)
	if err != nil {
		return operand{}, err
	}
	out := operand{typ: l.typ, at: at}
	switch l.typ.Sort {
	case Number:
		out.number = orElse(l.number, r.number)
	case Bool:
		a, b := l.cond, r.cond
		out.cond = func(env Env) truth {
			if t := a(env); t != unknown {
				return t
			}
			return b(env)
		}
	default:
		out.text = orElse(l.text, r.text)
	}
	return out, nil
}

func orElse[T any](a, b func(Env) (T, bool)) func(Env) (T, bool) {
	return func(env Env) (T, bool) {
		if v, ok := a(env); ok {
			return v, true
		}
		return b(env)
	}
}

// unify brings two alternatives to one type: that of the first. With quantities, a text in quotes for a number is read as one.
func unify(a, b operand, quantities bool) (operand, operand, error) {
	var err error
	switch {
	case a.typ.Sort == Number && b.typ.Sort == Number:
		if a.typ.Unit.Dim() != b.typ.Unit.Dim() {
			return a, b, mismatch(a, b, "alternatives of one dimension")
		}
		b, err = convert(b, a.typ.Unit)
		return a, b, err
	case quantities && a.typ.Sort == Number && !a.literal && b.literal && b.typ.Sort == Text:
		b, err = quantity(b, a)
		return a, b, err
	case a.typ.Sort == Date && b.literal && b.typ.Sort == Text:
		b, err = date(b, a)
		return a, b, err
	case b.typ.Sort == Date && a.literal && a.typ.Sort == Text:
		a, err = date(a, b)
		return a, b, err
	case a.typ.Sort == b.typ.Sort:
		return a, b, nil
	}
	return a, b, &Error{Offset: b.at, Found: b.describe(), Expected: a.typ.Sort.String() + ", as the other alternative is", Remedy: "give both alternatives one sort"}
}

func textTest(op string, l, r operand, at int) (operand, error) {
	for _, o := range []operand{l, r} {
		if o.typ.Sort != Text {
			return operand{}, &Error{Offset: o.at, Found: o.describe(), Expected: "a text beside " + op, Remedy: "compare numbers and dates with == or <"}
		}
	}
	out := operand{typ: Type{Sort: Bool}, at: at}
	a, b := l.text, r.text
	if op == "matches" {
		if !r.literal {
			return operand{}, &Error{Offset: r.at, Found: "a regular expression that is worked out", Expected: "one that is written out", Remedy: `write it in quotes, as in sample matches "^LN"`}
		}
		re, err := regexp.Compile(r.word)
		if err != nil {
			return operand{}, &Error{Offset: r.at, Found: "the regular expression " + r.word, Expected: "one that can be read", Remedy: strings.TrimPrefix(err.Error(), "error parsing regexp: ")}
		}
		out.cond = func(env Env) truth {
			s, ok := a(env)
			if !ok {
				return unknown
			}
			return truthOf(re.MatchString(s))
		}
		return out, nil
	}
	test := strings.Contains
	switch op {
	case "startsWith":
		test = strings.HasPrefix
	case "endsWith":
		test = strings.HasSuffix
	}
	out.cond = compareTexts(a, b, test)
	return out, nil
}

func join(l, r operand, at int) operand {
	a, b := l.text, r.text
	return operand{typ: Type{Sort: Text}, at: at, text: func(env Env) (string, bool) {
		s, ok := a(env)
		if !ok {
			return "", false
		}
		t, ok := b(env)
		if !ok {
			return "", false
		}
		return s + t, true
	}}
}
