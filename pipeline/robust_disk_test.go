package pipeline_test

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"

	"fascicle/pipeline"
	"fascicle/pipeline/store"
)

// brokenDisk is the disk with a fault: the nth call of one operation fails, and with forever all after it. Its Sync does nothing, so
// that tests are fast.
type brokenDisk struct {
	store.FS
	op      string // create, write, close, rename, open, read, stat, mkdir, remove
	nth     int
	forever bool
	err     error

	mu    sync.Mutex
	calls map[string]int
}

func (d *brokenDisk) ask(op, name string) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.calls == nil {
		d.calls = map[string]int{}
	}
	d.calls[op]++
	if op == d.op && (d.calls[op] == d.nth || d.forever && d.calls[op] > d.nth) {
		return &fs.PathError{Op: op, Path: name, Err: d.err}
	}
	return nil
}

func (d *brokenDisk) OpenFile(name string, flag int, perm fs.FileMode) (store.File, error) {
	op := "open"
	if flag&os.O_CREATE != 0 {
		op = "create"
	}
	if err := d.ask(op, name); err != nil {
		return nil, err
	}
	f, err := store.OS{}.OpenFile(name, flag, perm)
	if err != nil {
		return nil, err
	}
	return &brokenFile{f, d, name}, nil
}

func (d *brokenDisk) Stat(name string) (fs.FileInfo, error) {
	if err := d.ask("stat", name); err != nil {
		return nil, err
	}
	return os.Stat(name)
}

func (d *brokenDisk) ReadDir(name string) ([]fs.DirEntry, error) { return os.ReadDir(name) }

func (d *brokenDisk) MkdirAll(name string, perm fs.FileMode) error {
	if err := d.ask("mkdir", name); err != nil {
		return err
	}
	return os.MkdirAll(name, perm)
}

func (d *brokenDisk) Rename(from, to string) error {
	if err := d.ask("rename", to); err != nil {
		return err
	}
	return os.Rename(from, to)
}

func (d *brokenDisk) Remove(name string) error {
	if err := d.ask("remove", name); err != nil {
		return err
	}
	return os.Remove(name)
}

type brokenFile struct {
	store.File
	disk *brokenDisk
	name string
}

func (f *brokenFile) Read(b []byte) (int, error) {
	if err := f.disk.ask("read", f.name); err != nil {
		return 0, err
	}
	return f.File.Read(b)
}

// Write of a full disk takes the first half.
func (f *brokenFile) Write(b []byte) (int, error) {
	if err := f.disk.ask("write", f.name); err != nil {
		n, _ := f.File.Write(b[:len(b)/2])
		return n, err
	}
	return f.File.Write(b)
}

func (f *brokenFile) Close() error {
	err := f.File.Close()
	if fault := f.disk.ask("close", f.name); fault != nil {
		return fault
	}
	return err
}

func (f *brokenFile) Sync() error { return nil }

// leftovers lists temporary files below a study's state.
func leftovers(t *testing.T, dir string) (out []string) {
	t.Helper()
	err := filepath.WalkDir(filepath.Join(dir, pipeline.StateDir), func(name string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() && (strings.Contains(name, ".tmp-") || strings.HasSuffix(name, ".new")) {
			out = append(out, name)
		}
		return err
	})
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		t.Fatal(err)
	}
	return out
}

// TestFailingDisk lets each single operation of a run fail in turn, once and for good, on a first run and on one after a change.
func TestFailingDisk(t *testing.T) {
	fresh := fixture(t, 2)
	made := copyStudy(t, fresh)
	run(t, made, fixtureKinds(nil), pipeline.Options{})
	for _, c := range []struct {
		name  string
		from  string
		kinds func() []*pipeline.Kind
	}{
		{"first run", fresh, func() []*pipeline.Kind { return fixtureKinds(nil) }},
		{"run after a change", made, func() []*pipeline.Kind { return revised(fixtureKinds(nil), "t.sign", "t.sum") }},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			dir := copyStudy(t, c.from)
			count := &brokenDisk{}
			want := run(t, dir, c.kinds(), pipeline.Options{Jobs: 1, Disk: count})
			if len(want.made) < 6 {
				t.Fatal("too little is made for a test: ", want.made)
			}
			wantValues := jsonValues(t, want.Outcome)
			for _, f := range []struct {
				op  string
				err error
			}{{"write", syscall.ENOSPC}, {"create", syscall.EACCES}, {"rename", syscall.EACCES}, {"close", syscall.EIO}, {"read", syscall.EIO}, {"open", syscall.EACCES},
				{"stat", syscall.EIO}, {"mkdir", syscall.EROFS}, {"remove", syscall.EACCES}} {
				t.Run(f.op, func(t *testing.T) {
					total := count.calls[f.op]
					tried, stopped := 0, 0
					for nth := 1; nth <= total; nth++ {
						for _, forever := range faultModes(f.op, nth) {
							tried++
							disk := &brokenDisk{op: f.op, nth: nth, forever: forever, err: f.err}
							stopped += failAndRepeat(t, c.from, c.kinds, disk, want.Digest, wantValues)
							if t.Failed() {
								t.Fatalf("%s number %d of %d, forever: %v", f.op, nth, total, forever)
							}
						}
					}
					t.Logf("%d faults of %s, of which %d stopped the run", tried, f.op, stopped)
					if slices.Contains([]string{"write", "create", "rename"}, f.op) && stopped < tried {
						t.Errorf("of %d faults only %d stopped the run: the others went unnoticed", tried, stopped)
					}
				})
			}
		})
	}
}

