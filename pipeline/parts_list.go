package pipeline

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"

	"fascicle/catalog"
)

// SharedSource is a number with an uncertainty that several samples may share, and the stages whose results it may move.
type SharedSource struct {
	Name   string   `json:"name"` // constants.cell, sheet.v_donor[…], day_factor[…]
	Value  string   `json:"value"`
	Stages []string `json:"stages"`
	Lost   []string `json:"lost,omitempty"`   // stages whose kind, or one before it, does not let the part through
	Remark string   `json:"remark,omitempty"` // what is odd about it
}

// SharedSources lists the study's sources, by name. Cells are named by their column and items by their stage: which there will be is known
// when the study runs.
func (p *Project) SharedSources() []SharedSource {
	reaching, lost := p.sourcesReaching()
	byName := map[string]*SharedSource{}
	for name, c := range p.constants {
		if c.number.HasU && c.number.U > 0 {
			byName[constantsPrefix+name] = &SharedSource{Value: c.number.String(), Remark: largeU(c.number.Value, c.number.U)}
		}
	}
	for _, s := range p.stages {
		for _, n := range reaching[s] {
			src := byName[n]
			if src == nil {
				src = &SharedSource{Value: p.describeSource(n)}
				byName[n] = src
			}
			src.Stages = append(src.Stages, s.name)
			if slices.Contains(lost[s], n) {
				src.Lost = append(src.Lost, s.name)
			}
		}
		if s.settings == nil {
			continue
		}
		eachSetting(reflectElem(s.settings), func(x any) {
			q, ok := x.(*Quantity)
			if f, isField := x.(*Field); isField {
				q, ok = f.fixed, f.fixed != nil
			}
			if ok && q.U > 0 && byName[q.Source] != nil && q.Name == "" {
				byName[q.Source].Value = catalog.FormatNu(q.Value, q.U, q.Nu, mustUnitOrOne(q.Unit))
				byName[q.Source].Remark = largeU(q.Value, q.U)
			}
		})
	}
	var out []SharedSource
	for n, s := range byName {
		s.Name = n
		out = append(out, *s)
	}
	slices.SortFunc(out, func(a, b SharedSource) int { return cmp.Compare(a.Name, b.Name) })
	return out
}

func largeU(value, u float64) string {
	if value != 0 && u > max(value, -value) {
		return "its uncertainty is larger than its value"
	}
	return ""
}

// describeSource says what a source without one value stands for.
func (p *Project) describeSource(name string) string {
	if column, ok := strings.CutPrefix(name, "sheet."); ok {
		column = strings.TrimSuffix(column, "[…]")
		if id, known := p.fields.id(column); known {
			n := 0
			for _, row := range p.order {
				if row.u[id] > 0 {
					n++
				}
			}
			return fmt.Sprintf("%d cells with an uncertainty", n)
		}
	}
	return "numbers that serve several others"
}

// sourcesReaching lists, for each stage, the sources that reach it, and those that are lost on the way because a kind does not let them
// through. Cells are named by their column, items by their stage: which there will be is known when the study runs.
func (p *Project) sourcesReaching() (reaching, lost map[*stage][]string) {
	reaching, lost = map[*stage][]string{}, map[*stage][]string{}
	for _, s := range p.stages {
		have, gone := map[string]bool{}, map[string]bool{}
		inherit := func(src source) {
			for _, n := range reaching[src.stage] {
				have[n] = true
			}
			for _, n := range lost[src.stage] {
				gone[n] = true
			}
			if p.bearing[src] {
				for _, n := range p.bearerNames(src) {
					have[n] = true
				}
			}
		}
		for m := range s.together {
			inherit(m)
		}
		for _, b := range s.ports {
			for _, ref := range b.refs {
				for _, src := range ref.sources {
					inherit(src)
				}
			}
		}
		for _, n := range p.ownSources(s) {
			have[n] = true
		}
		reaching[s] = slices.Sorted(maps.Keys(have))
		if s.kind != nil && s.kind.Parts == NoParts {
			lost[s] = reaching[s]
		} else {
			lost[s] = slices.Sorted(maps.Keys(gone))
		}
	}
	return reaching, lost
}

// bearerNames names what an output's items are called as sources.
func (p *Project) bearerNames(src source) []string {
	if len(src.stage.together) > 0 {
		var out []string
		for m, name := range src.stage.together {
			if name == src.output {
				out = append(out, p.bearerNames(m)...)
			}
		}
		return out
	}
	name := src.stage.name
	if k := src.stage.kind; k != nil && len(k.Outputs) > 0 && k.Outputs[0].Name != src.output {
		name += "." + src.output
	}
	return []string{name + "[…]"}
}

// ownSources lists the uncertain numbers that a stage's own settings bring in.
func (p *Project) ownSources(s *stage) []string {
	if s.settings == nil {
		return nil
	}
	have := map[string]bool{}
	expression := func(r *reach) {
		for _, c := range r.constants {
			have[constantsPrefix+c] = true
		}
		for _, id := range r.columns {
			have[cellSource(p.fields.names[id], "…")] = true
		}
	}
	quantity := func(q *Quantity) {
		if q != nil && q.U > 0 {
			have[q.Source] = true
		}
	}
	eachSetting(reflectElem(s.settings), func(x any) {
		switch x := x.(type) {
		case *Quantity:
			quantity(x)
		case *Field:
			quantity(x.fixed)
			expression(p.reachOf(x.formula))
		case *ColumnName:
			expression(p.reachOfColumn(x))
		case *Expr:
			expression(p.reachOfExpr(x))
		}
	})
	return slices.Sorted(maps.Keys(have))
}

func (p *Project) missingParts() map[*stage][]string {
	_, lost := p.sourcesReaching()
	return lost
}
