package correction

import (
	"strings"

	"fascicle/catalog"
	"fascicle/pipeline"
	"fascicle/pipeline/formula"
)

// parsed reads the UCUM code of a column. A code that is none is a bug of whoever wrote the column.
func parsed(code string) catalog.Unit {
	u, err := catalog.ParseUnit(code)
	if err != nil {
		panic("correction: " + err.Error())
	}
	return u
}

// inside gives the unit in which the program keeps values of u's dimension, and what a number in u is multiplied by to come to it.
func inside(u catalog.Unit) (kept catalog.Unit, factor float64) {
	kept = catalog.Canonical(u.Dim(), false)
	c, err := catalog.Convert(u, kept)
	if err != nil {
		panic("correction: " + err.Error()) // of one dimension by construction
	}
	return kept, c.Delta(1)
}

// arriving gives the unit of a column at a port, known only if all that arrives there agrees on it. name may be AxisColumn or ValueColumn.
func arriving(s pipeline.ShapeCall, port, name string) (u catalog.Unit, known bool) {
	for i, a := range s.Ports[port] {
		c := arrivingColumn(a, name)
		if a.Unknown || c == nil || c.Any || c.Text || i > 0 && !u.Equal(c.Unit) {
			return catalog.Unit{}, false
		}
		u = c.Unit
	}
	return u, len(s.Ports[port]) > 0
}

// arrivingColumn finds a column by its name or place, nil when there is none.
func arrivingColumn(a pipeline.Arriving, name string) *pipeline.ColumnShape {
	numbers := 0
	for i := range a.Columns {
		c := &a.Columns[i]
		if c.Name == name {
			return c
		}
		if c.Text || strings.HasPrefix(c.Name, "u_") {
			continue
		}
		numbers++
		if name == pipeline.AxisColumn && numbers == 1 || name == pipeline.ValueColumn && numbers == 2 {
			return c
		}
	}
	return nil
}

// fieldUnit gives the unit in which a setting in any unit is handed over; ok is false where it is not known, or no number.
func fieldUnit(f pipeline.Field) (u catalog.Unit, ok bool) {
	t, ok := f.Type()
	return t.Unit, ok && t.Sort == formula.Number
}
