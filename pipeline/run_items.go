package pipeline

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"fascicle/pipeline/store"
)

// sheetItems makes the items of `samples`: one for each row, without columns of its own. Kinds read the sheet through settings.
func (r *runner) sheetItems(s *stage) {
	slab := make([]item, len(r.p.order))
	for i, row := range r.p.order {
		slab[i] = item{stage: s, output: "rows", form: Values, name: "sample=" + row.sample, fields: Fields{row: row}, state: Kept, lead: -1, hash: sheetItem(row.sample)}
		r.items[s] = append(r.items[s], &slab[i])
	}
}

// togetherItems passes on the items of several stages, held against the checks that the stage trusts.
func (r *runner) togetherItems(s *stage) {
	trusts := r.trustIndex(s)
	for _, m := range s.members {
		for _, it := range r.items[m] {
			out, ok := s.together[source{m, it.output}]
			if !ok {
				continue
			}
			c := *it
			c.output, c.stage = out, s
			if c.state.Good() {
				if why := r.distrust(it, trusts); why != "" {
					c.state, c.message = Blocked, why
				}
				c.flags = slices.Concat(c.flags, r.doubts(it, trusts))
			}
			r.items[s] = append(r.items[s], &c)
		}
	}
}

// close ends a group: its items are those of the entry, or failed or blocked ones in the places where items should be.
func (r *runner) close(g *group, e *store.Entry, kept bool, err error) {
	s := g.stage
	r.open[s]--
	switch {
	case e != nil:
		g.state = Made
		if kept {
			g.state = Kept
		}
		r.entryItems(g, e)
	case g.state == Blocked:
		r.holes(g)
	default:
		g.state = Failed
		if r.ctx.Err() != nil && errors.Is(err, context.Canceled) {
			g.state = Blocked
			g.message = "the run was interrupted"
		} else if err != nil {
			g.message = err.Error()
		}
		r.holes(g)
	}
	r.items[s] = append(r.items[s], g.outputs...)
	why := r.whyMade(g)
	r.total += len(g.outputs) - r.expected(g)
	for _, it := range g.outputs {
		switch it.state {
		case Made:
			r.counts.Made++
		case Kept:
			r.counts.Kept++
		case Failed:
			r.counts.Failed++
		case Blocked:
			r.counts.Blocked++
		}
		if r.opt.Event != nil {
			done := r.counts.Made + r.counts.Kept + r.counts.Failed + r.counts.Blocked
			r.opt.Event(Event{Stage: s.name, Output: it.output, Item: it.name, State: it.state, Message: it.message, Why: why, Done: done, Total: r.total})
		}
	}
}

// holes makes the failed or blocked items of a group.
func (r *runner) holes(g *group) {
	for _, o := range g.stage.kind.Outputs {
		form := o.Form
		if sh, ok := g.stage.shapes[o.Name]; ok {
			form = sh.Form
		}
		if o.Per != PerLead {
			g.outputs = append(g.outputs, &item{stage: g.stage, output: o.Name, form: form, name: g.name, fields: g.fields, state: g.state, message: g.message, group: g, lead: -1})
			continue
		}
		for i, l := range g.leads {
			g.outputs = append(g.outputs, &item{stage: g.stage, output: o.Name, form: form, name: l.name, fields: l.fields, state: g.state, message: g.message, group: g, lead: i})
		}
	}
}

// entryItems makes the items that a recipe gave.
func (r *runner) entryItems(g *group, e *store.Entry) {
	s := g.stage
	several := len(e.Objects) > 1
	g.outputs = make([]*item, 0, len(e.Objects))
	for i := range e.Objects {
		o := &e.Objects[i]
		it := &item{stage: s, output: o.Output, form: s.shapes[o.Output].Form, state: g.state, flags: o.Flags, hash: o.Hash, size: o.Size, group: g, lead: o.Lead, number: o.N}
		switch {
		case s.kind.Reads:
			r.importedItem(g, it, o, several)
		case o.Lead >= 0 && o.Lead < len(g.leads):
			it.name, it.fields = g.leads[o.Lead].name, g.leads[o.Lead].fields
		default:
			it.name, it.fields = g.name, g.fields
		}
		if len(e.Flags) > 0 {
			it.flags = append(slices.Clone(e.Flags), it.flags...)
		}
		if g.doubts != nil {
			it.flags = slices.Concat(it.flags, g.doubtsOf(o.Lead))
		}
		g.outputs = append(g.outputs, it)
	}
}

