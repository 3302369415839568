package formula

import (
	"fmt"
	"slices"
	"sort"

	"fascicle/catalog"
)

// Sort is what an expression is.
type Sort uint8

// The sorts of expressions.
const (
	Number    Sort = iota // a real number with a unit
	Text                  // characters
	Bool                  // true, false or, as anything, null
	Date                  // an ISO date or date and time
	NumberMap             // a constant given by the values of a field; only its entries are values
)

// String names the sort for messages.
func (s Sort) String() string {
	switch s {
	case Number:
		return "a number"
	case Text:
		return "a text"
	case Bool:
		return "a condition"
	case Date:
		return "a date"
	case NumberMap:
		return "a constant with several values"
	}
	return fmt.Sprintf("sort %d", uint8(s))
}

// Type is the sort of an expression and the unit of its numbers.
type Type struct {
	Sort Sort
	Unit catalog.Unit // of a Number, and of the entries of a NumberMap
}

// String describes the type for messages: `a number in nm`.
func (t Type) String() string {
	if (t.Sort != Number && t.Sort != NumberMap) || t.Unit.IsOne() {
		return t.Sort.String()
	}
	return t.Sort.String() + " in " + t.Unit.Symbol()
}

// Scope says which names an expression may use.
type Scope interface {
	// Lookup gives the type of a plain name.
	Lookup(name string) (Type, bool)
	// Member gives the type of name.key: an entry of a NumberMap, or a column that is called so (levels.Rg_2).
	Member(name, key string) (Type, bool)
	// Names lists what may be written, members as "name.key", for messages; the order does not matter.
	Names() []string
}

// Value is the value of a name or of an expression. What its sort does not use is zero.
type Value struct {
	Null   bool
	Number float64 // in the unit that the scope declared, or that Formula.Type gives
	Text   string  // also of a Date: 2031-03-04 or 2031-03-04T10:00:00
	Bool   bool
}

// Env gives the values of the names for one row or item. A Number that is not finite counts as null.
type Env interface {
	Get(name string) Value
	Member(name, key string) Value // null where there is no such entry
}

// Formula is a compiled expression. It does not change and may be evaluated by several goroutines at once.
type Formula struct {
	source  string
	out     operand
	names   []string
	members [][2]string
	maps    []string
}

// Compile reads an expression and types it against a scope. The error is an *Error.
func Compile(src string, scope Scope) (*Formula, error) {
	root, err := parse(src)
	if err != nil {
		return nil, err
	}
	c := &compiler{scope: scope, names: map[string]bool{}, members: map[[2]string]bool{}, maps: map[string]bool{}}
	out, err := c.compile(root)
	if err != nil {
		return nil, err
	}
	return &Formula{source: src, out: out, names: sortedKeys(c.names), members: sortedPairs(c.members), maps: sortedKeys(c.maps)}, nil
}

// CompileCondition is Compile for an expression that must be a condition (Bool). The error is an *Error.
func CompileCondition(src string, scope Scope) (*Formula, error) {
	f, err := Compile(src, scope)
	if err != nil {
		return nil, err
	}
	if f.out.typ.Sort != Bool {
		return nil, &Error{Offset: f.out.at, Found: f.out.describe(), Expected: "a condition, which is true or false",
			Remedy: `compare it with something, as in salt > 0.5 or chain == "long"`}
	}
	return f, nil
}

// Type is the sort of the result, and its unit when it is a Number. It is never a NumberMap.
func (f *Formula) Type() Type { return f.out.typ }

// Names lists the plain names that the expression reads, sorted; the field that picks an entry of a NumberMap is one of them,
// the NumberMap is not.
func (f *Formula) Names() []string { return slices.Clone(f.names) }

// Members lists the members that the expression names outright, sorted: {"stock", "violane"} for stock.violane.
func (f *Formula) Members() [][2]string { return slices.Clone(f.members) }

// Maps lists the NumberMaps of which an entry is picked by a value at hand (carbon[day]), sorted.
func (f *Formula) Maps() []string { return slices.Clone(f.maps) }

// Source is the text that was compiled.
func (f *Formula) Source() string { return f.source }

// In gives the same formula with its result in another unit of the same dimension.
func (f *Formula) In(unit catalog.Unit) (*Formula, error) {
	if f.out.typ.Sort != Number {
		return nil, &Error{Offset: f.out.at, Found: f.out.describe(), Expected: "a number" + inUnit(unit), Remedy: "only numbers have a unit"}
	}
	out, err := convert(f.out, unit)
	if err != nil {
		return nil, &Error{Offset: f.out.at, Found: f.out.describe(), Expected: "a number" + inUnit(unit),
			Remedy: "correct the unit that was asked for, or the expression"}
	}
	g := *f
	g.out = out
	return &g, nil
}

// Eval works the expression out. It never panics if env gives every name the sort that the scope declared, and it allocates
// nothing unless texts are joined or changed, or a number picks an entry of a NumberMap.
func (f *Formula) Eval(env Env) Value {
	switch f.out.typ.Sort {
	case Number:
		x, ok := f.out.number(env)
		if !ok {
			return Value{Null: true}
		}
		return Value{Number: x}
	case Bool:
		t := f.out.cond(env)
		return Value{Null: t == unknown, Bool: t == yes}
	default:
		s, ok := f.out.text(env)
		if !ok {
			return Value{Null: true}
		}
		return Value{Text: s}
	}
}

func sortedKeys(set map[string]bool) []string {
	keys := make([]string, 0, len(set))
	for k := range set {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	return keys
}

func sortedPairs(set map[[2]string]bool) [][2]string {
	keys := make([][2]string, 0, len(set))
	for k := range set {
		keys = append(keys, k)
	}
	slices.SortFunc(keys, func(a, b [2]string) int { return slices.Compare(a[:], b[:]) })
	return keys
}
