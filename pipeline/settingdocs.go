package pipeline

import (
	"fmt"
	"reflect"
	"strings"

	"fascicle/catalog"
	"fascicle/pipeline/study"
)

// SettingDoc is what a kind's settings struct says of one setting.
type SettingDoc struct {
	Path, Doc string
	Unit      string // for people; "" for none
	Default   string // as a study would write it; "" with Required
	Required  bool
	Words     []string
	Bounds    string
	Shape     string // "a quantity", "a range", "a word", …
}

// SettingDocs lists a kind's settings in the order of its declaration.
func SettingDocs(k *Kind) []SettingDoc {
	if k.Settings == nil {
		return nil
	}
	return settingDocs(reflect.TypeOf(k.Settings()).Elem(), "")
}

func settingDocs(t reflect.Type, path string) []SettingDoc {
	var out []SettingDoc
	for i := range t.NumField() {
		f := t.Field(i)
		if embedded(f) {
			out = append(out, settingDocs(f.Type, path)...)
			continue
		}
		name := settingName(f)
		if name == "" {
			continue
		}
		def, has := f.Tag.Lookup("default")
		d := SettingDoc{Path: path + name, Doc: f.Tag.Get("doc"), Default: def, Required: !has, Words: append(words(f.Tag, "oneof"), words(f.Tag, "words")...), Shape: shapeWord(f.Type)}
		if def == "-" {
			d.Default = "none"
		}
		switch u := f.Tag.Get("unit"); u {
		case "text":
			d.Shape = "a text for each item"
		case "key":
			d.Shape = "a field"
		case "*":
			d.Unit = "any"
		case "", "1":
		default:
			d.Unit = mustUnit(u).Symbol()
		}
		d.Bounds = boundsWord(f.Tag)
		out = append(out, d)
		if f.Type.Kind() == reflect.Struct && strings.HasPrefix(d.Shape, "settings") {
			out = append(out, settingDocs(f.Type, path+name+".")...)
		}
	}
	return out
}

func boundsWord(tag reflect.StructTag) string {
	var out []string
	for _, b := range [...][2]string{{"min", "at least "}, {"above", "above "}, {"max", "at most "}, {"below", "below "}} {
		if v := tag.Get(b[0]); v != "" {
			out = append(out, b[1]+v)
		}
	}
	return strings.Join(out, ", ")
}

func shapeWord(t reflect.Type) string {
	switch t {
	case reflect.TypeFor[Quantity]():
		return "a quantity"
	case reflect.TypeFor[Range]():
		return "a range: [from, to]"
	case reflect.TypeFor[Field]():
		return "a quantity, constant, field or expression for each item"
	case reflect.TypeFor[ColumnName]():
		return "a column"
	case reflect.TypeFor[Expr]():
		return "an expression"
	}
	switch {
	case t.Kind() == reflect.Slice && isNamed(t.Elem()):
		return "a map: " + shapeWord(t.Elem().Field(1).Type) + " for each name"
	case t.Kind() == reflect.Slice:
		return "a list: " + shapeWord(t.Elem())
	}
	switch t.Kind() {
	case reflect.Struct:
		return "settings of its own"
	case reflect.Bool:
		return "true or false"
	case reflect.Int:
		return "a whole number"
	case reflect.Float64:
		return "a number"
	}
	return "a word"
}

// checkSettings holds the tags of a kind's settings against the rules: each has a doc, and each default can be read.
func checkSettings(k *Kind) error {
	dst := k.Settings()
	v := reflect.ValueOf(dst)
	if v.Kind() != reflect.Pointer || v.Elem().Kind() != reflect.Struct {
		return fmt.Errorf("Settings must return a pointer to a struct")
	}
	for _, d := range SettingDocs(k) {
		if d.Doc == "" {
			return fmt.Errorf("setting %s has no doc", d.Path)
		}
	}
	return checkDefaults(k, v.Elem())
}

