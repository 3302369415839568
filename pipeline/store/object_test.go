package store

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
)

func TestPutGet(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir, OS{})
	for _, data := range []string{"", "a", strings.Repeat("0123456789", 20000)} {
		h := mustPut(t, s, data)
		if h != HashBytes([]byte(data)) {
			t.Errorf("%d bytes: Put gave another hash", len(data))
		}
		got, err := s.Get(h, int64(len(data)))
		if err != nil || string(got) != data {
			t.Errorf("%d bytes: got %d bytes and %v", len(data), len(got), err)
		}
	}
	name := filepath.Join("objects", "ca", "ca978112ca1bbdcafac231b39a23dc4da786eff8147c4e72b9807785afee48bb")
	// SHA-256 of "a": NIST example values for SHA-256, from memory.
	if got := readFile(t, filepath.Join(dir, name)); string(got) != "a" {
		t.Errorf("%s holds %q", name, got)
	}
	if got := s.Stats(); got != (Stats{Opened: 3, Written: 3}) {
		t.Errorf("got %+v", got)
	}
	mustPut(t, s, "a")
	if got := s.Stats(); got.Written != 3 {
		t.Errorf("an object that was there was written again: %+v", got)
	}
	if _, err := s.Get(HashBytes([]byte("b")), 1); !errors.Is(err, ErrMissing) {
		t.Errorf("got %v, want ErrMissing", err)
	}
}

// damages changes an object of the given bytes in all manners.
func damages(good []byte) map[string][]byte {
	m := map[string][]byte{"emptied": {}, "longer": append(bytes.Clone(good), 0), "zeroed": make([]byte, len(good))}
	for i := range good {
		for _, flip := range []byte{1, 0x80, 0xff} {
			b := bytes.Clone(good)
			b[i] ^= flip
			m[fmt.Sprintf("byte %d flipped by %#x", i, flip)] = b
		}
		m[fmt.Sprintf("truncated to %d", i)] = good[:i]
	}
	return m
}

func TestDamagedObject(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir, OS{})
	good := []byte("forty bytes of a table that is no table.")
	h := mustPut(t, s, string(good))
	name := s.objectPath(h)
	dropped := 0
	for what, bad := range damages(good) {
		writeFile(t, name, bad)
		got, err := s.Get(h, int64(len(good)))
		var damaged *DamagedError
		if got != nil || !errors.As(err, &damaged) || damaged.Hash != h || damaged.Reason == "" {
			t.Fatalf("%s: got %d bytes and %v, want *DamagedError", what, len(got), err)
		}
		if !strings.Contains(err.Error(), h.String()) {
			t.Errorf("%s: error does not name the object: %v", what, err)
		}
		dropped++
		if _, err := os.Stat(name); !errors.Is(err, os.ErrNotExist) {
			t.Fatalf("%s: the object was not dropped", what)
		}
		if _, err := s.Get(h, int64(len(good))); !errors.Is(err, ErrMissing) {
			t.Fatalf("%s: got %v afterwards, want ErrMissing", what, err)
		}
		mustPut(t, s, string(good))
		if got, err := s.Get(h, int64(len(good))); err != nil || !bytes.Equal(got, good) {
			t.Fatalf("%s: after it was put again: got %q and %v", what, got, err)
		}
	}
	if got := s.Stats().Dropped; got != dropped {
		t.Errorf("Stats: %d dropped, want %d", got, dropped)
	}
}

func TestSwappedObjects(t *testing.T) {
	s := mustOpen(t, t.TempDir(), OS{})
	a, b := mustPut(t, s, "one"), mustPut(t, s, "two")
	if err := os.Rename(s.objectPath(a), s.objectPath(a)+"x"); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(s.objectPath(b), s.objectPath(a)); err != nil {
		t.Fatal(err)
	}
	writeFile(t, s.objectPath(b), []byte("one"))
	for _, h := range []ContentHash{a, b} {
		var damaged *DamagedError
		if got, err := s.Get(h, 3); !errors.As(err, &damaged) {
			t.Errorf("got %q and %v, want *DamagedError", got, err)
		}
	}
}

