package pipeline

import (
	"errors"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"fascicle/catalog"
	"fascicle/catalog/fault"
	"fascicle/pipeline/formula"
	"fascicle/pipeline/study"
)

// This file is the one place that reads settings: study nodes into a kind's struct, by the tags that settings.go explains.

// constant is a named value of the study, or one of a map's.
type constant struct {
	name   string // NAME or NAME.key
	number catalog.Number
}

// unitTarget is the unit that a setting's place expects.
type unitTarget struct {
	unit           catalog.Unit
	any, text, key bool
}

func (u unitTarget) String() string {
	switch {
	case u.any:
		return "a quantity"
	case u.key:
		return "a field"
	case u.text:
		return "a text"
	case u.unit.IsOne():
		return "a pure number"
	}
	return "a quantity in " + u.unit.Symbol() + " or a unit like it"
}

// decoder turns the node under `set` into a settings struct.
type decoder struct {
	file, stage string
	constants   map[string]constant
	names       []string // of constants, for suggestions
	// lead is the scope of Field expressions; port gives the scope of a port's columns and what arrives there. Both may be nil in a first pass that
	// only wants quantities.
	lead *fieldScope
	port func(name string) (scope *fieldScope, all []Arriving, known bool)
	// alsoScope is the scope of the items at another port, and the stages they come from; nil when nothing is to be checked
	alsoScope func(port string) (*fieldScope, string)
	fed       func(port string) bool
	locate    func(t study.Text, offset int) study.Pos // place of a byte within a text of the study
	faults    fault.List
}

func (d *decoder) fail(p study.Pos, found, expected, remedy string) {
	d.faults.Add(&fault.Fault{File: d.file, Line: p.Line, Col: p.Col, Found: found, Expected: expected, Remedy: remedy})
}

// decode fills in the struct that dst points to from node (nil: nothing is set) and returns it.
func (d *decoder) decode(dst any, node *study.Node, at study.Pos) {
	v := reflect.ValueOf(dst).Elem()
	d.structure(v, node, at, "")
	if len(d.faults) == 0 {
		if val, ok := dst.(interface{ Validate() error }); ok {
			if err := val.Validate(); err != nil {
				d.failSetting(node, at, err, "")
			}
		}
	}
}

// SettingError is an error of a settings struct's Validate or CheckFed that belongs to one setting, named by its path.
type SettingError struct{ Path, Found, Expected, Remedy string }

func (e *SettingError) Error() string { return "`" + e.Path + "`: " + e.Found }

// failSetting reports an error at the setting that it names, or at the settings as a whole.
func (d *decoder) failSetting(node *study.Node, at study.Pos, err error, prefix string) {
	if node != nil {
		at = node.Pos
	}
	se, ok := err.(*SettingError)
	if !ok {
		d.fail(at, prefix+err.Error(), "", "`fascicle kinds` explains the settings")
		return
	}
	for n, rest := node, se.Path; n != nil && n.Kind == study.Map && rest != ""; {
		key, more, _ := strings.Cut(rest, ".")
		if n = n.Get(key); n != nil {
			at, rest = n.Pos, more
		}
	}
	d.fail(at, prefix+se.Found, se.Expected, se.Remedy)
}

func settingName(f reflect.StructField) string { return f.Tag.Get("set") }

// embedded tells whether a struct's field is a struct whose settings stand among its own.
func embedded(f reflect.StructField) bool {
	return f.Anonymous && settingName(f) == "" && f.Type.Kind() == reflect.Struct
}

// settingNames lists the names of a struct's settings, those of embedded structs among them.
func settingNames(t reflect.Type) []string {
	var names []string
	for i := range t.NumField() {
		f := t.Field(i)
		if embedded(f) {
			names = append(names, settingNames(f.Type)...)
		} else if n := settingName(f); n != "" {
			names = append(names, n)
		}
	}
	return names
}

// structure reads a map node into a struct.
func (d *decoder) structure(v reflect.Value, node *study.Node, at study.Pos, path string) {
	names := settingNames(v.Type())
	if node != nil && node.Kind != study.Map {
		d.fail(node.Pos, "a "+nodeWord(node)+" where settings are due", "a map of "+strings.Join(names, ", "), "write `name: value` pairs")
		return
	}
	if node != nil {
		for _, e := range node.Entries {
			if !slices.Contains(names, e.Key.Value) {
				found, remedy := fault.Unknown("setting", e.Key.Value, names)
				expected := "one of " + strings.Join(names, ", ")
				if len(names) == 0 {
					expected = "no settings: this kind has none"
				}
				d.fail(e.Key.Pos, found, expected, remedy)
			}
		}
	}
	d.entries(v, node, at, path)
}

