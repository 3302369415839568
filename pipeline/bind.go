package pipeline

import (
	"fmt"
	"maps"
	"reflect"
	"slices"
	"sort"
	"strings"

	"fascicle/catalog/fault"
	"fascicle/pipeline/formula"
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

// bindWhere compiles a reference's condition over the fields of its sources.
func (l *loader) bindWhere(s *stage, r *reference) {
	if r.decl.Where.Value == "" {
		return
	}
	have := map[string]bool{}
	for _, src := range r.sources {
		for f, ok := range src.fields() {
			have[f] = have[f] || ok
		}
		if src.stage.broken {
			return
		}
	}
	f, ok, err := (&fieldScope{l: l, only: have}).compile(r.decl.Where.Value)
	if !ok && err == nil {
		return
	}
	if err == nil && f.Type().Sort != formula.Bool {
		l.fail(r.decl.Where.Pos, "a condition that comes out as "+typeWord(f.Type()), "a yes or no", "compare it with something")
		return
	}
	if err != nil {
		d := &decoder{file: l.file, stage: s.name, locate: l.Study.Locate}
		d.formulaFault(r.decl.Where, "where", err)
		l.faults = append(l.faults, d.faults...)
		return
	}
	r.where = f
}

// bindPairing finds how partners of one reference are found: what the reference says, then what the partner's stage serves, then
// what is usual at the port.
func (l *loader) bindPairing(s *stage, b *boundPort, r *reference) {
	if s.broken || len(r.sources) == 0 {
		return
	}
	src := r.sources[0].stage
	have := map[string]bool{}
	for i, x := range r.sources {
		if x.stage.broken {
			return
		}
		if usual := !r.decl.Only && !r.decl.All && !r.decl.HasMatch && b.decl.Pair != ByAll; usual && !slices.Equal(x.stage.serves, src.serves) {
			l.fail(r.decl.Stages[i].Pos, fmt.Sprintf("stage %s, whose items are found by %s, in one reference with stage %s, whose items are found by %s", x.stage.name, l.servesWord(x.stage), src.name, l.servesWord(src)),
				"one way for all stages of a reference", "give each a reference of its own, or say `match: [FIELD]` here")
			return
		}
		for f, ok := range x.fields() {
			if i == 0 {
				have[f] = ok
			} else {
				have[f] = have[f] || ok
			}
		}
	}
	r.pair = b.decl.Pair
	switch {
	case r.decl.Only:
		r.pair = ByOnly
	case r.decl.All:
		if !b.decl.Many && !b.decl.Gather {
			l.fail(r.decl.Pos, fmt.Sprintf("`all` at port `%s`, which takes one partner", b.decl.Name), "match, nearest or only", "leave `all` out")
		}
		r.pair = ByAll
	case r.decl.HasMatch:
		r.pair = ByMatch
		for _, m := range r.decl.Match {
			pid := l.fieldNumbers([]study.Text{m.Partner}, have, "match of stage "+src.name, false)
			lid := l.fieldNumbers([]study.Text{m.Lead}, s.fields, "match of stage "+s.name, false)
			if len(pid) == 1 && len(lid) == 1 {
				r.partner, r.lead = append(r.partner, pid[0]), append(r.lead, lid[0])
				if a, c := l.fields.types[pid[0]], l.fields.types[lid[0]]; a.Sort != c.Sort || a.Unit.Dim() != c.Unit.Dim() {
					l.fail(m.Partner.Pos, fmt.Sprintf("a match of `%s` (%s) with `%s` (%s)", m.Partner.Value, typeWord(a), m.Lead.Value, typeWord(c)), "two fields of one sort", "name fields that can be equal")
				}
			}
		}
	case len(src.serves) > 0 && b.decl.Pair != ByAll:
		r.pair, r.serves = ByMatch, true
		for _, id := range src.serves {
			if !s.fields[l.fields.names[id]] {
				l.fail(r.decl.Pos, fmt.Sprintf("stage %s serves by `%s`, a field that the lead items of stage %s do not have", src.name, l.fields.names[id], s.name), "a field on both sides", "say `match: {partner field: lead field}` here")
				continue
			}
			r.partner, r.lead = append(r.partner, id), append(r.lead, id)
		}
	case len(r.decl.Nearest) > 0:
		r.pair = ByMatch
	}
	for _, n := range r.decl.Nearest {
		ids := l.fieldNumbers([]study.Text{n.Field}, have, "nearest", false)
		if len(ids) == 0 {
			continue
		}
		if !s.fields[n.Field.Value] {
			l.unknownField(n.Field, "nearest, on the side of stage "+s.name, sortedKeys(s.fields))
			continue
		}
		if t := l.fields.types[ids[0]]; t.Sort != formula.Date && t.Sort != formula.Number {
			l.fail(n.Field.Pos, fmt.Sprintf("nearest by `%s`, which is %s", n.Field.Value, typeWord(t)), "a date or a number", "name a field that has distances")
			continue
		}
		r.nearest = append(r.nearest, nearest{ids[0], n.Direction.Value})
	}
	if r.pair == BySample {
		if !have["sample"] || !s.fields["sample"] {
			who := src.name
			if have["sample"] {
				who = s.name
			}
			l.fail(r.decl.Pos, fmt.Sprintf("partners at port `%s` are found by sample, but the items of stage %s belong to none", b.decl.Name, who), "the field `sample` on both sides", "say how they are paired: `match: [FIELD]` or `only: true`")
			return
		}
		r.partner, r.lead = []int{l.sampleID}, []int{l.sampleID}
	}
	if r.pair == ByMatch && len(r.partner) == 0 && len(r.nearest) == 0 && !r.decl.HasMatch && !r.serves {
		if b.decl.Gather {
			return // gathers within the group
		}
		l.fail(r.decl.Pos, fmt.Sprintf("nothing says which item of stage %s is the partner at port `%s`", src.name, b.decl.Name), "fields that pair them",
			fmt.Sprintf("say `match: [FIELD]` or `only: true` here, or `serves: [FIELD]` at stage %s", src.name))
	}
}

// servesWord says by which fields a stage's items are found.
func (p *Project) servesWord(s *stage) string {
	if len(s.serves) == 0 {
		return "what is usual at the port"
	}
	var names []string
	for _, id := range s.serves {
		names = append(names, "`"+p.fields.names[id]+"`")
	}
	return strings.Join(names, ", ")
}

// bindTrusts makes sure that checks can be paired with what trusts them.
func (l *loader) bindTrusts(s *stage) {
	if s.broken {
		return
	}
	for i, c := range s.trusts {
		if c.broken {
			continue
		}
		at := s.decl.Trusts[min(i, len(s.decl.Trusts)-1)]
		if len(c.serves) == 0 {
			l.fail(at.Pos, fmt.Sprintf("`trusts` names stage %s, which does not say whom it serves", c.name), "a check with `serves`", "add `serves: [FIELD]` to stage "+c.name)
			continue
		}
		for _, id := range c.serves {
			if !s.fields[l.fields.names[id]] {
				l.fail(at.Pos, fmt.Sprintf("stage %s serves by `%s`, a field that the items of stage %s do not have", c.name, l.fields.names[id], s.name), "a field on both sides", "correct `serves` or `trusts`")
			}
		}
	}
}

// decodeSettings reads a stage's settings with all scopes at hand.
func (l *loader) decodeSettings(s *stage) {
	if s.kind.Settings == nil {
		if s.decl.Set != nil && len(s.decl.Set.Entries) > 0 {
			l.fail(s.decl.Set.Entries[0].Key.Pos, "a setting, where "+s.kind.Name+" has none", "", "leave `set` out")
		}
		return
	}
	d := l.decoder(s)
	dst := s.kind.Settings()
	d.decode(dst, s.decl.Set, s.decl.Kind.Pos)
	if fc, ok := dst.(FedChecker); ok && len(d.faults) == 0 && !s.broken {
		if err := fc.CheckFed(d.fed); err != nil {
			d.failSetting(s.decl.Set, s.decl.Kind.Pos, err, "settings that do not go with the ports that are fed: ")
		}
	}
	s.settings = dst
	l.faults = append(l.faults, d.faults...)
	if len(d.faults) > 0 {
		s.broken = true
	}
}

// FedChecker is what a kind's settings may be, to say that a setting and a fed port exclude or need each other.
type FedChecker interface {
	CheckFed(fed func(port string) bool) error
}

func (s *stage) port(name string) *boundPort {
	for _, b := range s.ports {
		if b.decl.Name == name {
			return b
		}
	}
	return nil
}

// decoder makes a decoder for a stage's settings. Of a stage that is broken elsewhere only what stands in the settings themselves is
// judged: names of fields and columns would be faulted for what is wrong with its neighbours.
func (l *loader) decoder(s *stage) *decoder {
	d := &decoder{file: l.file, stage: s.name, constants: l.constants, names: l.constantNames(), locate: l.Study.Locate}
	if !s.broken {
		d.lead = &fieldScope{l: l, only: s.fields}
	}
	d.fed = func(port string) bool { b := s.port(port); return b != nil && b.isFed }
	d.alsoScope = func(port string) (*fieldScope, string) {
		b := s.port(port)
		if b == nil || !b.isFed || s.broken {
			return nil, ""
		}
		have := map[string]bool{}
		var stages []string
		for _, r := range b.refs {
			for _, src := range r.sources {
				stages = append(stages, src.stage.name)
				for f, ok := range src.fields() {
					have[f] = have[f] || ok
				}
			}
		}
		return &fieldScope{l: l, only: have}, joinOr(stages)
	}
	d.port = func(name string) (*fieldScope, []Arriving, bool) {
		b := s.lead
		if name != "" {
			b = s.port(name)
		}
		if b == nil || s.broken {
			return nil, nil, false
		}
		all := s.arriving(b)
		columns, known := arrivingColumns(all)
		return &fieldScope{l: l, only: s.fields, columns: columns}, all, known
	}
	return d
}

// arrivingColumns unites the columns of all that arrives at a port; known is false when one of them cannot be known yet. A name that
// stages give in different units has any.
func arrivingColumns(all []Arriving) (columns []ColumnShape, known bool) {
	known = true
	for _, a := range all {
		known = known && !a.Unknown
		for _, c := range a.Columns {
			// evidence and joins name columns by stage
			if i := slices.IndexFunc(columns, func(have ColumnShape) bool { return have.Name == c.Name }); i < 0 {
				columns = append(columns, c)
			} else {
				columns[i].Any = columns[i].Any || c.Any || !columns[i].Unit.Equal(c.Unit)
			}
			q := c
			q.Name = a.Stage + "." + c.Name
			columns = append(columns, q)
		}
	}
	return columns, known
}

// arriving lists what the references of a port send.
func (s *stage) arriving(b *boundPort) []Arriving {
	var out []Arriving
	for _, r := range b.refs {
		for _, src := range r.sources {
			sh, ok := src.stage.shapes[src.output]
			if !ok {
				sh = Arriving{Unknown: true}
			}
			sh.Stage = src.stage.name
			out = append(out, sh)
		}
	}
	return out
}
