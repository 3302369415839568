package pipeline

import (
	"cmp"
	"crypto/sha256"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"fascicle/catalog"
	"fascicle/pipeline/formula"
)

// keyFormat is the first line of every recipe. It changes when recipes of old must not be believed any more.
const keyFormat = "fascicle recipe 2"

// eachSetting calls f with a pointer to every setting value that is a Field, ColumnName, Expr or Quantity, in order.
func eachSetting(v reflect.Value, f func(any)) {
	switch v.Interface().(type) {
	case Field, ColumnName, Expr, Quantity:
		f(v.Addr().Interface())
		return
	case Range:
		return
	}
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() {
				eachSetting(v.Field(i), f)
			}
		}
	case reflect.Slice:
		for i := range v.Len() {
			eachSetting(v.Index(i), f)
		}
	}
}

// stagePlan is what all recipes of a stage have in common, worked out once.
type stagePlan struct {
	common  []byte // key format, kind, settings
	fields  []*Field
	reaches map[string]*reach // by path of a Field, ColumnName or Expr
	reads   []int             // fields that ColumnName and Expr settings read: their values go into recipes
}

func (r *runner) plan(s *stage) *stagePlan {
	p := &stagePlan{reaches: map[string]*reach{}}
	var b strings.Builder
	fmt.Fprintf(&b, "%s\nkind %s r%d\n", keyFormat, s.kind.Name, s.kind.Revision)
	if s.settings != nil {
		v := reflectElem(s.settings)
		for _, l := range settingLines(v, s.decl.Set, "", true) {
			fmt.Fprintf(&b, "set %s = %s\n", l.Path, oneLine(l.Value))
		}
		var formulas []*formula.Formula
		var texts []string
		eachSetting(v, func(x any) {
			switch x := x.(type) {
			case *Field:
				if x.Set && x.Word == "" {
					p.fields = append(p.fields, x)
					p.reaches[x.Path] = r.p.reachOf(x.formula)
				}
			case *ColumnName:
				p.reaches[x.Path] = r.p.reachOfColumn(x)
				if x.formula != nil {
					formulas = append(formulas, x.formula)
				} else {
					texts = append(texts, x.Name)
				}
			case *Expr:
				p.reaches[x.Path] = r.p.reachOfExpr(x)
				if x.formula != nil {
					formulas = append(formulas, x.formula)
				} else {
					texts = append(texts, x.Text)
				}
			}
		})
		var constants []string
		p.reads, constants = r.p.reading(formulas, texts)
		for _, l := range constants {
			b.WriteString(oneLine(l) + "\n")
		}
	}
	p.common = []byte(b.String())
	return p
}

// oneLine keeps a value on its line of the recipe.
func oneLine(s string) string {
	if strings.ContainsAny(s, "\n\r\\") {
		return strconv.Quote(s)
	}
	return s
}

// evaluated works out a Field setting for one item, or what it comes to when a source is shifted. used, when not nil, collects the
// constants that took part.
func (p *Project) evaluated(f *Field, fields *Fields, shift *fieldShift, used map[string]bool) (n Evaluated, err error) {
	if f.fixed != nil {
		return Evaluated{Value: f.fixed.Value, Known: true}, nil
	}
	v := f.formula.Eval(&fieldEnv{p: p, f: fields, used: used, shift: shift})
	if v.Null {
		return Evaluated{}, nil
	}
	if f.unit.key {
		text := v.Text
		switch f.formula.Type().Sort {
		case formula.Number:
			text = catalog.FormatPlain(v.Number)
		case formula.Bool:
			text = strconv.FormatBool(v.Bool)
		}
		return Evaluated{Text: text, Known: true}, nil
	}
	if f.unit.text {
		return Evaluated{Text: v.Text, Known: true}, nil
	}
	n = Evaluated{Value: v.Number, Known: true}
	if !f.unit.any {
		c, err := catalog.Convert(f.formula.Type().Unit, f.unit.unit)
		if err != nil {
			return Evaluated{}, err
		}
		n.Value = c.Float(v.Number)
	}
	if why := outside(f, n.Value); why != "" {
		return Evaluated{}, fmt.Errorf("setting `%s` comes out as %s, where %s is due", f.Path, catalog.FormatPlain(n.Value), why)
	}
	return n, nil
}

