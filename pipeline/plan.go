package pipeline

import (
	"fmt"
	"strings"
)

// PlannedStage says what a run would do at a stage, as far as that is known before it.
type PlannedStage struct {
	Name    string   `json:"stage"`
	Kind    string   `json:"kind,omitempty"`
	Items   []string `json:"items"`             // groups that are known
	Unknown string   `json:"unknown,omitempty"` // "unknown until STAGE": its groups form when that stage has ended
}

// Plan lists the stages in running order with the groups that names of files and rows of the sheet alone decide. A stage that is fed by
// an import whose curves bear their names inside the files, or that groups by fields which files say, is unknown until that stage
// has ended.
func (p *Project) Plan() []PlannedStage {
	var out []PlannedStage
	known := map[*stage][]string{}
	until := map[*stage]string{}
	l := newListing(p.Dir)
	for _, s := range p.stages {
		ps := PlannedStage{Name: s.name}
		switch {
		case s.sheet:
			for _, row := range p.order {
				known[s] = append(known[s], "sample="+row.sample)
			}
		case len(s.members) > 0:
			for _, m := range s.members {
				known[s] = append(known[s], known[m]...)
				if until[m] != "" {
					until[s] = until[m]
				}
			}
		case s.kind.Reads:
			ps.Kind = s.kind.Name
			groups, err := p.filesOf(s, l)
			if err != nil {
				until[s] = fmt.Sprintf("no file can be listed: %v", err)
			}
			for _, g := range groups {
				known[s] = append(known[s], g.name)
			}
			for _, b := range s.brings {
				if b.Where == "curves" {
					until[s] = "unknown until " + s.name
				}
			}
		default:
			ps.Kind = s.kind.Name
			p.planKind(s, known, until)
		}
		ps.Items, ps.Unknown = known[s], until[s]
		if ps.Items == nil {
			ps.Items = []string{}
		}
		out = append(out, ps)
	}
	return out
}

func (p *Project) planKind(s *stage, known map[*stage][]string, until map[*stage]string) {
	if s.by.mode == "all" {
		known[s] = []string{"all"}
		return
	}
	for _, ref := range s.lead.refs {
		for _, src := range ref.sources {
			if until[src.stage] != "" {
				until[s] = until[src.stage]
				return
			}
			if ref.where != nil || s.by.mode != "item" {
				// conditions and groups need fields, which only items have
				if until[s] == "" {
					until[s] = "unknown until " + src.stage.name
				}
				continue
			}
			known[s] = append(known[s], known[src.stage]...)
		}
	}
	if until[s] != "" {
		known[s] = nil
		return
	}
	if strings.HasPrefix(s.by.mode, "field") {
		known[s] = nil
	}
}
