package pipeline

import (
	"bytes"
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"fascicle/pipeline/formula"
)

// pairGroup finds the partners of each lead item, drops what a gathering port need not have, and blocks what lacks a partner.
func (r *runner) pairGroup(g *group, ports [][]*gathered, trusts []*gathered) {
	s := g.stage
	if g.state == Blocked {
		return
	}
	if s.lead.decl.Gather {
		var good []*item
		for _, it := range g.leads {
			if it.state.Good() {
				good = append(good, it)
			} else {
				g.missing = append(g.missing, r.missing(s.lead.decl.Name, it))
			}
		}
		if len(good) == 0 {
			g.block("nothing is left to take together: %s", g.missing[0].Reason) // the leads stay: what is missing is shown in their places
			return
		}
		g.leads = good
	}
	for _, it := range g.leads {
		if !it.state.Good() {
			g.block("%s", because(it))
			return
		}
		r.trust(g, it, trusts)
	}
	g.partners = make([][][]*item, len(s.ports))
	for i, b := range s.ports {
		if b == s.lead || !b.isFed {
			continue
		}
		g.partners[i] = make([][]*item, len(g.leads))
		for j, it := range g.leads {
			var why string
			for _, c := range ports[i] {
				found, none := r.partners(b, c, it)
				why = cmp.Or(why, none)
				c.found += len(found)
				for _, p := range found {
					if p.state.Good() {
						g.partners[i][j] = append(g.partners[i][j], p)
					} else if b.decl.Gather {
						g.missing = append(g.missing, r.missing(b.decl.Name, p))
					} else {
						g.block("%s", because(p))
						return
					}
				}
			}
			// one of several references may find a partner where another finds none
			if len(g.partners[i][j]) == 0 && !b.decl.Gather {
				g.block("%s", cmp.Or(why, r.noPartner(b, ports[i], it)))
				return
			}
			slices.SortStableFunc(g.partners[i][j], func(a, b *item) int {
				return cmp.Or(cmp.Compare(a.stage.rank, b.stage.rank), bytes.Compare(a.hash[:], b.hash[:]), naturalCompare(a.name, b.name))
			})
		}
		if !b.decl.Many && !b.decl.Gather {
			r.oneForAll(g, b, ports[i], g.partners[i])
		}
	}
}

// because says that a group is blocked by an item, and passes on the first cause rather than a chain of consequences.
func because(it *item) string {
	if it.state == Blocked {
		return it.message
	}
	return fmt.Sprintf("%s failed: %s", it.who(), it.message)
}

func (r *runner) missing(port string, it *item) Missing {
	return Missing{Port: port, Stage: it.stage.name, Item: it.name, Sample: it.sample(), State: it.state, Reason: it.message}
}

// oneForAll makes sure that a port that takes one partner got one, the same for all lead items of the group.
func (r *runner) oneForAll(g *group, b *boundPort, ports []*gathered, partners [][]*item) {
	for j, p := range partners {
		if len(p) > 1 {
			var wanted []string
			for _, c := range ports {
				wanted = append(wanted, r.criteria(c.ref, g.leads[j]))
			}
			p = slices.SortedStableFunc(slices.Values(p), func(a, b *item) int { return naturalCompare(a.name, b.name) })
			g.block("%s finds %d partners at port `%s` (%s) where one is due: %s%s and %s%s; narrow it with `match`, `nearest` or `where`", g.leads[j].who(), len(p), b.decl.Name,
				strings.Join(wanted, ", or "), p[0].who(), r.lookAt(p[0]), p[1].who(), r.lookAt(p[1]))
			return
		}
	}
	for j, p := range partners[1:] {
		if first := partners[0][0]; p[0] != first && p[0].hash != first.hash {
			g.block("%s and %s are taken together, but have different partners at port `%s`: %s%s and %s%s; group them by what tells these apart", g.leads[0].who(), g.leads[j+1].who(), b.decl.Name,
				first.who(), r.lookAt(first), p[0].who(), r.lookAt(p[0]))
			return
		}
	}
}

// partners finds the partners of one lead item in what one reference gathered. none says why a lead that lacks a field cannot have any.
func (r *runner) partners(b *boundPort, c *gathered, it *item) (found []*item, none string) {
	ref := c.ref
	found = c.items
	if len(ref.partner) > 0 {
		key, missing := r.pairKey(ref, it)
		if missing != "" {
			return nil, r.noValue(b, missing, it)
		}
		found = c.byKey[key]
	}
	if len(ref.nearest) > 0 {
		for _, n := range ref.nearest {
			if _, ok := r.position(n.field, it); !ok {
				return nil, r.noValue(b, r.p.fields.names[n.field], it)
			}
		}
		found = r.nearestOf(ref, it, found)
	}
	return found, ""
}