func checkDefaults(k *Kind, v reflect.Value) error {
	t := v.Type()
	for i := range t.NumField() {
		f := t.Field(i)
		if embedded(f) {
			if err := checkDefaults(k, v.Field(i)); err != nil {
				return err
			}
			continue
		}
		def, ok := f.Tag.Lookup("default")
		if settingName(f) == "" || !ok || def == "-" {
			continue
		}
		d := &decoder{file: "default", stage: k.Name, constants: map[string]constant{}}
		d.value(v.Field(i), f.Tag, defaultNode(def, f.Type, study.Pos{}), settingName(f))
		if len(d.faults) > 0 {
			return fmt.Errorf("setting %s: the default cannot be read: %w", settingName(f), d.faults[0])
		}
	}
	return nil
}

// settingLines lists settings as used, in the order of the declaration: what goes into recipes and into the methods text. Field
// settings are listed as written; recipes name their values for each item instead.
func settingLines(v reflect.Value, set *study.Node, path string, forKey bool) []SettingLine {
	var out []SettingLine
	t := v.Type()
	for i := range t.NumField() {
		f := t.Field(i)
		if embedded(f) {
			out = append(out, settingLines(v.Field(i), set, path, forKey)...)
			continue
		}
		name := settingName(f)
		if name == "" || forKey && f.Tag.Get("key") == "-" {
			continue
		}
		var node *study.Node
		if set != nil && set.Kind == study.Map {
			node = set.Get(name)
		}
		out = append(out, valueLines(v.Field(i), node, path+name, forKey)...)
	}
	return out
}

func valueLines(v reflect.Value, node *study.Node, path string, forKey bool) []SettingLine {
	line := func(s string) []SettingLine { return []SettingLine{{Path: path, Value: s, Default: node == nil}} }
	unit := func(code string) string {
		if code == "" || code == "1" {
			return ""
		}
		return " " + code
	}
	switch x := v.Interface().(type) {
	case Quantity:
		if x.Word != "" {
			return line(x.Word)
		}
		return line(x.String())
	case Range:
		if x.Word != "" {
			return line(x.Word)
		}
		end := func(open bool, y float64) string {
			if open {
				return "-"
			}
			return catalog.FormatPlain(y)
		}
		return line(end(x.OpenLo, x.Lo) + " to " + end(x.OpenHi, x.Hi) + unit(x.Unit))
	case Field:
		if forKey && x.Word == "" && x.Set {
			return nil // named with its values, for each item
		}
		if !x.Set {
			return line("none")
		}
		return line(x.text)
	case ColumnName:
		if x.Word != "" {
			return line(x.Word)
		}
		if x.Name == "" {
			return line("none")
		}
		return line(x.Name)
	case Expr:
		if x.Unit != "" {
			return line(x.Text + " [" + x.Unit + "]")
		}
		return line(x.Text)
	}
	switch t := v.Type(); {
	case t.Kind() == reflect.Slice && isNamed(t.Elem()):
		var out []SettingLine
		for i := range v.Len() {
			key := v.Index(i).Field(0).String()
			var n *study.Node
			if node != nil && node.Kind == study.Map {
				n = node.Get(key)
			}
			out = append(out, valueLines(v.Index(i).Field(1), n, path+"."+key, forKey)...)
		}
		if out == nil {
			return line("none")
		}
		return out
	case t.Kind() == reflect.Slice:
		var out []SettingLine
		for i := range v.Len() {
			n := node
			if node != nil && node.Kind == study.List && i < len(node.Items) {
				n = node.Items[i]
			}
			out = append(out, valueLines(v.Index(i), n, fmt.Sprintf("%s[%d]", path, i+1), forKey)...)
		}
		if out == nil {
			return line("none")
		}
		return out
	case t.Kind() == reflect.Struct:
		return settingLines(v, node, path+".", forKey)
	}
	if v.Kind() == reflect.Float64 {
		return line(catalog.FormatPlain(v.Float()))
	}
	return line(fmt.Sprint(v.Interface()))
}

// String gives a quantity as recipes name it: value, standard uncertainty, unit, and the constant or setting that it is.
func (q Quantity) String() string {
	s := catalog.FormatPlain(q.Value)
	if q.U > 0 {
		s += " ± " + catalog.FormatPlain(q.U) + finite(q.Nu)
	}
	if q.Unit != "" && q.Unit != "1" {
		s += " " + q.Unit
	}
	switch {
	case q.Name != "":
		s += " (" + q.Name + ")"
	case q.Source != "":
		s += " (" + q.Source + ")"
	}
	return s
}
