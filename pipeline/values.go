package pipeline

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"

	"fascicle/pipeline/store"
	"fascicle/pipeline/table"
)

// ReadValues reads the numbers of all `values` items: the lines of values.json, sorted. It opens one object for each, on several
// processors.
func (o *Outcome) ReadValues(ctx context.Context) ([]Value, error) {
	if o.values != nil {
		return o.values, nil
	}
	o.Complete()
	type job struct {
		item  ItemOutcome
		stage *StageOutcome
	}
	var jobs []job
	for i := range o.Stages {
		s := &o.Stages[i]
		if s.Kind == nil {
			continue // the sheet and stages taken together repeat what is elsewhere
		}
		for _, it := range s.Items {
			if it.Form == Values && it.State.Good() {
				jobs = append(jobs, job{it, s})
			}
		}
	}
	slots := make([][]Value, len(jobs))
	errs := make([]error, len(jobs))
	parallel(len(jobs), func(i int) {
		if errs[i] = ctx.Err(); errs[i] != nil {
			return
		}
		t, err := o.Load(jobs[i].item)
		if err != nil {
			errs[i] = fmt.Errorf("reading %s %s: %w", jobs[i].item.Stage, jobs[i].item.Name, err)
			return
		}
		slots[i] = valuesOf(jobs[i].item, jobs[i].stage, t)
	})
	var out []Value
	for i := range slots {
		if errs[i] != nil {
			return nil, errs[i]
		}
		out = append(out, slots[i]...)
	}
	slices.SortStableFunc(out, func(a, b Value) int {
		return cmp.Or(cmp.Compare(b2i(a.Sample == ""), b2i(b.Sample == "")), naturalCompare(a.Sample, b.Sample), naturalCompare(a.Series, b.Series), cmp.Compare(a.Stage, b.Stage), naturalCompare(a.Item, b.Item), naturalCompare(a.Name, b.Name))
	})
	o.values = out
	return out, nil
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}

// parallel runs f(0) … f(n−1) on the processors there are. Results go into slots, so that their order never depends on timing.
func parallel(n int, f func(i int)) {
	var wg sync.WaitGroup
	var mu sync.Mutex
	next := 0
	for range min(n, maxProcs()) {
		wg.Add(1)
		go func() {
			defer wg.Done()
			for {
				mu.Lock()
				i := next
				next++
				mu.Unlock()
				if i >= n {
					return
				}
				f(i)
			}
		}()
	}
	wg.Wait()
}

// valuesOf turns the one row of a `values` item into lines. Columns that accompany another (u_X, nu_X, X_bound, …) become parts of its line.
func valuesOf(it ItemOutcome, s *StageOutcome, t *table.Table) []Value {
	var flags []string
	for _, f := range it.Flags {
		if f.Level != string(Note) && f.Level != "choice" {
			flags = append(flags, f.Text)
		}
	}
	if flags == nil {
		flags = []string{}
	}
	number := func(name string) *float64 {
		c := t.Col(name)
		if c == nil || c.Len() != 1 || c.IsNull(0) {
			return nil
		}
		switch c.Type {
		case table.Float:
			x := c.Floats[0]
			return &x
		case table.Int:
			x := float64(c.Ints[0])
			return &x
		}
		return nil
	}
	var out []Value
	for i := range t.Columns {
		c := &t.Columns[i]
		if accompanies(t, c.Name) {
			continue
		}
		if c.Name == "sample" && c.Type == table.Text {
			continue // a row's own name
		}
		v := Value{Sample: it.Sample, Series: it.Series, Stage: it.Stage, Kind: s.Kind.Name, Item: it.Name, Name: c.Name, Unit: c.Unit, Flags: flags, Key: it.Key.String(), Parts: map[string]float64{}}
		if c.Type == table.Text {
			if c.IsNull(0) {
				continue
			}
			v.Text = c.Texts[0]
		} else {
			v.Value = number(c.Name)
			v.Own = number("u_" + c.Name)
			v.Nu = number("nu_" + c.Name)
			v.Lo, v.Hi = number(c.Name+"_lo"), number(c.Name+"_hi")
			if b := t.Col(c.Name + "_bound"); b != nil && b.Type == table.Text && !b.IsNull(0) {
				v.Bound = b.Texts[0]
			}
			v.Exact = v.Own == nil && s.isExact(it.Output, c.Name)
			v.combine(t)
		}
		out = append(out, v)
	}
	return out
}

