package pipeline

import (
	"fmt"
	"maps"
	"reflect"
	"slices"
	"sort"

	"fascicle/catalog/fault"
	"fascicle/pipeline/study"
)

func reflectElem(ptr any) reflect.Value { return reflect.ValueOf(ptr).Elem() }

// bind goes through the stages in running order: which fields their items have, how they are grouped and paired, what their
// conditions and settings say, and which columns come out. Shapes are worked out on the way, since settings may name columns.
func (l *loader) bind() {
	for _, s := range l.stages {
		switch {
		case s.sheet:
			s.fields = map[string]bool{"sample": true}
			l.addSheetFields(s.fields)
			s.outputs = []string{"rows"}
			s.shapes = map[string]Arriving{"rows": {Stage: s.name, Output: "rows", Form: Values, Columns: []ColumnShape{{Name: "sample", Text: true}}}}
		case len(s.decl.Items) > 0:
			l.bindTogether(s)
		case s.kind != nil:
			l.bindKind(s)
		default:
			s.fields = map[string]bool{}
		}
		if s.decl != nil && s.fields != nil {
			s.serves = l.fieldNumbers(s.decl.Serves, s.fields, "serves", s.broken)
		}
	}
	for _, s := range l.stages {
		if s.decl != nil && len(s.trusts) > 0 {
			l.bindTrusts(s)
		}
	}
}

func (l *loader) addSheetFields(fields map[string]bool) {
	for i, c := range l.Sheet.Columns {
		if i > 0 && c.Name != "also" {
			fields[c.Name] = true
		}
	}
	for _, d := range l.defs.derived {
		fields[d.name.Value] = true
	}
}

// fieldNumbers resolves names of fields among those that a stage's items can have.
func (l *loader) fieldNumbers(texts []study.Text, have map[string]bool, what string, quiet bool) []int {
	var ids []int
	for _, t := range texts {
		id, ok := l.fields.id(t.Value)
		if !ok || !have[t.Value] {
			if !quiet {
				l.unknownField(t, what, sortedKeys(have))
			}
			continue
		}
		ids = append(ids, id)
	}
	return ids
}

func sortedKeys(m map[string]bool) []string {
	var out []string
	for k, v := range m {
		if v {
			out = append(out, k)
		}
	}
	sort.Strings(out)
	return out
}

// bindTogether gives a stage of several stages the fields and outputs that all of them have. Where their outputs bear different
// names, the first output of each is meant, and called items.
func (l *loader) bindTogether(s *stage) {
	for i, m := range s.members {
		s.broken = s.broken || m.broken
		if i == 0 {
			s.fields = maps.Clone(m.fields)
			continue
		}
		for f := range s.fields {
			s.fields[f] = s.fields[f] && m.fields[f]
		}
	}
	if s.fields == nil {
		s.fields = map[string]bool{}
	}
	s.shapes = map[string]Arriving{}
	s.together = map[source]string{}
	var common []string
	for i, m := range s.members {
		names := l.declaredOutputs(m)
		if i == 0 {
			common = slices.Clone(names)
		}
		common = slices.DeleteFunc(common, func(n string) bool { return !slices.Contains(names, n) })
	}
	for _, m := range s.members {
		names := l.declaredOutputs(m)
		switch {
		case len(names) == 0:
		case len(common) == 0:
			s.together[source{m, names[0]}] = "items"
		default:
			for _, n := range common {
				s.together[source{m, n}] = n
			}
		}
	}
	for _, m := range s.members {
		for _, n := range l.declaredOutputs(m) {
			if out, ok := s.together[source{m, n}]; ok {
				s.addShape(out, m.shapes[n])
			}
		}
	}
	s.outputs = common
	if len(common) == 0 {
		s.outputs = []string{"items"}
	}
}

// addShape unites what one member gives with what the others give: columns that differ are not known beforehand.
func (s *stage) addShape(out string, m Arriving) {
	have, ok := s.shapes[out]
	if !ok {
		m.Stage, m.Output = s.name, out
		s.shapes[out] = m
		return
	}
	have.Columns = slices.Clone(have.Columns)
	have.Unknown = have.Unknown || m.Unknown || !unite(have.Columns, m.Columns)
	if have.Form != m.Form {
		have.Form = AnyForm
	}
	s.shapes[out] = have
}

