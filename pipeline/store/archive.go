package store

import (
	"archive/zip"
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
)

// MemberMark stands between an archive and a file in it: `raw/d2.zip!/a/x.csv`.
const MemberMark = "!/"

// Limits for what an archive holds: compressed text of numbers is seldom smaller than a hundredth of itself.
const (
	mostMembers  = 100_000
	freeUnpacked = 4 << 20 // bytes that any member may unpack to
	mostRatio    = 400     // and beyond that, times its compressed size
	mostUnpacked = 2 << 30
)

// archive is the directory of a zip archive. Its file is open while somebody reads from it.
type archive struct {
	name, rel string
	disk      FS
	info      fileHash // of the archive when its directory was read; its hash is that of the names
	members   map[string]*zip.File
	names     []string // sorted

	mu    sync.Mutex
	file  File
	at    io.ReaderAt
	users int
}

// archives is what FileHashes knows of archives in this process.
type archives struct {
	mu     sync.Mutex
	read   map[string]*archive // archives whose directory was read
	listed map[string]fileHash // archives whose members were taken from what is remembered
	index  map[string][]string // archive → remembered members; nil before it is needed
}

// ListMembers lists the files in the zip archive at the slash-separated path rel below root, sorted. It reads the archive's directory and remembers
// nothing. Errors name the archive: it is broken, holds more than 100,000 files, files whose names lead out of it (`../x`), two of one name, or such as overlap.
func ListMembers(root, rel string, disk FS) ([]string, error) {
	a, err := readArchive(filepath.Join(root, filepath.FromSlash(rel)), rel, disk)
	if err != nil {
		return nil, err
	}
	return a.names, nil
}

// Members lists the files in a zip archive, as ListMembers does. While size, time of change and inode of the archive are as they were, it is not opened.
func (h *FileHashes) Members(root, rel string) ([]string, error) {
	h.zips.mu.Lock()
	defer h.zips.mu.Unlock()
	name := filepath.Join(root, filepath.FromSlash(rel))
	info, err := h.stat(name, rel)
	if err != nil {
		return nil, err
	}
	if a := h.zips.read[rel]; a != nil {
		if !a.info.matches(info) {
			return nil, changedArchive(rel)
		}
		return slices.Clone(a.names), nil
	}
	h.mu.Lock()
	known, ok := h.files[rel+MemberMark]
	young := h.now().Sub(info.ModTime()) < youngest
	if ok && !young && known.matches(info) {
		if names := h.rememberedMembers(rel); hashNames(names) == known.hash { // no line was lost
			h.mu.Unlock()
			h.zips.listed[rel] = known
			return names, nil
		}
	}
	h.mu.Unlock()
	a, err := readArchive(name, rel, h.fs)
	if err != nil {
		return nil, err
	}
	h.zips.read[rel] = a
	h.mu.Lock()
	defer h.mu.Unlock()
	for _, m := range h.rememberedMembers(rel) {
		delete(h.files, rel+MemberMark+m)
	}
	delete(h.files, rel+MemberMark)
	h.changed = h.changed || ok || !young
	h.zips.index[rel] = nil
	if !young {
		h.files[rel+MemberMark] = a.info
		for _, m := range a.names {
			h.files[rel+MemberMark+m] = fileHash{size: int64(a.members[m].UncompressedSize64), mtime: a.info.mtime, inode: a.info.inode}
		}
		h.zips.index[rel] = a.names
	}
	return slices.Clone(a.names), nil
}

// rememberedMembers lists the members of an archive that have lines. h.mu and h.zips.mu are held.
func (h *FileHashes) rememberedMembers(rel string) []string {
	if h.zips.index == nil {
		h.zips.index = map[string][]string{}
		for path := range h.files {
			if a, m, ok := strings.Cut(path, MemberMark); ok && m != "" {
				h.zips.index[a] = append(h.zips.index[a], m)
			}
		}
		for _, names := range h.zips.index {
			slices.Sort(names)
		}
	}
	return slices.Clone(h.zips.index[rel])
}