// number works out a Field setting for one item. line is what the recipe says of it: its value, the constants in it, and for each
// source what it comes to when that is shifted, so that a recipe tells parts as well.
func (r *runner) number(f *Field, fields *Fields, reach *reach) (n Evaluated, line string, err error) {
	used := map[string]bool{}
	n, err = r.p.evaluated(f, fields, nil, used)
	switch {
	case err != nil:
		return Evaluated{}, "", err
	case f.fixed != nil:
		return n, f.fixed.String(), nil
	case !n.Known:
		return n, "null", nil
	case f.unit.key || f.unit.text:
		return n, strconv.Quote(n.Text), nil
	}
	line = catalog.FormatPlain(n.Value)
	names := make([]string, 0, len(used))
	for name := range used {
		names = append(names, constantsPrefix+name+" "+r.p.constants[name].number.String())
	}
	slices.Sort(names)
	for _, src := range reach.sources(r.p, fields.row) {
		names = append(names, r.shiftedLine(src, func(s *fieldShift) string {
			m, err := r.p.evaluated(f, fields, s, nil)
			if err != nil || !m.Known {
				return "unknown"
			}
			return catalog.FormatPlain(m.Value)
		}))
	}
	if len(names) > 0 {
		line += " (" + strings.Join(names, ", ") + ")"
	}
	return n, line, nil
}

// shiftedLine says in a recipe what a source makes of a number: `constants.cell: 10.02, 9.98`.
func (r *runner) shiftedLine(src string, at func(*fieldShift) string) string {
	line := src + ": " + at(r.p.fieldShift(src, 1)) + ", " + at(r.p.fieldShift(src, -1))
	if s := r.p.fieldShift(src, 1); s != nil {
		line += finite(r.p.sourceNu(s))
	}
	return line
}

// outside says which bound of a Field a number is beyond, "" when none.
func outside(f *Field, x float64) string {
	for _, b := range [...]struct {
		tag, word string
		ok        func(x, b float64) bool
	}{
		{"min", "at least ", func(x, b float64) bool { return x >= b }}, {"max", "at most ", func(x, b float64) bool { return x <= b }},
		{"above", "more than ", func(x, b float64) bool { return x > b }}, {"below", "less than ", func(x, b float64) bool { return x < b }},
	} {
		if s := f.tag.Get(b.tag); s != "" {
			limit, err := strconv.ParseFloat(s, 64)
			if err == nil && !b.ok(x, limit) {
				return strings.TrimSpace(b.word + s + " " + f.unit.unit.Symbol())
			}
		}
	}
	return ""
}

// evaluate works out the Field settings of a group and gives their recipe lines, by lead item. It blocks the group when one is
// null or out of bounds.
func (r *runner) evaluate(g *group, p *stagePlan) [][]string {
	lines := make([][]string, len(g.leads))
	if len(p.fields) == 0 {
		return lines
	}
	g.numbers = make(map[string][]Evaluated, len(p.fields))
	for _, f := range p.fields {
		all := make([]Evaluated, len(g.leads))
		for j, it := range g.leads {
			n, line, err := r.number(f, &it.fields, p.reaches[f.Path])
			if r.badSetting(g, f, it, n, err) {
				return nil
			}
			all[j] = n
			lines[j] = append(lines[j], f.Path+" = "+line)
			for _, port := range f.also {
				r.evaluateAlso(g, f, p.reaches[f.Path], port, j, &lines[j])
				if g.state == Blocked {
					return nil
				}
			}
		}
		g.numbers[f.Path] = all
	}
	return lines
}

