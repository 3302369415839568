package pipeline

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"fascicle/catalog/fault"
	"fascicle/pipeline/formula"
	"fascicle/pipeline/study"
)

// stage is a node of the graph. Read-only once the project is loaded.
type stage struct {
	name   string
	decl   *study.Stage // nil for `samples`
	kind   *Kind        // nil for `samples` and for stages that take others together
	sheet  bool
	broken bool // has a fault of its own; what follows from it is not reported again

	members  []*stage          // of a stage that takes others together
	together map[source]string // … and under which name it passes on which of their outputs
	outputs  []string          // of a stage without a kind
	ports    []*boundPort
	lead     *boundPort
	by       grouping
	serves   []int // field numbers
	trusts   []*stage
	settings any
	fields   map[string]bool // fields that its items may have
	brings   []Brought
	captured []string            // fields that the names of its files say, in order
	shapes   map[string]Arriving // by output
	inputs   []*stage
	rank     int // place in the order of running
}

type grouping struct {
	mode   string // item, sample, all, fields
	fields []int
	names  []string
}

// boundPort is a port of a stage's kind with the references that feed it.
type boundPort struct {
	decl  *Port
	at    study.Text
	refs  []*reference
	isFed bool
}

// reference is one entry of a port: stages to take items from, a condition on them, and how partners are paired.
type reference struct {
	decl    *study.Ref
	sources []source
	where   *formula.Formula
	pair    Pairing
	partner []int // field numbers on the partner's side …
	lead    []int // … and on the lead's
	nearest []nearest
	serves  bool // pairing fields come from the partner's stage
}

type source struct {
	stage  *stage
	output string
}

// fields are those that the source's items may have. What is made for a group of samples belongs to none of them.
func (src source) fields() map[string]bool {
	s := src.stage
	if s.kind == nil || s.by.mode != "all" && s.by.mode != "fields" || !s.fields["sample"] || slices.Contains(s.by.names, "sample") {
		return s.fields
	}
	i := slices.IndexFunc(s.kind.Outputs, func(o Output) bool { return o.Name == src.output })
	if i < 0 || s.kind.Outputs[i].Per != PerGroup {
		return s.fields
	}
	have := maps.Clone(s.fields)
	delete(have, "sample")
	return have
}

type nearest struct {
	field     int
	direction string
}

func (s *stage) settingPos(name string) study.Pos {
	if s.decl.Set != nil {
		if n := s.decl.Set.Get(name); n != nil {
			return n.Pos
		}
		return s.decl.Set.Pos
	}
	return s.decl.Kind.Pos
}

func (p *Project) stageNames() []string {
	var names []string
	for _, s := range p.stages {
		names = append(names, s.name)
	}
	return names
}

// findStage resolves a stage's name, or reports it.
func (l *loader) findStage(t study.Text) *stage {
	if s, ok := l.byName[t.Value]; ok {
		return s
	}
	found, remedy := fault.Unknown("stage", t.Value, l.stageNames())
	if remedy == "" {
		remedy = "name an entry of `graph`"
	}
	l.fail(t.Pos, found, "a stage of this study", remedy)
	return nil
}

// connect resolves members, ports and references by name.
func (l *loader) connect() {
	for _, s := range l.stages {
		if s.decl == nil {
			continue
		}
		for _, t := range s.decl.Trusts {
			if c := l.findStage(t); c != nil {
				s.trusts = append(s.trusts, c)
				s.addInput(c)
				if c.kind != nil && !c.kind.Checks {
					l.fail(t.Pos, fmt.Sprintf("`trusts` names the stage %s, whose kind %s checks nothing", c.name, c.kind.Name), "a stage whose kind has a tolerance", "leave it out, or name the check")
				}
			}
		}
		if len(s.decl.Items) > 0 {
			for _, t := range s.decl.Items {
				if m := l.findStage(t); m != nil {
					s.members = append(s.members, m)
					s.addInput(m)
				} else {
					s.broken = true
				}
			}
			continue
		}
		if s.kind == nil {
			continue
		}
		l.connectPorts(s)
	}
}