func (r *runner) noValue(b *boundPort, field string, it *item) string {
	return fmt.Sprintf("%s has no value in field `%s`, by which its partner at port `%s` is found%s", it.who(), field, b.decl.Name, r.lookAtField(field, it))
}

// pairKey joins the values by which a lead item finds its partners, in the units of the partners' fields: those are what keys are made of.
func (r *runner) pairKey(ref *reference, it *item) (key, missing string) {
	t := r.p.fields
	if slices.Equal(ref.partner, ref.lead) {
		return it.fields.keyOf(t, ref.lead)
	}
	var as Fields
	for i, id := range ref.lead {
		v, _ := it.fields.get(id)
		var err error
		if v, err = t.parse(ref.partner[i], v.Text, t.types[id].Unit); err != nil || v.Null {
			return "", t.names[id]
		}
		as.set(ref.partner[i], v)
	}
	return as.keyOf(t, ref.partner)
}

// criteria says in words what a partner must have.
func (r *runner) criteria(ref *reference, it *item) string {
	var out []string
	for i, id := range ref.partner {
		v, _ := it.fields.get(ref.lead[i])
		out = append(out, r.p.fields.names[id]+" = "+fieldText(r.p.fields, ref.lead[i], v))
	}
	if ref.where != nil {
		out = append(out, ref.where.Source())
	}
	for _, n := range ref.nearest {
		out = append(out, r.p.fields.names[n.field]+" "+n.direction)
	}
	if len(out) == 0 {
		return "the only one"
	}
	return strings.Join(out, ", ")
}

// noPartner says what was looked for and where a person should look.
func (r *runner) noPartner(b *boundPort, all []*gathered, it *item) string {
	var wanted, have, pats []string
	for _, c := range all {
		wanted = append(wanted, r.criteria(c.ref, it))
		pats = append(pats, r.patterns(c.ref)...)
		var stages, names []string
		for _, src := range c.ref.sources {
			stages = append(stages, src.stage.name)
		}
		for _, p := range c.items {
			names = append(names, p.name)
		}
		word := "none"
		if len(names) > 0 {
			word = shortList(names, 4)
		}
		have = append(have, fmt.Sprintf("stage %s has %s", strings.Join(stages, ", "), word))
	}
	slices.Sort(pats)
	where := ""
	if pats = slices.Compact(pats); len(pats) > 0 {
		where = "; look for a file like " + strings.Join(pats, " or ")
	}
	return fmt.Sprintf("%s has no partner at port `%s` (%s): %s%s", it.who(), b.decl.Name, strings.Join(wanted, ", or "), strings.Join(have, ", "), where)
}

// patterns lists the file patterns of the imports behind a reference.
func (r *runner) patterns(ref *reference) []string {
	var out []string
	var walk func(s *stage)
	walk = func(s *stage) {
		if s.kind != nil && s.kind.Reads {
			if fs, ok := s.settings.(FileSettings); ok && !slices.Contains(out, fs.FilesPattern()) {
				out = append(out, fs.FilesPattern())
			}
			return
		}
		if s.lead != nil {
			for _, l := range s.lead.refs {
				for _, src := range l.sources {
					walk(src.stage)
				}
			}
		}
		for _, m := range s.members {
			walk(m)
		}
	}
	for _, src := range ref.sources {
		walk(src.stage)
	}
	return out
}

// nearestOf keeps those partners that are nearest by each of the reference's fields in turn.
func (r *runner) nearestOf(ref *reference, it *item, found []*item) []*item {
	for _, n := range ref.nearest {
		at, ok := r.position(n.field, it)
		if !ok {
			return nil
		}
		best := -1.0
		var keep []*item
		for _, p := range found {
			x, ok := r.position(n.field, p)
			d := x - at
			if n.direction == "before" {
				d = -d
			}
			if n.direction == "either" && d < 0 {
				d = -d
			}
			if !ok || d < 0 {
				continue
			}
			if best < 0 || d < best {
				best, keep = d, nil
			}
			if d == best {
				keep = append(keep, p)
			}
		}
		found = keep
	}
	return found
}

// position gives a date or number field as a number, dates in seconds.
func (r *runner) position(id int, it *item) (float64, bool) {
	v, _ := it.fields.get(id)
	if v.Null {
		return 0, false
	}
	for _, layout := range []string{time.DateOnly, "2006-01-02T15:04:05", "2006-01-02T15:04"} {
		if t, err := time.Parse(layout, v.Text); err == nil {
			return float64(t.Unix()), true
		}
	}
	return v.Number, r.p.fields.types[id].Sort == formula.Number
}