func (s *StageOutcome) isExact(output, column string) bool {
	if s.exact == nil {
		return s.Kind.exact(output, column)
	}
	return s.exact(output, column)
}

// combine forms u² = own² + Σ part² (JCGM 100:2008, 5.2.2) and its degrees of freedom. Where a part is not known, u is not.
func (v *Value) combine(t *table.Table) {
	known := v.Own != nil || v.Exact
	var terms []nuTerm
	uu := 0.0
	add := func(group string, x, nu float64) {
		uu += x * x
		terms = append(terms, nuTerm{group, x, nu})
	}
	if v.Own != nil {
		nu := 0.0
		if v.Nu != nil {
			nu = *v.Nu
		}
		add("", *v.Own, nu)
	}
	for i := range t.Columns {
		c := &t.Columns[i]
		src, ok := strings.CutPrefix(c.Name, v.Name+partMark)
		if !ok || c.Type != table.Float {
			continue
		}
		if c.IsNull(0) {
			known = false
			v.Unknown = append(v.Unknown, src)
			continue
		}
		v.Parts[src] = c.Floats[0]
		nu, err := strconv.ParseFloat(t.Header[nuMark+src], 64)
		if err != nil {
			nu = 0
		}
		add(estimate(src), c.Floats[0], nu)
	}
	v.Nu = nil
	switch {
	case v.Value == nil || !known:
		if len(v.Unknown) > 0 && v.Value != nil {
			v.Flags = append(slices.Clone(v.Flags), "the part of "+shortList(v.Unknown, 3)+" is not known, and so u is not")
		}
		return
	case v.Own == nil && len(v.Parts) == 0:
		return // exact, and nothing moves it
	}
	if v.Exact {
		v.Exact = false
		zero := 0.0
		v.Own = &zero
	}
	u := math.Sqrt(uu)
	v.U = &u
	if nu := effectiveNu(terms); nu > 0 {
		v.Nu = &nu
	}
}

// accompanies tells whether a column belongs to another one of the table.
func accompanies(t *table.Table, name string) bool {
	if stem, _, ok := strings.Cut(name, "@"); ok {
		return t.Col(stem) != nil
	}
	for _, p := range [...]string{"u_", "nu_"} {
		if rest, ok := strings.CutPrefix(name, p); ok && t.Col(rest) != nil {
			return true
		}
	}
	for _, s := range [...]string{"_bound", "_lo", "_hi"} {
		if rest, ok := strings.CutSuffix(name, s); ok && t.Col(rest) != nil {
			return true
		}
	}
	return strings.HasPrefix(name, "cov_")
}

// outcome turns the runner's state into what leaves it.
func (r *runner) outcome() *Outcome {
	o := &Outcome{Title: r.p.Study.Title.Value, Dir: r.p.Dir, Study: r.p.text, Against: r.p.Study.Against.Value, Sheet: r.p.Sheet, Counts: r.counts}
	o.Remarks = slices.Concat(r.p.remarks, r.remarks, r.p.lacking(r.samplesRead(), false), r.listing.unclaimed())
	for _, s := range r.p.SharedSources() {
		if s.Remark != "" {
			o.Remarks = append(o.Remarks, fmt.Sprintf("%s, %s: %s", s.Name, s.Value, s.Remark))
		}
	}
	slices.Sort(o.Remarks)
	o.Digest = r.digest(o)
	var live map[string]*item
	o.Load = func(x ItemOutcome) (*table.Table, error) {
		it := live[x.Stage+"\x00"+x.Output+"\x00"+x.Name]
		if it == nil || !it.state.Good() {
			return nil, fmt.Errorf("stage %s has no item %s of output %s", x.Stage, x.Name, x.Output)
		}
		return r.load(it, false, false)
	}
	o.Shown, o.project = r.p.shown, r.p
	o.fieldsOf = func(x ItemOutcome) *Fields {
		if it := live[x.Stage+"\x00"+x.Output+"\x00"+x.Name]; it != nil {
			return &it.fields
		}
		return nil
	}
	o.fill = func() { live = r.complete(o) }
	return o
}