// TestDamagedObjectThatStays: where the bad file cannot be removed, Put must not
// take it for the good one of the same size.
func TestDamagedObjectThatStays(t *testing.T) {
	dir := t.TempDir()
	disk := newFaultFS(dir)
	s := mustOpen(t, dir, disk)
	h := mustPut(t, s, "good")
	writeFile(t, s.objectPath(h), []byte("evil"))
	disk.fail = func(op, name string) error {
		if op == "remove" {
			return syscall.EACCES
		}
		return nil
	}
	var damaged *DamagedError
	if _, err := s.Get(h, 4); !errors.As(err, &damaged) {
		t.Fatalf("got %v, want *DamagedError", err)
	}
	mustPut(t, s, "good")
	if got, err := s.Get(h, 4); err != nil || string(got) != "good" {
		t.Errorf("got %q and %v", got, err)
	}
}

func TestPutFaults(t *testing.T) {
	tests := []struct {
		name, op string
		err      error
	}{
		{"no room in write", "write", syscall.ENOSPC},
		{"no room at close", "close", syscall.ENOSPC},
		{"no room at rename", "rename", syscall.ENOSPC},
		{"may not create", "create", syscall.EACCES},
		{"may not make folder", "mkdir", syscall.EACCES},
		{"device fails in write", "write", syscall.EIO},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			dir := t.TempDir()
			disk := newFaultFS(dir)
			s := mustOpen(t, dir, disk)
			before := files(t, dir)
			disk.fail = func(op, name string) error {
				if op == test.op && strings.HasPrefix(name, "objects/") {
					return test.err
				}
				return nil
			}
			const data = "some bytes"
			h, err := s.Put([]byte(data))
			if !errors.Is(err, test.err) || !strings.Contains(err.Error(), dir) {
				t.Fatalf("got %v, want %v and the folder", err, test.err)
			}
			if _, err := s.Get(h, int64(len(data))); !errors.Is(err, ErrMissing) {
				t.Errorf("afterwards: got %v, want ErrMissing", err)
			}
			if after := files(t, dir); len(after) != len(before) {
				t.Errorf("left behind: %v", after)
			}
			if got := s.Stats().Written; got != 0 {
				t.Errorf("%d written, want 0", got)
			}
			disk.fail = nil
			mustPut(t, s, data)
			if got, err := s.Get(h, int64(len(data))); err != nil || string(got) != data {
				t.Errorf("when the fault is gone: got %q and %v", got, err)
			}
		})
	}
	t.Run("short write without an error", func(t *testing.T) {
		dir := t.TempDir()
		disk := newFaultFS(dir)
		s := mustOpen(t, dir, disk)
		disk.short = func(op, _ string) int {
			if op == "write" {
				return 3
			}
			return -1
		}
		if _, err := s.Put([]byte("some bytes")); err == nil {
			t.Error("no error")
		}
	})
}

