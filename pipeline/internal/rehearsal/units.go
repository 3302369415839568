package rehearsal

import (
	"strings"

	"fascicle/catalog"
	"fascicle/pipeline"
	"fascicle/pipeline/formula"
)

// mustUnit reads a unit of a declaration.
func mustUnit(s string) catalog.Unit {
	u, err := catalog.ParseUnit(s)
	if err != nil {
		panic("rehearsal: " + err.Error())
	}
	return u
}

// inside gives the code of the unit that the program uses inside for a quantity of u's dimension.
func inside(u catalog.Unit, isAxis bool) string { return catalog.Canonical(u.Dim(), isAxis).Code() }

// arrivingUnit gives the unit of a column at a port (value: the first number behind the axis), known only if all that arrives agrees on it.
func arrivingUnit(s pipeline.ShapeCall, port, column string) (u catalog.Unit, known bool) {
	for i, a := range s.Ports[port] {
		c := findColumn(a, column)
		if a.Unknown || c == nil || c.Any || c.Text {
			return catalog.Unit{}, false
		}
		if i > 0 && !u.Equal(c.Unit) {
			return catalog.Unit{}, false
		}
		u = c.Unit
	}
	return u, len(s.Ports[port]) > 0
}

func findColumn(a pipeline.Arriving, name string) *pipeline.ColumnShape {
	numbers := 0
	for i := range a.Columns {
		c := &a.Columns[i]
		if c.Name == name {
			return c
		}
		if stem, ok := strings.CutSuffix(c.Name, "_i"); ok && isMember(name, stem) {
			return c
		}
		if c.Text || strings.HasPrefix(c.Name, "u_") {
			continue
		}
		numbers++
		if name == value && numbers == 2 {
			return c
		}
	}
	return nil
}

// isMember tells whether name is stem_1, stem_2, …
func isMember(name, stem string) bool {
	rest, ok := strings.CutPrefix(name, stem+"_")
	return ok && rest != "" && strings.Trim(rest, "0123456789") == "" && rest[0] != '0'
}

// fieldUnit gives the unit of a setting that is worked out for each item, known only if it is a number.
func fieldUnit(f pipeline.Field) (catalog.Unit, bool) {
	t, ok := f.Type()
	return t.Unit, ok && t.Sort == formula.Number
}

// columnUnit gives the unit of what a setting names at a port: a column, or an expression over its rows.
func columnUnit(s pipeline.ShapeCall, port string, n pipeline.ColumnName) (catalog.Unit, bool) {
	if t, ok := n.Type(); ok {
		return t.Unit, t.Sort == formula.Number
	}
	return arrivingUnit(s, port, n.Name)
}

// quotient is the inside unit of a divided by b; "*" when either is unknown.
func quotient(a catalog.Unit, knownA bool, b catalog.Unit, knownB bool) string {
	if !knownA || !knownB {
		return "*"
	}
	return inside(a.Div(b), false)
}

// codeOr is the inside unit of u, "*" when it is unknown.
func codeOr(u catalog.Unit, known bool) string {
	if !known {
		return "*"
	}
	return inside(u, false)
}