// entries reads each setting of a struct whose node has no unknown names.
func (d *decoder) entries(v reflect.Value, node *study.Node, at study.Pos, path string) {
	t := v.Type()
	for i := range t.NumField() {
		f := t.Field(i)
		if embedded(f) {
			d.entries(v.Field(i), node, at, path)
			continue
		}
		name := settingName(f)
		if name == "" {
			continue
		}
		sub := path + name
		var n *study.Node
		if node != nil {
			n = node.Get(name)
		}
		if unless := f.Tag.Get("unless"); unless != "" && n != nil && d.fed != nil && d.fed(unless) {
			d.fail(keyPos(node, name), fmt.Sprintf("`%s`, while port `%s` is fed, which brings it", sub, unless), "one of the two", "leave one of the two out")
			continue
		}
		if n == nil {
			def, ok := f.Tag.Lookup("default")
			if !ok {
				where := at
				if node != nil {
					where = node.Pos
				}
				d.fail(where, "no setting `"+sub+"`", f.Tag.Get("doc"), "add `"+name+":` under `set` of stage "+d.stage)
				continue
			}
			if def == "-" {
				d.blank(v.Field(i), sub)
				continue
			}
			n = defaultNode(def, f.Type, at)
		}
		d.value(v.Field(i), f.Tag, n, sub)
	}
}

// keyPos is the place of a map's key.
func keyPos(node *study.Node, key string) study.Pos {
	for _, e := range node.Entries {
		if e.Key.Value == key {
			return e.Key.Pos
		}
	}
	return node.Pos
}

// blank gives an unset setting its path, so that a kind can ask for it.
func (d *decoder) blank(v reflect.Value, path string) {
	switch x := v.Addr().Interface().(type) {
	case *Field:
		*x = Field{Path: path}
	case *ColumnName:
		*x = ColumnName{Path: path}
	default:
		if t := v.Type(); t.Kind() == reflect.Struct {
			for i := range t.NumField() {
				if n := settingName(t.Field(i)); n != "" {
					d.blank(v.Field(i), path+"."+n)
				}
			}
		}
	}
}

// defaultNode makes the node that a default stands for. A default of a list or range is written `a, b`.
func defaultNode(def string, t reflect.Type, at study.Pos) *study.Node {
	scalar := func(s string) *study.Node {
		return &study.Node{Kind: study.Scalar, Text: study.Text{Value: s, Pos: at}, Pos: at}
	}
	isRange := t == reflect.TypeFor[Range]()
	if isRange && strings.Contains(def, ",") || t.Kind() == reflect.Slice {
		n := &study.Node{Kind: study.List, Pos: at}
		for _, p := range strings.Split(def, ",") {
			n.Items = append(n.Items, scalar(strings.TrimSpace(p)))
		}
		return n
	}
	return scalar(def)
}

func nodeWord(n *study.Node) string {
	switch n.Kind {
	case study.Map:
		return "map"
	case study.List:
		return "list"
	}
	return "single value"
}

// scalar gives the text of a node that must be a single value.
func (d *decoder) scalar(n *study.Node, path, expected string) (study.Text, bool) {
	if n.Kind != study.Scalar {
		found, remedy := study.Describe(n)
		if remedy == "" {
			remedy = "write a single value"
		}
		d.fail(n.Pos, found+" for `"+path+"`", expected, remedy)
		return study.Text{}, false
	}
	return n.Text, true
}

func words(tag reflect.StructTag, key string) []string {
	s := tag.Get(key)
	if s == "" {
		return nil
	}
	return strings.Split(s, "|")
}

func (d *decoder) target(tag reflect.StructTag) unitTarget {
	switch u := tag.Get("unit"); u {
	case "*":
		return unitTarget{any: true}
	case "text":
		return unitTarget{text: true}
	case "key":
		return unitTarget{text: true, key: true}
	default:
		unit, err := catalog.ParseUnit(u)
		if err != nil {
			panic("pipeline: setting tag: " + err.Error())
		}
		return unitTarget{unit: unit}
	}
}

