package pipeline

import (
	"fmt"
	"path"
	"slices"
	"strings"

	"fascicle/catalog"
	"fascicle/pipeline/formula"
	"fascicle/pipeline/store"
)

// FileMatch says which file an import takes, and what its name says.
type FileMatch struct {
	Stage, Path, Item, Sample string
	Problem                   string // why it cannot be used, "" when it can
}

// filesOf finds the files of an import and what their names capture, as groups of one file each, sorted by item name.
func (p *Project) filesOf(s *stage, l *listing) ([]*group, error) {
	fset := s.settings.(FileSettings)
	pat, err := catalog.ParsePattern(fset.FilesPattern())
	if err != nil {
		return nil, err
	}
	files, err := l.under(pat.Dir())
	if err != nil && len(files) == 0 {
		return nil, fmt.Errorf("folder %s of the pattern %q: %s", pat.Dir(), pat.String(), reason(err))
	}
	if path.Ext(pat.String()) != "" {
		for f := range l.folders {
			if len(pat.Match(f)) > 0 {
				l.odd[f] = s.name
			}
		}
	}
	captures := pat.Captures()
	var groups []*group
	add := func(file, archive string) {
		if splits := pat.Match(file); len(splits) > 0 {
			l.seen[file] = true
			g := p.fileGroup(s, file, captures, splits)
			g.archive = archive
			groups = append(groups, g)
		}
	}
	for _, f := range files {
		add(f, "")
	}
	if archives, _, ok := pat.Archive(); ok {
		in, err := catalog.ParsePattern(archives)
		if err != nil {
			return nil, err
		}
		for _, f := range files {
			if len(in.Match(f)) == 0 {
				continue
			}
			members, err := l.within(f)
			if err != nil {
				g := &group{stage: s, name: f, file: f}
				g.block("%v", err)
				groups = append(groups, g)
			}
			for _, m := range members {
				add(f+store.MemberMark+m, f)
			}
		}
	}
	slices.SortStableFunc(groups, func(a, b *group) int {
		if c := naturalCompare(a.name, b.name); c != 0 {
			return c
		}
		return strings.Compare(a.file, b.file)
	})
	for i := 1; i < len(groups); i++ {
		a, b := groups[i-1], groups[i]
		if a.name == b.name {
			for _, g := range []*group{a, b} {
				if g.state == "" {
					g.block("two files give the item %s: %s and %s; capture what tells them apart, or take one away", a.name, a.file, b.file)
				}
			}
		}
	}
	for i, g := range groups {
		g.index = i
	}
	return groups, nil
}

// fileGroup makes the group of one file.
func (p *Project) fileGroup(s *stage, file string, captures []catalog.Capture, splits [][]string) *group {
	g := &group{stage: s, file: file}
	pick, ok := p.pickSplit(captures, splits)
	if !ok {
		g.block("the name %s can be split in more than one way by the pattern; put a sign between captures that they do not contain", file)
	}
	names := make([]string, len(captures))
	values := make([]string, len(captures))
	for i, c := range captures {
		names[i], values[i] = c.Name, pick[i]
		id, ok := p.fields.id(c.Name)
		if !ok {
			continue
		}
		v, err := p.fields.parse(id, pick[i], c.Unit)
		if err != nil {
			g.block("the name %s: %v for field `%s`", file, err, c.Name)
			continue
		}
		if id == p.sampleID {
			p.spellSample(&v)
			values[i] = v.Text
		}
		g.captures = append(g.captures, ownField{id, v})
	}
	for _, b := range s.brings {
		if b.Where != "fields" {
			continue
		}
		if id, ok := p.fields.id(b.Name); ok {
			v, err := p.fields.parse(id, b.Value, b.Unit)
			if err != nil {
				g.block("the field `%s` of stage %s: %v", b.Name, s.name, err)
				continue
			}
			if id == p.sampleID {
				p.spellSample(&v)
			}
			g.captures = append(g.captures, ownField{id, v})
		}
	}
	g.name = itemName(names, values, 0)
	g.fields = Fields{own: slices.Clone(g.captures)}
	if why := p.joinSample(&g.fields); why != "" {
		g.block("%s: %s", file, why)
	}
	return g
}

// pickSplit chooses among the ways to split a name the one whose sample is in the sheet. ok is false when that leaves a doubt.
func (p *Project) pickSplit(captures []catalog.Capture, splits [][]string) (pick []string, ok bool) {
	if len(splits) == 1 {
		return splits[0], true
	}
	at := slices.IndexFunc(captures, func(c catalog.Capture) bool { return c.Name == "sample" })
	if at < 0 {
		return splits[0], false
	}
	known := 0
	var near []string // it says which samples may be meant
	for _, sp := range splits {
		sample, others := p.findSample(sp[at])
		switch {
		case sample != "":
			pick = sp
			known++
		case len(others) > 0 && near == nil:
			near = sp
		}
	}
	switch {
	case known > 0:
		return pick, known == 1
	case near != nil:
		return near, true
	}
	return splits[0], true
}

// Files lists the raw files of all imports, and what of the study's raw folder no import takes.
func (p *Project) Files() (matches []FileMatch, remarks []string) {
	remarks = slices.Clone(p.remarks)
	l := newListing(p.Dir)
	have := map[*stage]map[string]bool{}
	for _, s := range p.stages {
		if s.kind == nil || !s.kind.Reads {
			continue
		}
		have[s] = map[string]bool{}
		groups, err := p.filesOf(s, l)
		if err != nil {
			remarks = append(remarks, fmt.Sprintf("stage %s: %v", s.name, err))
			continue
		}
		if len(groups) == 0 {
			remarks = append(remarks, fmt.Sprintf("stage %s finds no file: nothing matches %s", s.name, s.settings.(FileSettings).FilesPattern()))
		}
		for _, g := range groups {
			m := FileMatch{Stage: s.name, Path: g.file, Item: g.name, Sample: g.fields.sample()}
			if g.state == Blocked {
				m.Problem = g.message
			}
			if m.Sample != "" {
				have[s][m.Sample] = true
			}
			matches = append(matches, m)
		}
	}
	return matches, slices.Concat(remarks, p.lacking(have, true), l.unclaimed())
}

// inFile turns the fields that a file gave one of its items into typed fields.
func (p *Project) inFile(s *stage, name, text string) (ownField, error) {
	id, ok := p.fields.id(name)
	at := slices.IndexFunc(s.brings, func(b Brought) bool { return b.Name == name })
	if !ok || at < 0 {
		return ownField{}, fmt.Errorf("a field %q that the stage does not announce", name)
	}
	v, err := p.fields.parse(id, text, s.brings[at].Unit)
	if err == nil && !v.Null && p.fields.types[id].Sort == formula.Date {
		// a date that is none would be nearest to anything
		v.Text, err = catalog.ParseDate(strings.TrimSpace(v.Text))
	}
	if id == p.sampleID {
		p.spellSample(&v)
	}
	return ownField{id, v}, err
}
