package store

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// day is when the files of these tests were changed; later is the clock's time.
var day, later = time.Unix(1_000_000_000, 123_456_789), time.Unix(1_000_000_100, 0)

// raw is a folder of raw files and a memory of their hashes that is outside it.
func raw(t testing.TB) (root string, disk *faultFS, h *FileHashes) {
	t.Helper()
	root = t.TempDir()
	disk = newFaultFS(root)
	return root, disk, reopen(t, root, disk)
}

func reopen(t testing.TB, root string, disk FS) *FileHashes {
	t.Helper()
	h, err := OpenHashes(filepath.Join(root, ".fascicle", "hashes"), disk)
	if err != nil {
		t.Fatal(err)
	}
	h.SetClock(func() time.Time { return later })
	return h
}

func writeRaw(t testing.TB, root, rel, text string, at time.Time) {
	t.Helper()
	name := filepath.Join(root, filepath.FromSlash(rel))
	writeFile(t, name, []byte(text))
	if err := os.Chtimes(name, at, at); err != nil {
		t.Fatal(err)
	}
}

func mustHash(t testing.TB, h *FileHashes, root, rel, text string) {
	t.Helper()
	sum, size, err := h.Hash(root, rel)
	if err != nil {
		t.Fatal(err)
	}
	if sum != HashBytes([]byte(text)) || size != int64(len(text)) {
		t.Errorf("%s: another hash than of %q, or another size than %d: %d", rel, text, len(text), size)
	}
}

func TestHash(t *testing.T) {
	root, disk, h := raw(t)
	writeRaw(t, root, "raw/a.csv", "1,2\n", day)
	mustHash(t, h, root, "raw/a.csv", "1,2\n")
	mustHash(t, h, root, "raw/a.csv", "1,2\n")
	if n := disk.count("open", "a.csv"); n != 1 {
		t.Errorf("read %d times, want once", n)
	}
	if err := h.Save(); err != nil {
		t.Fatal(err)
	}
	again := reopen(t, root, disk)
	mustHash(t, again, root, "raw/a.csv", "1,2\n")
	if n := disk.count("open", "a.csv"); n != 1 {
		t.Errorf("after Save: read %d times, want once", n)
	}
	if sum, size, ok := again.Known(root, "raw/a.csv"); !ok || sum != HashBytes([]byte("1,2\n")) || size != 4 {
		t.Errorf("Known: got %d bytes, %v", size, ok)
	}
	if _, _, ok := again.Known(root, "raw/none.csv"); ok {
		t.Error("Known: knows a file that is not there")
	}
	// Each part of the shortcut counts.
	writeRaw(t, root, "raw/a.csv", "1,2,3\n", day)
	mustHash(t, again, root, "raw/a.csv", "1,2,3\n")
	writeRaw(t, root, "raw/a.csv", "1,2,4\n", day.Add(1))
	mustHash(t, again, root, "raw/a.csv", "1,2,4\n")
	if info, err := os.Stat(root); err == nil && inode(info) != 0 {
		writeRaw(t, root, "raw/b.csv", "1,2,5\n", day.Add(1))
		if err := os.Rename(filepath.Join(root, "raw/b.csv"), filepath.Join(root, "raw/a.csv")); err != nil {
			t.Fatal(err)
		}
		mustHash(t, again, root, "raw/a.csv", "1,2,5\n")
	}
	writeRaw(t, root, "raw/empty", "", day)
	mustHash(t, again, root, "raw/empty", "")
}

// TestHashYoung: a file may be changed twice within a tick of its clock, with size
// and time as they were.
func TestHashYoung(t *testing.T) {
	for _, test := range []struct {
		name    string
		age     time.Duration
		trusted bool
	}{
		{"just changed", 0, false},
		{"2 s less a bit", 2*time.Second - 1, false},
		{"2 s", 2 * time.Second, true},
		{"in the future", -time.Hour, false},
	} {
		t.Run(test.name, func(t *testing.T) {
			root, disk, h := raw(t)
			at := later.Add(-test.age)
			writeRaw(t, root, "young.csv", "old", at)
			mustHash(t, h, root, "young.csv", "old")
			if err := h.Save(); err != nil {
				t.Fatal(err)
			}
			if test.trusted {
				mustHash(t, h, root, "young.csv", "old")
				if n := disk.count("open", "young.csv"); n != 1 {
					t.Errorf("read %d times, want once", n)
				}
				return
			}
			writeRaw(t, root, "young.csv", "new", at)
			mustHash(t, h, root, "young.csv", "new")
			// Nor later, when it is old: it was hashed while it was young.
			again := reopen(t, root, disk)
			again.SetClock(func() time.Time { return at.Add(time.Hour) })
			mustHash(t, again, root, "young.csv", "new")
		})
	}
}