func (r *runner) evaluateAlso(g *group, f *Field, reach *reach, port string, lead int, lines *[]string) {
	for i, b := range g.stage.ports {
		if b.decl.Name != port || !b.isFed || b == g.stage.lead {
			continue
		}
		for k, p := range g.partners[i][lead] {
			n, line, err := r.number(f, &p.fields, reach)
			if r.badSetting(g, f, p, n, err) {
				return
			}
			g.numbers[alsoPath(f.Path, port, lead, k)] = []Evaluated{n}
			*lines = append(*lines, fmt.Sprintf("%s of %s %d = %s", f.Path, port, k+1, line))
		}
	}
}

// fieldLines gives the fields that ColumnName and Expr settings read, for one item, with their units: an expression turns them into others.
func (r *runner) fieldLines(p *stagePlan, it *item) []string {
	var out []string
	for _, id := range p.reads {
		v, ok := it.fields.get(id)
		if !ok {
			continue
		}
		name := r.p.fields.names[id]
		line := "field " + name + " = " + strconv.Quote(v.String()) + unitTail(r.p.fields.types[id])
		reach := &reach{}
		if d := r.p.defs.byName[name]; d != nil {
			reach = d.reach
		} else if r.p.uncertain[id] {
			reach.columns = []int{id}
		}
		for _, src := range reach.sources(r.p, it.fields.row) {
			line += "; " + r.shiftedLine(src, func(s *fieldShift) string {
				v := (&fieldEnv{p: r.p, f: &it.fields, shift: s}).Get(name)
				if v.Null {
					return "null"
				}
				return catalog.FormatPlain(v.Number)
			})
		}
		out = append(out, line)
	}
	return out
}

func unitTail(t formula.Type) string {
	if t.Sort != formula.Number || t.Unit.IsOne() {
		return ""
	}
	return " " + t.Unit.Code()
}

// nameWords lists what may be a name in an expression that is not compiled yet.
func nameWords(text string) []string {
	return strings.FieldsFunc(text, func(c rune) bool { return c != '_' && !unicode.IsLetter(c) && !unicode.IsDigit(c) })
}

// reading finds out what the expressions of ColumnName and Expr settings read: fields, whose values differ from item to item, and
// constants, as lines. An expression whose columns are known only when the items are is not compiled yet: each of its words may be a name.
func (p *Project) reading(formulas []*formula.Formula, texts []string) (fields []int, constants []string) {
	names := map[string]bool{}
	var read func(f *formula.Formula)
	add := func(n string) {
		if names[n] {
			return
		}
		names[n] = true
		if d, ok := p.defs.byName[n]; ok && !d.derived {
			read(d.formula) // of a condition
		}
	}
	read = func(f *formula.Formula) {
		for _, n := range slices.Concat(f.Names(), f.Maps()) {
			add(n)
		}
		for _, m := range f.Members() {
			add(m[0])
		}
	}
	for _, f := range formulas {
		read(f)
	}
	for _, t := range texts {
		for _, word := range nameWords(t) {
			add(word)
		}
	}
	for _, n := range slices.Sorted(maps.Keys(names)) {
		if id, ok := p.fields.id(n); ok {
			fields = append(fields, id)
		}
	}
	for _, n := range slices.Sorted(maps.Keys(p.constants)) {
		if stem, _, _ := strings.Cut(n, "."); names[stem] {
			// in full: the printed form of a number is rounded
			c := p.constants[n].number
			constants = append(constants, fmt.Sprintf("constant %s = %s ± %s%s %s", n, catalog.FormatPlain(c.Value), catalog.FormatPlain(c.U), finite(c.Nu), c.Unit.Code()))
		}
	}
	return fields, constants
}