// value reads one setting.
func (d *decoder) value(v reflect.Value, tag reflect.StructTag, n *study.Node, path string) {
	switch x := v.Addr().Interface().(type) {
	case *Quantity:
		*x = d.quantity(n, tag, path)
		return
	case *Range:
		*x = d.interval(n, tag, path)
		return
	case *Field:
		*x = d.field(n, tag, path)
		return
	case *ColumnName:
		*x = d.column(n, tag, path)
		return
	case *Expr:
		*x = d.expr(n, tag, path)
		return
	}
	t := v.Type()
	switch {
	case t.Kind() == reflect.Struct:
		d.structure(v, n, n.Pos, path+".")
	case t.Kind() == reflect.Slice && isNamed(t.Elem()):
		d.mapping(v, tag, n, path)
	case t.Kind() == reflect.Slice:
		items := []*study.Node{n}
		if n.Kind == study.List {
			items = n.Items
		} else if t.Elem().Kind() == reflect.Slice && !isNamed(t.Elem().Elem()) {
			d.fail(n.Pos, "a "+nodeWord(n)+" for `"+path+"`", "a list of lists", "write [[…], […]]")
			return
		}
		out := reflect.MakeSlice(t, len(items), len(items))
		for i, it := range items {
			d.value(out.Index(i), tag, it, path+"["+strconv.Itoa(i+1)+"]")
		}
		v.Set(out)
	default:
		d.plain(v, tag, n, path)
	}
}

func isNamed(t reflect.Type) bool {
	return t.Kind() == reflect.Struct && strings.HasPrefix(t.Name(), "Named[") && t.NumField() == 2
}

// mapping reads a map node with free keys into a Map.
func (d *decoder) mapping(v reflect.Value, tag reflect.StructTag, n *study.Node, path string) {
	if n.Kind != study.Map {
		d.fail(n.Pos, "a "+nodeWord(n)+" for `"+path+"`", "a map", "write `{name: value}`")
		return
	}
	out := reflect.MakeSlice(v.Type(), len(n.Entries), len(n.Entries))
	for i, e := range n.Entries {
		key := e.Key.Value
		var unit *catalog.Unit
		if tag.Get("keyed") == "unit" {
			if key, unit = d.keyUnit(e.Key); key == "" {
				continue
			}
		}
		out.Index(i).Field(0).SetString(key)
		d.value(out.Index(i).Field(1), tag, e.Value, path+"."+key)
		if x, ok := out.Index(i).Field(1).Addr().Interface().(*Expr); ok && unit != nil {
			d.exprUnit(x, e.Key.Pos, *unit, path+"."+key)
		}
	}
	v.Set(out)
}

// keyUnit parts `name [unit]`.
func (d *decoder) keyUnit(t study.Text) (name string, unit *catalog.Unit) {
	name, text, has := catalog.CutUnit(t.Value)
	if !catalog.IsIdentifier(name) {
		d.fail(t.Pos, fmt.Sprintf("the name %q", name), "letters, digits and _", "rename it")
		return "", nil
	}
	if !has {
		return name, nil
	}
	u, err := catalog.ParseUnit(text)
	if err != nil {
		d.failUnit(t.Pos, err)
		return "", nil
	}
	return name, &u
}

// failUnit reports an unreadable number or unit with the remedy that the catalog knows.
func (d *decoder) failUnit(p study.Pos, err error) {
	var f *fault.Fault
	if errors.As(err, &f) {
		d.fail(p, f.Found, f.Expected, f.Remedy)
		return
	}
	d.fail(p, err.Error(), "a unit", "")
}

// exprUnit turns what an expression gives into the unit that stands in the brackets behind its name.
func (d *decoder) exprUnit(x *Expr, at study.Pos, unit catalog.Unit, path string) {
	x.Unit = unit.Code()
	if x.formula == nil {
		return
	}
	f, err := x.formula.In(unit)
	if err != nil {
		d.fail(at, fmt.Sprintf("`%s` comes out in %s", path, unitWord(x.formula.Type().Unit)), "something that turns into "+unitWord(unit), "correct the expression, or the unit in the brackets")
		return
	}
	x.formula = f
}

