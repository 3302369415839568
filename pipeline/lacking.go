package pipeline

import (
	"fmt"
	"slices"
)

// lacking says which samples of the sheet have no file in the imports: that is what is forgotten most over months. Stages taken together count
// as one. have gives the samples of each import; one whose items belong to no sample is left out, and, unless all is asked for, one that is
// for a part of the samples only.
func (p *Project) lacking(have map[*stage]map[string]bool, all bool) []string {
	part := map[*stage]bool{} // of stages taken together
	for _, s := range p.stages {
		if len(s.members) == 0 || slices.ContainsFunc(s.members, func(m *stage) bool { return m.kind == nil || !m.kind.Reads }) {
			continue
		}
		union := map[string]bool{}
		for _, m := range s.members {
			part[m] = true
			for sample := range have[m] {
				union[sample] = true
			}
		}
		have[s] = union
	}
	var out []string
	for _, s := range p.stages {
		if len(have[s]) == 0 || part[s] {
			continue
		}
		var none []string
		for _, row := range p.order {
			if !have[s][row.sample] {
				none = append(none, row.sample)
			}
		}
		switch {
		case len(none) == 0:
		case 3*len(none) <= len(p.order):
			out = append(out, fmt.Sprintf("stage %s has no file of %s", s.name, shortList(none, 6)))
		case all:
			out = append(out, fmt.Sprintf("stage %s has files of %d of the %d samples", s.name, len(have[s]), len(p.order)))
		}
	}
	return out
}

// samplesRead gives the samples whose items the imports of a run found, whatever became of them.
func (r *runner) samplesRead() map[*stage]map[string]bool {
	have := map[*stage]map[string]bool{}
	for _, s := range r.p.stages {
		if s.kind == nil || !s.kind.Reads {
			continue
		}
		have[s] = map[string]bool{}
		for _, g := range r.groups[s] {
			if sample := g.fields.sample(); sample != "" {
				have[s][sample] = true
			}
		}
		for _, it := range r.items[s] {
			if sample := it.fields.sample(); sample != "" {
				have[s][sample] = true
			}
		}
	}
	return have
}
