package pipeline

import (
	"fmt"
	"maps"
	"reflect"
	"slices"
)

// carrier holds a group's inputs together with everything that moves them: the parts in their tables, the uncertain numbers in
// settings, and constants and cells that expressions see. It gives the call with all inputs as they are, and the calls in which one
// source is shifted.
type carrier struct {
	p         *Project
	g         *group
	leads     []*loaded
	partners  map[string][][]*loaded
	file      *File
	gathering map[string]bool    // stages that feed gathering ports
	sources   []string           // sorted
	nu        map[string]float64 // finite degrees of freedom of sources
	reaches   map[string]*reach  // of settings that are expressions, by path
	written   map[string]bool    // sources that stand in settings as numbers
}

// collect lists the sources that reach the group.
func (c *carrier) collect() {
	seen := map[string]bool{}
	for _, l := range c.leads {
		for i := range l.parts {
			seen[l.parts[i].source] = true
		}
	}
	for _, all := range c.partners {
		for _, ls := range all {
			for _, l := range ls {
				for i := range l.parts {
					seen[l.parts[i].source] = true
				}
			}
		}
	}
	if s := c.g.stage.settings; s != nil {
		quantity := func(q *Quantity) {
			if q.U > 0 {
				seen[q.Source] = true
				if c.written == nil {
					c.written = map[string]bool{}
				}
				c.written[q.Source] = true
				if q.Nu > 0 {
					c.nu[q.Source] = q.Nu
				}
			}
		}
		expression := func(r *reach) {
			if r == nil || r.empty() {
				return
			}
			for _, src := range r.sources(c.p, c.rows()...) {
				seen[src] = true
			}
		}
		eachSetting(reflectElem(s), func(x any) {
			switch x := x.(type) {
			case *Quantity:
				quantity(x)
			case *Field:
				if x.fixed != nil {
					quantity(x.fixed)
				} else if r := c.reaches[x.Path]; r != nil && !x.unit.key && !x.unit.text {
					expression(r)
				}
			case *ColumnName:
				expression(c.reaches[x.Path])
			case *Expr:
				expression(c.reaches[x.Path])
			}
		})
	}
	c.sources = slices.Sorted(maps.Keys(seen))
	for _, src := range c.sources {
		if s := c.p.fieldShift(src, 1); s != nil {
			if nu := c.p.sourceNu(s); nu > 0 {
				c.nu[src] = nu
			}
		}
	}
}

// rows lists the rows of the sheet that the group's items belong to.
func (c *carrier) rows() []*sampleRow {
	var out []*sampleRow
	add := func(f *Fields) {
		if f.row != nil && !slices.Contains(out, f.row) {
			out = append(out, f.row)
		}
	}
	for _, l := range c.leads {
		add(&l.it.fields)
	}
	for _, b := range c.g.stage.ports {
		for _, all := range c.partners[b.decl.Name] {
			for _, l := range all {
				add(&l.it.fields)
			}
		}
	}
	if c.file != nil {
		add(&c.g.fields)
	}
	return out
}

// call gives the group's call with one source moved by sign standard uncertainties ("": none).
func (c *carrier) call(src string, sign float64) (*Call, error) {
	s := c.g.stage
	call := &Call{Settings: s.settings, Missing: c.g.missing, File: c.file, kind: s.kind, project: c.p, stages: c.gathering,
		numbers: c.g.numbers, partners: map[string][][]*Input{}, carrier: c}
	if s.lead != nil {
		call.LeadPort = s.lead.decl.Name
	}
	if src != "" {
		call.shift = c.p.fieldShift(src, sign)
		if c.written[src] {
			call.Settings = shiftSettings(s.settings, src, sign)
		}
	}
	input := func(l *loaded) (*Input, error) {
		in := &Input{Stage: l.stage, Table: l.table, name: l.it.name, names: s.kind.Names, fields: &l.it.fields, from: l}
		if src == "" {
			return in, nil
		}
		var err error
		in.Table, err = l.shifted(src, sign)
		return in, err
	}
	for _, l := range c.leads {
		in, err := input(l)
		if err != nil {
			return nil, err
		}
		call.Leads = append(call.Leads, in)
	}
	for port, all := range c.partners {
		ins := make([][]*Input, len(all))
		for j, ls := range all {
			for _, l := range ls {
				in, err := input(l)
				if err != nil {
					return nil, err
				}
				ins[j] = append(ins[j], in)
			}
		}
		call.partners[port] = ins
	}
	if src != "" {
		return call, c.renumber(call, src)
	}
	return call, nil
}

// renumber works out anew those Field settings that a source moves.
func (c *carrier) renumber(call *Call, src string) error {
	if len(c.g.numbers) == 0 {
		return nil
	}
	call.numbers = maps.Clone(c.g.numbers)
	var failed error
	eachSetting(reflectElem(call.Settings), func(x any) {
		f, ok := x.(*Field)
		if !ok || !f.Set || f.Word != "" || failed != nil {
			return
		}
		moved := f.fixed != nil && f.fixed.Source == src
		if r := c.reaches[f.Path]; f.fixed == nil && call.shift != nil && r != nil {
			moved = r.sees(call.shift)
		}
		if !moved {
			return
		}
		one := func(fields *Fields) Evaluated {
			n, err := c.p.evaluated(f, fields, call.shift, nil)
			if err == nil && !n.Known {
				if m, _ := c.p.evaluated(f, fields, nil, nil); m.Known {
					err = fmt.Errorf("setting `%s` has no value when it is shifted", f.Path)
				}
			}
			if err != nil {
				failed = err
			}
			return n
		}
		if c.file != nil {
			call.numbers[f.Path] = []Evaluated{one(&c.g.fields)}
			return
		}
		all := make([]Evaluated, len(call.Leads))
		for j, in := range call.Leads {
			all[j] = one(in.fields)
			for _, port := range f.also {
				for k, q := range call.Partners(port, j) {
					call.numbers[alsoPath(f.Path, port, j, k)] = []Evaluated{one(q.fields)}
				}
			}
		}
		call.numbers[f.Path] = all
	})
	return failed
}

func alsoPath(path, port string, lead, k int) string {
	return fmt.Sprintf("%s@%s.%d.%d", path, port, lead, k)
}

// shiftSettings gives a copy of a settings struct in which every number that is the source is moved.
func shiftSettings(settings any, src string, sign float64) any {
	moves := func(q *Quantity) bool { return q != nil && q.U > 0 && q.Source == src }
	out := deepCopy(reflect.ValueOf(settings).Elem())
	eachSetting(out, func(x any) {
		switch x := x.(type) {
		case *Quantity:
			if moves(x) {
				x.Value += sign * x.U
			}
		case *Field:
			if moves(x.fixed) {
				q := *x.fixed
				q.Value += sign * q.U
				x.fixed = &q
			}
		}
	})
	return out.Addr().Interface()
}

// deepCopy copies a struct with the slices in it, so that the copy can be changed.
func deepCopy(v reflect.Value) reflect.Value {
	out := reflect.New(v.Type()).Elem()
	out.Set(v)
	deepen(out)
	return out
}

func deepen(v reflect.Value) {
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() {
				deepen(v.Field(i))
			}
		}
	case reflect.Slice:
		if v.IsNil() {
			return
		}
		c := reflect.MakeSlice(v.Type(), v.Len(), v.Len())
		reflect.Copy(c, v)
		v.Set(c)
		for i := range v.Len() {
			deepen(v.Index(i))
		}
	}
}
