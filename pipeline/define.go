package pipeline

import (
	"fmt"
	"slices"
	"strings"

	"fascicle/catalog"
	"fascicle/catalog/fault"
	"fascicle/pipeline/formula"
	"fascicle/pipeline/study"
)

// definitions are the study's derived columns and conditions, compiled. They may use each other in any order but not in a ring.
type definitions struct {
	derived    []*definition
	conditions []*definition
	byName     map[string]*definition
}

type definition struct {
	name    study.Text
	expr    study.Text
	unit    study.Text // of a derived column, "" for none
	derived bool
	formula *formula.Formula
	convert catalog.Conversion // from the formula's unit to the column's
	id      int                // field number of a derived column
	ty      formula.Type
	reach   *reach
	state   uint8 // 0 new, 1 in work, 2 done, 3 faulty
}

// fieldScope is what expressions over fields may name: fields, constants and conditions.
type fieldScope struct {
	l *loader
	// only limits fields to those that a stage's items can have; nil: all
	only map[string]bool
	// columns of a port, named STAGE.NAME or NAME
	columns []ColumnShape
	// quiet: a name was looked up whose definition is faulty, or a column whose unit only its files tell. A fault that compiling then
	// finds follows from that, or cannot be told yet.
	quiet bool
	open  bool // a column was looked up whose unit only its files tell
}

// compile compiles an expression in the scope. ok is false when a fault is to be passed over in silence.
func (s *fieldScope) compile(src string) (f *formula.Formula, ok bool, err error) {
	s.quiet, s.open = false, false
	f, err = formula.Compile(src, s)
	if err != nil && s.quiet || s.open {
		return nil, false, nil // with a unit that only the files tell, it would be compiled wrongly: that is done when they are read
	}
	return f, err == nil, err
}

func (s *fieldScope) column(name string) (formula.Type, bool) {
	c := findColumn(s.columns, name)
	if c == nil || name == AxisColumn || name == ValueColumn {
		return formula.Type{}, false
	}
	s.quiet, s.open = s.quiet || c.Any && !c.Text, s.open || c.Any && !c.Text
	return c.formulaType(), true
}

func (s *fieldScope) Lookup(name string) (formula.Type, bool) {
	if t, ok := s.column(name); ok {
		return t, true
	}
	t, ok := s.l.lookup(name, s.only)
	if d := s.l.defs.byName[name]; d != nil && d.state == 3 {
		s.quiet = true
	}
	return t, ok
}

func (c ColumnShape) formulaType() formula.Type {
	if c.Text {
		return formula.Type{Sort: formula.Text}
	}
	return formula.Type{Sort: formula.Number, Unit: c.Unit}
}

func (s *fieldScope) Member(name, key string) (formula.Type, bool) {
	full := name + "." + key
	if t, ok := s.column(full); ok {
		return t, true
	}
	if _, ok := s.l.constants[full]; ok {
		return formula.Type{Sort: formula.Number, Unit: s.l.firstKey(name)}, true
	}
	return formula.Type{}, false
}

// family tells whether a declared column stands for a numbered family (tau_i) and gives its stem (tau).
func family(name string) (stem string, ok bool) {
	return strings.CutSuffix(name, "_i")
}

// numbered tells whether name is stem followed by a number from 1.
func numbered(name, stem string) bool {
	rest, ok := strings.CutPrefix(name, stem+"_")
	if !ok || rest == "" || rest[0] == '0' {
		return false
	}
	for _, c := range rest {
		if c < '0' || c > '9' {
			return false
		}
	}
	return true
}

func (s *fieldScope) Names() []string {
	var names []string
	for _, c := range s.columns {
		names = append(names, c.Name)
	}
	for _, n := range s.l.fields.names {
		if s.only == nil || s.only[n] {
			names = append(names, n)
		}
	}
	for n := range s.l.defs.byName {
		names = append(names, n)
	}
	for _, c := range s.l.Study.Constants {
		names = append(names, c.Name.Value)
		for _, k := range c.Keys {
			names = append(names, c.Name.Value+"."+k.Key.Value)
		}
	}
	slices.Sort(names)
	return slices.Compact(names)
}

