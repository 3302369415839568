package store

// Entry says what one recipe gave.
type Entry struct {
	Key     RecipeKey
	Kind    string
	Objects []Object
	// Flags of the group as a whole; those of one item are with its object.
	Flags []Flag
}

// Object is one output item.
type Object struct {
	Output string // name of the output
	N      int    // ordinal within the output, from 0
	Lead   int    // index of the lead item that it belongs to; -1: the group
	Fields []Field
	Hash   ContentHash
	Size   int64 // bytes
	Flags  []Flag
}

// Field is a field that an import found in the file.
type Field struct {
	Name  string
	Type  string // text, number or date
	Value string // a number as its shortest decimal
	Unit  string // UCUM code of a number
}

// Flag is a message that a kept item repeats as when it was made.
type Flag struct {
	Level string // note, flag, notice, tolerance or choice
	Text  string
}
