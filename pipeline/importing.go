package pipeline

import (
	"fmt"
	"io/fs"
	"maps"
	"path"
	"path/filepath"
	"slices"
	"sort"
	"strings"

	"fascicle/catalog"
	"fascicle/pipeline/formula"
)

// FileMatch says which file an import takes, and what its name says.
type FileMatch struct {
	Stage, Path, Item, Sample string
	Problem                   string // why it cannot be used, "" when it can
}

// listing is the tree of files below the study, walked once for all imports.
type listing struct {
	root  string
	dirs  map[string][]string // folder → files below it, sorted
	seen  map[string]bool     // files that some import takes
	walks []string
	// folders below the walks; closed are those that could not be read, with the reason
	folders map[string]bool
	closed  map[string]string
	odd     map[string]string // folders whose name is that of a file which a stage would read, with the stage
}

// under lists the files below a folder, slash-separated and relative to the study. Links to files are followed, links to folders
// are not: a ring of links cannot hold up the walk.
func (l *listing) under(dir string) ([]string, error) {
	if dir == "" {
		dir = "."
	}
	if files, ok := l.dirs[dir]; ok {
		return files, nil
	}
	for _, known := range l.walks {
		if known == "." || strings.HasPrefix(dir, known+"/") {
			prefix := dir + "/"
			var out []string
			for _, f := range l.dirs[known] {
				if strings.HasPrefix(f, prefix) {
					out = append(out, f)
				}
			}
			l.dirs[dir] = out
			return out, nil
		}
	}
	var files []string
	base := filepath.Join(l.root, filepath.FromSlash(dir))
	err := filepath.WalkDir(base, func(name string, d fs.DirEntry, err error) error {
		if err != nil && name == base {
			return err
		}
		rel, relErr := filepath.Rel(l.root, name)
		if relErr != nil {
			return relErr
		}
		rel = filepath.ToSlash(rel)
		switch {
		case err != nil: // one folder that may not be read must not hide the others, nor be hidden
			l.closed[rel] = reason(err)
			return fs.SkipDir
		case !d.IsDir():
			files = append(files, rel)
		case name != base && (strings.HasPrefix(d.Name(), ".") || dir == "." && (d.Name() == "out" || d.Name() == "labels")):
			return fs.SkipDir
		case name != base:
			l.folders[rel] = true
		}
		return nil
	})
	sort.Strings(files)
	l.dirs[dir] = files
	l.walks = append(l.walks, dir)
	return files, err
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
	for _, f := range files {
		splits := pat.Match(f)
		if len(splits) == 0 {
			continue
		}
		l.seen[f] = true
		groups = append(groups, p.fileGroup(s, f, captures, splits))
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
	for _, s := range p.stages {
		if s.kind == nil || !s.kind.Reads {
			continue
		}
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
			matches = append(matches, m)
		}
	}
	return matches, append(remarks, l.unclaimed()...)
}

func newListing(root string) *listing {
	return &listing{root: root, dirs: map[string][]string{}, seen: map[string]bool{}, folders: map[string]bool{}, closed: map[string]string{}, odd: map[string]string{}}
}

// unclaimed lists files in the folders that imports look into and that none of them takes, and what else is odd there.
func (l *listing) unclaimed() []string {
	var out []string
	dirs := slices.Clone(l.walks)
	sort.Strings(dirs)
	told := map[string]bool{}
	for _, d := range dirs {
		var names []string
		for _, f := range l.dirs[d] {
			if !l.seen[f] && !told[f] && path.Dir(f) != "." {
				told[f] = true
				names = append(names, f)
			}
		}
		if len(names) > 0 {
			out = append(out, fmt.Sprintf("no stage reads %s", shortList(names, 8)))
		}
	}
	for _, f := range slices.Sorted(maps.Keys(l.odd)) {
		out = append(out, fmt.Sprintf("%s is a folder, where stage %s would read a file", f, l.odd[f]))
	}
	for _, f := range slices.Sorted(maps.Keys(l.closed)) {
		out = append(out, fmt.Sprintf("the folder %s cannot be read (%s), and nothing in it is taken", f, l.closed[f]))
	}
	return out
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
