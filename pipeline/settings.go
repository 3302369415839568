package pipeline

import (
	"reflect"

	"fascicle/pipeline/formula"
)

// Setting tags. A kind's settings are a struct; each field bears
//
//	set:"path"            its name in the study file
//	doc:"…"               meaning, for `fascicle kinds`
//	unit:"nm"             the unit in which the run function gets it ("1" or none: a pure number; "text" for a Field of words;
//	                      "key": a Field of any sort, delivered as text, for grouping;
//	                      "*": any, turned into the unit that the program uses inside, and kept in Unit)
//	default:"10 mm"       as a study would write it; without a default the setting is required; default:"-" leaves the zero value
//	words:"found|none"    words that may stand in place of a number
//	oneof:"compact|chain" the words allowed for a string
//	min:"0" max:"1"       bounds in `unit`; above:"0" and below:"1" exclude the bound itself
//	null:"ok"             a Field whose value may be missing for an item: the kind then sees Known false; without it the item is blocked
//	literal:"yes"         a Field of words where a single word that is no field is the text itself
//	whole:"yes"           a Quantity that must be a whole number
//	unless:"choice"       must not be set while this port is fed
//	keyed:"unit"          keys of a Map[Expr] may bear a unit, `tau_change [ns]`, into which the expression is turned
//	key:"-"               not part of the recipe (patterns of file names)
//	also:"dark,empty"     a Field that is also worked out for the partners at these ports, from their own fields
//	port:"point"          the port whose columns a ColumnName or Expr names (the leading port when absent)
//
// A ColumnName with a unit must name numbers ("*": in any unit); without one it may name anything.
//
// A struct that is embedded lends its settings to the one around it. Go types: string, bool, int, float64 (a pure number), Quantity, Range, Field, ColumnName, Expr, []T (a single value is a list of
// one), Map[T], and structs of such. A settings struct may have a method Validate() error.

// Quantity is a setting that is a quantity, or one of the setting's words.
type Quantity struct {
	Value float64 // in the tag's unit
	// U is its standard uncertainty. The runner carries it as a shared part; a kind that adds it to an own part counts it twice.
	U      float64
	Nu     float64 // degrees of freedom of U, 0: infinite
	Unit   string  // the unit of Value as a UCUM code
	Word   string  // the word given instead of a number
	Name   string  // of the constant that the study names here, "" for a number written in the setting
	Source string  // constants.NAME, or STAGE.path for a number written in the setting; "" when exact
}

// Is tells whether the setting is the given word.
func (q Quantity) Is(word string) bool { return q.Word == word }

// Range is a setting of two quantities, either of which may be open ("-"), or a word.
type Range struct {
	Lo, Hi         float64
	OpenLo, OpenHi bool
	Unit           string // the unit of both as a UCUM code
	Word           string
}

// Contains tells whether x lies within the range, ends included. A word contains everything.
func (r Range) Contains(x float64) bool {
	return r.Word != "" || (r.OpenLo || x >= r.Lo) && (r.OpenHi || x <= r.Hi)
}

// Field is a setting that is worked out for each lead item: a quantity, a constant, a field, or an expression over fields.
type Field struct {
	Path string
	Word string
	Set  bool // false: the setting was left at a default that means "none"

	text    string           // as written, for messages and methods
	fixed   *Quantity        // a quantity or a constant
	formula *formula.Formula // or an expression
	unit    unitTarget
	also    []string
	tag     reflect.StructTag // bounds, and whether a null may pass
}

// Is tells whether the setting is the given word.
func (f Field) Is(word string) bool { return f.Word == word }

// ColumnName is a setting that names a column of a port, or, over rows, a field or an expression of both.
type ColumnName struct {
	Path, Name string
	Word       string
	formula    *formula.Formula // of an expression; nil for a plain column
}

// Type gives sort and unit of what a Field comes out as; ok is false for a word, or where it is not known before the items are.
func (f Field) Type() (t formula.Type, ok bool) {
	switch {
	case f.formula != nil && (f.unit.any || f.unit.key):
		return f.formula.Type(), true
	case f.unit.text || f.Word != "" || f.unit.any && f.fixed == nil:
		return formula.Type{Sort: formula.Text}, f.unit.text
	case f.fixed != nil:
		return formula.Type{Sort: formula.Number, Unit: mustUnit(f.fixed.Unit)}, true
	}
	return formula.Type{Sort: formula.Number, Unit: f.unit.unit}, true
}

// Type gives sort and unit of an expression over rows; ok is false for a plain column, whose port knows them.
func (n ColumnName) Type() (t formula.Type, ok bool) {
	if n.formula == nil {
		return formula.Type{}, false
	}
	return n.formula.Type(), true
}

// Expr is a setting that is an expression over the columns and fields of a port.
type Expr struct {
	Path, Text string
	Unit       string // UCUM code that its key asks for (keyed:"unit"), "" otherwise
	formula    *formula.Formula
}

// Type gives sort and unit of what an expression comes out as, in the unit that its key asks for; ok is false where that is not
// known before the items are.
func (x Expr) Type() (t formula.Type, ok bool) {
	if x.formula == nil {
		return formula.Type{}, false
	}
	return x.formula.Type(), true
}

// Map is a setting with keys of the user's choice, in the order of the study file.
type Map[T any] []Named[T]

// Named is one entry of a Map.
type Named[T any] struct {
	Key   string
	Value T
}

// Get gives the value of a key.
func (m Map[T]) Get(key string) (v T, ok bool) {
	for _, e := range m {
		if e.Key == key {
			return e.Value, true
		}
	}
	return v, false
}