// importedItem gives an item of a file its name and fields.
func (r *runner) importedItem(g *group, it *item, o *store.Object, several bool) {
	p := r.p
	var names, values []string
	for _, n := range g.stage.captured {
		if id, ok := p.fields.id(n); ok {
			v, _ := g.fields.get(id)
			names, values = append(names, n), append(values, v.Text)
		}
	}
	it.fields = Fields{own: slices.Clone(g.captures), row: g.fields.row}
	for _, f := range o.Fields {
		of, err := p.inFile(g.stage, f.Name, f.Value)
		if err != nil {
			it.state, it.message = Blocked, fmt.Sprintf("%s: the file says `%s` = %q: %v", g.file, f.Name, f.Value, err)
			continue
		}
		if known, _ := it.fields.get(of.id); of.value.Null && !known.Null {
			continue // what the file leaves empty, the sheet may say
		}
		it.fields.set(of.id, of.value)
		if r.inName(g.stage, f.Name) {
			names, values = append(names, f.Name), append(values, of.value.Text)
		}
	}
	block := 0
	if several && !r.namesItems(g.stage) {
		block = it.number + 1
	}
	it.name = itemName(names, values, block)
	if why := p.joinSample(&it.fields); why != "" && it.state.Good() {
		it.state, it.message = Blocked, g.file+": "+why
	}
}

// inName tells whether an in-file field is part of item names: those captured from the names of curves are, header fields are not.
func (r *runner) inName(s *stage, field string) bool {
	return slices.ContainsFunc(s.brings, func(b Brought) bool { return b.Name == field && b.Where == "curves" })
}

func (r *runner) namesItems(s *stage) bool {
	return slices.ContainsFunc(s.brings, func(b Brought) bool { return b.Where == "curves" })
}

// endStage puts a stage's items in order and, for imports, holds them against names given twice and the checks they trust.
func (r *runner) endStage(s *stage) {
	items := r.items[s]
	slices.SortStableFunc(items, func(a, b *item) int {
		if a.output != b.output {
			return compareOutputs(s, a.output, b.output)
		}
		return naturalCompare(a.name, b.name)
	})
	if s.kind == nil || !s.kind.Reads {
		return
	}
	for i := 1; i < len(items); i++ {
		a, b := items[i-1], items[i]
		if a.name == b.name && a.output == b.output && a.state.Good() && b.state.Good() {
			why := fmt.Sprintf("two items are called %s: one from %s, one from %s", a.name, a.group.file, b.group.file)
			r.reblock(a, why)
			r.reblock(b, why)
		}
	}
	if len(s.trusts) > 0 {
		trusts := r.trustIndex(s)
		for _, it := range items {
			if it.state.Good() {
				if why := r.distrust(it, trusts); why != "" {
					r.reblock(it, why)
				}
				it.flags = slices.Concat(it.flags, r.doubts(it, trusts))
			}
		}
	}
}

// reblock turns a good item into a blocked one after it was counted.
func (r *runner) reblock(it *item, why string) {
	switch it.state {
	case Made:
		r.counts.Made--
	case Kept:
		r.counts.Kept--
	default:
		return
	}
	r.counts.Blocked++
	it.state, it.message = Blocked, why
	if r.opt.Event != nil {
		r.opt.Event(Event{Stage: it.stage.name, Output: it.output, Item: it.name, State: Blocked, Message: why,
			Done: r.counts.Made + r.counts.Kept + r.counts.Failed + r.counts.Blocked, Total: r.total})
	}
}

func compareOutputs(s *stage, a, b string) int {
	if s.kind == nil {
		return 0
	}
	at := func(name string) int {
		return slices.IndexFunc(s.kind.Outputs, func(o Output) bool { return o.Name == name })
	}
	return at(a) - at(b)
}
