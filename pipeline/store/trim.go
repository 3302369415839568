package store

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"slices"
)

// Trim keeps the entries of the given recipes and removes the rest: other lines
// of the index, objects that no kept line names, and temporary files of processes
// that were killed. Files whose names are not the store's own are left alone.
// The caller holds [Lock], and no other method runs meanwhile. Removed counts
// files, freed their bytes. When it fails half-way, what it kept is whole.
func (s *Store) Trim(keepKeys map[RecipeKey]bool) (removed int, freed int64, err error) {
	if s.readOnly {
		return 0, 0, errReadOnly(s.dir)
	}
	needed, err := s.rewrite(keepKeys)
	if err != nil {
		return 0, 0, writeFault(s.dir, err)
	}
	t := trimmer{fs: s.fs}
	t.folder(s.dir, func(name string) bool {
		of, temp := isTemp(name)
		return temp && slices.Contains([]string{versionName, readmeName, tagName, indexName}, of)
	})
	objects := filepath.Join(s.dir, objectsName)
	t.folder(objects, func(name string) bool {
		of, temp := isTemp(name)
		return temp && of == probeName
	})
	for i := range 256 {
		prefix := fmt.Sprintf("%02x", i)
		t.folder(filepath.Join(objects, prefix), func(name string) bool {
			of, temp := isTemp(name)
			h, err := ParseContentHash(of)
			if err != nil || of[:2] != prefix {
				return false
			}
			return temp || !needed[h]
		})
	}
	if t.err != nil {
		t.err = fmt.Errorf("store: cannot trim %s: %w; make the folder writable and trim again", s.dir, t.err)
	}
	return t.removed, t.freed, t.err
}

// rewrite puts the last good line of each kept recipe into a new index, in the
// order in which they stood, and gives the objects that these lines name.
func (s *Store) rewrite(keepKeys map[RecipeKey]bool) (map[ContentHash]bool, error) {
	type kept struct {
		key  RecipeKey
		at   int32
		text string
	}
	var lines []kept
	needed := map[ContentHash]bool{}
	for k, keep := range keepKeys {
		if !keep {
			continue
		}
		e, text, ok := s.lookup(k)
		if !ok {
			continue
		}
		lines = append(lines, kept{k, s.index.last[k], text})
		for _, o := range e.Objects {
			needed[o.Hash] = true
		}
	}
	slices.SortFunc(lines, func(a, b kept) int { return int(a.at - b.at) })
	var out bytes.Buffer
	for _, l := range lines {
		out.WriteString(l.text)
		out.WriteByte('\n')
	}
	if err := s.writeWhole(indexName, out.Bytes(), false); err != nil {
		return nil, err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.index.torn = false
	s.index.last = make(map[RecipeKey]int32, len(lines))
	s.index.lines = make([]indexLine, 0, len(lines))
	for _, l := range lines {
		s.index.add(l.key, l.text)
	}
	return needed, nil
}

type trimmer struct {
	fs      FS
	removed int
	freed   int64
	err     error // the first; the rest is trimmed all the same
}

// folder removes the plain files of a folder for which doomed is true.
func (t *trimmer) folder(dir string, doomed func(name string) bool) {
	entries, err := t.fs.ReadDir(dir)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		t.fail(err)
	}
	for _, entry := range entries {
		if !entry.Type().IsRegular() || !doomed(entry.Name()) {
			continue
		}
		info, err := entry.Info()
		if err != nil {
			t.fail(err)
			continue
		}
		if err := t.fs.Remove(filepath.Join(dir, entry.Name())); err != nil {
			t.fail(err)
			continue
		}
		t.removed++
		t.freed += info.Size()
	}
}

func (t *trimmer) fail(err error) {
	if t.err == nil && !errors.Is(err, fs.ErrNotExist) {
		t.err = err
	}
}