func (s *stage) addInput(in *stage) {
	if !slices.Contains(s.inputs, in) {
		s.inputs = append(s.inputs, in)
	}
}

func (l *loader) connectPorts(s *stage) {
	var names []string
	for i := range s.kind.Ports {
		s.ports = append(s.ports, &boundPort{decl: &s.kind.Ports[i]})
		names = append(names, s.kind.Ports[i].Name)
	}
	misnamed := false
	for _, from := range s.decl.From {
		at := slices.Index(names, from.Name.Value)
		if at < 0 {
			found, remedy := fault.Unknown("port", from.Name.Value, names)
			expected := "a port of " + s.kind.Name + ": " + strings.Join(names, ", ")
			if len(names) == 0 {
				expected = "no `from`: " + s.kind.Name + " has no ports, it reads files"
			}
			l.fail(from.Name.Pos, found, expected, remedy)
			s.broken, misnamed = true, true
			continue
		}
		b := s.ports[at]
		b.at, b.isFed = from.Name, true
		for i := range from.Refs {
			if r := l.reference(s, b, &from.Refs[i]); r != nil {
				b.refs = append(b.refs, r)
			} else {
				s.broken = true
			}
		}
		if s.lead == nil && b.decl.Lead {
			s.lead = b
		}
	}
	// of several leading ports the first one fed leads, in the order of the declaration
	s.lead = nil
	for _, b := range s.ports {
		if b.isFed && b.decl.Lead && s.lead == nil {
			s.lead = b
		}
	}
	var leads []string
	for _, b := range s.ports {
		if b.decl.Lead {
			leads = append(leads, b.decl.Name)
		} else if !b.isFed && !b.decl.Optional && !misnamed {
			l.fail(s.decl.Kind.Pos, fmt.Sprintf("nothing feeds port `%s` of stage %s", b.decl.Name, s.name), b.decl.Doc, fmt.Sprintf("add `%s: STAGE` under `from`", b.decl.Name))
			s.broken = true
		}
	}
	if s.lead == nil && len(leads) > 0 && !s.kind.Reads && !misnamed {
		l.fail(s.decl.Kind.Pos, fmt.Sprintf("nothing feeds port `%s` of stage %s", strings.Join(leads, "` or `"), s.name), "the items that lead the stage", fmt.Sprintf("add `%s: STAGE` under `from`", leads[0]))
		s.broken = true
	}
}

// reference resolves the stages of a reference; conditions and pairing follow when the fields of all stages are known.
func (l *loader) reference(s *stage, b *boundPort, decl *study.Ref) *reference {
	r := &reference{decl: decl}
	for _, t := range decl.Stages {
		src := l.findStage(t)
		if src == nil {
			return nil
		}
		if src.broken {
			s.broken = true
		}
		r.sources = append(r.sources, source{stage: src})
		s.addInput(src)
	}
	return r
}

// sortStages puts the stages in an order in which each comes after what feeds it, keeping the study's own order where it can. It
// reports a ring with its members and then says no.
func (l *loader) sortStages() bool {
	const (
		fresh = iota
		open
		done
	)
	state := map[*stage]int{}
	var order, path []*stage
	ok := true
	var visit func(s *stage)
	visit = func(s *stage) {
		state[s] = open
		path = append(path, s)
		for _, in := range s.inputs {
			switch state[in] {
			case fresh:
				visit(in)
			case open:
				ok = false
				ring := path[slices.Index(path, in):]
				var names []string
				for _, m := range ring {
					names = append(names, m.name)
				}
				first := slices.Index(names, slices.Min(names))
				names = append(append(append([]string{}, names[first:]...), names[:first]...), names[first])
				slices.Reverse(names)
				l.fail(in.decl.Name.Pos, "stages that feed each other in a ring: "+strings.Join(names, " → "), "a graph without rings", "take out one of the references")
			}
		}
		path = path[:len(path)-1]
		state[s] = done
		order = append(order, s)
	}
	for _, s := range l.stages {
		if state[s] == fresh {
			visit(s)
		}
	}
	l.stages = order
	for i, s := range order {
		s.rank = i
	}
	return ok
}
