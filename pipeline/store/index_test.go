package store

import (
	"bytes"
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// indexed is a store with the entries, and the bytes of its index.
func indexed(t testing.TB, entries ...*Entry) (dir string, index []byte) {
	t.Helper()
	dir = t.TempDir()
	s := mustOpen(t, dir, OS{})
	for _, e := range entries {
		mustAppend(t, s, e)
	}
	return dir, readFile(t, filepath.Join(dir, indexName))
}

func reader(t testing.TB, dir string, index []byte) *Store {
	t.Helper()
	writeFile(t, filepath.Join(dir, indexName), index)
	s, err := OpenRead(dir, OS{})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestLookup(t *testing.T) {
	dir, index := indexed(t, entry(1, "first"), entry(2, "other"), entry(1, "second"))
	s := reader(t, dir, index)
	for _, want := range []*Entry{entry(1, "second"), entry(2, "other")} {
		got, ok := s.Lookup(want.Key)
		if !ok {
			t.Fatalf("%s: not found", want.Key)
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("%s (-want +got):\n%s", want.Key, diff)
		}
	}
	if _, ok := s.Lookup(key(3)); ok {
		t.Error("found what is not there")
	}
	if got := s.Stats(); got != (Stats{}) {
		t.Errorf("lookups touched something: %+v", got)
	}
}

// TestLookupOpensNothing: a rerun reads the index and opens no object.
func TestLookupOpensNothing(t *testing.T) {
	dir, _ := indexed(t, entry(1, "a"))
	disk := newFaultFS(dir)
	s := mustOpen(t, dir, disk)
	if _, ok := s.Lookup(key(1)); !ok {
		t.Fatal("not found")
	}
	if n := disk.count("open", "objects"); n != 0 {
		t.Errorf("%d objects were opened", n)
	}
}

func TestForget(t *testing.T) {
	s := mustOpen(t, t.TempDir(), OS{})
	mustAppend(t, s, entry(1, "a"))
	mustAppend(t, s, entry(1, "b"))
	s.Forget(key(1))
	if _, ok := s.Lookup(key(1)); ok {
		t.Error("found after Forget")
	}
	mustAppend(t, s, entry(1, "c"))
	if e, ok := s.Lookup(key(1)); !ok || e.Flags[0].Text != "c" {
		t.Errorf("after Append: got %+v, %v", e, ok)
	}
}

// TestFlippedIndex flips every byte of an index in several ways. What is found
// must be as it was written, and what was hit must not be found.
func TestFlippedIndex(t *testing.T) {
	entries := []*Entry{entry(1, "first"), entry(2, "second"), entry(3, "third")}
	_, index := indexed(t, entries...)
	var ends []int // of the lines
	for i, c := range index {
		if c == '\n' {
			ends = append(ends, i)
		}
	}
	for i := range index {
		for _, flip := range []byte{0x01, 0x20, index[i] ^ '\n'} {
			if flip == 0 {
				flip = 0xff
			}
			bad := bytes.Clone(index)
			bad[i] ^= flip
			s := &Store{}
			s.index.read(bad)
			for j, want := range entries {
				hit := j == 0 && i <= ends[0] || j > 0 && i > ends[j-1] && i <= ends[j]
				// Without the newline between them two lines are one.
				hit = hit || j > 0 && i == ends[j-1]
				// The newline after the last line is not missed.
				hit = hit && i != len(index)-1
				got, ok := s.Lookup(want.Key)
				if ok && !cmp.Equal(want, got) {
					t.Fatalf("byte %d ^ %#x: entry %d came back changed: %s", i, flip, j, cmp.Diff(want, got))
				}
				if ok == hit && i != len(index)-1 {
					t.Fatalf("byte %d ^ %#x: entry %d: hit %v, found %v", i, flip, j, hit, ok)
				}
			}
			// A line under a key that was hit must not be found under the wrong one either.
			for k := range s.index.last {
				if e, ok := s.Lookup(k); ok && e.Key != k {
					t.Fatalf("byte %d ^ %#x: entry of %s found under %s", i, flip, e.Key, k)
				}
			}
			if s.Stats().BadLines == 0 && i != len(index)-1 {
				t.Fatalf("byte %d ^ %#x: no bad line was counted", i, flip)
			}
		}
	}
}

// TestFlippedField changes one field after the other to something that could well
// stand there. The line is ignored, and the earlier one of the recipe is used.
func TestFlippedField(t *testing.T) {
	dir, index := indexed(t, entry(1, "earlier"), entry(1, "later"))
	first, second, _ := strings.Cut(string(index), "\n")
	h := HashBytes([]byte{1}).String()
	fields := map[string][2]string{
		"key, to an earlier one": {key(1).String(), key(2).String()},
		"kind":                   {"lifetime.fit", "lifetime.fix"},
		"output":                 {`"output":"curve"`, `"output":"curse"`},
		"number":                 {`"n":3`, `"n":4`},
		"lead":                   {`"lead":-1`, `"lead":11`},
		"field's name":           {`"name":"rep"`, `"name":"red"`},
		"field's type":           {`"type":"number"`, `"type":"strong"`},
		"field's value":          {`"value":"0.5"`, `"value":"0.6"`},
		"field's unit":           {`"unit":"mol/L"`, `"unit":"mol/l"`},
		"hash":                   {h, h[1:] + h[:1]},
		"size":                   {`"size":2`, `"size":3`},
		"item's level":           {`"level":"flag"`, `"level":"flaw"`},
		"item's message":         {"exponent at its bound", "exponent in its bound"},
		"level":                  {`"level":"note"`, `"level":"tone"`},
		"message":                {"later", "lager"},
	}
	for name, f := range fields {
		t.Run(name, func(t *testing.T) {
			changed := strings.Replace(second, f[0], f[1], 1)
			if changed == second {
				t.Fatal("nothing was changed")
			}
			s := reader(t, dir, []byte(first+"\n"+changed))
			e, ok := s.Lookup(key(1))
			if !ok || !cmp.Equal(e, entry(1, "earlier")) {
				t.Errorf("got %+v, %v; want the earlier line", e, ok)
			}
			if _, ok := s.Lookup(key(2)); ok {
				t.Error("the changed key was found")
			}
			if got := s.Stats().BadLines; got != 1 {
				t.Errorf("%d bad lines, want 1", got)
			}
			s.Lookup(key(1))
			if got := s.Stats().BadLines; got != 1 {
				t.Errorf("%d bad lines after another lookup, want 1", got)
			}
		})
	}
	t.Run("checksum", func(t *testing.T) {
		i := strings.LastIndex(second, `"}`) - 1
		changed := second[:i] + string('0'+(second[i]+1)%2) + second[i+1:]
		s := reader(t, dir, []byte(first+"\n"+changed))
		if e, ok := s.Lookup(key(1)); !ok || e.Flags[0].Text != "earlier" {
			t.Errorf("got %+v, %v; want the earlier line", e, ok)
		}
	})
	t.Run("sums swapped", func(t *testing.T) {
		n := len(first) - sumLength
		m := strings.LastIndex(second, sumStart)
		s := reader(t, dir, []byte(first[:n]+second[m:]+second[:m]+first[n:]+"\n"))
		if e, ok := s.Lookup(key(1)); ok {
			t.Errorf("got %+v", e)
		}
	})
}

func TestSwappedLines(t *testing.T) {
	dir, index := indexed(t, entry(1, "a"), entry(2, "b"), entry(3, "c"))
	lines := strings.SplitAfter(string(index), "\n")
	s := reader(t, dir, []byte(lines[2]+lines[0]+lines[1]))
	for i, text := range []string{"a", "b", "c"} {
		want := entry(byte(i+1), text)
		if got, ok := s.Lookup(want.Key); !ok || !cmp.Equal(want, got) {
			t.Errorf("entry %d: got %+v, %v", i+1, got, ok)
		}
	}
}

// TestTornLine cuts the index at every byte, opens the store and appends.
func TestTornLine(t *testing.T) {
	first, second, third := entry(1, "first"), entry(2, "second"), entry(3, "third")
	dir, index := indexed(t, first, second)
	end := bytes.IndexByte(index, '\n')
	for n := range len(index) + 1 {
		writeFile(t, filepath.Join(dir, indexName), index[:n])
		// Reopening for writing takes several files; the ends are enough for that.
		if n > 5 && n < end-5 || n > end+5 && n < len(index)-5 {
			s := reader(t, dir, index[:n])
			if _, ok := s.Lookup(first.Key); ok != (n >= end) {
				t.Fatalf("cut at %d: first found: %v", n, ok)
			}
			if _, ok := s.Lookup(second.Key); ok {
				t.Fatalf("cut at %d: second found", n)
			}
			continue
		}
		s := mustOpen(t, dir, OS{})
		mustAppend(t, s, third)
		for i, s := range []*Store{s, mustOpen(t, dir, OS{})} {
			for _, e := range []struct {
				*Entry
				whole bool
			}{{first, n >= end}, {second, n >= len(index)-1}, {third, true}} {
				got, ok := s.Lookup(e.Key)
				if ok != e.whole {
					t.Fatalf("cut at %d, store %d: %s found: %v", n, i, e.Flags[0].Text, ok)
				}
				if ok && !cmp.Equal(e.Entry, got) {
					t.Fatalf("cut at %d: %s came back changed", n, e.Flags[0].Text)
				}
			}
		}
	}
}

func TestEmptiedIndex(t *testing.T) {
	dir, _ := indexed(t, entry(1, "a"))
	for name, b := range map[string][]byte{"empty": nil, "newlines": []byte("\n\n\n"), "zeros": make([]byte, 1000)} {
		t.Run(name, func(t *testing.T) {
			if _, ok := reader(t, dir, b).Lookup(key(1)); ok {
				t.Error("found")
			}
		})
	}
}

func TestAppendFaults(t *testing.T) {
	tests := []struct {
		name, op string
		err      error
		part     bool // half of the line reaches the disk
	}{
		{"no room in write", "write", syscall.ENOSPC, true},
		{"no room at close", "close", syscall.ENOSPC, false},
		{"may not open", "append", syscall.EACCES, false},
		{"device fails", "write", syscall.EIO, true},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			dir := t.TempDir()
			disk := newFaultFS(dir)
			s := mustOpen(t, dir, disk)
			mustAppend(t, s, entry(1, "before"))
			disk.fail = func(op, name string) error {
				if op == test.op && name == indexName {
					return test.err
				}
				return nil
			}
			if err := s.Append(entry(2, "lost")); !errors.Is(err, test.err) {
				t.Fatalf("got %v, want %v", err, test.err)
			}
			if _, ok := s.Lookup(key(2)); ok {
				t.Error("found what could not be appended")
			}
			disk.fail = nil
			mustAppend(t, s, entry(3, "after"))
			again := mustOpen(t, dir, disk)
			for _, n := range []byte{1, 3} {
				if _, ok := again.Lookup(key(n)); !ok {
					t.Errorf("opened again: entry %d is lost", n)
				}
			}
			if _, ok := again.Lookup(key(2)); ok && test.part {
				t.Error("opened again: found half a line")
			}
		})
	}
	t.Run("short write without an error", func(t *testing.T) {
		dir := t.TempDir()
		disk := newFaultFS(dir)
		s := mustOpen(t, dir, disk)
		disk.short = func(op, _ string) int {
			if op == "write" {
				return 100
			}
			return -1
		}
		if err := s.Append(entry(1, "lost")); err == nil {
			t.Error("no error")
		}
		disk.short = nil
		mustAppend(t, s, entry(2, "after"))
		again := mustOpen(t, dir, disk)
		if _, ok := again.Lookup(key(2)); !ok {
			t.Error("the line after the torn one is lost")
		}
		if _, ok := again.Lookup(key(1)); ok {
			t.Error("the torn line was found")
		}
	})
}

