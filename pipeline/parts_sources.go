package pipeline

import (
	"slices"
	"strings"

	"fascicle/catalog"
	"fascicle/pipeline/formula"
)

// Sources of shared uncertainty are called by these names:
//
//	constants.NAME            a constant with an uncertainty
//	STAGE.PATH                an uncertain number written in a setting
//	sheet.COLUMN[SAMPLE]      an uncertain cell of the sheet
//	STAGE[ITEM]               an item that is once a source: STAGE[ITEM].1, .2, … where its numbers have several own directions

const constantsPrefix = "constants."

func cellSource(column, sample string) string { return "sheet." + column + "[" + sample + "]" }

// fieldShift is a source among constants and cells, moved by sign standard uncertainties. Expressions see it; conditions do not.
type fieldShift struct {
	constant string // NAME or NAME.KEY
	column   int    // field number of a cell, −1: none
	sample   string
	sign     float64
}

// fieldShift gives the shift that a source means for expressions, nil when they do not see it.
func (p *Project) fieldShift(src string, sign float64) *fieldShift {
	if name, ok := strings.CutPrefix(src, constantsPrefix); ok {
		if _, known := p.constants[name]; known {
			return &fieldShift{constant: name, column: -1, sign: sign}
		}
	}
	if rest, ok := strings.CutPrefix(src, "sheet."); ok {
		column, sample, _ := strings.Cut(rest, "[")
		if id, known := p.fields.id(column); known {
			return &fieldShift{column: id, sample: strings.TrimSuffix(sample, "]"), sign: sign}
		}
	}
	return nil
}

// reach is what an expression depends on that may be uncertain, through derived columns as well.
type reach struct {
	constants []string // with an uncertainty, sorted
	columns   []int    // of the sheet, with an uncertainty in some row
}

func (r *reach) empty() bool { return len(r.constants)+len(r.columns) == 0 }

// sees tells whether the expression depends on what is shifted.
func (r *reach) sees(s *fieldShift) bool {
	if s.column >= 0 {
		return slices.Contains(r.columns, s.column)
	}
	return slices.Contains(r.constants, s.constant)
}

