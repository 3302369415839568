package pipeline

import (
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strings"

	"fascicle/catalog"
	"fascicle/catalog/fault"
	"fascicle/pipeline/formula"
	"fascicle/pipeline/study"
)

// field reads a Field.
func (d *decoder) field(n *study.Node, tag reflect.StructTag, path string) Field {
	f := Field{Path: path, Set: true, unit: d.target(tag), tag: tag}
	if also := tag.Get("also"); also != "" {
		f.also = strings.Split(also, ",")
	}
	t, ok := d.scalar(n, path, f.unit.String()+", a constant, a field or an expression")
	if !ok {
		return f
	}
	f.text = t.Value
	if slices.Contains(words(tag, "words"), t.Value) {
		f.Word = t.Value
		return f
	}
	if !f.unit.text {
		_, _, err := d.literal(t, path)
		if f2 := unitFault(err); f2 != nil && endsInUnit(t.Value) {
			d.fail(t.Pos, f2.Found+" for `"+path+"`", f.unit.String(), f2.Remedy)
			return f
		}
		if err == nil {
			if q := d.number(t, f.unit, path, true); q != nil && d.bounds(t, q.Value, tag, path) {
				f.fixed = q
			}
			return f
		}
	}
	if d.lead == nil {
		return f
	}
	if f.unit.text {
		// Where the kind allows it, a single word that is no field is the text itself: `solvent: H2O`.
		if _, known := d.lead.Lookup(t.Value); !known && catalog.IsIdentifier(t.Value) && tag.Get("literal") == "yes" {
			f.Word = t.Value
			return f
		}
	}
	fm, ok, err := d.lead.compile(t.Value)
	if err == nil && !ok {
		return f
	}
	if err != nil {
		d.formulaFault(t, path, err)
		return f
	}
	f.formula = fm
	for _, port := range f.also {
		if d.alsoScope == nil {
			break
		}
		if scope, stages := d.alsoScope(port); scope != nil {
			if _, _, err := scope.compile(t.Value); err != nil {
				d.formulaFault(t, path, fmt.Errorf("for the items of stage %s at port `%s`: %w", stages, port, err))
			}
		}
	}
	switch ty := fm.Type(); {
	case f.unit.key:
	case f.unit.text:
		if ty.Sort != formula.Text {
			d.fail(t.Pos, fmt.Sprintf("%q for `%s`, which is no text", t.Value, path), "an expression that gives a text", "")
		}
	case ty.Sort != formula.Number:
		d.fail(t.Pos, fmt.Sprintf("%q for `%s`, which is no number", t.Value, path), f.unit.String(), "name a field of numbers, or write a quantity")
	case !f.unit.any && ty.Unit.Dim() != f.unit.unit.Dim():
		d.fail(t.Pos, fmt.Sprintf("%q for `%s`, which comes out in %s", t.Value, path, unitWord(ty.Unit)), f.unit.String(),
			"give the column a unit in its head, or correct the expression")
	}
	return f
}

// formulaFault reports a faulty expression at its own place within the study file.
func (d *decoder) formulaFault(t study.Text, path string, err error) {
	fe := &formula.Error{}
	if prefix := err.Error(); errors.As(err, &fe) {
		c := *fe
		fe = &c
		if wrapped, _, ok := strings.Cut(prefix, ": "); ok && strings.HasPrefix(wrapped, "for the items of stage ") {
			fe.Found = wrapped + ": " + fe.Found
		}
	} else {
		fe = &formula.Error{Found: err.Error()}
	}
	// the formula counts characters, the study's text is located by bytes
	runes := []rune(t.Value)
	offset := len(string(runes[:min(fe.Offset, len(runes))]))
	pos := t.Pos
	if d.locate != nil {
		pos = d.locate(t, offset)
	}
	d.fail(pos, fe.Found+" in `"+path+"`", fe.Expected, fe.Remedy)
}

