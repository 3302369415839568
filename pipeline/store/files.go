package store

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
)

// tempMark stands between the name that a file will have and what tells one
// temporary file from another: NAME.tmp-PROCESS-NUMBER.
const tempMark = ".tmp-"

func (s *Store) tempName(name string) string {
	return name + tempMark + strconv.Itoa(os.Getpid()) + "-" + strconv.FormatInt(s.temp.Add(1), 10)
}

// isTemp says whether name is a temporary file of the store, and of what.
func isTemp(name string) (of string, ok bool) {
	of, rest, found := strings.Cut(name, tempMark)
	process, number, found2 := strings.Cut(rest, "-")
	return of, found && found2 && isDigits(process) && isDigits(number)
}

func isDigits(s string) bool {
	for i := range len(s) {
		if s[i] < '0' || s[i] > '9' {
			return false
		}
	}
	return s != ""
}

// writeTemp writes data to a new temporary file beside name. Nothing is left
// behind when it fails.
func (s *Store) writeTemp(name string, data []byte, sync bool) (temp string, err error) {
	return writeTemp(s.fs, func() string { return s.tempName(name) }, data, sync)
}

func writeTemp(disk FS, next func() string, data []byte, sync bool) (temp string, err error) {
	var f File
	// A process that was killed may have left a file of the same name, since
	// process numbers come round again.
	for range 1000 {
		temp = next()
		f, err = disk.OpenFile(temp, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
		if !errors.Is(err, fs.ErrExist) {
			break
		}
	}
	if err != nil {
		return "", err
	}
	n, err := f.Write(data)
	if err == nil && n < len(data) {
		err = io.ErrShortWrite
	}
	if err == nil && sync {
		err = f.Sync()
	}
	if closed := f.Close(); err == nil {
		err = closed
	}
	if err != nil {
		disk.Remove(temp) // if that fails too, trim finds it
		return "", err
	}
	return temp, nil
}

// writeWhole writes a file of the store's folder under a temporary name and
// renames it.
func (s *Store) writeWhole(name string, data []byte, sync bool) error {
	name = filepath.Join(s.dir, name)
	temp, err := s.writeTemp(name, data, sync)
	if err != nil {
		return err
	}
	if err := s.fs.Rename(temp, name); err != nil {
		s.fs.Remove(temp)
		return err
	}
	return nil
}

// readAll reads a whole file of at most limit bytes (0: any number).
func readAll(disk FS, name string, limit int64) ([]byte, error) {
	f, err := disk.OpenFile(name, os.O_RDONLY, 0)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() {
		return nil, fmt.Errorf("%s is not a file", name)
	}
	if limit == 0 {
		limit = math.MaxInt64
	}
	size := info.Size()
	if size > limit {
		return nil, fmt.Errorf("%s has %d bytes; expected at most %d", name, size, limit)
	}
	// One byte more than the size, so that the end is seen without growing.
	b := make([]byte, 0, size+1)
	for {
		if len(b) == cap(b) {
			b = append(b, 0)[:len(b)]
		}
		n, err := f.Read(b[len(b):cap(b)])
		b = b[:len(b)+n]
		if err == io.EOF {
			return b, nil
		}
		if err != nil {
			return nil, err
		}
		if int64(len(b)) > limit {
			return nil, fmt.Errorf("%s has more than %d bytes", name, limit)
		}
	}
}
