package table

import "fmt"

// Type says what the entries of a column are.
type Type uint8

const (
	Float Type = iota // 64-bit floating-point numbers
	Int               // 64-bit signed whole numbers
	Text              // UTF-8 text
)

// String gives the word for the type: "float", "int" or "text".
func (t Type) String() string {
	switch t {
	case Float:
		return "float"
	case Int:
		return "int"
	case Text:
		return "text"
	}
	return fmt.Sprintf("Type(%d)", uint8(t))
}

// Column is a named list of entries of one type. Exactly the slice of its Type
// is used; the other two stay nil.
type Column struct {
	Name string
	// Unit is a UCUM code; "1" for dimensionless numbers, "" for text.
	Unit   string
	Type   Type
	Floats []float64
	Ints   []int64
	Texts  []string
	// Valid is false where an entry is missing. Nil: nothing is missing.
	Valid []bool
}

// Len is the number of entries.
func (c *Column) Len() int {
	switch c.Type {
	case Float:
		return len(c.Floats)
	case Int:
		return len(c.Ints)
	default:
		return len(c.Texts)
	}
}

// IsNull says whether entry i is missing.
func (c *Column) IsNull(i int) bool { return c.Valid != nil && !c.Valid[i] }

// Table is columns of equal length with a header.
type Table struct {
	Columns []Column
	Header  map[string]string
}

// ColumnInfo is what a schema says of one column.
type ColumnInfo struct {
	Name, Unit string
	Type       Type
}

// Len is the number of rows, as its first column has them; 0 without columns.
func (t *Table) Len() int {
	if len(t.Columns) == 0 {
		return 0
	}
	return t.Columns[0].Len()
}

// Col finds a column by name; nil if there is none. The pointer is good until
// a column is added.
func (t *Table) Col(name string) *Column {
	for i := range t.Columns {
		if t.Columns[i].Name == name {
			return &t.Columns[i]
		}
	}
	return nil
}

// Floats gives the entries of a column of floats; nil if there is no such
// column or it holds something else.
func (t *Table) Floats(name string) []float64 {
	if c := t.Col(name); c != nil && c.Type == Float {
		return c.Floats
	}
	return nil
}

// Names lists the columns in order.
func (t *Table) Names() []string {
	names := make([]string, len(t.Columns))
	for i := range t.Columns {
		names[i] = t.Columns[i].Name
	}
	return names
}

// Schema lists name, unit and type of each column in order.
func (t *Table) Schema() []ColumnInfo {
	infos := make([]ColumnInfo, len(t.Columns))
	for i := range t.Columns {
		c := &t.Columns[i]
		infos[i] = ColumnInfo{Name: c.Name, Unit: c.Unit, Type: c.Type}
	}
	return infos
}

// AddFloat appends a column of floats in which nothing is missing. The slice is
// kept, not copied. The pointer is good until the next column is added.
func (t *Table) AddFloat(name, unit string, v []float64) *Column {
	return t.add(Column{Name: name, Unit: unit, Type: Float, Floats: v})
}

// AddFloatValid appends a column of floats; valid[i] is false where v[i] is
// missing, nil where nothing is. The slices are kept, not copied.
func (t *Table) AddFloatValid(name, unit string, v []float64, valid []bool) *Column {
	return t.add(Column{Name: name, Unit: unit, Type: Float, Floats: v, Valid: valid})
}

// AddInt appends a column of whole numbers in which nothing is missing. The
// slice is kept, not copied.
func (t *Table) AddInt(name, unit string, v []int64) *Column {
	return t.add(Column{Name: name, Unit: unit, Type: Int, Ints: v})
}

// AddText appends a column of text in which nothing is missing. The slice is
// kept, not copied.
func (t *Table) AddText(name string, v []string) *Column {
	return t.add(Column{Name: name, Type: Text, Texts: v})
}

func (t *Table) add(c Column) *Column {
	t.Columns = append(t.Columns, c)
	return &t.Columns[len(t.Columns)-1]
}
