package formula

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/expr-lang/expr/ast"

	"fascicle/catalog"
	"fascicle/catalog/fault"
)

// maxSteps bounds the compiled size: a < b < c works b out twice, so that chains within each other would double at each level.
const maxSteps = 20_000

// operand is a compiled part of an expression. The function that belongs to its sort is set; Date uses text. The second result
// is false for null.
type operand struct {
	typ    Type
	at     int  // characters before its beginning
	single bool // one name, member or entry: bare numbers compared with it are in its unit
	name   string

	number func(Env) (float64, bool)
	text   func(Env) (string, bool)
	cond   func(Env) truth

	literal bool // a number or text as written
	value   float64
	word    string
}

// describe names the operand for a message.
func (o operand) describe() string {
	switch {
	case o.single && o.typ.Sort == Number && !o.typ.Unit.IsOne():
		return fmt.Sprintf("%s, a number in %s", o.name, o.typ.Unit.Symbol())
	case o.single:
		return o.name + ", " + o.typ.Sort.String()
	case o.literal && o.typ.Sort == Number:
		return "the bare number " + catalog.FormatPlain(o.value)
	case o.literal:
		return fmt.Sprintf("the text %q", o.word)
	}
	return o.typ.String()
}

type compiler struct {
	scope   Scope
	names   map[string]bool
	members map[[2]string]bool
	maps    map[string]bool
	steps   int
}

// begin is the first character of a subtree; the parser places an operation on its operator.
func begin(n ast.Node) int {
	at := n.Location().From
	switch n := n.(type) {
	case *ast.BinaryNode:
		return min(at, begin(n.Left))
	case *ast.UnaryNode:
		return min(at, begin(n.Node)) // x not in y is placed on `in`
	case *ast.MemberNode:
		return min(at, begin(n.Node))
	case *ast.ConditionalNode:
		return begin(n.Cond)
	case *ast.SliceNode:
		return min(at, begin(n.Node))
	}
	return at
}

func (c *compiler) compile(n ast.Node) (operand, error) {
	c.steps++
	if c.steps > maxSteps {
		return operand{}, &Error{Offset: begin(n), Found: "an expression of too many steps", Expected: "fewer",
			Remedy: "name a part of it as a condition or derived column"}
	}
	switch n := n.(type) {
	case *ast.IntegerNode:
		return numberLiteral(begin(n), float64(n.Value)), nil
	case *ast.FloatNode:
		return numberLiteral(begin(n), n.Value), nil
	case *ast.BoolNode:
		t := truthOf(n.Value)
		return operand{typ: Type{Sort: Bool}, at: begin(n), cond: func(Env) truth { return t }}, nil
	case *ast.StringNode:
		return textLiteral(begin(n), n.Value), nil
	case *ast.IdentifierNode:
		return c.identifier(n)
	case *ast.MemberNode:
		return c.memberNode(n)
	case *ast.UnaryNode:
		return c.unary(n)
	case *ast.BinaryNode:
		return c.binary(n)
	case *ast.ConditionalNode:
		return c.conditional(n)
	case *ast.BuiltinNode:
		return c.call(n.Name, n.Arguments, begin(n))
	case *ast.CallNode:
		if callee, ok := n.Callee.(*ast.IdentifierNode); ok {
			return c.call(callee.Value, n.Arguments, begin(callee))
		}
		return operand{}, &Error{Offset: begin(n), Found: "a call of a member", Expected: "one of " + strings.Join(functionNames(), ", "),
			Remedy: "put the function in front: lower(chain)"}
	case *ast.ArrayNode:
		return operand{}, &Error{Offset: begin(n), Found: "a list", Expected: "a single value", Remedy: `use a list behind in, as in role in ["dilution", "standard"]`}
	case *ast.SliceNode:
		return operand{}, &Error{Offset: begin(n), Found: "a slice, [a:b]", Expected: "a single value", Remedy: `pick one entry, as in carbon[day]`}
	case *ast.NilNode:
		return operand{}, &Error{Offset: begin(n), Found: "nil", Expected: "a value", Remedy: "give a default for what may be missing with ??"}
	}
	return operand{}, &Error{Offset: begin(n), Found: "something that no expression of a study may contain", Expected: "names, numbers, texts, operators and functions",
		Remedy: "name a part of the expression as a condition or derived column"}
}

func numberLiteral(at int, x float64) operand {
	return operand{typ: Type{Sort: Number}, at: at, literal: true, value: x, number: constantNumber(x)}
}

func textLiteral(at int, s string) operand {
	return operand{typ: Type{Sort: Text}, at: at, literal: true, word: s, text: constantText(s)}
}

func constantNumber(x float64) func(Env) (float64, bool) {
	return func(Env) (float64, bool) { return x, true }
}

func constantText(s string) func(Env) (string, bool) {
	return func(Env) (string, bool) { return s, true }
}

// finite is false for NaN and both infinities.
func finite(x float64) bool { return !math.IsNaN(x - x) }

