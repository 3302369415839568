package store

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"hash"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"sync"
	"time"
)

// youngest is the age below which a file's time of change is not trusted: a
// second change may fall into the same tick of the file system's clock (2 s on
// FAT) and leave size and time as they were.
const youngest = 2 * time.Second

// FileHashes remembers the SHA-256 of raw files. Size, time of change and inode
// are a shortcut: while they are as they were, the file is not read. Methods may be
// called from several goroutines at once.
type FileHashes struct {
	path string
	fs   FS

	mu      sync.Mutex
	now     func() time.Time
	files   map[string]fileHash // by slash-separated path
	changed bool
	temp    int

	zips archives
}

type fileHash struct {
	hash  [32]byte
	size  int64
	mtime int64 // nanoseconds since 1970
	inode uint64
}

// OpenHashes reads what Save wrote to path. A missing file is an empty one;
// damaged lines are ignored, so that their files are hashed again.
func OpenHashes(path string, disk FS) (*FileHashes, error) {
	b, err := readAll(disk, path, 0)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("store: cannot read %s: %w; see that the file may be read, or delete it (a run makes it anew)", path, err)
	}
	files, bad := parseHashes(b)
	return &FileHashes{path: path, fs: disk, now: time.Now, files: files, changed: bad > 0,
		zips: archives{read: map[string]*archive{}, listed: map[string]fileHash{}}}, nil
}

// SetClock replaces the clock by which a file is young, for tests.
func (h *FileHashes) SetClock(now func() time.Time) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.now = now
}

// Hash gives SHA-256 and size of the file at the slash-separated path rel below
// the folder root. It reads the file only if it must. A file that changes while it
// is read is an error.
func (h *FileHashes) Hash(root, rel string) (sum [32]byte, size int64, err error) {
	name := filepath.Join(root, filepath.FromSlash(rel))
	info, err := h.stat(name, rel)
	if err != nil {
		return sum, 0, err
	}
	h.mu.Lock()
	known, ok := h.files[rel]
	now := h.now()
	h.mu.Unlock()
	if ok && known.hash != ([32]byte{}) && known.matches(info) && now.Sub(info.ModTime()) >= youngest {
		return known.hash, known.size, nil
	}
	digest := sha256.New()
	if err := h.read(name, rel, info, func(f File) (int64, error) { return copyTo(digest, f) }); err != nil {
		return sum, 0, err
	}
	digest.Sum(sum[:0])
	h.remember(rel, info, sum, now)
	return sum, info.Size(), nil
}

// Read gives the bytes of the file and their SHA-256, and remembers it. Unlike
// Hash it always reads.
func (h *FileHashes) Read(root, rel string) (data []byte, sum [32]byte, err error) {
	name := filepath.Join(root, filepath.FromSlash(rel))
	info, err := h.stat(name, rel)
	if err != nil {
		return nil, sum, err
	}
	h.mu.Lock()
	now := h.now()
	h.mu.Unlock()
	err = h.read(name, rel, info, func(f File) (int64, error) {
		data = make([]byte, info.Size())
		n, err := io.ReadFull(f, data)
		if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
			return int64(n), nil
		}
		if err != nil {
			return int64(n), err
		}
		// One more, to see a file that grew.
		var more [1]byte
		m, err := f.Read(more[:])
		if err == io.EOF {
			err = nil
		}
		return int64(n + m), err
	})
	if err != nil {
		return nil, sum, err
	}
	sum = sha256.Sum256(data)
	h.remember(rel, info, sum, now)
	return data, sum, nil
}

// Forget drops what is remembered of a file.
func (h *FileHashes) Forget(rel string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if _, ok := h.files[rel]; ok {
		delete(h.files, rel)
		h.changed = true
	}
}

// Prune drops what is remembered of all files for which keep is false.
func (h *FileHashes) Prune(keep func(rel string) bool) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for rel := range h.files {
		if !keep(rel) {
			delete(h.files, rel)
			h.changed = true
		}
	}
}