func TestRead(t *testing.T) {
	root, disk, h := raw(t)
	for _, text := range []string{"1,2\n", "", strings.Repeat("x", 1<<17)} {
		writeRaw(t, root, "a.csv", text, day)
		data, sum, err := h.Read(root, "a.csv")
		if err != nil || string(data) != text || sum != HashBytes(data) {
			t.Fatalf("%d bytes: got %d bytes and %v", len(text), len(data), err)
		}
		opened := disk.count("open", "a.csv")
		mustHash(t, h, root, "a.csv", text)
		if disk.count("open", "a.csv") != opened {
			t.Error("Hash read again what Read had read")
		}
	}
}

// TestHashChanging lets the file change between any two looks at it.
func TestHashChanging(t *testing.T) {
	changes := map[string]func(name string){
		"grows":    func(name string) { os.WriteFile(name, []byte("0123456789 and more"), 0o666) },
		"shrinks":  func(name string) { os.WriteFile(name, []byte("0123"), 0o666) },
		"touched":  func(name string) { os.Chtimes(name, later, later) },
		"vanishes": func(name string) { os.Remove(name) },
	}
	for name, change := range changes {
		for _, op := range []string{"open", "read", "fstat"} {
			if name == "vanishes" && op == "open" {
				continue // then it is not there, which the error says
			}
			t.Run(name+" before "+op, func(t *testing.T) {
				for _, read := range []bool{false, true} {
					root, disk, h := raw(t)
					writeRaw(t, root, "a", "0123456789", day)
					done := false
					disk.fail = func(o, rel string) error {
						if o == op && rel == "a" && !done {
							done = true
							change(filepath.Join(root, "a"))
						}
						return nil
					}
					var err error
					if read {
						_, _, err = h.Read(root, "a")
					} else {
						_, _, err = h.Hash(root, "a")
					}
					if err == nil || !strings.Contains(err.Error(), "a: changed while it was read") {
						t.Errorf("Read %v: got %v", read, err)
					}
					if _, _, ok := h.Known(root, "a"); ok {
						t.Errorf("Read %v: it is remembered", read)
					}
				}
			})
		}
	}
}

func TestHashFaults(t *testing.T) {
	for _, test := range []struct {
		op  string
		err error
	}{{"stat", syscall.EACCES}, {"open", syscall.EACCES}, {"read", syscall.EIO}, {"fstat", syscall.EIO}} {
		t.Run(test.op, func(t *testing.T) {
			root, disk, h := raw(t)
			writeRaw(t, root, "raw/a", "0123456789", day)
			disk.fail = func(op, rel string) error {
				if op == test.op && rel == "raw/a" {
					return test.err
				}
				return nil
			}
			if _, _, err := h.Hash(root, "raw/a"); !errors.Is(err, test.err) || !strings.Contains(err.Error(), "raw/a") {
				t.Errorf("Hash: got %v", err)
			}
			if _, _, err := h.Read(root, "raw/a"); !errors.Is(err, test.err) || !strings.Contains(err.Error(), "raw/a") {
				t.Errorf("Read: got %v", err)
			}
		})
	}
	t.Run("short read", func(t *testing.T) {
		root, disk, h := raw(t)
		writeRaw(t, root, "a", "0123456789", day)
		disk.short = func(op, rel string) int {
			if op == "read" && rel == "a" {
				return 4
			}
			return -1
		}
		if _, _, err := h.Hash(root, "a"); err == nil {
			t.Error("Hash: no error")
		}
		if _, _, err := h.Read(root, "a"); err == nil {
			t.Error("Read: no error")
		}
	})
	t.Run("missing", func(t *testing.T) {
		root, _, h := raw(t)
		if _, _, err := h.Hash(root, "raw/none"); !errors.Is(err, fs.ErrNotExist) || !strings.Contains(err.Error(), "raw/none") {
			t.Errorf("got %v", err)
		}
	})
	t.Run("folder", func(t *testing.T) {
		root, _, h := raw(t)
		writeRaw(t, root, "raw/a", "x", day)
		if _, _, err := h.Hash(root, "raw"); err == nil || !strings.Contains(err.Error(), "folder") {
			t.Errorf("got %v", err)
		}
	})
}

