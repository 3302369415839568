package store

import (
	"bytes"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"unsafe"
)

// index is the lines of the index file in memory. Lines are found by their key at
// its fixed place; everything else is looked at when a line is looked up.
type index struct {
	last  map[RecipeKey]int32 // the last line of a recipe that is not known to be bad
	lines []indexLine
	torn  bool // the file ends within a line
	bad   atomic.Int64
}

type indexLine struct {
	text     string
	previous int32 // an earlier line of the same recipe; -1: none
}

func (x *index) add(k RecipeKey, text string) {
	previous, ok := x.last[k]
	if !ok {
		previous = -1
	}
	x.last[k] = int32(len(x.lines))
	x.lines = append(x.lines, indexLine{text, previous})
}

// load reads the index file. A missing one is an empty one.
func (s *Store) load() error {
	name := filepath.Join(s.dir, indexName)
	b, err := readAll(s.fs, name, 0)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return readFault(s.dir, name, err)
	}
	s.index.read(b)
	return nil
}

// read finds the lines in the bytes of an index file, which it keeps.
func (x *index) read(b []byte) {
	n := bytes.Count(b, []byte{'\n'}) + 1
	x.last = make(map[RecipeKey]int32, n)
	x.lines = make([]indexLine, 0, n)
	text := unsafe.String(unsafe.SliceData(b), len(b))
	for text != "" {
		line, rest, whole := strings.Cut(text, "\n")
		text = rest
		x.torn = !whole
		if line == "" {
			continue // from an append after what looked like a torn line
		}
		if k, ok := lineKey(line); ok {
			x.add(k, line)
		} else {
			x.bad.Add(1)
		}
	}
}

// Lookup gives what a recipe gave, without touching an object. Lines that are
// damaged are ignored; an earlier good line of the same recipe is used.
func (s *Store) Lookup(k RecipeKey) (*Entry, bool) {
	e, _, ok := s.lookup(k)
	return e, ok
}

func (s *Store) lookup(k RecipeKey) (e *Entry, text string, ok bool) {
	for {
		s.mu.RLock()
		i, ok := s.index.last[k]
		if ok {
			text = s.index.lines[i].text
		}
		s.mu.RUnlock()
		if !ok {
			return nil, "", false
		}
		if e, err := parseLine(text); err == nil {
			return e, text, true
		}
		s.mu.Lock()
		if s.index.last[k] == i {
			if previous := s.index.lines[i].previous; previous >= 0 {
				s.index.last[k] = previous
			} else {
				delete(s.index.last, k)
			}
			s.index.bad.Add(1)
		}
		s.mu.Unlock()
	}
}

// Forget makes Lookup not find the recipe any more in this process, until it is
// appended again: one of its objects was damaged or missing.
func (s *Store) Forget(k RecipeKey) {
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.index.last, k)
}

// Append adds an entry, whose objects have been put, to the index. It is a single
// write at the end of the file, so that a killed process leaves at most one torn
// line, which costs its own recipe and no other.
func (s *Store) Append(e *Entry) error {
	if s.readOnly {
		return errReadOnly(s.dir)
	}
	if err := e.check(); err != nil {
		return err
	}
	line := appendLine(make([]byte, 1, 512), e)
	line[0] = '\n'
	line = append(line, '\n')

	s.mu.Lock()
	defer s.mu.Unlock()
	out := line
	if !s.index.torn {
		out = line[1:]
	}
	if err := s.appendToFile(out); err != nil {
		s.index.torn = true // perhaps; a newline too many does no harm
		return writeFault(s.dir, err)
	}
	s.index.torn = false
	s.index.add(e.Key, string(line[1:len(line)-1]))
	return nil
}

func (s *Store) appendToFile(b []byte) error {
	name := filepath.Join(s.dir, indexName)
	f, err := s.fs.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_APPEND, 0o666)
	if err != nil {
		return err
	}
	n, err := f.Write(b)
	if err == nil && n < len(b) {
		err = io.ErrShortWrite
	}
	if closed := f.Close(); err == nil {
		err = closed
	}
	return err
}
