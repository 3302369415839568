package store

import (
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
)

// faultFS is the disk with faults. Each operation (open, create, append, read,
// write, sync, close, stat, fstat, readdir, mkdir, rename, remove) first asks
// fail, which may be nil; names are relative to root and slash-separated.
type faultFS struct {
	root string
	fail func(op, name string) error
	// short cuts a read or write to this many bytes and reports no error; < 0: whole.
	short func(op, name string) int

	mu    sync.Mutex
	calls map[string]int // by "op name"
}

func newFaultFS(root string) *faultFS { return &faultFS{root: root, calls: map[string]int{}} }

func (d *faultFS) ask(op, name string) error {
	rel, err := filepath.Rel(d.root, name)
	if err != nil {
		rel = name
	}
	rel = filepath.ToSlash(rel)
	d.mu.Lock()
	d.calls[op+" "+rel]++
	d.mu.Unlock()
	if d.fail == nil {
		return nil
	}
	if err := d.fail(op, rel); err != nil {
		return &fs.PathError{Op: op, Path: name, Err: err}
	}
	return nil
}

// count of all calls of op on names with the given part.
func (d *faultFS) count(op, part string) (n int) {
	d.mu.Lock()
	defer d.mu.Unlock()
	for call, k := range d.calls {
		o, name, _ := strings.Cut(call, " ")
		if (op == "" || o == op) && strings.Contains(name, part) {
			n += k
		}
	}
	return n
}

func (d *faultFS) OpenFile(name string, flag int, perm fs.FileMode) (File, error) {
	op := "open"
	if flag&os.O_APPEND != 0 {
		op = "append"
	} else if flag&os.O_CREATE != 0 {
		op = "create"
	}
	if err := d.ask(op, name); err != nil {
		return nil, err
	}
	f, err := OS{}.OpenFile(name, flag, perm)
	if err != nil {
		return nil, err
	}
	return &faultFile{fs: d, name: name, f: f}, nil
}

func (d *faultFS) Stat(name string) (fs.FileInfo, error) {
	if err := d.ask("stat", name); err != nil {
		return nil, err
	}
	return os.Stat(name)
}

func (d *faultFS) ReadDir(name string) ([]fs.DirEntry, error) {
	if err := d.ask("readdir", name); err != nil {
		return nil, err
	}
	return os.ReadDir(name)
}

func (d *faultFS) MkdirAll(name string, perm fs.FileMode) error {
	if err := d.ask("mkdir", name); err != nil {
		return err
	}
	return os.MkdirAll(name, perm)
}

func (d *faultFS) Rename(from, to string) error {
	if err := d.ask("rename", to); err != nil {
		return err
	}
	return os.Rename(from, to)
}

func (d *faultFS) Remove(name string) error {
	if err := d.ask("remove", name); err != nil {
		return err
	}
	return os.Remove(name)
}

type faultFile struct {
	fs   *faultFS
	name string
	f    File
	// ended is set by a short read: whatever follows is gone.
	ended bool
}

func (f *faultFile) cut(op string, b []byte) []byte {
	if f.fs.short != nil {
		rel, _ := filepath.Rel(f.fs.root, f.name)
		if n := f.fs.short(op, filepath.ToSlash(rel)); n >= 0 && n < len(b) {
			return b[:n]
		}
	}
	return b
}

func (f *faultFile) Read(b []byte) (int, error) {
	if err := f.fs.ask("read", f.name); err != nil {
		return 0, err
	}
	if f.ended {
		return 0, io.EOF
	}
	part := f.cut("read", b)
	f.ended = len(part) < len(b)
	return f.f.Read(part)
}

func (f *faultFile) Write(b []byte) (int, error) {
	if err := f.fs.ask("write", f.name); err != nil {
		n, _ := f.f.Write(b[:len(b)/2]) // a full disk takes a part
		return n, err
	}
	return f.f.Write(f.cut("write", b))
}

func (f *faultFile) Close() error {
	err := f.f.Close()
	if fault := f.fs.ask("close", f.name); fault != nil {
		return fault
	}
	return err
}

func (f *faultFile) Stat() (fs.FileInfo, error) {
	if err := f.fs.ask("fstat", f.name); err != nil {
		return nil, err
	}
	return f.f.Stat()
}

func (f *faultFile) Sync() error {
	if err := f.fs.ask("sync", f.name); err != nil {
		return err
	}
	return f.f.Sync()
}

// must and its like keep tests short.
func mustOpen(t testing.TB, dir string, disk FS) *Store {
	t.Helper()
	s, err := Open(dir, disk)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func mustPut(t testing.TB, s *Store, data string) ContentHash {
	t.Helper()
	h, err := s.Put([]byte(data))
	if err != nil {
		t.Fatal(err)
	}
	return h
}

func mustAppend(t testing.TB, s *Store, e *Entry) {
	t.Helper()
	if err := s.Append(e); err != nil {
		t.Fatal(err)
	}
}

// key and entry make recipes that are told apart by a number.
func key(n byte) (k RecipeKey) {
	for i := range k {
		k[i] = n + byte(i)
	}
	return k
}

func entry(n byte, note string) *Entry {
	return &Entry{
		Key:  key(n),
		Kind: "lifetime.fit",
		Objects: []Object{
			{Output: "fit", N: 0, Lead: 0, Hash: HashBytes([]byte{n}), Size: 1, Flags: []Flag{{"flag", "exponent at its bound"}}},
			{Output: "curve", N: 3, Lead: -1, Hash: HashBytes([]byte{n, n}), Size: 2,
				Fields: []Field{{"rep", "text", "a", ""}, {"salt", "number", "0.5", "mol/L"}}},
		},
		Flags: []Flag{{"note", note}},
	}
}

func writeFile(t testing.TB, name string, data []byte) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(name), 0o777); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(name, data, 0o666); err != nil {
		t.Fatal(err)
	}
}

func readFile(t testing.TB, name string) []byte {
	t.Helper()
	b, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// files lists all files below dir.
func files(t testing.TB, dir string) (list []string) {
	t.Helper()
	err := filepath.WalkDir(dir, func(name string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			rel, _ := filepath.Rel(dir, name)
			list = append(list, filepath.ToSlash(rel))
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return list
}