func TestLoadFaults(t *testing.T) {
	dir, index := indexed(t, entry(1, "first"), entry(2, "second"))
	for _, op := range []string{"open", "read", "fstat"} {
		t.Run(op, func(t *testing.T) {
			disk := newFaultFS(dir)
			disk.fail = func(o, name string) error {
				if o == op && name == indexName {
					return syscall.EIO
				}
				return nil
			}
			if _, err := Open(dir, disk); !errors.Is(err, syscall.EIO) || !strings.Contains(err.Error(), indexName) {
				t.Errorf("got %v, want EIO and the file's name", err)
			}
		})
	}
	t.Run("short read", func(t *testing.T) {
		disk := newFaultFS(dir)
		disk.short = func(op, name string) int {
			if op == "read" && name == indexName {
				return len(index) - 20
			}
			return -1
		}
		s := mustOpen(t, dir, disk)
		if e, ok := s.Lookup(key(1)); !ok || !cmp.Equal(e, entry(1, "first")) {
			t.Error("the whole line is lost")
		}
		if _, ok := s.Lookup(key(2)); ok {
			t.Error("half a line was found")
		}
		mustAppend(t, s, entry(3, "third"))
		disk.short = nil
		for n := byte(1); n <= 3; n++ {
			if _, ok := mustOpen(t, dir, disk).Lookup(key(n)); !ok {
				t.Errorf("opened again: entry %d is lost", n)
			}
		}
	})
}

