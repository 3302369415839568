package pipeline

import (
	"fmt"
	"slices"
	"strings"

	"fascicle/pipeline/formula"
	"fascicle/pipeline/study"
)

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
