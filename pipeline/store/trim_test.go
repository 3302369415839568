package store

import (
	"errors"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// stocked is a store with three recipes of one object each, "a", "b" and "c".
func stocked(t *testing.T) (dir string, disk *faultFS, s *Store, entries []*Entry) {
	t.Helper()
	dir = t.TempDir()
	disk = newFaultFS(dir)
	s = mustOpen(t, dir, disk)
	for i, data := range []string{"a", "b", "c"} {
		h := mustPut(t, s, data)
		e := &Entry{Key: key(byte(i)), Kind: "k", Objects: []Object{{Output: "o", Hash: h, Size: 1}}}
		mustAppend(t, s, e)
		entries = append(entries, e)
	}
	return dir, disk, s, entries
}

func TestTrim(t *testing.T) {
	dir, _, s, entries := stocked(t)
	orphan := mustPut(t, s, "nobody's object of 27 bytes")
	mustAppend(t, s, entry(1, "replaced by the next line"))
	mustAppend(t, s, entries[1])
	name := orphan.String()
	strays := []string{
		"objects/probe.tmp-17-1", "index.tmp-17-2", "VERSION.tmp-17-3",
		"objects/" + name[:2] + "/" + name + ".tmp-17-4",
		filepath.ToSlash(strings.TrimPrefix(s.objectPath(entries[0].Objects[0].Hash), dir+string(filepath.Separator))) + ".tmp-1-1",
	}
	foreign := []string{
		"notes.txt", "lock", "index.bak", "index.tmp-", "index.tmp-1", "index.tmp-1-x", "mine.tmp-1-2", "lock.tmp-1-2", "objects/notes.txt",
		"objects/" + name[:2] + "/notes.txt", "objects/" + name[:2] + "/" + name + ".bak", "objects/" + name[:2] + "/" + strings.ToUpper(name),
		"objects/zz/" + name, "objects/" + name, "objects/00/" + name, "objects/00/" + name + ".tmp-1-2",
		"objects/" + name[:2] + "/" + name[:63], "objects/" + name[:2] + "/" + name + "0",
		"deeper/objects/" + name[:2] + "/" + name,
	}
	for _, f := range append(slices.Clone(strays), foreign...) {
		writeFile(t, filepath.Join(dir, f), []byte("1234"))
	}
	removed, freed, err := s.Trim(map[RecipeKey]bool{key(1): true, key(2): true, key(0): false, key(99): true})
	if err != nil {
		t.Fatal(err)
	}
	// The object of the first recipe, the orphan, and the strays.
	if want := 2 + len(strays); removed != want {
		t.Errorf("%d files removed, want %d", removed, want)
	}
	if want := int64(1 + 27 + 4*len(strays)); freed != want {
		t.Errorf("%d bytes freed, want %d", freed, want)
	}
	want := append([]string{"CACHEDIR.TAG", "README", "VERSION", "index"}, foreign...)
	for _, e := range entries[1:] {
		h := e.Objects[0].Hash.String()
		want = append(want, "objects/"+h[:2]+"/"+h)
	}
	slices.Sort(want)
	got := files(t, dir)
	slices.Sort(got)
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("files (-want +got):\n%s", diff)
	}
	// In the order in which the last lines stood.
	index := string(appendLine(nil, entries[2])) + "\n" + string(appendLine(nil, entries[1])) + "\n"
	if diff := cmp.Diff(index, string(readFile(t, filepath.Join(dir, indexName)))); diff != "" {
		t.Errorf("index (-want +got):\n%s", diff)
	}
	for _, s := range []*Store{s, mustOpen(t, dir, OS{})} {
		for i, e := range entries {
			got, ok := s.Lookup(e.Key)
			if ok != (i > 0) {
				t.Errorf("entry %d: found %v", i, ok)
			}
			if ok && !cmp.Equal(got, e) {
				t.Errorf("entry %d: came back changed", i)
			}
		}
	}
	mustAppend(t, s, entries[0])
	if _, ok := mustOpen(t, dir, OS{}).Lookup(key(0)); !ok {
		t.Error("appended after Trim: not found")
	}
	if removed, freed, err := s.Trim(map[RecipeKey]bool{key(0): true, key(1): true, key(2): true}); removed != 0 || freed != 0 || err != nil {
		t.Errorf("a second time: %d files, %d bytes, %v", removed, freed, err)
	}
}

