package pipeline

import (
	"fmt"
	"slices"

	"fascicle/pipeline/store"
)

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