// faultModes says whether the nth operation fails once (false) or for good (true). Ordinary tests try each write, rename, close and
// read once and a third of them for good, and half of the rest.
func faultModes(op string, nth int) []bool {
	switch main := slices.Contains([]string{"write", "rename", "close", "read"}, op); {
	case slow || main && nth%3 == 1:
		return []bool{false, true}
	case main:
		return []bool{false}
	case nth%2 == 1:
		return []bool{nth%4 == 1}
	}
	return nil
}

// failAndRepeat runs on a failing disk, then on a whole one, and holds the second run against what the first had finished and against
// an undisturbed one. It gives 1 when the first run was stopped by the fault.
func failAndRepeat(t *testing.T, from string, kinds func() []*pipeline.Kind, disk *brokenDisk, digest, values string) (stopped int) {
	dir := copyStudy(t, from)
	finished := map[string]bool{}
	failed := false
	_, err := pipeline.Run(context.Background(), load(t, dir, kinds()), pipeline.Options{Jobs: 1, Disk: disk, Event: func(e pipeline.Event) {
		if e.State.Good() {
			finished[e.Stage+" "+e.Item] = true
		}
		failed = failed || e.State == pipeline.Failed
	}})
	if err != nil {
		stopped = 1
		// where nothing can be read for good, two who share an object may take it away from each other
		if !strings.Contains(err.Error(), disk.err.Error()) && !(disk.op == "read" && disk.forever && strings.Contains(err.Error(), "is not there")) {
			t.Errorf("the run was stopped by %v, which does not say %v", err, disk.err)
		}
	}
	if left := leftovers(t, dir); len(left) > 0 && disk.op != "remove" {
		t.Errorf("temporary files are left: %q", left)
	}
	kept := map[string]bool{}
	out, err := pipeline.Run(context.Background(), load(t, dir, kinds()), pipeline.Options{Jobs: 1, Disk: &brokenDisk{}, Event: func(e pipeline.Event) {
		if e.State == pipeline.Kept {
			kept[e.Stage+" "+e.Item] = true
		}
		if !e.State.Good() {
			t.Errorf("%s %s is %s: %s", e.Stage, e.Item, e.State, e.Message)
		}
	}})
	if err != nil {
		t.Error(err)
		return stopped
	}
	for id := range finished {
		if failed && strings.HasPrefix(id, "rows ") {
			continue // it was made of less than there is now
		}
		if !kept[id] {
			t.Errorf("%s was finished before the fault and is not kept", id)
		}
	}
	if out.Digest != digest {
		t.Error("another digest than that of an undisturbed run")
	}
	if jsonValues(t, out) != values {
		t.Error("other values than those of an undisturbed run")
	}
	for _, n := range out.Notices {
		if !strings.Contains(n, "store's index") && !strings.Contains(n, "is not there") {
			t.Errorf("something half-written was found: %s", n)
		}
	}
	return stopped
}

// A disk that is full from the beginning is said so before any work.
func TestFullDiskIsSaidAtOnce(t *testing.T) {
	dir := fixture(t, 2)
	c := &calls{}
	_, err := pipeline.Run(context.Background(), load(t, dir, fixtureKinds(c)), pipeline.Options{Disk: &brokenDisk{op: "write", nth: 1, forever: true, err: syscall.ENOSPC}})
	if err == nil || !strings.Contains(err.Error(), "room") {
		t.Errorf("a full disk: %v", err)
	}
	if n := c.n.Load(); n != 0 {
		t.Errorf("%d items were made before", n)
	}
}
