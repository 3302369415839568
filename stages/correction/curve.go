package correction

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"fascicle/pipeline"
	"fascicle/pipeline/table"
)

// curve is what the functions of this package want of a curve's table: slices with NaN where there is nothing.
type curve struct {
	axis, value *table.Column
	x, y        []float64
	u           []float64 // nil: unknown
}

// readCurve takes axis, value and uncertainty out of a table. who says whose it is, for the message: "the curve".
func readCurve(t *table.Table, who string) (curve, error) {
	x, y := pipeline.CurveColumns(t)
	if x == nil || y == nil {
		return curve{}, fmt.Errorf("%s has the columns %s; an axis and a value are expected; name both under `columns` of its import", who, strings.Join(t.Names(), ", "))
	}
	return curve{axis: x, value: y, x: pipeline.WithNaN(x), y: pipeline.WithNaN(y), u: withNaN(t.Col("u_" + y.Name))}, nil
}

// copyColumns gives a table with the columns of t, which are not copied. Parts of shared uncertainties stay behind: the runner forms new ones.
func copyColumns(t *table.Table) *table.Table {
	out := &table.Table{Columns: make([]table.Column, 0, len(t.Columns))}
	for _, c := range t.Columns {
		if !strings.Contains(c.Name, "@") {
			out.Columns = append(out.Columns, c)
		}
	}
	return out
}

// replace puts other numbers into a column of the table, NaN as nulls. It does nothing when there is no such column.
func replace(t *table.Table, name, unit string, v []float64) {
	i := slices.IndexFunc(t.Columns, func(c table.Column) bool { return c.Name == name })
	if i < 0 {
		return
	}
	one := &table.Table{}
	pipeline.AddWithNaN(one, name, unit, v)
	t.Columns[i] = one.Columns[0]
}

// turn makes offset + factor·x of a column x, and moves its u and its bounds along. A factor below 0 turns bounds over.
func turn(t *table.Table, name, unit string, offset, factor float64) {
	c := t.Col(name)
	if c == nil {
		return
	}
	level := func(of *table.Column) []float64 {
		return Affine(make([]float64, of.Len()), pipeline.WithNaN(of), offset, factor)
	}
	lo, hi, bound := t.Col(name+"_lo"), t.Col(name+"_hi"), t.Col(name+"_bound")
	var newLo, newHi []float64
	if lo != nil {
		newLo = level(lo)
	}
	if hi != nil {
		newHi = level(hi)
	}
	if factor < 0 && lo != nil && hi != nil {
		newLo, newHi = newHi, newLo
	}
	replace(t, name, unit, level(c))
	if u := t.Col("u_" + name); u != nil {
		replace(t, "u_"+name, unit, Affine(make([]float64, u.Len()), pipeline.WithNaN(u), 0, math.Abs(factor)))
	}
	if newLo != nil {
		replace(t, name+"_lo", unit, newLo)
	}
	if newHi != nil {
		replace(t, name+"_hi", unit, newHi)
	}
	if bound != nil && factor < 0 {
		words := slices.Clone(bound.Texts)
		for i, w := range words {
			switch w {
			case "lower":
				words[i] = "upper"
			case "upper":
				words[i] = "lower"
			}
		}
		i := slices.IndexFunc(t.Columns, func(c table.Column) bool { return c.Name == name+"_bound" })
		t.Columns[i].Texts = words
	}
}

// Affine writes offset + factor·x into dst, which is as long as x and may be x itself, and returns it. NaN stays NaN. It panics when
// lengths differ.
func Affine(dst, x []float64, offset, factor float64) []float64 {
	if len(dst) != len(x) {
		panic("correction: slices of different lengths")
	}
	for i, v := range x {
		dst[i] = offset + float64(factor*v) // not fused: the same on every processor
	}
	return dst
}

// inUnit says a unit in words.
func inUnit(code string) string {
	if code == "1" || code == "" {
		return "a pure number"
	}
	return "in " + code
}

// bounds moves the lower and upper bounds of a column, where it has any, point by point.
func bounds(t *table.Table, name string, move func(i int, v float64) float64) {
	for _, end := range [...]string{"_lo", "_hi"} {
		c := t.Col(name + end)
		if c == nil || c.Type != table.Float {
			continue
		}
		moved := make([]float64, c.Len())
		for i, v := range pipeline.WithNaN(c) {
			moved[i] = move(i, v)
		}
		replace(t, name+end, c.Unit, moved)
	}
}

// cut gives the rows from first to last, ends included.
func cut(t *table.Table, first, last int) *table.Table {
	out := &table.Table{Columns: slices.Clone(t.Columns)}
	for i := range out.Columns {
		c := &out.Columns[i]
		if c.Valid != nil {
			c.Valid = c.Valid[first : last+1]
		}
		switch c.Type {
		case table.Float:
			c.Floats = c.Floats[first : last+1]
		case table.Int:
			c.Ints = c.Ints[first : last+1]
		default:
			c.Texts = c.Texts[first : last+1]
		}
	}
	return out
}
