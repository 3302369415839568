package pipeline

import (
	"bytes"
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"fascicle/pipeline/formula"
	"fascicle/pipeline/store"
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
		for _, it := range leads {
			groups = append(groups, &group{stage: s, name: it.name, leads: []*item{it}, fields: it.fields})
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

// trustIndex prepares the checks that a stage trusts.
func (r *runner) trustIndex(s *stage) []*gathered {
	var out []*gathered
	for _, c := range s.trusts {
		g := &gathered{ref: &reference{partner: c.serves, lead: c.serves, sources: []source{{stage: c}}}, byKey: map[string][]*item{}}
		for _, it := range r.items[c] {
			if it.form != Values {
				continue
			}
			if key, missing := it.fields.keyOf(r.p.fields, c.serves); missing == "" {
				g.byKey[key] = append(g.byKey[key], it)
			}
		}
		out = append(out, g)
	}
	return out
}

// distrust says why an item must not be used, by the checks that its stage trusts; "" when it may. A check beyond its notice only flags:
// see doubts.
func (r *runner) distrust(it *item, trusts []*gathered) string {
	for _, c := range trusts {
		check := c.ref.sources[0].stage
		key, missing := it.fields.keyOf(r.p.fields, c.ref.lead)
		if missing != "" {
			return fmt.Sprintf("%s has no value in field `%s`, by which the check %s is found", it.who(), missing, check.name)
		}
		found := c.byKey[key]
		if len(found) == 0 {
			return fmt.Sprintf("%s has no check in stage %s (%s)", it.who(), check.name, r.criteria(c.ref, it))
		}
		for _, p := range found {
			if !p.state.Good() {
				return fmt.Sprintf("the check %s", because(p))
			}
			if why := p.flagAt(Tolerance); why != "" {
				return fmt.Sprintf("the check %s is out of tolerance: %s", p.who(), why)
			}
		}
	}
	return ""
}

func (r *runner) trust(g *group, it *item, trusts []*gathered) {
	if why := r.distrust(it, trusts); why != "" {
		g.block("%s", why)
		return
	}
	if flags := r.doubts(it, trusts); len(flags) > 0 {
		if g.doubts == nil {
			g.doubts = map[*item][]store.Flag{}
		}
		g.doubts[it] = flags
	}
}

// doubts flags an item whose checks are beyond their notice. It is no part of what is stored: the item's recipe does not know its checks.
func (r *runner) doubts(it *item, trusts []*gathered) (flags []store.Flag) {
	for _, c := range trusts {
		key, _ := it.fields.keyOf(r.p.fields, c.ref.lead)
		for _, p := range c.byKey[key] {
			if why := p.flagAt(Notice); why != "" {
				flags = append(flags, store.Flag{Level: string(Flagged), Text: fmt.Sprintf("the check %s is beyond its notice: %s", p.who(), why)})
			}
		}
	}
	return flags
}

// doubtsOf gives what one of the group's lead items (−1: any of them) is doubted for.
func (g *group) doubtsOf(lead int) (flags []store.Flag) {
	for i, it := range g.leads {
		if i != lead && lead >= 0 {
			continue
		}
		for _, f := range g.doubts[it] {
			if !slices.Contains(flags, f) {
				flags = append(flags, f)
			}
		}
	}
	return flags
}
