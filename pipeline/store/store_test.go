package store

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func TestOpenCreates(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "a", "store")
	s := mustOpen(t, dir, OS{})
	if diff := cmp.Diff([]string{"CACHEDIR.TAG", "README", "VERSION"}, files(t, dir)); diff != "" {
		t.Errorf("files (-want +got):\n%s", diff)
	}
	if got := string(readFile(t, filepath.Join(dir, "VERSION"))); got != "1\n" {
		t.Errorf("VERSION holds %q", got)
	}
	// Cache Directory Tagging Specification, "The file's first 43 octets" (from memory).
	if got := string(readFile(t, filepath.Join(dir, "CACHEDIR.TAG"))); !strings.HasPrefix(got, "Signature: 8a477f597d28d172789f06886806bc55\n") {
		t.Errorf("CACHEDIR.TAG begins with %.43q", got)
	}
	mustPut(t, s, "kept")
	mustAppend(t, s, entry(1, "kept"))
	writeFile(t, filepath.Join(dir, "README"), []byte("a note of the user's"))
	again := mustOpen(t, dir, OS{})
	if _, ok := again.Lookup(key(1)); !ok {
		t.Error("opened again: the entry is lost")
	}
	if got := string(readFile(t, filepath.Join(dir, "README"))); got != "a note of the user's" {
		t.Error("README was written over")
	}
}

func TestVersion(t *testing.T) {
	tests := []struct {
		name, text string
		want       []string
	}{
		{"newer", "2\n", []string{"format 2", "up to 1", "newer"}},
		{"much newer", "137", []string{"format 137"}},
		{"words", "new\n", []string{`"new"`, "delete"}},
		{"zero", "0\n", []string{`"0"`}},
		{"negative", "-1\n", []string{`"-1"`}},
		{"empty", "", []string{`""`, "delete"}},
		{"long", strings.Repeat("1", 100), []string{"100 bytes"}},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			dir, _ := indexed(t, entry(1, "a"))
			writeFile(t, filepath.Join(dir, versionName), []byte(test.text))
			before := files(t, dir)
			for _, open := range []func(string, FS) (*Store, error){Open, OpenRead} {
				_, err := open(dir, OS{})
				if err == nil {
					t.Fatal("no error")
				}
				for _, part := range append(test.want, dir) {
					if !strings.Contains(err.Error(), part) {
						t.Errorf("error %q does not say %q", err, part)
					}
				}
			}
			if after := files(t, dir); !slices.Equal(before, after) {
				t.Errorf("files were changed: %v", after)
			}
		})
	}
}

func TestOpenRead(t *testing.T) {
	root := t.TempDir()
	if _, err := OpenRead(filepath.Join(root, "none"), OS{}); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("got %v, want fs.ErrNotExist", err)
	}
	if list := files(t, root); len(list) != 0 {
		t.Errorf("something was created: %v", list)
	}
	dir, _ := indexed(t, entry(1, "a"))
	disk := newFaultFS(dir)
	s, err := OpenRead(dir, disk)
	if err != nil {
		t.Fatal(err)
	}
	if _, ok := s.Lookup(key(1)); !ok {
		t.Error("not found")
	}
	if _, err := s.Put([]byte("x")); err == nil {
		t.Error("Put: no error")
	}
	if err := s.Append(entry(2, "b")); err == nil {
		t.Error("Append: no error")
	}
	if _, _, err := s.Trim(nil); err == nil {
		t.Error("Trim: no error")
	}
	for _, op := range []string{"create", "append", "write", "mkdir", "rename", "remove"} {
		if n := disk.count(op, ""); n != 0 {
			t.Errorf("%d calls of %s", n, op)
		}
	}
}

func TestOpenReadOnlyFolder(t *testing.T) {
	for _, op := range []string{"create", "mkdir", "rename", "write"} {
		for _, fresh := range []bool{true, false} {
			if op != "create" && !fresh {
				continue // nothing to make, rename or write in a store that is there
			}
			t.Run(op, func(t *testing.T) {
				dir := t.TempDir()
				if !fresh {
					mustOpen(t, dir, OS{})
				}
				disk := newFaultFS(dir)
				disk.fail = func(o, _ string) error {
					if o == op {
						return syscall.EROFS
					}
					return nil
				}
				_, err := Open(dir, disk)
				if !errors.Is(err, syscall.EROFS) {
					t.Fatalf("got %v, want EROFS", err)
				}
				for _, part := range []string{dir, "make the folder writable"} {
					if !strings.Contains(err.Error(), part) {
						t.Errorf("error %q does not say %q", err, part)
					}
				}
				for _, name := range files(t, dir) {
					if strings.Contains(name, tempMark) {
						t.Errorf("left behind: %s", name)
					}
				}
			})
		}
	}
	t.Run("by its mode", func(t *testing.T) {
		if os.Geteuid() <= 0 {
			t.Skip("modes do not bind this user")
		}
		dir := t.TempDir()
		if err := os.Chmod(dir, 0o555); err != nil {
			t.Fatal(err)
		}
		if _, err := Open(dir, OS{}); !errors.Is(err, fs.ErrPermission) {
			t.Errorf("got %v, want fs.ErrPermission", err)
		}
	})
}

// TestNoSync: what can be remade is not forced to the disk. Only the version mark
// is, once in the life of a store.
func TestNoSync(t *testing.T) {
	dir := t.TempDir()
	disk := newFaultFS(dir)
	s := mustOpen(t, dir, disk)
	if n := disk.count("sync", versionName); n != 1 {
		t.Errorf("VERSION was synced %d times, want 1", n)
	}
	h := mustPut(t, s, "data")
	mustAppend(t, s, entry(1, "a"))
	if _, err := s.Get(h, 4); err != nil {
		t.Fatal(err)
	}
	if _, _, err := s.Trim(nil); err != nil {
		t.Fatal(err)
	}
	mustOpen(t, dir, disk)
	if n := disk.count("sync", ""); n != 1 {
		t.Errorf("%d syncs, want the one of VERSION", n)
	}
}

// TestFolderDeleted: the folder may be deleted at any time, also in a run.
func TestFolderDeleted(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "store")
	s := mustOpen(t, dir, OS{})
	h := mustPut(t, s, "data")
	if err := os.RemoveAll(dir); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Get(h, 4); !errors.Is(err, ErrMissing) {
		t.Errorf("got %v, want ErrMissing", err)
	}
	mustPut(t, s, "data")
	mustAppend(t, s, entry(1, "a"))
	again := mustOpen(t, dir, OS{})
	if got, err := again.Get(h, 4); err != nil || string(got) != "data" {
		t.Errorf("got %q and %v", got, err)
	}
	if _, ok := again.Lookup(key(1)); !ok {
		t.Error("the entry is lost")
	}
}