// writeRecipe puts a group's leads in order and writes its recipe and key. The order of leads is that of their content, then of what
// the recipe says of them: never that of names, unless all else is equal.
func (r *runner) writeRecipe(g *group, p *stagePlan) {
	lines := r.evaluate(g, p)
	if g.state == Blocked {
		return
	}
	s := g.stage
	if len(p.reads) > 0 {
		for j, it := range g.leads {
			lines[j] = append(lines[j], r.fieldLines(p, it)...)
		}
	}
	if len(g.leads) > 1 {
		r.orderLeads(g, lines)
	}
	b := make([]byte, 0, len(p.common)+160*len(g.leads)+64)
	b = append(b, p.common...)
	for j, it := range g.leads {
		b = append(b, "lead "...)
		b = r.p.appendItemLine(b, s.lead.decl, j, it, s.kind)
		for _, l := range lines[j] {
			b = append(b, "  "...)
			b = append(b, oneLine(l)...)
			b = append(b, '\n')
		}
		for i, port := range s.ports {
			if port == s.lead || !port.isFed {
				continue
			}
			for k, q := range g.partners[i][j] {
				b = append(b, "  port "...)
				b = r.p.appendItemLine(b, port.decl, k, q, s.kind)
				for _, l := range r.fieldLines(p, q) {
					b = append(b, "    "...)
					b = append(b, oneLine(l)...)
					b = append(b, '\n')
				}
			}
		}
	}
	for _, m := range g.missing {
		b = append(b, fmt.Sprintf("missing %s %s %s %s: %s\n", m.Port, m.Stage, m.Item, m.State, oneLine(m.Reason))...)
	}
	g.recipe = b
	g.key = sha256.Sum256(b)
}

// appendItemLine names an item by its content. Where the kind sees stages or names of items, those are part of what it depends on.
func (p *Project) appendItemLine(b []byte, port *Port, n int, it *item, k *Kind) []byte {
	b = append(b, port.Name...)
	b = append(b, ' ')
	b = strconv.AppendInt(b, int64(n+1), 10)
	if port.Gather {
		b = append(b, " of "...)
		b = append(b, it.stage.name...)
	}
	if k.Names {
		b = append(b, " called "...)
		b = append(b, oneLine(it.name)...)
	}
	b = append(b, " = "...)
	const hexits = "0123456789abcdef"
	for _, c := range it.hash {
		b = append(b, hexits[c>>4], hexits[c&15])
	}
	if p.bears(it) { // its numbers are called so in all that is made of them
		b = append(b, " as "...)
		b = append(b, oneLine(it.sourceName())...)
	}
	return append(b, '\n')
}

func (r *runner) orderLeads(g *group, lines [][]string) {
	order := make([]int, len(g.leads))
	text := make([]string, len(g.leads))
	for i := range order {
		order[i] = i
		text[i] = strings.Join(lines[i], "\n")
	}
	slices.SortStableFunc(order, func(a, b int) int {
		return cmp.Or(slices.Compare(g.leads[a].hash[:], g.leads[b].hash[:]), cmp.Compare(text[a], text[b]), naturalCompare(g.leads[a].name, g.leads[b].name))
	})
	at := make([]int, len(order)) // new place → old
	copy(at, order)
	leads := make([]*item, len(order))
	sorted := make([][]string, len(order))
	for i, j := range at {
		leads[i], sorted[i] = g.leads[j], lines[j]
	}
	copy(lines, sorted)
	g.leads = leads
	for i := range g.partners {
		if g.partners[i] == nil {
			continue
		}
		p := make([][]*item, len(order))
		for n, j := range at {
			p[n] = g.partners[i][j]
		}
		g.partners[i] = p
	}
	for path, n := range g.numbers {
		if len(n) == len(order) && !strings.Contains(path, "@") {
			m := make([]Evaluated, len(order))
			for i, j := range at {
				m[i] = n[j]
			}
			g.numbers[path] = m
		}
	}
	// numbers of partners are found by lead: they move along
	moved := map[string][]Evaluated{}
	for path, n := range g.numbers {
		if at2 := strings.LastIndexByte(path, '@'); at2 >= 0 {
			var lead, k int
			port, rest, _ := strings.Cut(path[at2+1:], ".")
			if _, err := fmt.Sscanf(rest, "%d.%d", &lead, &k); err == nil {
				moved[fmt.Sprintf("%s@%s.%d.%d", path[:at2], port, slices.Index(at, lead), k)] = n
				continue
			}
		}
		moved[path] = n
	}
	g.numbers = moved
}
