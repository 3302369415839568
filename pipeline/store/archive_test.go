package store

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"encoding/binary"
	"errors"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

// packed makes a zip archive of name, content, name, content, …
func packed(t testing.TB, files ...string) string {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for i := 0; i < len(files); i += 2 {
		w, err := z.Create(files[i])
		if err != nil {
			t.Fatal(err)
		}
		if _, err := io.WriteString(w, files[i+1]); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// members lists an archive and reads every file in it that is not known. It says how many it read.
func members(t testing.TB, h *FileHashes, root, rel string) (all map[string]string, read int) {
	t.Helper()
	names, err := h.Members(root, rel)
	if err != nil {
		t.Fatal(err)
	}
	all = map[string]string{}
	for _, n := range names {
		if sum, size, ok := h.KnownMember(rel, n); ok {
			all[n] = ContentHash(sum).String()
			if size < 0 {
				t.Errorf("%s: size %d", n, size)
			}
			continue
		}
		data, sum, err := h.ReadMember(root, rel, n)
		if err != nil {
			t.Fatal(err)
		}
		if sum != HashBytes(data) {
			t.Errorf("%s: not the hash of its bytes", n)
		}
		all[n] = ContentHash(sum).String()
		read++
	}
	return all, read
}

func TestMembersAreRemembered(t *testing.T) {
	root, disk, h := raw(t)
	writeRaw(t, root, "raw/d.zip", packed(t, "b/2.csv", "two", "1.csv", "one", "b/", ""), day)
	want := map[string]string{"1.csv": HashBytes([]byte("one")).String(), "b/2.csv": HashBytes([]byte("two")).String()}
	step := func(what string, h *FileHashes, want map[string]string, reads int, opens bool) *FileHashes {
		t.Helper()
		before := disk.count("open", "d.zip")
		all, read := members(t, h, root, "raw/d.zip")
		if d := cmp.Diff(want, all); d != "" || read != reads {
			t.Errorf("%s: read %d of %d, %s", what, read, reads, d)
		}
		if opened := disk.count("open", "d.zip") > before; opened != opens {
			t.Errorf("%s: opened the archive: %v, want %v", what, opened, opens)
		}
		if err := h.Save(); err != nil {
			t.Fatal(err)
		}
		return reopen(t, root, disk)
	}
	if _, err := h.Members(root, "raw/d.zip"); err != nil { // a run that was interrupted before it read anything
		t.Fatal(err)
	}
	if err := h.Save(); err != nil {
		t.Fatal(err)
	}
	h = step("listed", reopen(t, root, disk), want, 2, true)
	h = step("unchanged", h, want, 0, false)
	if err := os.Chtimes(filepath.Join(root, "raw/d.zip"), day.Add(20*time.Second), day.Add(20*time.Second)); err != nil {
		t.Fatal(err)
	}
	h = step("touched", h, want, 2, true)
	h = step("unchanged again", h, want, 0, false)
	writeRaw(t, root, "raw/d.zip", packed(t, "1.csv", "uno", "c/3.csv", "three"), day.Add(40*time.Second))
	want = map[string]string{"1.csv": HashBytes([]byte("uno")).String(), "c/3.csv": HashBytes([]byte("three")).String()}
	h = step("changed", h, want, 2, true)
	h = step("unchanged at last", h, want, 0, false)

	// a line that was damaged must not take its file out of the archive
	name := filepath.Join(root, ".fascicle", "hashes")
	b, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	writeFile(t, name, bytes.Replace(b, []byte("c/3.csv"), []byte("c/4.csv"), 1))
	h = step("a damaged line", reopen(t, root, disk), want, 2, true)
	writeRaw(t, root, "raw/d.zip", packed(t, "1.csv", "young"), later.Add(-time.Second))
	want = map[string]string{"1.csv": HashBytes([]byte("young")).String()}
	h = step("young", h, want, 1, true)
	h = step("still young", h, want, 1, true)
	if files, err := filepath.Glob(filepath.Join(root, ".fascicle", "*")); err != nil || len(files) != 1 {
		t.Errorf("files %v", files)
	}
	writeRaw(t, root, "raw/d.zip", packed(t, "1.csv", "young"), day)
	if _, _, ok := h.KnownMember("raw/d.zip", "1.csv"); ok {
		t.Error("a member is known of an archive that was not listed")
	}
}

func TestMembersReadTogether(t *testing.T) {
	root, disk, h := raw(t)
	var files []string
	for i := range 40 {
		files = append(files, strings.Repeat("x", i+1)+".csv", strings.Repeat("data ", i*i))
	}
	writeRaw(t, root, "d.zip", packed(t, files...), day)
	if _, err := h.Members(root, "d.zip"); err != nil {
		t.Fatal(err)
	}
	var wg sync.WaitGroup
	for i := 0; i < len(files); i += 2 {
		wg.Go(func() {
			data, _, err := h.ReadMember(root, "d.zip", files[i])
			if err != nil || string(data) != files[i+1] {
				t.Errorf("%s: %v", files[i], err)
			}
		})
	}
	wg.Wait()
	if opened, closed := disk.count("open", "d.zip"), disk.count("close", "d.zip"); opened != closed {
		t.Errorf("opened %d times, closed %d times", opened, closed)
	}
}

func TestArchivesThatAreRefused(t *testing.T) {
	good := packed(t, "1.csv", "one", "2.csv", "two")
	zeros := strings.Repeat("0", 8<<20)
	overlap := []byte(packed(t, "1.csv", strings.Repeat("ab c", 99), "2.csv", strings.Repeat("ab c", 99)))
	at := bytes.LastIndex(overlap, []byte("PK\x01\x02")) // the directory's entry of the second file
	binary.LittleEndian.PutUint32(overlap[at+20:], uint32(len(overlap)))
	locked := []byte(good)
	for i := range locked {
		switch {
		case bytes.HasPrefix(locked[i:], []byte("PK\x03\x04")):
			locked[i+6] |= 1
		case bytes.HasPrefix(locked[i:], []byte("PK\x01\x02")):
			locked[i+8] |= 1
		}
	}
	var stored bytes.Buffer
	z := zip.NewWriter(&stored)
	w, err := z.CreateHeader(&zip.FileHeader{Name: "1.csv", Method: zip.Store})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := io.WriteString(w, "one,two,three"); err != nil {
		t.Fatal(err)
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ name, archive, member, want string }{
		{"no zip archive", "sample,x", "", "d.zip: found no zip archive, or a broken one"},
		{"empty", "", "", "d.zip: found no zip archive, or a broken one"},
		{"cut", good[:len(good)-9], "", "d.zip: found no zip archive, or a broken one"},
		{"a way out", packed(t, "../1.csv", "one"), "", `d.zip: found a file "../1.csv" in the archive`},
		{"from the root", packed(t, "/1.csv", "one"), "", `d.zip: found a file "/1.csv" in the archive`},
		{"backslashes", packed(t, `a\1.csv`, "one"), "", "d.zip: found a file"},
		{"an empty name", packed(t, "", "one"), "", `d.zip: found a file "" in the archive`},
		{"an archive in its name", packed(t, "a!/1.csv", "one"), "", `d.zip: found a file "a!/1.csv" in the archive`},
		{"twice", packed(t, "1.csv", "one", "1.csv", "two"), "", `d.zip: found two files "1.csv" in the archive`},
		{"overlapping", string(overlap), "", "d.zip: found an archive whose files overlap"},
		{"a bomb", packed(t, "1.csv", zeros), "1.csv", "d.zip!/1.csv: found a file of"},
		{"a bomb that lies", strings.ReplaceAll(packed(t, "1.csv", zeros), "\x00\x00\x80\x00", "\x01\x00\x00\x00"), "1.csv", "d.zip!/1.csv: found a file"},
		{"encrypted", string(locked), "2.csv", "d.zip!/2.csv: found an encrypted file"},
		{"damaged", strings.Replace(stored.String(), "one,two", "one;two", 1), "1.csv", "d.zip!/1.csv: found a file that is broken"},
		{"not there", good, "3.csv", "d.zip!/3.csv: found no such file in the archive"},
	} {
		t.Run(c.name, func(t *testing.T) {
			root, disk, h := raw(t)
			writeRaw(t, root, "d.zip", c.archive, day)
			names, err := h.Members(root, "d.zip")
			if c.member != "" {
				if err != nil {
					t.Fatal(err)
				}
				_, _, err = h.ReadMember(root, "d.zip", c.member)
			} else if names != nil {
				t.Errorf("names %q beside an error", names)
			}
			if err == nil || !strings.Contains(err.Error(), c.want) || !strings.Contains(err.Error(), "; expected ") {
				t.Errorf("error %v, want %q", err, c.want)
			}
			if c.member == "" {
				if _, err := ListMembers(root, "d.zip", disk); err == nil || !strings.Contains(err.Error(), c.want) {
					t.Errorf("listed: error %v, want %q", err, c.want)
				}
			}
			if opened, closed := disk.count("open", "d.zip"), disk.count("close", "d.zip"); opened != closed {
				t.Errorf("opened %d times, closed %d times", opened, closed)
			}
		})
	}
}

func TestArchiveThatChangesWhileItIsRead(t *testing.T) {
	for _, remembered := range []bool{false, true} {
		root, disk, h := raw(t)
		writeRaw(t, root, "d.zip", packed(t, "1.csv", "one"), day)
		if remembered {
			members(t, h, root, "d.zip")
			if err := h.Save(); err != nil {
				t.Fatal(err)
			}
			h = reopen(t, root, disk)
		}
		if _, err := h.Members(root, "d.zip"); err != nil {
			t.Fatal(err)
		}
		writeRaw(t, root, "d.zip", packed(t, "1.csv", "other"), day.Add(20*time.Second))
		if _, _, err := h.ReadMember(root, "d.zip", "1.csv"); err == nil || !strings.Contains(err.Error(), "d.zip: changed while it was read") {
			t.Errorf("remembered %v: %v", remembered, err)
		}
	}
	root, disk, h := raw(t)
	writeRaw(t, root, "d.zip", packed(t, "1.csv", "one"), day)
	disk.fail = func(op, name string) error {
		if op == "open" && name == "d.zip" {
			return syscall.EACCES
		}
		return nil
	}
	if _, err := h.Members(root, "d.zip"); !errors.Is(err, syscall.EACCES) || !strings.HasPrefix(err.Error(), "d.zip: cannot be opened") {
		t.Errorf("error %v", err)
	}
	if _, err := h.Members(root, "e.zip"); err == nil || !strings.HasPrefix(err.Error(), "e.zip: cannot be read") {
		t.Errorf("error %v", err)
	}
}

// What archives hold is never believed: hostile bytes are an error or files within bounds.
func FuzzArchive(f *testing.F) {
	f.Add([]byte(packed(f, "1.csv", "one", "b/2.csv", strings.Repeat("two", 50))))
	f.Add([]byte("PK\x05\x06" + strings.Repeat("\x00", 18)))
	var b bytes.Buffer
	z, _ := flate.NewWriter(&b, 9)
	_, _ = z.Write(make([]byte, 1000))
	z.Close()
	f.Add(b.Bytes())
	root := f.TempDir()
	f.Fuzz(func(t *testing.T, data []byte) {
		writeRaw(t, root, "d.zip", string(data), day)
		h := reopen(t, root, OS{})
		names, err := h.Members(root, "d.zip")
		if err != nil {
			return
		}
		if !slices.IsSorted(names) {
			t.Errorf("names %q", names)
		}
		for _, n := range names {
			data, _, err := h.ReadMember(root, "d.zip", n)
			if err == nil && int64(len(data)) > mostUnpacked {
				t.Errorf("%q: %d bytes", n, len(data))
			}
		}
	})
}
