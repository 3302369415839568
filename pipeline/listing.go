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

	"fascicle/pipeline/store"
)

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
	// members lists the files in an archive; archives are those that were looked into, with what they hold
	members  func(archive string) ([]string, error)
	archives map[string][]string
}

// newListing lists a study's files. Members of archives are read from these: a run remembers them and sets members.
func newListing(root string) *listing {
	return &listing{root: root, dirs: map[string][]string{}, seen: map[string]bool{}, folders: map[string]bool{}, closed: map[string]string{}, odd: map[string]string{},
		archives: map[string][]string{}, members: func(archive string) ([]string, error) { return store.ListMembers(root, archive, store.OS{}) }}
}

// within lists the files in an archive.
func (l *listing) within(archive string) ([]string, error) {
	if m, ok := l.archives[archive]; ok {
		return m, nil
	}
	l.seen[archive] = true
	m, err := l.members(archive)
	if err != nil {
		return nil, err
	}
	l.archives[archive] = m
	return m, nil
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
	for _, a := range slices.Sorted(maps.Keys(l.archives)) {
		var names []string
		for _, m := range l.archives[a] {
			if f := a + store.MemberMark + m; !l.seen[f] && !hidden(m) {
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

// hidden tells whether a file in an archive is one that systems put there unasked.
func hidden(member string) bool {
	return strings.HasPrefix(member, "__MACOSX/") || strings.HasPrefix(path.Base(member), ".")
}

// knownRaw gives the hash and size of a group's file when they are remembered.
func (r *runner) knownRaw(g *group) (sum [32]byte, size int64, ok bool) {
	if g.archive == "" {
		return r.hashes.Known(r.p.Dir, g.file)
	}
	return r.hashes.KnownMember(g.archive, g.member())
}

// readRaw reads a group's file.
func (r *runner) readRaw(g *group) (data []byte, sum [32]byte, err error) {
	if g.archive == "" {
		return r.hashes.Read(r.p.Dir, g.file)
	}
	return r.hashes.ReadMember(r.p.Dir, g.archive, g.member())
}

// member is the name of the group's file in its archive.
func (g *group) member() string { return strings.TrimPrefix(g.file, g.archive+store.MemberMark) }
