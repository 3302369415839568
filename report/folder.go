package report

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"fascicle/pipeline"
)

// folder is out/ while it is written. Its methods may be called from several goroutines. All access goes through os.Root, so that
// no link leads out of it.
type folder struct {
	root   *os.Root
	before map[string]stamp        // regular files that stood there
	known  map[string]manifestFile // those that the manifest records

	mu                 sync.Mutex
	files              map[string]manifestFile // what stands there now
	written, unchanged int
}

// openFolder opens DIR/out, and makes it where it is missing. A link in its place is refused: what it points to is not ours to
// clear. So is a folder with files of somebody else.
func openFolder(dir string, old *manifest) (*folder, error) {
	name := filepath.Join(dir, "out")
	info, err := os.Lstat(name)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		if err := os.Mkdir(name, 0o777); err != nil {
			return nil, fmt.Errorf("report: %w; the study's folder must be writable", err)
		}
	case err != nil:
		return nil, fmt.Errorf("report: %w", err)
	case !info.IsDir():
		return nil, fmt.Errorf("report: out: found %s; expected a folder that the report may fill and clear; move it away", kindOfFile(info.Mode()))
	}
	root, err := os.OpenRoot(name)
	if err != nil {
		return nil, fmt.Errorf("report: %w", err)
	}
	f := &folder{root: root, before: map[string]stamp{}, known: map[string]manifestFile{}, files: map[string]manifestFile{}}
	if err := f.list("."); err != nil {
		_ = root.Close()
		return nil, fmt.Errorf("report: %w", err)
	}
	if old != nil {
		for _, x := range old.Files {
			f.known[x.Path] = x
		}
	} else if strangers := f.strangers(); len(strangers) > 0 {
		_ = root.Close()
		return nil, fmt.Errorf("report: out: found files that this program did not write (%s); this folder is cleared whenever the report is made; move them away",
			strings.Join(strangers, ", "))
	}
	return f, nil
}

func kindOfFile(m fs.FileMode) string {
	switch {
	case m&fs.ModeSymlink != 0:
		return "a link"
	case m.IsRegular():
		return "a file"
	}
	return "something that is no folder"
}

// list takes down the stamps of all regular files; it opens folders only, and no links.
func (f *folder) list(dir string) error {
	entries, err := fs.ReadDir(f.root.FS(), dir)
	if err != nil {
		return err
	}
	for _, e := range entries {
		name := path.Join(dir, e.Name())
		switch {
		case e.IsDir():
			if err := f.list(name); err != nil {
				return err
			}
		case e.Type().IsRegular():
			info, err := e.Info()
			if errors.Is(err, fs.ErrNotExist) {
				continue
			}
			if err != nil {
				return err
			}
			f.before[name] = stampOf(info)
		}
	}
	return nil
}

// strangers lists some of the files in a folder that was never ours: without a manifest, ours is one that holds a values.json as
// this package writes it.
func (f *folder) strangers() (names []string) {
	if len(f.before) == 0 {
		return nil
	}
	if file, err := f.root.Open("values.json"); err == nil {
		dec := json.NewDecoder(file)
		var seen []json.Token
		for len(seen) < 5 {
			t, err := dec.Token()
			if err != nil {
				break
			}
			seen = append(seen, t)
		}
		_ = file.Close()
		if len(seen) == 5 && seen[1] == "study" && seen[3] == "program" {
			program, _ := seen[4].(string)
			own, _, _ := strings.Cut(pipeline.Program, " ")
			if strings.HasPrefix(program, own+" ") {
				return nil
			}
		}
	}
	for name := range f.before {
		names = append(names, name)
	}
	slices.Sort(names)
	if len(names) > 3 {
		names = append(names[:3], fmt.Sprintf("and %d more", len(names)-3))
	}
	return names
}

// current tells whether exactly the files of the manifest stand there, untouched.
func (f *folder) current(m *manifest, digest string) bool {
	if m == nil || digest == "" || m.Digest != digest || len(m.Files) != len(f.before) {
		return false
	}
	for _, x := range m.Files {
		if s, ok := f.before[x.Path]; !ok || s != x.stamp {
			return false
		}
	}
	return true
}

