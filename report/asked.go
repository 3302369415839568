package report

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"fascicle/catalog"
	"fascicle/pipeline"
	"fascicle/pipeline/table"
)

// An entryRow is a row that a panel or a table of the study shows: an item of form values, a row of an item's table, or, for the
// sheet, a sample.
type entryRow struct {
	it    *pipeline.ItemOutcome
	r     *row // of the model; nil for a row of a table
	value func(name string) *pipeline.Value
}

// selection is the rows of a stage that a condition leaves, and those that it could not judge.
type selection struct {
	all, rows []entryRow
	unjudged  []string
}

// selected gives a stage's rows: those of its values items, or of all items of one output of form table.
func (m *model) selected(r *reader, stageName, output string, where pipeline.Condition) (sel selection, err error) {
	s := m.byStage[stageName]
	if s == nil {
		return sel, nil
	}
	switch {
	case output == "" && s.Kind != nil:
		at := map[string]int{}
		for k, c := range s.columns {
			at[c.name] = k
		}
		for _, x := range s.rows {
			if x.source == nil {
				continue
			}
			sel.all = append(sel.all, entryRow{x.source, x, func(name string) *pipeline.Value {
				if k, ok := at[name]; ok {
					return x.values[k]
				}
				return nil
			}})
		}
	default:
		for i := range s.Items {
			it := &s.Items[i]
			if s.Kind != nil && it.Output != output {
				continue
			}
			if s.Kind == nil || !it.State.Good() {
				sel.all = append(sel.all, entryRow{it, nil, func(string) *pipeline.Value { return nil }})
				continue
			}
			t, err := r.read(it)
			if err != nil {
				return sel, err
			}
			whole := map[string]*table.Column{}
			for _, c := range t.Columns {
				whole[c.Name] = wholeU(t, c.Name)
			}
			for k := range t.Len() {
				sel.all = append(sel.all, entryRow{it, nil, func(name string) *pipeline.Value { return cellOf(t, whole[name], name, k) }})
			}
		}
	}
	for _, x := range sel.all {
		holds, known := m.Holds(where, *x.it)
		switch {
		case !known:
			sel.unjudged = append(sel.unjudged, plainItem(x.it))
		case holds:
			sel.rows = append(sel.rows, x)
		}
	}
	slices.Sort(sel.unjudged)
	sel.unjudged = slices.Compact(sel.unjudged)
	return sel, nil
}

// cellOf is a cell of a table as a value, nil where the table has no such column or the cell says nothing.
func cellOf(t *table.Table, whole *table.Column, name string, k int) *pipeline.Value {
	c := t.Col(name)
	if c == nil {
		return nil
	}
	number := func(c *table.Column) *float64 {
		if c == nil || c.Type == table.Text || c.IsNull(k) {
			return nil
		}
		if c.Type == table.Int {
			x := float64(c.Ints[k])
			return &x
		}
		return &c.Floats[k]
	}
	v := &pipeline.Value{Name: name, Unit: c.Unit, Value: number(c), U: number(whole), Lo: number(t.Col(name + "_lo")), Hi: number(t.Col(name + "_hi"))}
	if c.Type == table.Text && !c.IsNull(k) {
		v.Text = c.Texts[k]
	}
	if b := t.Col(name + "_bound"); b != nil && b.Type == table.Text && !b.IsNull(k) {
		v.Bound = b.Texts[k]
	}
	v.Exact = t.Col("u_"+name) == nil
	if v.Value == nil && v.Text == "" && v.Bound == "" {
		return nil
	}
	return v
}

// entry is what a row says of a column of its stage or a field of its item, in the unit that the study prints it in. nil: nothing.
func (m *model) entry(stageName string, x entryRow, name string) *pipeline.Value {
	v := x.value(name)
	if v != nil && v.Value == nil && v.Text == "" && v.Bound == "" {
		return nil
	}
	if v == nil {
		f := m.Field(*x.it, name)
		if f.Null {
			return nil
		}
		v = &pipeline.Value{Name: name, Text: f.Text}
		if unit, ok := m.FieldUnit(name); ok {
			v = &pipeline.Value{Name: name, Value: &f.Number, Unit: unit.Code(), Exact: true}
		}
	}
	return m.inUnit(v, stageName, name)
}