func TestSave(t *testing.T) {
	root, disk, h := raw(t)
	path := filepath.Join(root, ".fascicle", "hashes")
	if err := h.Save(); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(path); !errors.Is(err, fs.ErrNotExist) {
		t.Error("something was saved though nothing was hashed")
	}
	names := []string{"b", "a", `with "quotes" and` + "\nnewline", "ä", "c"}
	for _, rel := range names {
		writeRaw(t, root, rel, "text of "+rel, day)
		mustHash(t, h, root, rel, "text of "+rel)
	}
	if err := h.Save(); err != nil {
		t.Fatal(err)
	}
	first := readFile(t, path)
	if n := bytes.Count(first, []byte{'\n'}); n != len(names) {
		t.Errorf("%d lines, want %d", n, len(names))
	}
	written := disk.count("create", "hashes")
	for _, h := range []*FileHashes{h, reopen(t, root, disk)} {
		for _, rel := range names {
			mustHash(t, h, root, rel, "text of "+rel)
		}
		if err := h.Save(); err != nil {
			t.Fatal(err)
		}
	}
	if disk.count("create", "hashes") != written {
		t.Error("written though nothing had changed")
	}
	other := reopen(t, root, disk)
	other.Prune(func(string) bool { return false })
	slices.Reverse(names)
	for _, rel := range names {
		mustHash(t, other, root, rel, "text of "+rel)
	}
	if err := other.Save(); err != nil {
		t.Fatal(err)
	}
	if second := readFile(t, path); !bytes.Equal(first, second) {
		t.Error("another order of hashing gives other bytes")
	}
	other.Forget("b")
	other.Forget("not there")
	if err := other.Save(); err != nil {
		t.Fatal(err)
	}
	if again := reopen(t, root, disk); len(again.files) != len(names)-1 {
		t.Errorf("%d files after Forget, want %d", len(again.files), len(names)-1)
	}
	if n := disk.count("sync", ""); n != 0 {
		t.Errorf("%d syncs, want none", n)
	}
}

func TestSaveFaults(t *testing.T) {
	for _, test := range []struct {
		op  string
		err error
	}{{"mkdir", syscall.EACCES}, {"create", syscall.EACCES}, {"write", syscall.ENOSPC}, {"close", syscall.ENOSPC}, {"rename", syscall.ENOSPC}} {
		t.Run(test.op, func(t *testing.T) {
			root, disk, h := raw(t)
			writeRaw(t, root, "a", "old", day)
			mustHash(t, h, root, "a", "old")
			if err := h.Save(); err != nil {
				t.Fatal(err)
			}
			writeRaw(t, root, "b", "new", day)
			mustHash(t, h, root, "b", "new")
			disk.fail = func(op, rel string) error {
				if op == test.op && strings.HasPrefix(rel, ".fascicle") {
					return test.err
				}
				return nil
			}
			if err := h.Save(); !errors.Is(err, test.err) || !strings.Contains(err.Error(), "hashes") {
				t.Fatalf("got %v, want %v", err, test.err)
			}
			if got := files(t, filepath.Join(root, ".fascicle")); !slices.Equal(got, []string{"hashes"}) {
				t.Errorf("left behind: %v", got)
			}
			if again := reopen(t, root, OS{}); len(again.files) != 1 {
				t.Errorf("the earlier file is lost: %v", again.files)
			}
			disk.fail = nil
			if err := h.Save(); err != nil {
				t.Fatal(err)
			}
			if again := reopen(t, root, OS{}); len(again.files) != 2 {
				t.Errorf("saved when the fault is gone: %v", again.files)
			}
		})
	}
	t.Run("open", func(t *testing.T) {
		root, disk, h := raw(t)
		writeRaw(t, root, "a", "old", day)
		mustHash(t, h, root, "a", "old")
		if err := h.Save(); err != nil {
			t.Fatal(err)
		}
		disk.fail = func(string, string) error { return syscall.EIO }
		if _, err := OpenHashes(h.path, disk); !errors.Is(err, syscall.EIO) {
			t.Errorf("got %v, want EIO", err)
		}
	})
}