func (c *compiler) identifier(n *ast.IdentifierNode) (operand, error) {
	name := n.Value
	typ, ok := c.scope.Lookup(name)
	if !ok {
		return operand{}, c.unknownName(name, begin(n))
	}
	if typ.Sort == NumberMap {
		return operand{}, &Error{Offset: begin(n), Found: name + ", a constant with several values", Expected: "one of its entries",
			Remedy: fmt.Sprintf("write %s[FIELD] or %s.KEY", name, name)}
	}
	c.names[name] = true
	return reference(name, typ, begin(n), nil), nil
}

// reference compiles the reading of one value: of the plain name, or by get if that is given. The plain name is read directly,
// since it is what filters consist of and another call would copy the Value again.
func reference(name string, typ Type, at int, get func(Env) Value) operand {
	o := operand{typ: typ, at: at, single: true, name: name}
	switch {
	case typ.Sort == Number && get == nil:
		o.number = func(env Env) (float64, bool) {
			v := env.Get(name)
			return v.Number, !v.Null && finite(v.Number)
		}
	case typ.Sort == Number:
		o.number = func(env Env) (float64, bool) {
			v := get(env)
			return v.Number, !v.Null && finite(v.Number)
		}
	case typ.Sort == Bool && get == nil:
		o.cond = func(env Env) truth { return known(env.Get(name)) }
	case typ.Sort == Bool:
		o.cond = func(env Env) truth { return known(get(env)) }
	case get == nil:
		o.text = func(env Env) (string, bool) {
			v := env.Get(name)
			return v.Text, !v.Null
		}
	default:
		o.text = func(env Env) (string, bool) {
			v := get(env)
			return v.Text, !v.Null
		}
	}
	return o
}

func known(v Value) truth {
	if v.Null {
		return unknown
	}
	return truthOf(v.Bool)
}

// unknownName names the nearest known name, or the member that is called so.
func (c *compiler) unknownName(name string, at int) error {
	names := c.sortedNames()
	found, remedy := fault.Unknown("name", name, names)
	if whole := endingIn(names, "."+name); whole != "" {
		remedy = fmt.Sprintf("did you mean %q?", whole)
	} else if remedy == "" {
		remedy = fmt.Sprintf("put it in quotes, %q, if a text is meant", name)
	}
	return &Error{Offset: at, Found: found, Expected: "a field, column, constant or condition that is known here", Remedy: remedy}
}

// sortedNames lists the names of the scope in one order, so that messages do not depend on a map.
func (c *compiler) sortedNames() []string {
	return slices.Compact(slices.Sorted(slices.Values(c.scope.Names())))
}

// endingIn gives the first name with that ending, or nothing.
func endingIn(names []string, ending string) string {
	for _, n := range names {
		if strings.HasSuffix(n, ending) {
			return n
		}
	}
	return ""
}

// memberNode compiles name.key and name["key"], and name[expression] for a NumberMap.
func (c *compiler) memberNode(n *ast.MemberNode) (operand, error) {
	base, ok := n.Node.(*ast.IdentifierNode)
	if !ok {
		return operand{}, &Error{Offset: begin(n), Found: "a member of something that is not a name", Expected: "NAME.KEY or NAME[FIELD]",
			Remedy: "a name has members of one level only"}
	}
	switch p := n.Property.(type) {
	case *ast.StringNode:
		return c.member(base, p.Value, begin(p))
	case *ast.IntegerNode:
		return c.member(base, catalog.FormatPlain(float64(p.Value)), begin(p))
	case *ast.FloatNode:
		return c.member(base, catalog.FormatPlain(p.Value), begin(p))
	}
	typ, known := c.scope.Lookup(base.Value)
	if !known {
		return operand{}, c.unknownName(base.Value, begin(base))
	}
	if typ.Sort != NumberMap {
		return operand{}, &Error{Offset: begin(base), Found: base.Value + ", " + typ.Sort.String(), Expected: "a constant that is given by the values of a field",
			Remedy: "remove the square brackets"}
	}
	key, err := c.compile(n.Property)
	if err != nil {
		return operand{}, err
	}
	name := base.Value
	c.maps[name] = true
	entry := Type{Sort: Number, Unit: typ.Unit}
	at := begin(n)
	label := name + "[…]"
	switch {
	case key.typ.Sort == Text || key.typ.Sort == Date:
		pick := key.text
		return reference(label, entry, at, func(env Env) Value {
			k, ok := pick(env)
			if !ok {
				return Value{Null: true}
			}
			return env.Member(name, k)
		}), nil
	case key.typ.Sort == Number && key.single:
		pick := key.number
		return reference(label, entry, at, func(env Env) Value {
			x, ok := pick(env)
			if !ok {
				return Value{Null: true}
			}
			return env.Member(name, catalog.FormatPlain(x))
		}), nil
	}
	return operand{}, &Error{Offset: key.at, Found: key.describe(), Expected: "a field whose values are the keys of " + name,
		Remedy: fmt.Sprintf("write %s[FIELD] or %s.KEY", name, name)}
}

