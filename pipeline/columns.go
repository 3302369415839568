package pipeline

import (
	"math"
	"strings"

	"fascicle/catalog"
	"fascicle/pipeline/table"
)

// CurveColumns finds a curve's axis (its first column of numbers) and its value (the next that is no uncertainty); nil where there is none.
func CurveColumns(t *table.Table) (axis, value *table.Column) {
	for i := range t.Columns {
		c := &t.Columns[i]
		if c.Type != table.Float || strings.HasPrefix(c.Name, "u_") {
			continue
		}
		if axis == nil {
			axis = c
		} else {
			return axis, c
		}
	}
	return axis, nil
}

// WithNaN gives a column's numbers with NaN where there are none. A column without nulls is given as it is, not copied.
func WithNaN(c *table.Column) []float64 {
	if c.Valid == nil {
		return c.Floats
	}
	out := make([]float64, len(c.Floats))
	for i, x := range c.Floats {
		if c.IsNull(i) {
			x = math.NaN()
		}
		out[i] = x
	}
	return out
}

// AddWithNaN adds a column whose NaN are nulls.
func AddWithNaN(t *table.Table, name, unit string, v []float64) *table.Column {
	var valid []bool
	for i, x := range v {
		if math.IsNaN(x) && valid == nil {
			valid = make([]bool, len(v))
			for j := range i {
				valid[j] = true
			}
		}
		if valid != nil {
			valid[i] = !math.IsNaN(x)
		}
	}
	if valid != nil {
		clean := make([]float64, len(v))
		for i, x := range v {
			if valid[i] {
				clean[i] = x
			}
		}
		v = clean
	}
	return t.AddFloatValid(name, unit, v, valid)
}

// UnitProduct is the unit of a product, from UCUM codes.
func UnitProduct(a, b string) string {
	x, errA := catalog.ParseUnit(a)
	y, errB := catalog.ParseUnit(b)
	if errA != nil || errB != nil {
		panic("pipeline: no units: " + a + ", " + b)
	}
	return x.Mul(y).Code()
}