// lookup finds the type of a name, compiling the definition behind it first if need be.
func (l *loader) lookup(name string, only map[string]bool) (formula.Type, bool) {
	if d, ok := l.defs.byName[name]; ok {
		l.compile(d)
		return d.ty, d.state == 2
	}
	if c, ok := l.constants[name]; ok {
		return formula.Type{Sort: formula.Number, Unit: c.number.Unit}, true
	}
	for _, c := range l.Study.Constants {
		if c.Name.Value == name && len(c.Keys) > 0 {
			return formula.Type{Sort: formula.NumberMap, Unit: c.Keys[0].Value.Unit}, true
		}
	}
	if id, ok := l.fields.id(name); ok && (only == nil || only[name]) {
		return l.fields.types[id], true
	}
	return formula.Type{}, false
}

// define compiles all derived columns and conditions.
func (l *loader) define() {
	l.defs = &definitions{byName: map[string]*definition{}}
	for _, c := range l.Study.Constants {
		for _, k := range c.Keys[min(1, len(c.Keys)):] {
			if k.Value.Unit.Dim() != c.Keys[0].Value.Unit.Dim() {
				l.fail(k.Key.Pos, fmt.Sprintf("the constant %s.%s in %s", c.Name.Value, k.Key.Value, unitWord(k.Value.Unit)), unitWord(c.Keys[0].Value.Unit)+", as the others have", "give all of them in units of one kind")
			}
		}
	}
	for _, d := range l.Study.Derive {
		def := &definition{name: d.Name, expr: d.Expr, unit: d.Unit, derived: true}
		if id, ok := l.fields.id(d.Name.Value); ok && id >= 0 {
			l.fail(d.Name.Pos, fmt.Sprintf("a derived column %q, which the sheet or an import has already", d.Name.Value), "a new name", "rename it")
			continue
		}
		l.defs.byName[d.Name.Value] = def
		l.defs.derived = append(l.defs.derived, def)
	}
	for _, c := range l.Study.Conditions {
		def := &definition{name: c.Name, expr: c.Expr}
		if _, ok := l.fields.id(c.Name.Value); ok {
			l.fail(c.Name.Pos, fmt.Sprintf("a condition %q, which is also the name of a field", c.Name.Value), "a new name", "rename it")
			continue
		}
		l.defs.byName[c.Name.Value] = def
		l.defs.conditions = append(l.defs.conditions, def)
	}
	for _, d := range l.defs.derived {
		l.compile(d)
	}
	for _, d := range l.defs.conditions {
		l.compile(d)
	}
	for _, d := range l.defs.derived {
		d.id, _ = l.fields.add(d.name.Value, d.ty)
	}
}

func (l *loader) compile(d *definition) {
	switch d.state {
	case 1:
		l.fail(d.expr.Pos, fmt.Sprintf("`%s`, which uses itself, directly or by way of others", d.name.Value), "no ring of definitions", "break the ring")
		d.state = 3
		return
	case 2, 3:
		return
	}
	d.state = 1
	scope := &fieldScope{l: l}
	if d.derived {
		// only the sheet's own columns: what imports bring differs from item to item
		scope.only = map[string]bool{"sample": true}
		for i, c := range l.Sheet.Columns {
			scope.only[c.Name] = i > 0
		}
	}
	f, ok, err := scope.compile(d.expr.Value)
	if d.state == 3 || !ok && err == nil {
		d.state = 3
		return
	}
	d.formula = f
	if err != nil {
		dec := &decoder{file: l.file, locate: l.Study.Locate}
		dec.formulaFault(d.expr, d.name.Value, err)
		l.faults = append(l.faults, dec.faults...)
		d.state = 3
		return
	}
	d.ty = d.formula.Type()
	if !d.derived {
		if d.ty.Sort != formula.Bool {
			l.fail(d.expr.Pos, "the condition `"+d.name.Value+"` comes out as "+typeWord(d.ty), "a yes or no", "compare it with something")
			d.state = 3
			return
		}
		d.state = 2
		return
	}
	if d.ty.Sort == formula.Number {
		unit := d.ty.Unit
		if d.unit.Value != "" {
			unit, err = catalog.ParseUnit(d.unit.Value)
			if err != nil {
				l.fail(d.unit.Pos, err.Error(), "a unit", "correct the unit in the brackets")
				d.state = 3
				return
			}
		} else if unit.Dim() != (catalog.Dimension{}) {
			unit = catalog.Canonical(unit.Dim(), false)
		} else {
			unit = catalog.Unit{}
		}
		if d.convert, err = catalog.Convert(d.ty.Unit, unit); err != nil {
			l.fail(d.unit.Pos, fmt.Sprintf("`%s` comes out in %s", d.name.Value, unitWord(d.ty.Unit)), "something that turns into "+unitWord(unit), "correct the expression, or the unit in the brackets")
			d.state = 3
			return
		}
		d.ty.Unit = unit
	}
	d.state = 2
}

