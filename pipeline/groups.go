package pipeline

import (
	"bytes"
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// gathered is what a reference takes from its stages: items that pass its condition.
type gathered struct {
	ref   *reference
	items []*item
	// byKey finds partners by the values of the pairing fields
	byKey map[string][]*item
	nulls int // items whose pairing fields are not all known
	found int // partners of all lead items so far
}

// take collects the items that a reference names. Rows that its condition cannot judge, because a field is empty, are remarked on.
func (r *runner) take(s *stage, port string, ref *reference) []*item {
	var out []*item
	var unknown []string
	looked := 0
	env := &fieldEnv{p: r.p}
	for _, src := range ref.sources {
		for _, it := range r.items[src.stage] {
			if src.output != "" && it.output != src.output {
				continue
			}
			looked++
			if ref.where != nil {
				env.f = &it.fields
				v := ref.where.Eval(env)
				if v.Null {
					unknown = append(unknown, it.name)
					continue
				}
				if !v.Bool {
					continue
				}
			}
			out = append(out, it)
		}
	}
	if ref.where != nil && len(out) == 0 && looked > len(unknown) {
		r.remark("stage %s, port %s: `where: %s` is true of none of %d items", s.name, port, ref.where.Source(), looked)
	}
	if len(unknown) > 0 {
		r.remark("stage %s, port %s: `where: %s` could not be judged, because a field is empty, for %s; they are left out", s.name, port, ref.where.Source(), shortList(unknown, 6))
	}
	return out
}

func shortList(names []string, most int) string {
	if len(names) <= most {
		return strings.Join(names, "; ")
	}
	return strings.Join(names[:most], "; ") + fmt.Sprintf(" and %d more", len(names)-most)
}

// formGroups forms the groups of a stage whose inputs have all ended, finds partners, and says which groups are blocked.
func (r *runner) formGroups(s *stage) []*group {
	var leads []*item
	for _, ref := range s.lead.refs {
		leads = append(leads, r.take(s, s.lead.decl.Name, ref)...)
	}
	groups := r.groupLeads(s, leads)
	ports := make([][]*gathered, len(s.ports))
	for i, b := range s.ports {
		if b == s.lead {
			continue
		}
		for _, ref := range b.refs {
			g := &gathered{ref: ref, items: r.take(s, b.decl.Name, ref)}
			if len(ref.partner) > 0 {
				g.byKey = make(map[string][]*item, len(g.items))
				for _, it := range g.items {
					if key, missing := it.fields.keyOf(r.p.fields, ref.partner); missing == "" {
						g.byKey[key] = append(g.byKey[key], it)
					} else {
						g.nulls++
					}
				}
			}
			ports[i] = append(ports[i], g)
		}
	}
	trusts := r.trustIndex(s)
	for i, g := range groups {
		g.index = i
		r.pairGroup(g, ports, trusts)
	}
	r.remarkNobody(s, ports, groups)
	return groups
}

// remarkNobody remarks on references of gathering ports that find nobody, which only leave a hole: a wrong `match` must not go unseen.
func (r *runner) remarkNobody(s *stage, ports [][]*gathered, groups []*group) {
	paired := slices.ContainsFunc(groups, func(g *group) bool { return g.state != Blocked })
	for i, b := range s.ports {
		for _, c := range ports[i] {
			if !b.decl.Gather || c.found > 0 {
				continue
			}
			var stages []string
			for _, src := range c.ref.sources {
				stages = append(stages, src.stage.name)
			}
			switch {
			case len(c.items) > 0 && paired:
				r.remark("stage %s, port %s: none of %d items of stage %s goes with any of its lead items; see how they are paired", s.name, b.decl.Name, len(c.items), joinOr(stages))
			case len(c.items) == 0 && c.ref.where == nil: // what a condition takes away has been remarked on
				r.remark("stage %s, port %s: stage %s has no items", s.name, b.decl.Name, joinOr(stages))
			}
		}
	}
}

// groupLeads puts lead items together by the stage's `by`, groups and the items in them in an order that no path decides.
func (r *runner) groupLeads(s *stage, leads []*item) []*group {
	t := r.p.fields
	var groups []*group
	switch s.by.mode {
	case "item":
		groups = make([]*group, 0, len(leads))
		slab := make([]group, len(leads))
		for i, it := range leads {
			slab[i] = group{stage: s, name: it.name, leads: leads[i : i+1 : i+1], fields: it.fields}
			groups = append(groups, &slab[i])
		}
	case "all":
		if len(leads) > 0 {
			groups = append(groups, &group{stage: s, name: "all", leads: leads})
		}
	default:
		byKey := map[string]*group{}
		values := make([]string, len(s.by.fields))
		for _, it := range leads {
			key, missing := it.fields.keyOf(t, s.by.fields)
			if missing != "" {
				g := &group{stage: s, name: it.name, leads: []*item{it}, fields: it.fields, state: Blocked,
					message: fmt.Sprintf("%s has no value in field `%s`, by which stage %s takes items together%s", it.who(), missing, s.name, r.lookAtField(missing, it))}
				if !it.state.Good() {
					g.message = because(it) // the file that failed could not say
				}
				groups = append(groups, g)
				continue
			}
			g := byKey[key]
			if g == nil {
				for i, id := range s.by.fields {
					v, _ := it.fields.get(id)
					values[i] = v.Text
				}
				g = &group{stage: s, name: itemName(s.by.names, values, 0)}
				byKey[key] = g
				groups = append(groups, g)
			}
			g.leads = append(g.leads, it)
		}
	}
	slices.SortStableFunc(groups, func(a, b *group) int { return naturalCompare(a.name, b.name) })
	for i, g := range groups {
		slices.SortStableFunc(g.leads, func(a, b *item) int {
			return cmp.Or(bytes.Compare(a.hash[:], b.hash[:]), naturalCompare(a.name, b.name), cmp.Compare(a.stage.name, b.stage.name))
		})
		if len(g.leads) > 1 || s.by.mode != "item" {
			g.fields = agreed(t, g.leads)
		}
		if i > 0 && groups[i-1].name == g.name {
			for _, h := range groups[i-1 : i+1] {
				if h.state == "" {
					h.state = Blocked
					h.message = fmt.Sprintf("two items are both called %s (%s and %s): captures must tell them apart", g.name, groups[i-1].leads[0].who()+r.lookAt(groups[i-1].leads[0]), g.leads[0].who()+r.lookAt(g.leads[0]))
				}
			}
		}
	}
	return groups
}

// naturalCompare orders names so that numbers within them count as numbers: s2 before s10.
func naturalCompare(a, b string) int {
	for i, j := 0, 0; ; {
		if i == len(a) || j == len(b) {
			return cmp.Or(cmp.Compare(len(a)-i, len(b)-j), cmp.Compare(a, b))
		}
		if isDigit(a[i]) && isDigit(b[j]) {
			si, sj := i, j
			for i < len(a) && isDigit(a[i]) {
				i++
			}
			for j < len(b) && isDigit(b[j]) {
				j++
			}
			x, y := strings.TrimLeft(a[si:i], "0"), strings.TrimLeft(b[sj:j], "0")
			if c := cmp.Or(cmp.Compare(len(x), len(y)), cmp.Compare(x, y)); c != 0 {
				return c
			}
			continue
		}
		if a[i] != b[j] {
			return cmp.Compare(a[i], b[j])
		}
		i++
		j++
	}
}

func isDigit(c byte) bool { return c >= '0' && c <= '9' }

// block marks a group, keeping the first reason.
func (g *group) block(format string, args ...any) {
	if g.state == "" {
		g.state, g.message = Blocked, fmt.Sprintf(format, args...)
	}
}