func FuzzIndex(f *testing.F) {
	_, index := indexed(f, entry(1, "a"), entry(2, "b"), entry(1, "c"))
	f.Add(index)
	f.Add(index[:len(index)-9])
	f.Add([]byte("\n{\"key\":\"\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		s := &Store{}
		s.index.read(bytes.Clone(b))
		keys := make([]RecipeKey, 0, len(s.index.last))
		for k := range s.index.last {
			keys = append(keys, k)
		}
		for _, k := range keys {
			e, ok := s.Lookup(k)
			if !ok {
				continue
			}
			if e.Key != k || !bytes.Contains(b, appendLine(nil, e)) {
				t.Fatalf("found an entry that is not in the index: %+v", e)
			}
		}
	})
}

// BenchmarkLookup opens a store with 10,000 recipes in about 5 MB and looks up
// each of them once.
func BenchmarkLookup(b *testing.B) {
	const n = 10000
	dir := b.TempDir()
	s := mustOpen(b, dir, OS{})
	var index []byte
	keys := make([]RecipeKey, n)
	for i := range keys {
		e := entry(0, "starting values from the neighbour")
		e.Key = RecipeKey(HashBytes(fmt.Append(nil, i)))
		keys[i] = e.Key
		index = append(appendLine(index, e), '\n')
	}
	writeFile(b, filepath.Join(s.dir, indexName), index)
	b.SetBytes(int64(len(index)))
	b.ReportAllocs()
	for b.Loop() {
		s := mustOpen(b, dir, OS{})
		for _, k := range keys {
			if _, ok := s.Lookup(k); !ok {
				b.Fatal("not found")
			}
		}
	}
}
