package main

import (
	"bytes"
	"context"
	"io/fs"
	"os"
	"strings"
	"syscall"

	"fascicle/pipeline/store"
	"fascicle/stages"
)

// runOn runs a study on a disk that fails.
func runOn(s smallStudy, disk store.FS) call {
	var out, errs bytes.Buffer
	a := &app{out: &out, err: &errs, kinds: stages.Kinds(), disk: disk}
	status := a.run(context.Background(), s.dir, runOptions{jobs: 1})
	return call{status, out.String(), errs.String()}
}

// growingFile is a disk on which somebody writes to one file while it is read.
type growingFile struct {
	store.OS
	path string
}

// OpenFile lets the file grow once it is open.
func (d *growingFile) OpenFile(name string, flag int, perm fs.FileMode) (store.File, error) {
	f, err := d.OS.OpenFile(name, flag, perm)
	if err != nil || name != d.path {
		return f, err
	}
	g, err := os.OpenFile(name, os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		return nil, err
	}
	defer g.Close()
	_, err = g.WriteString("0.300000 2.0e-02 2.0e-04\n")
	return f, err
}

// readOnlyDisk refuses every write, as a study on a medium that cannot be written to.
type readOnlyDisk struct{ store.OS }

func refused(op, name string, err error) error { return &fs.PathError{Op: op, Path: name, Err: err} }

// OpenFile opens for reading alone.
func (d *readOnlyDisk) OpenFile(name string, flag int, perm fs.FileMode) (store.File, error) {
	if flag&(os.O_WRONLY|os.O_RDWR|os.O_CREATE) != 0 {
		return nil, refused("open", name, syscall.EROFS)
	}
	return d.OS.OpenFile(name, flag, perm)
}

// MkdirAll refuses.
func (d *readOnlyDisk) MkdirAll(name string, _ fs.FileMode) error {
	return refused("mkdir", name, syscall.EROFS)
}

// fullDisk takes no more objects, though the store could still be opened.
type fullDisk struct{ store.OS }

// OpenFile gives files that cannot grow where objects are written.
func (d *fullDisk) OpenFile(name string, flag int, perm fs.FileMode) (store.File, error) {
	f, err := d.OS.OpenFile(name, flag, perm)
	if err != nil || !strings.Contains(name, "objects") || strings.Contains(name, "probe") || flag&os.O_WRONLY == 0 {
		return f, err
	}
	return &fullFile{f, name}, nil
}

type fullFile struct {
	store.File
	name string
}

// Write refuses.
func (f *fullFile) Write([]byte) (int, error) { return 0, refused("write", f.name, syscall.ENOSPC) }

// lockedFile is a disk on which one file may not be read.
type lockedFile struct {
	store.OS
	path string
}

// OpenFile refuses that file.
func (d *lockedFile) OpenFile(name string, flag int, perm fs.FileMode) (store.File, error) {
	if name == d.path {
		return nil, refused("open", name, syscall.EACCES)
	}
	return d.OS.OpenFile(name, flag, perm)
}
