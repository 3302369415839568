package pipeline

import (
	"cmp"
	"slices"
	"strings"

	"fascicle/catalog"
	"fascicle/pipeline/formula"
)

// FieldValue is what an item says of one field. Numbers are in the unit that the field was declared with.
type FieldValue struct {
	Null   bool
	Text   string // of texts and dates; numbers keep their shortest decimal here
	Number float64
}

func (v FieldValue) String() string {
	if v.Null {
		return ""
	}
	return v.Text
}

// fieldTable numbers all fields of a study: the sheet's columns, derived columns, captures. Read-only once loaded.
type fieldTable struct {
	ids   map[string]int
	names []string
	types []formula.Type
}

func (t *fieldTable) id(name string) (int, bool) { id, ok := t.ids[name]; return id, ok }

// add declares a field; a second declaration must agree in sort and dimension.
func (t *fieldTable) add(name string, ty formula.Type) (int, bool) {
	if id, ok := t.ids[name]; ok {
		have := t.types[id]
		return id, have.Sort == ty.Sort && have.Unit.Dim() == ty.Unit.Dim()
	}
	id := len(t.names)
	t.ids[name] = id
	t.names = append(t.names, name)
	t.types = append(t.types, ty)
	return id, true
}

// parse reads a captured text as the field's type. An empty text is null.
func (t *fieldTable) parse(id int, text string, unit catalog.Unit) (FieldValue, error) {
	if text == "" {
		return FieldValue{Null: true}, nil
	}
	if t.types[id].Sort != formula.Number {
		return FieldValue{Text: text}, nil
	}
	n, err := catalog.ParseNumber(text)
	if err != nil {
		return FieldValue{}, err
	}
	if !n.HasUnit {
		n.Unit = unit
	}
	in, err := n.In(t.types[id].Unit)
	if err != nil {
		return FieldValue{}, err
	}
	return numberField(in.Value), nil
}

func numberField(x float64) FieldValue {
	return FieldValue{Number: x, Text: catalog.FormatPlain(x)}
}

// sampleRow is a row of the sheet with its derived columns, by field number. Shared by all items of the sample.
type sampleRow struct {
	sample string
	values []FieldValue // by field number; beyond the end: not a column of the sheet
	has    []bool
	u      []float64 // uncertainties of the sheet's cells
	nu     []float64 // … and their degrees of freedom, 0: infinite
}

type ownField struct {
	id    int
	value FieldValue
}

// Fields are what is known of an item: its own (captured, from its file, or agreed on by a group), then its sample's row.
type Fields struct {
	own []ownField
	row *sampleRow
}

// get finds a field; ok is false when the item has no such field at all.
func (f *Fields) get(id int) (v FieldValue, ok bool) {
	for i := range f.own {
		if f.own[i].id == id {
			return f.own[i].value, true
		}
	}
	if f.row != nil && id < len(f.row.values) && f.row.has[id] {
		return f.row.values[id], true
	}
	return FieldValue{Null: true}, false
}

func (f *Fields) sample() string {
	if f.row != nil {
		return f.row.sample
	}
	return ""
}

// set replaces or adds an own field.
func (f *Fields) set(id int, v FieldValue) {
	for i := range f.own {
		if f.own[i].id == id {
			f.own[i].value = v
			return
		}
	}
	f.own = append(f.own, ownField{id, v})
}

// agreed gives the fields on which all of several items agree, and the first of their dates.
func agreed(t *fieldTable, items []*item) Fields {
	first := items[0].fields
	if len(items) == 1 {
		return first
	}
	same := true
	for _, it := range items[1:] {
		same = same && it.fields.row == first.row
	}
	var out Fields
	if same {
		out.row = first.row
	}
	var ids []int
	for _, o := range first.own {
		ids = append(ids, o.id)
	}
	if !same && first.row != nil {
		for id, has := range first.row.has {
			if has && !slices.Contains(ids, id) {
				ids = append(ids, id)
			}
		}
	}
	for _, id := range ids {
		v, _ := first.get(id)
		keep := true
		date := t.types[id].Sort == formula.Date
		for _, it := range items[1:] {
			w, ok := it.fields.get(id)
			if date && ok && !w.Null && !v.Null {
				if w.Text < v.Text {
					v = w
				}
				continue
			}
			if !ok || w.Null != v.Null || w.Text != v.Text {
				keep = false
				break
			}
		}
		if keep && !v.Null {
			out.own = append(out.own, ownField{id, v})
		}
	}
	return out
}

// named lists an item's own fields, then its sample's, as text, sorted by name.
func (f *Fields) named(t *fieldTable) []NamedField {
	var out []NamedField
	seen := func(name string) bool {
		return slices.ContainsFunc(out, func(n NamedField) bool { return n.Name == name })
	}
	for _, o := range f.own {
		if !o.value.Null {
			out = append(out, NamedField{t.names[o.id], fieldText(t, o.id, o.value)})
		}
	}
	if f.row != nil {
		for id, v := range f.row.values {
			if f.row.has[id] && !v.Null && !seen(t.names[id]) {
				out = append(out, NamedField{t.names[id], fieldText(t, id, v)})
			}
		}
	}
	slices.SortFunc(out, func(a, b NamedField) int { return cmp.Compare(a.Name, b.Name) })
	return out
}

func fieldText(t *fieldTable, id int, v FieldValue) string {
	if u := t.types[id].Unit.Symbol(); u != "" && t.types[id].Sort == formula.Number {
		return v.Text + " " + u
	}
	return v.Text
}

// keyOf joins the values of fields into a map key; ok is false when one is missing or null, and missing names it.
func (f *Fields) keyOf(t *fieldTable, ids []int) (key string, missing string) {
	if len(ids) == 1 {
		v, _ := f.get(ids[0])
		if v.Null {
			return "", t.names[ids[0]]
		}
		return v.Text, ""
	}
	var b strings.Builder
	for _, id := range ids {
		v, _ := f.get(id)
		if v.Null {
			return "", t.names[id]
		}
		b.WriteString(v.Text)
		b.WriteByte(0)
	}
	return b.String(), ""
}