// inUnit converts a value to the unit that the study's style names for it.
func (m *model) inUnit(v *pipeline.Value, stageName, name string) *pipeline.Value {
	want, ok := styled(m.style().Units, stageName, name)
	if !ok || v == nil || v.Value == nil && v.Lo == nil && v.Hi == nil {
		return v
	}
	conv, err := catalog.Convert(m.unit(v.Unit), want)
	if err != nil {
		return v
	}
	out := *v
	out.Unit = want.Code()
	at := func(x *float64) *float64 {
		if x == nil {
			return nil
		}
		y := conv.Float(*x)
		return &y
	}
	by := func(x *float64) *float64 {
		if x == nil {
			return nil
		}
		y := math.Abs(conv.Delta(*x))
		return &y
	}
	out.Value, out.Lo, out.Hi, out.U, out.Own = at(v.Value), at(v.Lo), at(v.Hi), by(v.U), by(v.Own)
	if len(v.Parts) > 0 {
		out.Parts = map[string]float64{}
		for s, p := range v.Parts {
			out.Parts[s] = conv.Delta(p)
		}
	}
	return &out
}

func (m *model) style() pipeline.Style {
	if m.Shown == nil {
		return pipeline.Style{}
	}
	return m.Shown.Style
}

// styled looks a field or column up in a part of the style: by its name, or by STAGE.NAME.
func styled[T any](of map[string]T, stageName, name string) (x T, ok bool) {
	if x, ok = of[name]; !ok {
		x, ok = of[stageName+"."+name]
	}
	return x, ok
}

// nameFor is a field or column for people.
func (m *model) nameFor(stageName, name string) string {
	if n, ok := styled(m.style().Names, stageName, name); ok {
		return n
	}
	return name
}

// word is what a row says of a field, as text for people; empty where it says nothing.
func (m *model) word(stageName string, x entryRow, name string) string {
	v := m.entry(stageName, x, name)
	switch {
	case v == nil:
		return ""
	case v.Value == nil:
		return v.Text
	}
	return catalog.Format(*v.Value, knownU(v), m.unit(v.Unit))
}

// expanded writes out families (tau_i) among columns: all members that a stage has.
func (m *model) expanded(stageName, output string, rows []entryRow, names []string) (list []string) {
	for _, name := range names {
		stem, isFamily := strings.CutSuffix(name, "_i")
		has := func(n string) bool {
			return slices.ContainsFunc(rows, func(x entryRow) bool { return x.value(n) != nil })
		}
		if !isFamily || has(name) {
			list = append(list, name)
			continue
		}
		for k := 1; ; k++ {
			member := fmt.Sprintf("%s_%d", stem, k)
			if !has(member) {
				break
			}
			list = append(list, member)
		}
	}
	return list
}

// why says in a few words why a row has no number in a column.
func (m *model) why(x entryRow, name string) string {
	if !x.it.State.Good() {
		return string(x.it.State) + ": " + x.it.Message
	}
	stageName, column, dotted := strings.Cut(name, ".")
	s := m.byStage[stageName]
	if !dotted || s == nil {
		return "no " + name
	}
	for i := range s.Items {
		it := &s.Items[i]
		if x.it.Sample != "" && it.Sample == x.it.Sample && !it.State.Good() {
			return stageName + " " + string(it.State) + ": " + it.Message
		}
	}
	return stageName + " gives no " + column
}

// lacking gathers rows by the reason for which they are missing, in order of appearance.
type lacking struct {
	reasons []string
	names   map[string][]string
}

func (l *lacking) add(reason, name string) {
	if l.names == nil {
		l.names = map[string][]string{}
	}
	if _, ok := l.names[reason]; !ok {
		l.reasons = append(l.reasons, reason)
	}
	if !slices.Contains(l.names[reason], name) {
		l.names[reason] = append(l.names[reason], name)
	}
}

// lines are the reasons, each with the names that it concerns.
func (l *lacking) lines() (out []string) {
	for _, reason := range l.reasons {
		out = append(out, someOf(l.names[reason], mostNames)+": "+reason)
	}
	return out
}

// compareEntries orders two values: numbers by size, words by nature, nothing last.
func compareEntries(a, b *pipeline.Value) int {
	switch {
	case a == nil || b == nil:
		return boolOrder(a == nil) - boolOrder(b == nil)
	case a.Value != nil && b.Value != nil:
		return cmp.Compare(*a.Value, *b.Value)
	}
	return byNature(a.Text, b.Text)
}

func boolOrder(b bool) int {
	if b {
		return 1
	}
	return 0
}