// plain reads strings, numbers without unit, and yes or no.
func (d *decoder) plain(v reflect.Value, tag reflect.StructTag, n *study.Node, path string) {
	t, ok := d.scalar(n, path, tag.Get("doc"))
	if !ok {
		return
	}
	switch v.Kind() {
	case reflect.String:
		if allowed := words(tag, "oneof"); allowed != nil && !slices.Contains(allowed, t.Value) {
			found, remedy := fault.Unknown("word for `"+path+"`:", t.Value, allowed)
			d.fail(t.Pos, found, "one of "+strings.Join(allowed, ", "), remedy)
			return
		}
		v.SetString(t.Value)
	case reflect.Bool:
		if t.Value != "true" && t.Value != "false" {
			d.fail(t.Pos, fmt.Sprintf("%q for `%s`", t.Value, path), "true or false", "write true or false")
			return
		}
		v.SetBool(t.Value == "true")
	case reflect.Int:
		i, err := strconv.Atoi(t.Value)
		if err != nil || strconv.Itoa(i) != t.Value {
			d.fail(t.Pos, fmt.Sprintf("%q for `%s`", t.Value, path), "a whole number", "write digits alone")
			return
		}
		if d.bounds(t, float64(i), tag, path) {
			v.SetInt(int64(i))
		}
	case reflect.Float64:
		q := d.number(t, unitTarget{}, path, false)
		if q != nil && d.bounds(t, q.Value, tag, path) {
			v.SetFloat(q.Value)
		}
	default:
		panic("pipeline: setting " + path + " has a type that study files cannot express: " + v.Type().String())
	}
}

// quantity reads a Quantity.
func (d *decoder) quantity(n *study.Node, tag reflect.StructTag, path string) Quantity {
	target := d.target(tag)
	t, ok := d.scalar(n, path, target.String())
	if !ok {
		return Quantity{}
	}
	if slices.Contains(words(tag, "words"), t.Value) {
		return Quantity{Word: t.Value}
	}
	q := d.number(t, target, path, true)
	if q == nil {
		return Quantity{}
	}
	if d.bounds(t, q.Value, tag, path) && tag.Get("whole") == "yes" && q.Value != math.Trunc(q.Value) {
		d.fail(t.Pos, fmt.Sprintf("%q for `%s`", t.Value, path), "a whole number", "write digits alone")
	}
	return *q
}

// number reads a quantity, or the name of a constant, into the target's unit; nil after a fault.
func (d *decoder) number(t study.Text, target unitTarget, path string, uncertain bool) *Quantity {
	num, source, err := d.literal(t, path)
	if err != nil {
		expected := target.String()
		remedy := ""
		if f := unitFault(err); f != nil {
			d.fail(t.Pos, f.Found+" for `"+path+"`", expected, f.Remedy)
			return nil
		}
		if near := fault.Nearest(t.Value, d.names); near != "" && !t.Quoted {
			remedy = "did you mean the constant " + near + "?"
		}
		if remedy == "" {
			remedy = "write a number with its unit, such as `10.00(2) mm`, or the name of a constant"
			if target.unit.IsOne() && !target.any {
				remedy = "write a number, or the name of a constant"
			}
		}
		d.fail(t.Pos, fmt.Sprintf("%q for `%s`", t.Value, path), expected, remedy)
		return nil
	}
	unit := target.unit
	if target.any {
		unit = catalog.Canonical(num.Unit.Dim(), true)
	}
	if !num.HasUnit && !unit.IsOne() && source != "constants."+t.Value {
		d.fail(t.Pos, fmt.Sprintf("%q for `%s`, without a unit", t.Value, path), target.String(), "write the unit behind the number: `"+t.Value+" "+unit.Symbol()+"`")
		return nil
	}
	in, err := num.In(unit)
	if err != nil && !num.HasUnit {
		d.fail(t.Pos, fmt.Sprintf("%q for `%s`, a constant without a unit", t.Value, path), target.String(), fmt.Sprintf("write the unit behind the constant's number: `%s: %s %s`", t.Value, num.Text, unit.Symbol()))
		return nil
	}
	if err != nil {
		d.fail(t.Pos, fmt.Sprintf("%q for `%s`, a number in %s", t.Value, path, unitWord(num.Unit)), target.String(), "correct the unit, or give another quantity")
		return nil
	}
	q := &Quantity{Value: in.Value, Unit: unit.Code()}
	if strings.HasPrefix(source, "constants.") {
		q.Name = source
	}
	if in.HasU && in.U > 0 {
		if !uncertain {
			d.fail(t.Pos, fmt.Sprintf("%q for `%s`, with an uncertainty", t.Value, path), "an exact number", "leave the bracket out")
			return nil
		}
		q.U, q.Nu, q.Source = in.U, in.Nu, source
	}
	return q
}