func TestGetFaults(t *testing.T) {
	const data = "some bytes"
	setup := func(t *testing.T) (*faultFS, *Store, ContentHash) {
		dir := t.TempDir()
		disk := newFaultFS(dir)
		s := mustOpen(t, dir, disk)
		return disk, s, mustPut(t, s, data)
	}
	var damaged *DamagedError
	for _, op := range []string{"read", "fstat"} {
		t.Run("device fails in "+op, func(t *testing.T) {
			disk, s, h := setup(t)
			disk.fail = func(o, _ string) error {
				if o == op {
					return syscall.EIO
				}
				return nil
			}
			if got, err := s.Get(h, int64(len(data))); got != nil || !errors.As(err, &damaged) {
				t.Fatalf("got %q and %v, want *DamagedError", got, err)
			}
			disk.fail = nil
			if _, err := s.Get(h, int64(len(data))); !errors.Is(err, ErrMissing) {
				t.Errorf("afterwards: got %v, want ErrMissing", err)
			}
		})
	}
	t.Run("device fails once", func(t *testing.T) {
		disk, s, h := setup(t)
		n := 0
		disk.fail = func(op, _ string) error {
			if op == "read" {
				if n++; n == 1 {
					return syscall.EIO
				}
			}
			return nil
		}
		if got, err := s.Get(h, int64(len(data))); err != nil || string(got) != data {
			t.Errorf("got %q and %v", got, err)
		}
		if got := s.Stats().Dropped; got != 0 {
			t.Errorf("%d dropped, want 0", got)
		}
	})
	t.Run("short read", func(t *testing.T) {
		disk, s, h := setup(t)
		disk.short = func(op, _ string) int {
			if op == "read" {
				return 4
			}
			return -1
		}
		if got, err := s.Get(h, int64(len(data))); got != nil || !errors.As(err, &damaged) {
			t.Errorf("got %q and %v, want *DamagedError", got, err)
		}
	})
	t.Run("may not open", func(t *testing.T) {
		disk, s, h := setup(t)
		disk.fail = func(op, _ string) error {
			if op == "open" {
				return syscall.EACCES
			}
			return nil
		}
		if _, err := s.Get(h, int64(len(data))); !errors.Is(err, syscall.EACCES) || errors.As(err, &damaged) {
			t.Errorf("got %v, want EACCES alone", err)
		}
		disk.fail = nil
		if got, err := s.Get(h, int64(len(data))); err != nil || string(got) != data {
			t.Errorf("nothing should have been dropped: got %q and %v", got, err)
		}
	})
	t.Run("folder in its place", func(t *testing.T) {
		_, s, h := setup(t)
		if err := os.Remove(s.objectPath(h)); err != nil {
			t.Fatal(err)
		}
		if err := os.Mkdir(s.objectPath(h), 0o777); err != nil {
			t.Fatal(err)
		}
		if _, err := s.Get(h, int64(len(data))); !errors.As(err, &damaged) {
			t.Errorf("got %v, want *DamagedError", err)
		}
		mustPut(t, s, data)
		if got, err := s.Get(h, int64(len(data))); err != nil || string(got) != data {
			t.Errorf("got %q and %v", got, err)
		}
	})
}

// TestReadOnlyStoreDamage: a reader reports damage and changes nothing.
func TestReadOnlyStoreDamage(t *testing.T) {
	dir := t.TempDir()
	h := mustPut(t, mustOpen(t, dir, OS{}), "good")
	s, err := OpenRead(dir, OS{})
	if err != nil {
		t.Fatal(err)
	}
	writeFile(t, s.objectPath(h), []byte("evil"))
	var damaged *DamagedError
	if _, err := s.Get(h, 4); !errors.As(err, &damaged) {
		t.Errorf("got %v, want *DamagedError", err)
	}
	if got := readFile(t, s.objectPath(h)); string(got) != "evil" {
		t.Error("a reader removed the object")
	}
}

// TestManyAtOnce has 40 goroutines write and read one object and one recipe.
func TestManyAtOnce(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir, OS{})
	data := bytes.Repeat([]byte("violane "), 5000)
	h := HashBytes(data)
	var wg sync.WaitGroup
	for g := range 40 {
		wg.Go(func() {
			for range 5 {
				if g%4 == 0 {
					// Somebody damages it now and then.
					os.WriteFile(s.objectPath(h), data[:g], 0o666)
				}
				if got, err := s.Put(data); err != nil || got != h {
					t.Errorf("Put: %v", err)
				}
				var damaged *DamagedError
				got, err := s.Get(h, int64(len(data)))
				if err == nil && !bytes.Equal(got, data) {
					t.Error("Get returned other bytes")
				} else if err != nil && !errors.Is(err, ErrMissing) && !errors.As(err, &damaged) {
					t.Errorf("Get: %v", err)
				}
				if err := s.Append(entry(1, fmt.Sprint(g))); err != nil {
					t.Errorf("Append: %v", err)
				}
				if e, ok := s.Lookup(key(1)); !ok || len(e.Objects) != 2 {
					t.Error("Lookup: not found")
				}
				if _, ok := s.Lookup(key(2)); ok {
					t.Error("Lookup: found what nobody appended")
				}
			}
		})
	}
	wg.Wait()
	if lines := strings.Count(string(readFile(t, filepath.Join(dir, indexName))), "\n"); lines != 200 {
		t.Errorf("the index has %d lines, want 200", lines)
	}
	again := mustOpen(t, dir, OS{})
	if _, ok := again.Lookup(key(1)); !ok || again.Stats().BadLines != 0 {
		t.Errorf("opened again: found %v, %d bad lines", ok, again.Stats().BadLines)
	}
	for _, name := range files(t, dir) {
		if strings.Contains(name, tempMark) {
			t.Errorf("left behind: %s", name)
		}
	}
}