// bindKind does all that concerns one stage of a kind.
func (l *loader) bindKind(s *stage) {
	s.fields = map[string]bool{}
	if s.kind.Reads {
		for _, b := range s.brings {
			s.fields[b.Name] = true
		}
		if s.fields["sample"] {
			l.addSheetFields(s.fields)
		}
	}
	for _, b := range s.ports {
		for _, r := range b.refs {
			for _, src := range r.sources {
				s.broken = s.broken || src.stage.broken
			}
			l.bindOutput(s, b, r)
		}
	}
	if s.lead != nil {
		for i, r := range s.lead.refs {
			for j, src := range r.sources {
				if i == 0 && j == 0 {
					s.fields = maps.Clone(src.fields())
					continue
				}
				for f, have := range src.fields() {
					// items of several stages: a field that only some have is null for the others
					s.fields[f] = s.fields[f] || have
				}
			}
		}
		l.bindGrouping(s)
	}
	for _, b := range s.ports {
		for _, r := range b.refs {
			l.bindWhere(s, r)
			if b != s.lead {
				l.bindPairing(s, b, r)
			}
		}
	}
	l.checkPorts(s)
	l.decodeSettings(s)
	l.shapeOutputs(s)
}

// bindOutput finds which output of each source a reference means.
func (l *loader) bindOutput(s *stage, b *boundPort, r *reference) {
	for i := range r.sources {
		src := &r.sources[i]
		names := make([]string, 0, len(src.stage.shapes))
		for n := range src.stage.shapes {
			names = append(names, n)
		}
		sort.Strings(names)
		if r.decl.Output.Value != "" {
			if _, ok := src.stage.shapes[r.decl.Output.Value]; !ok && !src.stage.broken {
				found, remedy := fault.Unknown("output", r.decl.Output.Value, names)
				l.fail(r.decl.Output.Pos, found, "an output of stage "+src.stage.name+": "+joinOr(names), remedy)
				s.broken = true
			}
			src.output = r.decl.Output.Value
			continue
		}
		src.output = l.firstThatFits(src.stage, b)
		if src.output == "" && !src.stage.broken && len(names) > 0 {
			got := src.stage.shapes[l.declaredOutputs(src.stage)[0]]
			l.fail(r.decl.Stages[min(i, len(r.decl.Stages)-1)].Pos, fmt.Sprintf("stage %s, which gives %s", src.stage.name, describeOutputs(src.stage, l.declaredOutputs(src.stage))),
				fmt.Sprintf("%s for port `%s` of %s", portWord(b.decl), b.decl.Name, s.kind.Name), misfitRemedy(b.decl, got))
			s.broken = true
		}
	}
}

func misfitRemedy(p *Port, got Arriving) string {
	if why := misfit(p, got); why != "" {
		return why
	}
	return "feed the port from another stage"
}

// declaredOutputs lists a stage's outputs in the order of its kind's declaration.
func (p *Project) declaredOutputs(s *stage) []string {
	if s.kind == nil {
		return s.outputs
	}
	var out []string
	for _, o := range s.kind.Outputs {
		out = append(out, o.Name)
	}
	return out
}

func (l *loader) firstThatFits(s *stage, b *boundPort) string {
	for _, out := range l.declaredOutputs(s) {
		if sh, ok := s.shapes[out]; ok && misfit(b.decl, sh) == "" {
			return out
		}
	}
	return ""
}

// bindGrouping reads `by`, or takes what is usual for the kind.
func (l *loader) bindGrouping(s *stage) {
	by := s.decl.By
	if len(by) == 0 {
		switch usual := s.kind.By; usual {
		case "", "item", "sample", "all":
			s.by.mode = usual
			if usual == "" {
				s.by.mode = "item"
			}
		case "list":
			if !s.broken {
				l.fail(s.decl.Kind.Pos, fmt.Sprintf("stage %s says nothing of `by`", s.name), s.kind.Name+" takes items together by fields that the study names", "add `by: [FIELD, …]`, or `by: all`")
			}
			s.by.mode = "all"
		default:
			by = []study.Text{{Value: usual, Pos: s.decl.Kind.Pos}}
		}
	}
	if len(by) == 1 && (by[0].Value == "item" || by[0].Value == "sample" || by[0].Value == "all") {
		s.by.mode = by[0].Value
		by = nil
	}
	if s.by.mode == "sample" {
		if !s.fields["sample"] && !s.broken {
			at := s.decl.Kind
			if len(s.decl.By) > 0 {
				at = s.decl.By[0]
			}
			l.fail(at.Pos, "grouping by sample, where the items belong to none", "items with the field `sample`", "capture <sample> in the import, or name other fields in `by`")
		}
		s.by.fields = []int{l.sampleID}
		s.by.names = []string{"sample"}
	}
	if len(by) > 0 {
		s.by.mode = "fields"
		s.by.fields = l.fieldNumbers(by, s.fields, "by", s.broken)
		for _, id := range s.by.fields {
			s.by.names = append(s.by.names, l.fields.names[id])
		}
	}
}