// TestTrimSharedObject: an object that two recipes gave stays while one is kept.
func TestTrimSharedObject(t *testing.T) {
	_, _, s, entries := stocked(t)
	twin := *entries[0]
	twin.Key = key(50)
	mustAppend(t, s, &twin)
	if _, _, err := s.Trim(map[RecipeKey]bool{twin.Key: true}); err != nil {
		t.Fatal(err)
	}
	if got, err := s.Get(twin.Objects[0].Hash, 1); err != nil || string(got) != "a" {
		t.Errorf("got %q and %v", got, err)
	}
}

// TestTrimDamagedLine: the earlier good line of a recipe is kept, and its objects.
func TestTrimDamagedLine(t *testing.T) {
	dir, _, s, entries := stocked(t)
	later := *entries[0]
	later.Objects = entries[1].Objects
	index := readFile(t, filepath.Join(dir, indexName))
	line := appendLine(nil, &later)
	line[100] ^= 1
	writeFile(t, filepath.Join(dir, indexName), append(append(index, line...), "\nrubbish"...))
	s = mustOpen(t, dir, OS{})
	if _, _, err := s.Trim(map[RecipeKey]bool{key(0): true}); err != nil {
		t.Fatal(err)
	}
	if got := string(readFile(t, filepath.Join(dir, indexName))); got != string(appendLine(nil, entries[0]))+"\n" {
		t.Errorf("index: %s", got)
	}
	if _, err := s.Get(entries[0].Objects[0].Hash, 1); err != nil {
		t.Error(err)
	}
	if _, err := s.Get(entries[1].Objects[0].Hash, 1); !errors.Is(err, ErrMissing) {
		t.Errorf("got %v, want ErrMissing", err)
	}
}

func TestTrimFaults(t *testing.T) {
	keep := map[RecipeKey]bool{key(1): true}
	for _, test := range []struct {
		op  string
		err error
	}{{"create", syscall.EACCES}, {"write", syscall.ENOSPC}, {"close", syscall.ENOSPC}, {"rename", syscall.EACCES}} {
		t.Run(test.op, func(t *testing.T) {
			dir, disk, s, entries := stocked(t)
			before := files(t, dir)
			disk.fail = func(op, name string) error {
				if op == test.op && strings.HasPrefix(name, indexName) {
					return test.err
				}
				return nil
			}
			if removed, _, err := s.Trim(keep); !errors.Is(err, test.err) || removed != 0 {
				t.Fatalf("got %d removed and %v, want %v", removed, err, test.err)
			}
			if after := files(t, dir); !slices.Equal(before, after) {
				t.Errorf("files: %v", after)
			}
			for _, e := range entries {
				if _, ok := s.Lookup(e.Key); !ok {
					t.Error("an entry is lost")
				}
			}
		})
	}
	t.Run("remove", func(t *testing.T) {
		_, disk, s, entries := stocked(t)
		a := entries[0].Objects[0].Hash
		disk.fail = func(op, name string) error {
			if op == "remove" && strings.Contains(name, a.String()) {
				return syscall.EACCES
			}
			return nil
		}
		removed, freed, err := s.Trim(keep)
		if !errors.Is(err, syscall.EACCES) || removed != 1 || freed != 1 {
			t.Errorf("got %d removed, %d freed and %v; want the other object removed all the same", removed, freed, err)
		}
		if _, err := s.Get(entries[1].Objects[0].Hash, 1); err != nil {
			t.Errorf("the kept object: %v", err)
		}
	})
	t.Run("readdir", func(t *testing.T) {
		_, disk, s, _ := stocked(t)
		disk.fail = func(op, name string) error {
			if op == "readdir" && name == "objects" {
				return syscall.EIO
			}
			return nil
		}
		if removed, _, err := s.Trim(keep); !errors.Is(err, syscall.EIO) || removed != 2 {
			t.Errorf("got %d removed and %v", removed, err)
		}
	})
}