// put makes a file have this content. What has it already is not written; what is known to have it is not even opened.
func (f *folder) put(name string, data []byte) error {
	sum := sha256.Sum256(data)
	hash := hex.EncodeToString(sum[:])
	stands, ok := f.before[name]
	same := false
	if ok && stands.Size == int64(len(data)) {
		if k, known := f.known[name]; known && k.stamp == stands {
			same = k.SHA256 == hash
		} else {
			have, err := f.root.ReadFile(name)
			same = err == nil && bytes.Equal(have, data)
		}
	}
	if !same {
		var err error
		if stands, err = f.replace(name, data); err != nil {
			return fmt.Errorf("report: out/%s: %w", name, cause(err))
		}
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	f.files[name] = manifestFile{name, hash, stands}
	if same {
		f.unchanged++
	} else {
		f.written++
	}
	return nil
}

// cause strips the path that os puts before an error: ours is relative to the study.
func cause(err error) error {
	var p *fs.PathError
	if errors.As(err, &p) {
		return p.Err
	}
	var l *os.LinkError
	if errors.As(err, &l) {
		return l.Err
	}
	return err
}

// replace writes a temporary file and renames it. There is no fsync: a torn file has another stamp, and is made again.
func (f *folder) replace(name string, data []byte) (stamp, error) {
	temp := name + ".part"
	const flags = os.O_WRONLY | os.O_CREATE | os.O_EXCL
	file, err := f.root.OpenFile(temp, flags, 0o666)
	if errors.Is(err, fs.ErrExist) { // left by a run that was killed
		if err = f.root.Remove(temp); err == nil {
			file, err = f.root.OpenFile(temp, flags, 0o666)
		}
	}
	if err != nil {
		return stamp{}, err
	}
	_, err = file.Write(data)
	if e := file.Close(); err == nil {
		err = e
	}
	if err == nil {
		err = f.root.Rename(temp, name)
	}
	if err != nil {
		_ = f.root.Remove(temp)
		return stamp{}, err
	}
	info, err := f.root.Lstat(name)
	if err != nil {
		return stamp{}, err
	}
	return stampOf(info), nil
}

// folder makes a folder inside; anything else of that name is an error.
func (f *folder) folder(name string) error {
	info, err := f.root.Lstat(name)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		if err := f.root.Mkdir(name, 0o777); err != nil {
			return fmt.Errorf("report: out/%s: %w", name, cause(err))
		}
		return nil
	case err != nil:
		return fmt.Errorf("report: out/%s: %w", name, cause(err))
	case !info.IsDir():
		return fmt.Errorf("report: out/%s: found %s; expected a folder; move it away", name, kindOfFile(info.Mode()))
	}
	return nil
}

// clear removes regular files that are no longer made, and folders that it emptied.
func (f *folder) clear() (removed int, err error) {
	var dirs []string
	for name := range f.before {
		if _, stays := f.files[name]; stays {
			continue
		}
		if err := f.root.Remove(name); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return removed, fmt.Errorf("report: out/%s: %w", name, cause(err))
		}
		removed++
		for d := path.Dir(name); d != "."; d = path.Dir(d) {
			dirs = append(dirs, d)
		}
	}
	slices.SortFunc(dirs, func(a, b string) int { return cmp.Compare(len(b), len(a)) })
	for _, d := range slices.Compact(dirs) {
		_ = f.root.Remove(d) // fails where something is left
	}
	return removed, nil
}

// manifest records what stands there now.
func (f *folder) manifest(digest string) *manifest {
	m := &manifest{Digest: digest, Files: make([]manifestFile, 0, len(f.files))}
	for _, x := range f.files {
		m.Files = append(m.Files, x)
	}
	slices.SortFunc(m.Files, func(a, b manifestFile) int { return cmp.Compare(a.Path, b.Path) })
	return m
}