// complete lists stages, items, derived columns and raw files, and gives the items by stage, output and name.
func (r *runner) complete(o *Outcome) map[string]*item {
	t := r.p.fields
	for _, d := range r.p.defs.derived {
		col := DerivedColumn{Name: d.name.Value, Unit: d.ty.Unit, Text: d.expr.Value, Values: map[string]FieldValue{}}
		for _, row := range r.p.order {
			col.Values[row.sample] = row.values[d.id]
		}
		o.Derived = append(o.Derived, col)
	}
	missing := r.p.missingParts()
	live := map[string]*item{}
	named := map[*sampleRow][]NamedField{}
	for _, s := range r.p.stages {
		so := StageOutcome{Name: s.name, Kind: s.kind, By: s.by.names, MissingParts: missing[s], exact: s.exact}
		if s.kind != nil && s.by.mode != "fields" {
			so.By = []string{s.by.mode}
		}
		if s.settings != nil {
			so.Settings = settingLines(reflectElem(s.settings), s.decl.Set, "", false)
		}
		for _, b := range s.ports {
			if b.isFed {
				f := Feed{Port: b.decl.Name}
				for _, ref := range b.refs {
					for _, src := range ref.sources {
						f.Stages = append(f.Stages, src.stage.name)
					}
				}
				so.From = append(so.From, f)
			}
		}
		for _, it := range r.items[s] {
			io := ItemOutcome{Stage: s.name, Output: it.output, Form: it.form, Name: it.name, Sample: it.sample(), State: it.state, Message: it.message, Flags: it.flags, Hash: it.hash, Size: it.size, Lead: it.lead}
			if it.fields.row != nil && len(it.fields.own) == 0 {
				if named[it.fields.row] == nil {
					named[it.fields.row] = it.fields.named(t)
				}
				io.Fields = named[it.fields.row]
			} else {
				io.Fields = it.fields.named(t)
			}
			if io.Sample == "" {
				io.Series = it.name
			}
			if g := it.group; g != nil && len(s.members) == 0 {
				io.Key = g.key
				if g.file != "" {
					io.Files = []string{g.file}
				}
				io.Sources = r.sources(it)
			}
			live[s.name+"\x00"+it.output+"\x00"+it.name] = it
			so.Items = append(so.Items, io)
		}
		o.Stages = append(o.Stages, so)
		for _, g := range r.groups[s] {
			if g.file != "" {
				o.Raw = append(o.Raw, RawFile{Path: g.file, SHA256: rawHash(g), Size: g.fileSize, Stage: s.name, Sample: g.fields.sample()})
			}
		}
	}
	slices.SortFunc(o.Raw, func(a, b RawFile) int { return cmp.Or(naturalCompare(a.Path, b.Path), cmp.Compare(a.Stage, b.Stage)) })
	return live
}

func rawHash(g *group) string {
	if g.fileHash == ([32]byte{}) {
		return ""
	}
	return store.ContentHash(g.fileHash).String()
}

// sources lists what an item was made from: the lead items of its group and their partners. Within a group any output may depend on
// any of them.
func (r *runner) sources(it *item) []Source {
	g := it.group
	var out []Source
	add := func(port string, x *item) {
		out = append(out, Source{Port: port, Stage: x.stage.name, Output: x.output, Item: x.name})
	}
	for j, l := range g.leads {
		add(g.stage.lead.decl.Name, l)
		for i, b := range g.stage.ports {
			if i < len(g.partners) && g.partners[i] != nil {
				for _, p := range g.partners[i][j] {
					add(b.decl.Name, p)
				}
			}
		}
	}
	slices.SortStableFunc(out, func(a, b Source) int {
		return cmp.Or(cmp.Compare(a.Port, b.Port), cmp.Compare(a.Stage, b.Stage), naturalCompare(a.Item, b.Item))
	})
	return slices.Compact(out)
}
