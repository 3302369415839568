package pipeline

import (
	"fmt"
	"strings"

	"fascicle/catalog"
	"fascicle/pipeline/formula"
	"fascicle/pipeline/table"
)

// Cell is what a ColumnName comes to in one row.
type Cell struct {
	Value float64
	U     float64 // own standard uncertainty of a plain column, 0 where it has none or the cell is an expression's
	Unit  string  // UCUM code
	Text  string  // of a column of words, or a field that is one
	Known bool    // false: null
}

// Column works out a ColumnName in the first row of an input: a column of its table, a field, or an expression of both. It is an error
// when the table has no such column and no field or expression is meant.
func (c *Call) Column(n ColumnName, in *Input) (Cell, error) {
	if n.formula == nil {
		if col := in.column(n.Name); col != nil {
			return cellOf(in.Table, col), nil
		}
	}
	f := n.formula
	if f == nil {
		if unit, ok := in.lacks(n.Name); ok {
			return Cell{Unit: unit}, nil
		}
		// its columns were not known when the study was checked
		var err error
		if f, err = c.compile(n.Name, in); err != nil {
			return Cell{}, fmt.Errorf("setting `%s`: %w; the columns are %s", n.Path, err, shortList(in.Table.Names(), 12))
		}
	}
	return cellFrom(f.Eval(c.env(in)), f.Type()), nil
}

// lacks tells whether a column may be missing here, because its stage gave nothing for this row of a join, and its unit.
func (in *Input) lacks(name string) (unit string, ok bool) {
	if in.from == nil || in.from.it.group == nil {
		return "", false
	}
	shape := in.from.it.group.stage.shapes[in.from.it.output]
	c := findColumn(shape.Columns, name)
	if c == nil || !c.Optional {
		return "", false
	}
	return c.Unit.Code(), true
}

// Eval works out an expression for one lead item over the columns of all its partners at a port, named STAGE.NAME, and the lead's own
// columns and fields.
func (c *Call) Eval(x Expr, port string, lead int) (Cell, error) {
	partners := c.Partners(port, lead)
	env := c.env(c.Leads[lead])
	env.column = func(name string) (formula.Value, bool) {
		if col := c.Leads[lead].Table.Col(name); col != nil {
			return valueOf(col), true
		}
		for _, p := range partners {
			if col := p.column(name); col != nil && strings.HasPrefix(name, p.Stage+".") {
				return valueOf(col), true
			}
		}
		// a partner that is not there leaves its columns null
		stage, _, dotted := strings.Cut(name, ".")
		return formula.Value{Null: true}, dotted && c.stages[stage]
	}
	f := x.formula
	if f == nil {
		var err error
		if f, err = c.compile(x.Text, append([]*Input{c.Leads[lead]}, partners...)...); err != nil {
			return Cell{}, fmt.Errorf("setting `%s`: %w", x.Path, err)
		}
		if x.Unit != "" {
			if f, err = f.In(mustUnit(x.Unit)); err != nil {
				return Cell{}, fmt.Errorf("setting `%s`: %w", x.Path, err)
			}
		}
	}
	return cellFrom(f.Eval(env), f.Type()), nil
}

// column finds a column of the table by its name, or by STAGE.NAME when the input says which stage it is from.
func (in *Input) column(name string) *table.Column {
	if c := in.Table.Col(name); c != nil {
		return c
	}
	if short, ok := strings.CutPrefix(name, in.Stage+"."); ok && in.Stage != "" {
		return in.Table.Col(short)
	}
	return nil
}

func (c *Call) env(in *Input) *fieldEnv {
	return &fieldEnv{p: c.project, f: in.fields, shift: c.shift, column: func(name string) (formula.Value, bool) {
		if col := in.column(name); col != nil {
			return valueOf(col), true
		}
		return formula.Value{}, false
	}}
}

// compile compiles an expression against the columns that are really there.
func (c *Call) compile(src string, inputs ...*Input) (*formula.Formula, error) {
	scope := &fieldScope{l: &loader{Project: c.project}}
	for _, in := range inputs {
		for i := range in.Table.Columns {
			col := &in.Table.Columns[i]
			unit, err := catalog.ParseUnit(col.Unit)
			if err != nil {
				return nil, err
			}
			shape := ColumnShape{Name: col.Name, Unit: unit, Text: col.Type == table.Text}
			scope.columns = append(scope.columns, shape)
			if in.Stage != "" {
				shape.Name = in.Stage + "." + col.Name
				scope.columns = append(scope.columns, shape)
			}
		}
	}
	return formula.Compile(src, scope)
}

func valueOf(c *table.Column) formula.Value {
	switch {
	case c.Len() == 0 || c.IsNull(0):
		return formula.Value{Null: true}
	case c.Type == table.Text:
		return formula.Value{Text: c.Texts[0]}
	case c.Type == table.Int:
		return formula.Value{Number: float64(c.Ints[0])}
	}
	return formula.Value{Number: c.Floats[0]}
}

func cellOf(t *table.Table, c *table.Column) Cell {
	v := valueOf(c)
	cell := Cell{Value: v.Number, Text: v.Text, Unit: c.Unit, Known: !v.Null}
	if u := t.Col("u_" + c.Name); u != nil && u.Type == table.Float && u.Len() > 0 && !u.IsNull(0) {
		cell.U = u.Floats[0]
	}
	return cell
}

func cellFrom(v formula.Value, t formula.Type) Cell {
	cell := Cell{Value: v.Number, Text: v.Text, Known: !v.Null, Unit: "1"}
	switch t.Sort {
	case formula.Number:
		cell.Unit = t.Unit.Code()
	case formula.Bool:
		cell.Unit, cell.Value = "1", 0
		cell.Text = ""
		if v.Bool {
			cell.Value, cell.Text = 1, "true"
		}
	default:
		cell.Unit = ""
	}
	return cell
}
