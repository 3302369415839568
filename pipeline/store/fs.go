package store

import (
	"io"
	"io/fs"
	"os"
)

// FS is the disk as the store uses it. Tests wrap [OS] to make it fail.
type FS interface {
	// OpenFile opens as os.OpenFile does.
	OpenFile(name string, flag int, perm fs.FileMode) (File, error)
	Stat(name string) (fs.FileInfo, error)
	ReadDir(name string) ([]fs.DirEntry, error)
	MkdirAll(name string, perm fs.FileMode) error
	Rename(from, to string) error
	Remove(name string) error
}

// File is an open file.
type File interface {
	io.Reader
	io.Writer
	io.Closer
	Stat() (fs.FileInfo, error)
	Sync() error
}

// OS is the disk itself.
type OS struct{}

// OpenFile is os.OpenFile.
func (OS) OpenFile(name string, flag int, perm fs.FileMode) (File, error) {
	f, err := os.OpenFile(name, flag, perm)
	if err != nil {
		return nil, err // a nil *os.File in an interface would not be nil
	}
	return f, nil
}

// Stat is os.Stat.
func (OS) Stat(name string) (fs.FileInfo, error) { return os.Stat(name) }

// ReadDir is os.ReadDir.
func (OS) ReadDir(name string) ([]fs.DirEntry, error) { return os.ReadDir(name) }

// MkdirAll is os.MkdirAll.
func (OS) MkdirAll(name string, perm fs.FileMode) error { return os.MkdirAll(name, perm) }

// Rename is os.Rename.
func (OS) Rename(from, to string) error { return os.Rename(from, to) }

// Remove is os.Remove.
func (OS) Remove(name string) error { return os.Remove(name) }