// derive works out all derived columns of a row.
func (ds *definitions) derive(p *Project, row *sampleRow) {
	if len(ds.derived) == 0 {
		return
	}
	f := Fields{row: row}
	env := &fieldEnv{p: p, f: &f}
	for _, d := range ds.derived {
		row.has[d.id] = true
		row.values[d.id] = d.eval(env)
	}
}

func (d *definition) eval(env *fieldEnv) FieldValue {
	v := d.formula.Eval(env)
	switch {
	case v.Null:
		return FieldValue{Null: true}
	case d.ty.Sort == formula.Number:
		return numberField(d.convert.Float(v.Number))
	case d.ty.Sort == formula.Bool:
		return FieldValue{Text: fmt.Sprint(v.Bool)}
	}
	return FieldValue{Text: v.Text}
}

// fieldEnv gives expressions the fields of one item.
type fieldEnv struct {
	p *Project
	f *Fields
	// used, when not nil, collects the names of constants that took part
	used map[string]bool
	// columns of a table, for expressions over rows
	column func(name string) (formula.Value, bool)
	// shift, when not nil, moves a constant or a cell, and with it the derived columns that depend on it
	shift *fieldShift
}

func (e *fieldEnv) constant(name string) catalog.Number {
	n := e.p.constants[name].number
	if e.shift != nil && e.shift.constant == name {
		n.Value += e.shift.sign * n.U
	}
	return n
}

func (e *fieldEnv) Get(name string) formula.Value {
	if e.column != nil {
		if v, ok := e.column(name); ok {
			return v
		}
	}
	d := e.p.defs.byName[name]
	if d != nil && !d.derived {
		central := *e // a condition sees central values
		central.shift = nil
		return d.formula.Eval(&central)
	}
	if _, ok := e.p.constants[name]; ok {
		if e.used != nil {
			e.used[name] = true
		}
		return formula.Value{Number: e.constant(name).Value}
	}
	id, ok := e.p.fields.id(name)
	if !ok {
		return formula.Value{Null: true}
	}
	v, _ := e.f.get(id)
	if s := e.shift; s != nil && !v.Null && e.f.row != nil {
		switch {
		case d != nil && d.reach.sees(s):
			v = d.eval(&fieldEnv{p: e.p, f: &Fields{row: e.f.row}, shift: s})
		case id == s.column && e.f.row.sample == s.sample:
			v = numberField(v.Number + s.sign*e.f.row.u[id])
		}
	}
	return v.formulaValue(e.p.fields.types[id])
}

func (v FieldValue) formulaValue(t formula.Type) formula.Value {
	switch {
	case v.Null:
		return formula.Value{Null: true}
	case t.Sort == formula.Number:
		return formula.Value{Number: v.Number}
	case t.Sort == formula.Bool:
		return formula.Value{Bool: v.Text == "true"}
	}
	return formula.Value{Text: v.Text}
}

func (e *fieldEnv) Member(name, key string) formula.Value {
	full := name + "." + key
	if e.column != nil {
		if v, ok := e.column(full); ok {
			return v
		}
	}
	if _, ok := e.p.constants[full]; !ok {
		return formula.Value{Null: true}
	}
	if e.used != nil {
		e.used[full] = true
	}
	n := e.constant(full)
	first := e.p.firstKey(name)
	if in, err := n.In(first); err == nil {
		return formula.Value{Number: in.Value}
	}
	return formula.Value{Null: true}
}

// firstKey gives the unit in which a constant with keys is declared: its first value's.
func (p *Project) firstKey(name string) catalog.Unit {
	for _, c := range p.Study.Constants {
		if c.Name.Value == name && len(c.Keys) > 0 {
			return c.Keys[0].Value.Unit
		}
	}
	return catalog.Unit{}
}

// unknownField is the fault for a name that should be a field.
func (l *loader) unknownField(t study.Text, what string, names []string) {
	found, remedy := fault.Unknown("field", t.Value, names)
	if remedy == "" {
		remedy = "the fields here are " + strings.Join(names, ", ")
	}
	l.fail(t.Pos, found+" in `"+what+"`", "a field of these items", remedy)
}
