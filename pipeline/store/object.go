package store

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
)

func (s *Store) objectPath(h ContentHash) string {
	name := h.String()
	return filepath.Join(s.dir, objectsName, name[:2], name)
}

// Put writes an object, unless one of its name and size is there already, and
// gives its hash. It is in place, whole, when Put returns without an error.
func (s *Store) Put(data []byte) (ContentHash, error) {
	h := ContentHash(sha256.Sum256(data))
	if s.readOnly {
		return h, errReadOnly(s.dir)
	}
	name := s.objectPath(h)
	if s.present(h, name, int64(len(data))) {
		return h, nil
	}
	temp, err := s.writeTemp(name, data, false)
	if errors.Is(err, fs.ErrNotExist) {
		if err := s.fs.MkdirAll(filepath.Dir(name), 0o777); err != nil {
			return h, writeFault(s.dir, err)
		}
		temp, err = s.writeTemp(name, data, false)
	}
	if err != nil {
		return h, writeFault(s.dir, err)
	}
	s.placing.RLock()
	defer s.placing.RUnlock()
	if err := s.fs.Rename(temp, name); err != nil {
		s.fs.Remove(temp)
		// Where a file that somebody reads cannot be replaced (Windows), the one that
		// another goroutine put there meanwhile does as well.
		if s.present(h, name, int64(len(data))) {
			return h, nil
		}
		return h, writeFault(s.dir, err)
	}
	s.suspect.Delete(h)
	s.written.Add(1)
	return h, nil
}

// present says whether an object need not be written.
func (s *Store) present(h ContentHash, name string, size int64) bool {
	if _, bad := s.suspect.Load(h); bad {
		return false
	}
	info, err := s.fs.Stat(name)
	return err == nil && info.Mode().IsRegular() && info.Size() == size
}

// Get reads an object and verifies that it has the size and the hash. ErrMissing:
// it is not there. *DamagedError: it is not what its name says; it has been
// dropped, so that the next Put of the same bytes writes it again. Any other
// error: it could not be opened, and nothing was dropped.
func (s *Store) Get(h ContentHash, size int64) ([]byte, error) {
	b, err := s.get(h, size)
	var damaged *DamagedError
	if !errors.As(err, &damaged) {
		return b, err
	}
	// Once more with nobody putting: what was read may have been replaced by a good
	// one since, or the disk have failed for a moment only.
	s.placing.Lock()
	defer s.placing.Unlock()
	if b, err := s.get(h, size); !errors.As(err, &damaged) {
		return b, err
	}
	s.dropped.Add(1)
	s.suspect.Store(h, true)
	if !s.readOnly {
		s.fs.Remove(s.objectPath(h)) // if that fails, Put replaces it
	}
	return nil, damaged
}

func (s *Store) get(h ContentHash, size int64) ([]byte, error) {
	name := s.objectPath(h)
	f, err := s.fs.OpenFile(name, os.O_RDONLY, 0)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("%w: %s", ErrMissing, h)
	}
	if err != nil {
		return nil, readFault(s.dir, name, err)
	}
	defer f.Close()
	s.opened.Add(1)
	damaged := func(format string, args ...any) ([]byte, error) {
		return nil, &DamagedError{Hash: h, Reason: fmt.Sprintf(format, args...)}
	}
	info, err := f.Stat()
	switch {
	case err != nil:
		return damaged("%v", err)
	case !info.Mode().IsRegular():
		return damaged("it is not a file")
	case info.Size() != size:
		return damaged("%d bytes; expected %d", info.Size(), size)
	}
	b := make([]byte, size)
	n, err := io.ReadFull(f, b)
	switch {
	case errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF):
		return damaged("%d bytes could be read; expected %d", n, size)
	case err != nil:
		return damaged("reading: %v", err)
	}
	if sha256.Sum256(b) != h {
		return damaged("its bytes have another SHA-256")
	}
	return b, nil
}

func errReadOnly(dir string) error {
	return fmt.Errorf("store: %s was opened for reading; open it for writing under the lock", dir)
}
