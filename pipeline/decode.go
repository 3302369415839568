package pipeline

import (
	"fmt"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"fascicle/catalog"
	"fascicle/catalog/fault"
	"fascicle/pipeline/study"
)

// This file is the one place that reads settings: study nodes into a kind's struct, by the tags that settings.go explains.

// constant is a named value of the study, or one of a map's.
type constant struct {
	name   string // NAME or NAME.key
	number catalog.Number
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