// literal finds the number that a text stands for: a constant's, or the one written.
func (d *decoder) literal(t study.Text, path string) (n catalog.Number, source string, err error) {
	if c, ok := d.constants[t.Value]; ok {
		return c.number, "constants." + c.name, nil
	}
	n, err = catalog.ParseNumber(t.Value)
	return n, d.stage + "." + path, err
}

// unitFault finds in an unreadable quantity the fault of its unit, when the number itself can be read.
func unitFault(err error) *fault.Fault {
	var f *fault.Fault
	if errors.As(err, &f) && strings.HasPrefix(f.Found, "unknown unit") {
		return f
	}
	return nil
}

// bounds holds a number against the tags min, max, above, below.
func (d *decoder) bounds(t study.Text, x float64, tag reflect.StructTag, path string) bool {
	for _, b := range [...]struct {
		tag, word string
		bad       func(x, b float64) bool
	}{
		{"min", "at least", func(x, b float64) bool { return x < b }},
		{"max", "at most", func(x, b float64) bool { return x > b }},
		{"above", "more than", func(x, b float64) bool { return x <= b }},
		{"below", "less than", func(x, b float64) bool { return x >= b }},
	} {
		s := tag.Get(b.tag)
		if s == "" {
			continue
		}
		limit, err := strconv.ParseFloat(s, 64)
		if err != nil {
			panic("pipeline: setting tag " + b.tag + " of " + path + ": " + err.Error())
		}
		if b.bad(x, limit) {
			unit := d.target(tag).unit.Symbol()
			d.fail(t.Pos, fmt.Sprintf("%q for `%s`", t.Value, path), strings.TrimSpace(b.word+" "+s+" "+unit), "give a value within the bounds")
			return false
		}
	}
	return true
}

// interval reads a Range.
func (d *decoder) interval(n *study.Node, tag reflect.StructTag, path string) Range {
	target := d.target(tag)
	expected := "a list of two: [from, to], each " + target.String() + " or - for an open end"
	if allowed := words(tag, "words"); n.Kind == study.Scalar {
		if slices.Contains(allowed, n.Text.Value) {
			return Range{Word: n.Text.Value}
		}
		if allowed != nil {
			expected += "; or " + strings.Join(allowed, ", ")
		}
		d.fail(n.Pos, fmt.Sprintf("%q for `%s`", n.Text.Value, path), expected, "write [from, to]")
		return Range{}
	}
	if n.Kind != study.List || len(n.Items) != 2 {
		d.fail(n.Pos, "a "+nodeWord(n)+" for `"+path+"`", expected, "write [from, to]")
		return Range{}
	}
	r := Range{Unit: target.unit.Code()}
	ends := [2]struct {
		v    *float64
		open *bool
	}{{&r.Lo, &r.OpenLo}, {&r.Hi, &r.OpenHi}}
	for i, e := range ends {
		t, ok := d.scalar(n.Items[i], path, target.String())
		if !ok {
			return Range{}
		}
		if t.Value == "-" {
			*e.open = true
			continue
		}
		q := d.number(t, target, path, false)
		if q == nil || !d.bounds(t, q.Value, tag, path) {
			return Range{}
		}
		*e.v = q.Value
		if i == 1 && !r.OpenLo && q.Unit != r.Unit {
			d.fail(n.Pos, fmt.Sprintf("a range of `%s` from %s to %s", path, n.Items[0].Text.Value, n.Items[1].Text.Value), "two quantities of one kind", "give both ends in units of one kind")
			return Range{}
		}
		r.Unit = q.Unit
	}
	if !r.OpenLo && !r.OpenHi && r.Lo >= r.Hi {
		d.fail(n.Pos, fmt.Sprintf("a range of `%s` that ends (%s) before it begins (%s)", path, n.Items[1].Text.Value, n.Items[0].Text.Value), "the smaller first", "exchange the two")
	}
	return r
}

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

func unitWord(u catalog.Unit) string {
	if s := u.Symbol(); s != "" {
		return s
	}
	return "no unit"
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

// endsInUnit tells whether what stands behind the number that begins a text can only be meant as a unit: in an expression a name
// does not follow a number without an operator, `1 / temperature`.
func endsInUnit(s string) bool {
	const number = "+-.0123456789() "
	rest := strings.TrimLeft(s, number)
	return s != "" && strings.IndexByte(number, s[0]) >= 0 && rest != "" && rest[0] != '/'
}