// sources names what is uncertain for the items of some rows.
func (r *reach) sources(p *Project, rows ...*sampleRow) []string {
	var out []string
	for _, c := range r.constants {
		out = append(out, constantsPrefix+c)
	}
	for _, id := range r.columns {
		for _, row := range rows {
			if row != nil && id < len(row.u) && row.u[id] > 0 {
				out = append(out, cellSource(p.fields.names[id], row.sample))
			}
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// reachOf finds what an expression depends on. Conditions are left out: they see central values, and what they decide is not shifted.
func (p *Project) reachOf(f *formula.Formula) *reach {
	r := &reach{}
	if f != nil {
		p.collectReach(f, r, map[string]bool{})
	}
	r.tidy()
	return r
}

// reachOfText is reachOf of an expression that is compiled only when its items are read: each of its words may be a name.
func (p *Project) reachOfText(text string) *reach {
	r := &reach{}
	for _, word := range nameWords(text) {
		if d := p.defs.byName[word]; d != nil && d.derived && d.reach != nil {
			r.constants = append(r.constants, d.reach.constants...)
			r.columns = append(r.columns, d.reach.columns...)
		}
		for name, k := range p.constants {
			if stem, _, _ := strings.Cut(name, "."); stem == word && k.number.HasU && k.number.U > 0 {
				r.constants = append(r.constants, name)
			}
		}
		if id, ok := p.fields.id(word); ok && p.uncertain[id] {
			r.columns = append(r.columns, id)
		}
	}
	r.tidy()
	return r
}

func (r *reach) tidy() {
	slices.Sort(r.constants)
	r.constants = slices.Compact(r.constants)
	slices.Sort(r.columns)
	r.columns = slices.Compact(r.columns)
}

func (p *Project) reachOfColumn(n *ColumnName) *reach {
	if n.formula != nil {
		return p.reachOf(n.formula)
	}
	return p.reachOfText(n.Name)
}

func (p *Project) reachOfExpr(x *Expr) *reach {
	if x.formula != nil {
		return p.reachOf(x.formula)
	}
	return p.reachOfText(x.Text)
}

func (p *Project) collectReach(f *formula.Formula, r *reach, seen map[string]bool) {
	constant := func(name string) {
		if k, ok := p.constants[name]; ok && k.number.HasU && k.number.U > 0 {
			r.constants = append(r.constants, name)
		}
	}
	for _, m := range f.Members() {
		constant(m[0] + "." + m[1])
	}
	for _, m := range f.Maps() {
		for _, c := range p.Study.Constants {
			if c.Name.Value == m {
				for _, k := range c.Keys {
					constant(m + "." + k.Key.Value)
				}
			}
		}
	}
	for _, n := range f.Names() {
		if seen[n] {
			continue
		}
		seen[n] = true
		if d, ok := p.defs.byName[n]; ok {
			if d.derived && d.formula != nil {
				p.collectReach(d.formula, r, seen)
			}
			continue
		}
		constant(n)
		if id, ok := p.fields.id(n); ok && p.uncertain[id] {
			r.columns = append(r.columns, id)
		}
	}
}

// findSources notes which columns of the sheet and which outputs are sources, and what derived columns depend on.
func (p *Project) findSources() {
	p.uncertain = make([]bool, len(p.fields.names))
	for _, row := range p.order {
		for id, u := range row.u {
			p.uncertain[id] = p.uncertain[id] || u > 0
		}
	}
	for _, d := range p.defs.derived {
		d.reach = p.reachOf(d.formula)
	}
	p.bearing = map[source]bool{}
	var mark func(src source)
	mark = func(src source) {
		p.bearing[src] = true
		for member, out := range src.stage.together {
			if out == src.output {
				mark(member)
			}
		}
	}
	for _, s := range p.stages {
		for _, b := range s.ports {
			for _, ref := range b.refs {
				if !shares(s, b, ref) {
					continue
				}
				for _, src := range ref.sources {
					if f := src.stage.shapes[src.output].Form; f == Values || f == AnyForm {
						mark(src)
					}
				}
			}
		}
	}
}

// shares tells whether one item may serve several groups through this reference: by match, by nearest date, as the only one, or because
// all items serve each group.
func shares(s *stage, b *boundPort, ref *reference) bool {
	switch {
	case b == s.lead:
		return false
	case ref.pair == ByOnly, ref.pair == ByAll:
		return true
	}
	return ref.pair == ByMatch && len(ref.partner)+len(ref.nearest) > 0
}

// bears tells whether an item's own numbers are sources: they enter some stage by match, by nearest date or as the only one.
func (p *Project) bears(it *item) bool {
	return it.form == Values && it.group != nil && p.bearing[source{it.group.stage, it.output}]
}

// sourceName is how the numbers of an item are called as sources: STAGE[ITEM], by the stage that made it; STAGE.OUTPUT[ITEM] for
// outputs beyond its kind's first.
func (it *item) sourceName() string {
	s := it.group.stage
	name := s.name
	if len(s.kind.Outputs) > 0 && s.kind.Outputs[0].Name != it.output {
		name += "." + it.output
	}
	return name + "[" + it.name + "]"
}

// exact tells whether a column of the item has no uncertainty by its nature.
func (it *item) exact(column string) bool {
	if it.group == nil {
		return true // a row of the sheet: its name alone
	}
	return it.group.stage.exact(it.output, column)
}

// exact tells whether a column of one of the stage's outputs is declared as one without an uncertainty.
func (s *stage) exact(output, column string) bool {
	shape, ok := s.shapes[output]
	if !ok || shape.Unknown {
		return s.kind != nil && s.kind.exact(output, column)
	}
	c := findColumn(shape.Columns, column)
	return c != nil && !c.U
}

func finite(nu float64) string {
	if nu > 0 {
		return " nu " + catalog.FormatPlain(nu)
	}
	return ""
}

// exact tells whether a column is declared as one without an uncertainty.
func (k *Kind) exact(output, column string) bool {
	for _, o := range k.Outputs {
		if o.Name != output {
			continue
		}
		for _, c := range o.Columns {
			if stem, ok := family(c.Name); c.Name == column || ok && numbered(column, stem) {
				return !c.U
			}
		}
	}
	return false
}