// column reads a ColumnName.
func (d *decoder) column(n *study.Node, tag reflect.StructTag, path string) ColumnName {
	c := ColumnName{Path: path}
	t, ok := d.scalar(n, path, "the name of a column")
	if !ok {
		return c
	}
	if slices.Contains(words(tag, "words"), t.Value) {
		c.Word = t.Value
		return c
	}
	c.Name = t.Value
	if d.port == nil {
		return c
	}
	scope, all, known := d.port(tag.Get("port"))
	if !known {
		return c
	}
	if findColumn(scope.columns, t.Value) != nil {
		d.columnOfAll(t, tag, path, all)
		return c
	}
	fm, ok, err := scope.compile(t.Value)
	if err == nil && !ok {
		return c
	}
	if err != nil {
		names := columnNames(scope.columns)
		found, remedy := fault.Unknown("column", t.Value, names)
		if !catalog.IsIdentifier(strings.ReplaceAll(t.Value, ".", "_")) {
			d.formulaFault(t, path, err)
			return c
		}
		d.fail(t.Pos, found+" for `"+path+"`", "one of "+shortList(names, 12), remedy)
		return c
	}
	c.formula = fm
	d.columnSort(t, tag, path, fm.Type())
	return c
}

// columnOfAll makes sure that all stages that feed a port have the column, in units of one kind. One that is called STAGE.NAME is
// meant to come from that stage alone.
func (d *decoder) columnOfAll(t study.Text, tag reflect.StructTag, path string, all []Arriving) {
	var first *ColumnShape
	var from string
	for _, a := range all {
		if name, ok := strings.CutPrefix(t.Value, a.Stage+"."); ok && findColumn(a.Columns, name) != nil {
			return
		}
	}
	for _, a := range all {
		c := findColumn(a.Columns, t.Value)
		switch {
		case c == nil:
			d.fail(t.Pos, fmt.Sprintf("the column `%s` for `%s`, which stage %s does not give", t.Value, path, a.Stage), "a column of all stages that feed the port",
				"name another column or output, or leave the stage out: it gives "+shortList(columnNames(a.Columns), 12))
			return
		case first == nil:
			first, from = c, a.Stage
		case first.Text != c.Text || !first.Any && !c.Any && first.Unit.Dim() != c.Unit.Dim():
			d.fail(t.Pos, fmt.Sprintf("the column `%s` for `%s`, which is %s in stage %s and %s in stage %s", t.Value, path, typeWord(first.formulaType()), from, typeWord(c.formulaType()), a.Stage),
				"one quantity from all stages that feed the port", "name another column, or leave one of the stages out")
			return
		}
	}
	if first != nil && !first.Any {
		d.columnSort(t, tag, path, first.formulaType())
	}
}

// columnSort holds a column, or what an expression over rows gives, against the setting's unit.
func (d *decoder) columnSort(t study.Text, tag reflect.StructTag, path string, ty formula.Type) {
	if tag.Get("unit") == "" {
		return
	}
	target := d.target(tag)
	switch {
	case ty.Sort != formula.Number:
		d.fail(t.Pos, fmt.Sprintf("%q for `%s`, which is %s", t.Value, path, typeWord(ty)), "a column of numbers", "name another column")
	case !target.any && ty.Unit.Dim() != target.unit.Dim():
		d.fail(t.Pos, fmt.Sprintf("%q for `%s`, which is %s", t.Value, path, typeWord(ty)), target.String(), "name another column")
	}
}

// expr reads an Expr.
func (d *decoder) expr(n *study.Node, tag reflect.StructTag, path string) Expr {
	x := Expr{Path: path}
	t, ok := d.scalar(n, path, "an expression")
	if !ok {
		return x
	}
	x.Text = t.Value
	if d.port == nil {
		return x
	}
	scope, _, known := d.port(tag.Get("port"))
	if lead, _, ok := d.port(""); ok && known {
		scope.columns = append(scope.columns, lead.columns...) // rows that are joined again bear columns of their own
	} else {
		known = false
	}
	if !known {
		return x
	}
	fm, ok, err := scope.compile(t.Value)
	if err != nil {
		d.formulaFault(t, path, err)
		return x
	}
	if ok {
		x.formula = fm
	}
	return x
}

// columnNames lists columns for messages, without the longer form STAGE.NAME of those that have a short one.
func columnNames(columns []ColumnShape) []string {
	var out []string
	for _, c := range columns {
		out = append(out, c.Name)
	}
	return out
}