func (c *compiler) member(base *ast.IdentifierNode, key string, at int) (operand, error) {
	name := base.Value
	typ, ok := c.scope.Member(name, key)
	if !ok {
		return operand{}, c.unknownMember(name, key, begin(base), at)
	}
	if typ.Sort == NumberMap {
		return operand{}, &Error{Offset: at, Found: name + "." + key + ", a constant with several values", Expected: "a single value", Remedy: "name one of its entries"}
	}
	c.members[[2]string{name, key}] = true
	return reference(name+"."+key, typ, begin(base), func(env Env) Value { return env.Member(name, key) }), nil
}

// unknownMember points at the key when the name has members, and at the name when it has none.
func (c *compiler) unknownMember(name, key string, nameAt, keyAt int) error {
	names := c.sortedNames()
	var keys, owners []string
	for _, n := range names {
		owner, k, found := strings.Cut(n, ".")
		if !found {
			continue
		}
		owners = append(owners, owner)
		if owner == name {
			keys = append(keys, k)
		}
	}
	if len(keys) > 0 {
		found, remedy := fault.Unknown("member of "+name, key, keys)
		if remedy == "" && len(keys) > 6 {
			remedy = fmt.Sprintf("it has %s and %d more", strings.Join(keys[:6], ", "), len(keys)-6)
		}
		return &Error{Offset: keyAt, Found: found, Expected: "a member of " + name, Remedy: remedy}
	}
	if typ, ok := c.scope.Lookup(name); ok {
		e := &Error{Offset: keyAt, Found: fmt.Sprintf("%s.%s, but %s is %s", name, key, name, typ.Sort), Expected: "a name that has members", Remedy: "remove ." + key}
		if typ.Sort == NumberMap {
			e.Found, e.Remedy = fmt.Sprintf("unknown member of %s %q", name, key), fmt.Sprintf("add the key %s to the constant %s", key, name)
		}
		return e
	}
	found, remedy := fault.Unknown("name", name, slices.Compact(owners))
	if remedy == "" {
		remedy = "name a stage or a constant that has the member " + key
	}
	return &Error{Offset: nameAt, Found: found, Expected: "a constant or stage that is known here", Remedy: remedy}
}

func (c *compiler) unary(n *ast.UnaryNode) (operand, error) {
	o, err := c.compile(n.Node)
	if err != nil {
		return operand{}, err
	}
	at := begin(n)
	switch n.Operator {
	case "not", "!":
		if o.typ.Sort != Bool {
			return operand{}, &Error{Offset: o.at, Found: o.describe() + ", behind " + n.Operator, Expected: "a condition",
				Remedy: fmt.Sprintf(`%s binds closer than a comparison: put brackets around what it denies, as in not (role == "water")`, n.Operator)}
		}
		return operand{typ: o.typ, at: at, cond: negate(o.cond)}, nil
	}
	if o.typ.Sort != Number {
		return operand{}, &Error{Offset: o.at, Found: o.describe(), Expected: "a number behind " + n.Operator, Remedy: "remove the sign"}
	}
	if n.Operator == "+" {
		o.at = at
		return o, nil
	}
	if o.literal {
		return numberLiteral(at, -o.value), nil
	}
	if o, err = absolute(o); err != nil {
		return operand{}, err
	}
	f := o.number
	return operand{typ: o.typ, at: at, number: func(env Env) (float64, bool) {
		x, ok := f(env)
		return -x, ok
	}}, nil
}

func (c *compiler) conditional(n *ast.ConditionalNode) (operand, error) {
	cond, err := c.condition(n.Cond, "in front of ?")
	if err != nil {
		return operand{}, err
	}
	a, err := c.compile(n.Exp1)
	if err != nil {
		return operand{}, err
	}
	b, err := c.compile(n.Exp2)
	if err != nil {
		return operand{}, err
	}
	if a, b, err = unify(a, b, false); err != nil {
		return operand{}, err
	}
	out := operand{typ: a.typ, at: begin(n)}
	test := cond.cond
	switch a.typ.Sort {
	case Number:
		out.number = choose(test, a.number, b.number)
	case Bool:
		yesSide, noSide := a.cond, b.cond
		out.cond = func(env Env) truth {
			switch test(env) {
			case yes:
				return yesSide(env)
			case no:
				return noSide(env)
			}
			return unknown
		}
	default:
		out.text = choose(test, a.text, b.text)
	}
	return out, nil
}

func choose[T any](test func(Env) truth, a, b func(Env) (T, bool)) func(Env) (T, bool) {
	return func(env Env) (T, bool) {
		switch test(env) {
		case yes:
			return a(env)
		case no:
			return b(env)
		}
		var zero T
		return zero, false
	}
}

// condition compiles what must be a condition.
func (c *compiler) condition(n ast.Node, where string) (operand, error) {
	o, err := c.compile(n)
	if err != nil {
		return operand{}, err
	}
	if o.typ.Sort != Bool {
		return operand{}, &Error{Offset: o.at, Found: o.describe() + ", " + where, Expected: "a condition, which is true or false",
			Remedy: `compare it with something, as in salt > 0.5 or chain == "long"`}
	}
	return o, nil
}