// TestFlippedHashes damages the file byte by byte: a wrong hash must never come
// out of it.
func TestFlippedHashes(t *testing.T) {
	want := map[string]fileHash{
		"raw/a.csv":  {hash: HashBytes([]byte("a")), size: 4, mtime: day.UnixNano(), inode: 17},
		"raw/ü x.gz": {hash: HashBytes([]byte("b")), size: 0, mtime: -5, inode: 1 << 63},
	}
	good := formatHashes(want)
	if got, bad := parseHashes(good); bad != 0 || !cmp.Equal(want, got, cmp.AllowUnexported(fileHash{})) {
		t.Fatalf("undamaged: %v, %d bad", got, bad)
	}
	check := func(what string, b []byte) {
		got, bad := parseHashes(b)
		for rel, e := range got {
			if want[rel] != e {
				t.Errorf("%s: %q came back changed", what, rel)
			}
		}
		if bad == 0 && len(got) == len(want) && len(b) >= len(good) && !bytes.Equal(b[:len(good)-1], good[:len(good)-1]) {
			t.Errorf("%s: not noticed", what)
		}
	}
	for i := range good {
		for flip := 1; flip < 256; flip++ {
			b := bytes.Clone(good)
			b[i] ^= byte(flip)
			check(fmt.Sprintf("byte %d ^ %#x", i, flip), b)
		}
		check(fmt.Sprintf("cut at %d", i), good[:i])
	}
	root, disk, h := raw(t)
	writeRaw(t, root, "a", "text", day)
	mustHash(t, h, root, "a", "text")
	if err := h.Save(); err != nil {
		t.Fatal(err)
	}
	b := readFile(t, h.path)
	b[3] ^= 1
	writeFile(t, h.path, b)
	again := reopen(t, root, disk)
	mustHash(t, again, root, "a", "text")
	if err := again.Save(); err != nil {
		t.Fatal(err)
	}
	if got := readFile(t, h.path); bytes.Contains(got, b[:64]) {
		t.Error("the damaged line was kept")
	}
}

func TestHashesProperty(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := rapid.MapOfN(rapid.String(), rapid.Custom(func(t *rapid.T) fileHash {
			return fileHash{
				hash: [32]byte(rapid.SliceOfN(rapid.Byte(), 32, 32).Draw(t, "hash")), size: rapid.Int64Min(0).Draw(t, "size"),
				mtime: rapid.Int64().Draw(t, "mtime"), inode: rapid.Uint64().Draw(t, "inode"),
			}
		}), 0, 5).Draw(t, "files")
		got, bad := parseHashes(formatHashes(want))
		if bad != 0 || !cmp.Equal(want, got, cmp.AllowUnexported(fileHash{})) {
			t.Fatalf("got %v and %d bad lines, want %v", got, bad, want)
		}
	})
}

func TestHashAtOnce(t *testing.T) {
	root, _, h := raw(t)
	for i := range 10 {
		writeRaw(t, root, fmt.Sprint(i), fmt.Sprint("text ", i), day)
	}
	var wg sync.WaitGroup
	for range 8 {
		wg.Go(func() {
			for i := range 10 {
				mustHash(t, h, root, fmt.Sprint(i), fmt.Sprint("text ", i))
			}
			if err := h.Save(); err != nil {
				t.Error(err)
			}
		})
	}
	wg.Wait()
}

func FuzzHashes(f *testing.F) {
	line := appendHash(nil, "raw/a.csv", fileHash{size: 4, mtime: 5, inode: 6})
	f.Add(string(line[:len(line)-18]))
	f.Add("")
	f.Fuzz(func(t *testing.T, body string) {
		parseHashes([]byte(body))
		// With the right checksum the parser itself is reached.
		rel, e, ok := parseHash(string(appendSum([]byte(body+" "), crcOf(body))))
		if !ok {
			return
		}
		again := string(appendHash(nil, rel, e))
		if rel2, e2, ok := parseHash(strings.TrimSuffix(again, "\n")); !ok || rel2 != rel || e2 != e {
			t.Fatalf("%q with %+v came back as %q with %+v, %v", rel, e, rel2, e2, ok)
		}
	})
}

// BenchmarkHash opens the memory of 3,000 files and asks for each, unchanged.
func BenchmarkHash(b *testing.B) {
	root, _, h := raw(b)
	h = reopen(b, root, OS{})
	names := make([]string, 3000)
	for i := range names {
		names[i] = fmt.Sprintf("raw/decay/LN%04d_%d.csv", i/3, i%3)
		writeRaw(b, root, names[i], names[i], day)
		mustHash(b, h, root, names[i], names[i])
	}
	if err := h.Save(); err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		h := reopen(b, root, OS{})
		for _, rel := range names {
			if _, _, err := h.Hash(root, rel); err != nil {
				b.Fatal(err)
			}
		}
		if err := h.Save(); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkPutGet writes and reads objects of 100 kB, as large as a usual curve.
func BenchmarkPutGet(b *testing.B) {
	s := mustOpen(b, b.TempDir(), OS{})
	data := bytes.Repeat([]byte("0123456789abcdef"), 6250)
	n := 0
	b.SetBytes(int64(len(data)))
	for b.Loop() {
		n++
		copy(data, fmt.Sprint(n))
		h, err := s.Put(data)
		if err != nil {
			b.Fatal(err)
		}
		if _, err := s.Get(h, int64(len(data))); err != nil {
			b.Fatal(err)
		}
	}
}
