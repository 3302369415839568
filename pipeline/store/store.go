package store

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
)

// Version is the format of the store that this program writes.
const Version = 1

// ErrMissing is returned by Get for an object that is not there.
var ErrMissing = errors.New("store: the object is not there")

// DamagedError tells of an object that is there but is not what its name says.
type DamagedError struct {
	Hash   ContentHash
	Reason string
}

// Error names the object and the reason.
func (e *DamagedError) Error() string {
	return fmt.Sprintf("store: object %s is damaged (%s); it is dropped, so that it is made again", e.Hash, e.Reason)
}

// Store is an open store. All methods may be called from several goroutines at
// once, except that Trim must run alone.
type Store struct {
	dir      string
	fs       FS
	readOnly bool

	mu    sync.RWMutex // guards index and what Append knows of the file
	index index

	// placing is held for reading while an object is renamed into place and for
	// writing while a damaged one is removed, so that a good new one is not.
	placing sync.RWMutex
	suspect sync.Map // ContentHash: damaged objects that Put must write anew

	temp                     atomic.Int64
	opened, written, dropped atomic.Int64
}

// Stats counts what was done since the store was opened.
type Stats struct {
	Opened   int // objects opened for reading
	Written  int // objects written
	Dropped  int // damaged objects found and dropped
	BadLines int // damaged lines of the index that were met and ignored
}

// Stats gives the counts so far.
func (s *Store) Stats() Stats {
	return Stats{
		Opened:   int(s.opened.Load()),
		Written:  int(s.written.Load()),
		Dropped:  int(s.dropped.Load()),
		BadLines: int(s.index.bad.Load()),
	}
}

// Open opens the store in dir for reading and writing, and creates what is
// missing. A folder that cannot be written to and a store in a newer format are
// errors. The caller holds [Lock].
func Open(dir string, disk FS) (*Store, error) {
	s := &Store{dir: dir, fs: disk}
	if err := disk.MkdirAll(filepath.Join(dir, objectsName), 0o777); err != nil {
		return nil, writeFault(dir, err)
	}
	if err := s.checkVersion(); errors.Is(err, fs.ErrNotExist) {
		if err := s.writeWhole(versionName, []byte(strconv.Itoa(Version)+"\n"), true); err != nil {
			return nil, writeFault(dir, err)
		}
	} else if err != nil {
		return nil, err
	}
	for _, f := range [...]struct{ name, text string }{{readmeName, readme}, {tagName, tag}} {
		if _, err := disk.Stat(filepath.Join(dir, f.name)); err == nil {
			continue
		}
		if err := s.writeWhole(f.name, []byte(f.text), false); err != nil {
			return nil, writeFault(dir, err)
		}
	}
	if err := s.probe(); err != nil {
		return nil, writeFault(dir, err)
	}
	if err := s.load(); err != nil {
		return nil, err
	}
	return s, nil
}

// OpenRead opens the store in dir for reading alone, and changes nothing on disk.
// Where there is no store the error is fs.ErrNotExist.
func OpenRead(dir string, disk FS) (*Store, error) {
	s := &Store{dir: dir, fs: disk, readOnly: true}
	if err := s.checkVersion(); errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("store: there is no store in %s (%w); a run makes one", dir, fs.ErrNotExist)
	} else if err != nil {
		return nil, err
	}
	if err := s.load(); err != nil {
		return nil, err
	}
	return s, nil
}

const (
	versionName = "VERSION"
	readmeName  = "README"
	tagName     = "CACHEDIR.TAG"
	indexName   = "index"
	objectsName = "objects"
	probeName   = "probe"
)

const readme = `This folder is a store of fascicle: results of stages that need not be made
again while nothing they depend on has changed. It may be deleted at any time;
the next run makes all of it anew. Do not edit what is in it: whatever does not
agree with its checksum is ignored.
`

// tag follows the Cache Directory Tagging Specification (bford.info/cachedir).
const tag = `Signature: 8a477f597d28d172789f06886806bc55
# This file marks a folder whose contents can be made again, so that backup
# programs may leave it out. See https://bford.info/cachedir/
`

func (s *Store) checkVersion() error {
	name := filepath.Join(s.dir, versionName)
	b, err := readAll(s.fs, name, 64)
	if err != nil {
		return readFault(s.dir, name, err)
	}
	text := strings.TrimSpace(string(b))
	v, err := strconv.Atoi(text)
	switch {
	case err != nil || v < 1:
		return fmt.Errorf("store: %s: found %.20q; expected the number of a format; delete the folder %s (a run makes all of it anew)", name, text, s.dir)
	case v > Version:
		return fmt.Errorf("store: %s: found format %d; this program reads formats up to %d; use the newer program that wrote the store, or delete the folder %s (a run makes all of it anew)", name, v, Version, s.dir)
	}
	return nil
}

// probe finds out now, and not after an hour of work, that nothing can be written.
func (s *Store) probe() error {
	temp, err := s.writeTemp(filepath.Join(s.dir, objectsName, probeName), nil, false)
	if err != nil {
		return err
	}
	return s.fs.Remove(temp)
}

func writeFault(dir string, err error) error {
	return fmt.Errorf("store: cannot write to %s: %w; make the folder writable and see that the disk has room, or work on a copy of the study", dir, err)
}

func readFault(dir, name string, err error) error {
	return fmt.Errorf("store: cannot read %s: %w; see that the file may be read, or delete the folder %s (a run makes all of it anew)", name, err, dir)
}