func (h *FileHashes) stat(name, rel string) (fs.FileInfo, error) { return statFile(h.fs, name, rel) }

func statFile(disk FS, name, rel string) (fs.FileInfo, error) {
	info, err := disk.Stat(name)
	if err != nil {
		return nil, fmt.Errorf("%s: cannot be read: %w; see that it is there and may be read", rel, bare(err))
	}
	if !info.Mode().IsRegular() {
		return nil, fmt.Errorf("%s: found a folder or a device; expected a file; take it away, or narrow the pattern of the files", rel)
	}
	return info, nil
}

// read opens the file, lets consume read it, and makes sure that what was read is
// the file that info told of, from the first byte to the last.
func (h *FileHashes) read(name, rel string, info fs.FileInfo, consume func(File) (int64, error)) error {
	f, err := h.fs.OpenFile(name, os.O_RDONLY, 0)
	if err != nil {
		return fmt.Errorf("%s: cannot be opened: %w; see that it may be read", rel, bare(err))
	}
	defer f.Close()
	n, err := consume(f)
	if err != nil {
		return fmt.Errorf("%s: cannot be read: %w; copy it again from where it came", rel, bare(err))
	}
	before := of(info)
	opened, err := f.Stat()
	if err == nil {
		var after fs.FileInfo
		if after, err = h.fs.Stat(name); err == nil && n == info.Size() && before.matches(opened) && before.matches(after) {
			return nil
		}
	}
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("%s: cannot be read: %w", rel, bare(err))
	}
	return fmt.Errorf("%s: changed while it was read; run again when whatever writes it has finished", rel)
}

func (h *FileHashes) remember(rel string, info fs.FileInfo, sum [32]byte, now time.Time) {
	h.mu.Lock()
	defer h.mu.Unlock()
	old, ok := h.files[rel]
	if now.Sub(info.ModTime()) < youngest {
		// What was remembered is of an earlier content or is equally doubtful.
		if ok {
			delete(h.files, rel)
			h.changed = true
		}
		return
	}
	entry := of(info)
	entry.hash = sum
	if !ok || old != entry {
		h.files[rel] = entry
		h.changed = true
	}
}

func of(info fs.FileInfo) fileHash {
	return fileHash{size: info.Size(), mtime: info.ModTime().UnixNano(), inode: inode(info)}
}

func (e fileHash) matches(info fs.FileInfo) bool {
	return e.size == info.Size() && e.mtime == info.ModTime().UnixNano() && e.inode == inode(info)
}

func copyTo(digest hash.Hash, f File) (int64, error) {
	return io.CopyBuffer(digest, struct{ io.Reader }{f}, make([]byte, 128<<10))
}

// Save writes what is remembered, if anything changed since it was read, under a
// temporary name and renames it. Files stand in order of their paths.
func (h *FileHashes) Save() error {
	h.mu.Lock()
	defer h.mu.Unlock()
	if !h.changed {
		return nil
	}
	fault := func(err error) error {
		return fmt.Errorf("store: cannot write %s: %w; make the folder writable and see that the disk has room", h.path, err)
	}
	if err := h.fs.MkdirAll(filepath.Dir(h.path), 0o777); err != nil {
		return fault(err)
	}
	next := func() string {
		h.temp++
		return h.path + tempMark + strconv.Itoa(os.Getpid()) + "-" + strconv.Itoa(h.temp)
	}
	temp, err := writeTemp(h.fs, next, formatHashes(h.files), false)
	if err != nil {
		return fault(err)
	}
	if err := h.fs.Rename(temp, h.path); err != nil {
		h.fs.Remove(temp)
		return fault(err)
	}
	h.changed = false
	return nil
}

// bare takes the path off an error of the file system: messages name the file as the study does, wherever the study lies.
func bare(err error) error {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		return pe.Err
	}
	return err
}
