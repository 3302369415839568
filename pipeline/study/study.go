// Package study reads a study file: YAML turned into a syntax tree that keeps the place of every word.
//
// A study names a sheet of samples, constants, derived columns and conditions, and a graph of stages. A stage has a kind,
// is fed through ports by references to other stages, and has settings. What the report alone reads (questions, figures,
// tables, style) stands beside the graph.
//
// The package knows YAML and the form of a study, and nothing else: not which kinds there are, which settings or ports
// they have, nor which stages a reference may name. Settings stay as nodes. It keeps each scalar as it is written, so that
// `012`, `1_000`, `no` and `1e3` are texts until somebody who knows what the place expects reads them.
//
// Start with Read.
package study

import "fascicle/catalog"

// Pos is a place in the study file. Lines and columns count from 1, columns in characters. The zero Pos is unknown.
type Pos struct{ Line, Col int }

// Text is a scalar as it is written, without its quotes.
//
// Pos is where it begins: at the opening quote or at the | or > of a block of text, if there is one. Quoted says that
// there is.
type Text struct {
	Value  string
	Pos    Pos
	Quoted bool
}

// IsNull reports whether nothing is written: an empty value. An empty pair of quotes is not null.
func (t Text) IsNull() bool { return t.Value == "" && !t.Quoted }

// NodeKind tells scalars, maps and lists apart.
type NodeKind uint8

// The kinds of node.
const (
	Scalar NodeKind = iota
	Map
	List
)

// String returns the word that messages use.
func (k NodeKind) String() string {
	switch k {
	case Scalar:
		return "text"
	case Map:
		return "map"
	case List:
		return "list"
	}
	return "unknown"
}

// Node is a value of the file: a text, a map or a list.
type Node struct {
	Kind    NodeKind
	Text    Text    // of a scalar
	Entries []Entry // of a map, in file order, no key twice
	Items   []*Node // of a list
	Pos     Pos
}

// Entry is a key of a map and its value.
type Entry struct {
	Key   Text
	Value *Node
}

// Get returns the value of key, or nil: also for a nil node and for one that is no map.
func (n *Node) Get(key string) *Node {
	if n == nil || n.Kind != Map {
		return nil
	}
	for i := range n.Entries {
		if n.Entries[i].Key.Value == key {
			return n.Entries[i].Value
		}
	}
	return nil
}

// Study is a study file without faults of form.
type Study struct {
	File       string   // as given to Read
	SHA256     [32]byte // of the file's bytes
	Title      Text
	Samples    Text // the sheet, a path beside the study file
	Against    Text // label of a run to compare with; null when there is none
	About      *Node
	Constants  []Constant
	Derive     []Derived
	Conditions []Condition
	Graph      []Stage // at least one, in file order
	Questions  *Node   // this and the following: a Map, or nil when absent or empty
	Figures    *Node
	Tables     *Node
	Style      *Node

	src *source // for Locate
}

// Constant is a named quantity, or a map of quantities by the values of a field. Exactly one of Value and Keys is set.
type Constant struct {
	Name  Text
	Value *catalog.Number
	Keys  []Keyed
}

// Keyed is the quantity that a constant has for one value of a field.
type Keyed struct {
	Key   Text
	Value catalog.Number
}

// Derived is a column that is made from others. Unit is the text between the brackets, null when there are none.
type Derived struct {
	Name Text
	Unit Text
	Expr Text
}

// Condition is a named expression.
type Condition struct {
	Name Text
	Expr Text
}

// Stage is an entry of the graph: of a kind, or, when Items is set, several stages taken together under one name (then
// Kind is null, and From, By and Set are empty).
type Stage struct {
	Name   Text
	Kind   Text
	Items  []Text
	From   []Port
	By     []Text // as written: empty when nothing is said
	Serves []Text
	Trusts []Text
	Set    *Node // a Map, or nil
}

// Port is a port of a stage and what feeds it.
type Port struct {
	Name Text
	Refs []Ref // at least one
}

// Ref is a reference to one stage or to several.
type Ref struct {
	Stages   []Text // at least one
	Output   Text   // null: the first that fits
	Where    Text   // null: every item
	Match    []Pairing
	HasMatch bool
	Nearest  []Nearest
	Only     bool
	All      bool
	Pos      Pos
}

// Pairing says which field of the partner equals which field of the lead item. `match: [day]` gives equal names.
type Pairing struct{ Partner, Lead Text }

// Nearest asks for the partner whose field lies nearest. Direction is before, after or either.
type Nearest struct{ Field, Direction Text }