// KnownMember gives the remembered SHA-256 and size of a file in an archive that Members found as it was. ok is false when it must be read.
func (h *FileHashes) KnownMember(rel, member string) (sum [32]byte, size int64, ok bool) {
	h.zips.mu.Lock()
	archive, listed := h.zips.listed[rel]
	h.zips.mu.Unlock()
	if !listed {
		return sum, 0, false
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	known, ok := h.files[rel+MemberMark+member]
	if !ok || known.hash == ([32]byte{}) || known.mtime != archive.mtime || known.inode != archive.inode {
		return sum, 0, false
	}
	return known.hash, known.size, true
}

// ReadMember gives the bytes of a file in an archive and their SHA-256, and remembers it. Errors name archive and member: it is not there, broken or
// encrypted, or unpacks to more than 4 MB and 400 times its size, or to more than 2 GB; or the archive has changed since it was listed.
func (h *FileHashes) ReadMember(root, rel, member string) (data []byte, sum [32]byte, err error) {
	name := filepath.Join(root, filepath.FromSlash(rel))
	a, err := h.archive(name, rel)
	if err != nil {
		return nil, sum, err
	}
	if err := a.open(); err != nil {
		return nil, sum, err
	}
	defer a.close()
	path := rel + MemberMark + member
	f := a.members[member]
	if f == nil {
		return nil, sum, fmt.Errorf("%s: found no such file in the archive; expected one of its files; correct the name behind `!/`", path)
	}
	if data, err = readMember(f); err != nil {
		err = fmt.Errorf("%s: %w", path, err)
	}
	info, statErr := h.stat(name, rel)
	if statErr != nil {
		return nil, sum, statErr
	}
	if !a.info.matches(info) {
		return nil, sum, changedArchive(rel)
	}
	if err != nil {
		return nil, sum, err
	}
	sum = sha256.Sum256(data)
	h.mu.Lock()
	defer h.mu.Unlock()
	if old, ok := h.files[path]; ok && h.now().Sub(info.ModTime()) >= youngest {
		if e := (fileHash{hash: sum, size: int64(len(data)), mtime: a.info.mtime, inode: a.info.inode}); e != old {
			h.files[path] = e
			h.changed = true
		}
	}
	return data, sum, nil
}

func changedArchive(rel string) error {
	return fmt.Errorf("%s: changed while it was read; run again when whatever writes it has finished", rel)
}

// archive gives the directory of an archive, reading it when its members were taken from what is remembered.
func (h *FileHashes) archive(name, rel string) (*archive, error) {
	h.zips.mu.Lock()
	defer h.zips.mu.Unlock()
	if a := h.zips.read[rel]; a != nil {
		return a, nil
	}
	a, err := readArchive(name, rel, h.fs)
	if err != nil {
		return nil, err
	}
	if was, ok := h.zips.listed[rel]; ok && was != a.info {
		return nil, changedArchive(rel)
	}
	h.zips.read[rel] = a
	return a, nil
}

// readArchive reads the directory of a zip archive.
func readArchive(name, rel string, disk FS) (*archive, error) {
	info, err := statFile(disk, name, rel)
	if err != nil {
		return nil, err
	}
	a := &archive{name: name, rel: rel, disk: disk, info: of(info)}
	if err := a.open(); err != nil {
		return nil, err
	}
	defer a.close()
	if err := a.read(); err != nil {
		return nil, err
	}
	a.info.hash = hashNames(a.names)
	return a, nil
}

func hashNames(names []string) [32]byte {
	h := sha256.New()
	for _, n := range names {
		io.WriteString(h, n)
		h.Write([]byte{0})
	}
	return [32]byte(h.Sum(nil))
}

// open opens the archive's file, once for all who read from it, and makes sure that it is the one whose directory was read.
func (a *archive) open() error {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.users > 0 {
		a.users++
		return nil
	}
	f, err := a.disk.OpenFile(a.name, os.O_RDONLY, 0)
	if err != nil {
		return fmt.Errorf("%s: cannot be opened: %w; see that it may be read", a.rel, bare(err))
	}
	info, err := f.Stat()
	if err == nil && !a.info.matches(info) {
		f.Close()
		return changedArchive(a.rel)
	}
	at, ok := f.(io.ReaderAt)
	if err == nil && !ok {
		var data []byte
		data, err = io.ReadAll(f)
		at = bytes.NewReader(data)
	}
	if err != nil {
		f.Close()
		return fmt.Errorf("%s: cannot be read: %w; copy it again from where it came", a.rel, bare(err))
	}
	a.file, a.at, a.users = f, at, 1
	return nil
}

func (a *archive) close() {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.users--; a.users == 0 {
		a.file.Close()
		a.file, a.at = nil, nil
	}
}

// ReadAt reads from the file. The archive must be open.
func (a *archive) ReadAt(p []byte, off int64) (int, error) {
	a.mu.Lock()
	at := a.at
	a.mu.Unlock()
	return at.ReadAt(p, off)
}

func (a *archive) read() error {
	z, err := zip.NewReader(a, a.info.size)
	if err != nil && !errors.Is(err, zip.ErrInsecurePath) { // names are judged below
		return a.fault("no zip archive, or a broken one ("+bare(err).Error()+")", "a whole one", "copy it again")
	}
	if len(z.File) > mostMembers {
		return a.fault(fmt.Sprintf("an archive of %d files", len(z.File)), fmt.Sprintf("at most %d", mostMembers), "pack fewer into one archive")
	}
	a.members = make(map[string]*zip.File, len(z.File))
	packed := uint64(0)
	for _, f := range z.File {
		packed += f.CompressedSize64
		switch {
		case strings.HasSuffix(f.Name, "/") || !f.Mode().IsRegular():
			continue
		case !fs.ValidPath(f.Name) || f.Name == "." || strings.ContainsAny(f.Name, "\\\x00") || strings.Contains(f.Name, MemberMark):
			return a.fault(fmt.Sprintf("a file %q in the archive", f.Name), "names within the archive", "pack it again with plain names")
		case a.members[f.Name] != nil:
			return a.fault(fmt.Sprintf("two files %q in the archive", f.Name), "each name once", "pack it again")
		}
		a.members[f.Name] = f
		a.names = append(a.names, f.Name)
	}
	if packed > uint64(a.info.size) {
		return a.fault("an archive whose files overlap", "files one behind the other", "pack it again")
	}
	slices.Sort(a.names)
	return nil
}

func (a *archive) fault(found, expected, remedy string) error {
	return fmt.Errorf("%s: found %s; expected %s; %s", a.rel, found, expected, remedy)
}

// readMember unpacks a file, within bounds.
func readMember(f *zip.File) ([]byte, error) {
	const encrypted = 1
	if f.Flags&encrypted != 0 {
		return nil, errors.New("found an encrypted file; expected a plain one; pack the archive again without a password")
	}
	limit := uint64(mostUnpacked)
	if f.CompressedSize64 < mostUnpacked/mostRatio {
		limit = min(limit, freeUnpacked+mostRatio*f.CompressedSize64)
	}
	if f.UncompressedSize64 > limit {
		return nil, tooLarge(f, limit)
	}
	r, err := f.Open()
	if err != nil {
		return nil, fmt.Errorf("found a file that cannot be unpacked (%w); expected a stored or deflated one; pack the archive again", err)
	}
	defer r.Close()
	var b bytes.Buffer
	b.Grow(int(min(f.UncompressedSize64, freeUnpacked)) + bytes.MinRead)
	n, err := b.ReadFrom(io.LimitReader(r, int64(limit)+1))
	switch {
	case uint64(n) > limit:
		return nil, tooLarge(f, limit)
	case errors.Is(err, io.ErrUnexpectedEOF):
		return nil, errors.New("found a file that breaks off; expected a whole one; copy the archive again")
	case err != nil:
		return nil, fmt.Errorf("found a file that is broken (%w); expected a whole one; copy the archive again", err)
	}
	return b.Bytes(), nil
}

func tooLarge(f *zip.File, limit uint64) error {
	return fmt.Errorf("found a file of %d bytes that unpacks to more than %d; expected at most 400 times its size, and 2 GB; unpack it yourself and look at it", f.CompressedSize64, limit)
}
