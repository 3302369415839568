package table

import (
	"fmt"
	"math"
	"slices"
	"unicode/utf8"
)

// Check says whether the table can be written: columns with different, non-empty
// names, of equal length and of a known type, only finite numbers where an entry
// is not missing, and valid UTF-8 throughout. The error names column and row
// (rows count from 1).
func (t *Table) Check() error {
	if err := t.checkNames(); err != nil {
		return err
	}
	n := t.Len()
	for i := range t.Columns {
		c := &t.Columns[i]
		if err := c.checkShape(n); err != nil {
			return err
		}
		if err := c.checkEntries(); err != nil {
			return err
		}
	}
	for key, value := range t.Header {
		if !utf8.ValidString(key) || !utf8.ValidString(value) {
			return t.headerFault()
		}
	}
	return nil
}

// headerFault names the first offending key by sorted order, so that the message
// does not depend on the order of a map.
func (t *Table) headerFault() error {
	for _, key := range sortedKeys(t.Header) {
		if !utf8.ValidString(key) || !utf8.ValidString(t.Header[key]) {
			return fmt.Errorf("table: header %q: found bytes that are not UTF-8; decode the text when it is read", key)
		}
	}
	return nil
}

func (t *Table) checkNames() error {
	// A quadratic search costs less than a map for the few columns of a curve.
	if len(t.Columns) <= 16 {
		for i := range t.Columns {
			for j := range i {
				if t.Columns[j].Name == t.Columns[i].Name {
					return duplicate(t.Columns[i].Name, j, i)
				}
			}
		}
	} else {
		first := make(map[string]int, len(t.Columns))
		for i := range t.Columns {
			name := t.Columns[i].Name
			if j, ok := first[name]; ok {
				return duplicate(name, j, i)
			}
			first[name] = i
		}
	}
	for i := range t.Columns {
		c := &t.Columns[i]
		switch {
		case c.Name == "":
			return fmt.Errorf("table: column %d has no name; give it one", i+1)
		case !utf8.ValidString(c.Name) || !utf8.ValidString(c.Unit):
			return fmt.Errorf("table: column %d (%q): found bytes in its name or unit that are not UTF-8", i+1, c.Name)
		}
	}
	return nil
}

func duplicate(name string, j, i int) error {
	return fmt.Errorf("table: columns %d and %d are both called %q; names must differ", j+1, i+1, name)
}

func (c *Column) checkShape(n int) error {
	if c.Type > Text {
		return fmt.Errorf("table: column %q: found type %d; expected float, int or text", c.Name, uint8(c.Type))
	}
	if c.Type != Float && c.Floats != nil || c.Type != Int && c.Ints != nil || c.Type != Text && c.Texts != nil {
		return fmt.Errorf("table: column %q is of type %s, but also holds entries of another type", c.Name, c.Type)
	}
	if c.Len() != n {
		return fmt.Errorf("table: column %q has %d rows; expected %d, as in the first column", c.Name, c.Len(), n)
	}
	if c.Valid != nil && len(c.Valid) != n {
		return fmt.Errorf("table: column %q has %d rows, but marks %d of them as missing or not", c.Name, n, len(c.Valid))
	}
	return nil
}

// notFinite is true for NaN and both infinities: all bits of the exponent set.
func notFinite(x float64) bool {
	const exponent = 0x7ff << 52
	return math.Float64bits(x)&exponent == exponent
}

func (c *Column) checkEntries() error {
	switch c.Type {
	case Float:
		for i, x := range c.Floats {
			if notFinite(x) && !c.IsNull(i) {
				return fmt.Errorf("table: column %q, row %d: found %v; expected a finite number (a missing value is marked as missing)", c.Name, i+1, x)
			}
		}
	case Text:
		for i, s := range c.Texts {
			if !utf8.ValidString(s) && !c.IsNull(i) {
				return fmt.Errorf("table: column %q, row %d: found %q; expected UTF-8 text", c.Name, i+1, s)
			}
		}
	}
	return nil
}

func sortedKeys(m map[string]string) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}
