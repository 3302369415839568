package pipeline

import (
	"slices"
)

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
