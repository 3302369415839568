package pipeline_test

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"fascicle/pipeline"

	"github.com/google/go-cmp/cmp"
)

// jsonValues is what values.json is made of.
func jsonValues(t testing.TB, o *pipeline.Outcome) string {
	t.Helper()
	v, err := o.ReadValues(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	b, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// copyStudy copies a study with all that was made of it, times of files included, so that they stay known.
func copyStudy(t testing.TB, from string) string {
	t.Helper()
	to := filepath.Join(quickDir(t), "study")
	copyTree(t, from, to)
	return to
}

// quickDir is a folder for tests that write thousands of small files: in memory where there is such a place.
func quickDir(t testing.TB) string {
	t.Helper()
	const memory = "/dev/shm"
	if info, err := os.Stat(memory); err == nil && info.IsDir() {
		if dir, err := os.MkdirTemp(memory, "fascicle-test-"); err == nil {
			t.Cleanup(func() { os.RemoveAll(dir) })
			return dir
		}
	}
	return t.TempDir()
}

func copyTree(t testing.TB, from, to string) {
	t.Helper()
	entries, err := os.ReadDir(from)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.MkdirAll(to, 0o777); err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		a, b := filepath.Join(from, e.Name()), filepath.Join(to, e.Name())
		if e.IsDir() {
			copyTree(t, a, b)
			continue
		}
		data, err := os.ReadFile(a)
		if err != nil {
			t.Fatal(err)
		}
		info, err := e.Info()
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(b, data, 0o666); err != nil {
			t.Fatal(err)
		}
		if err := os.Chtimes(b, info.ModTime(), info.ModTime()); err != nil {
			t.Fatal(err)
		}
	}
}

// objectFiles lists the objects of a study's store by their hash.
func objectFiles(t testing.TB, dir string) []string {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(dir, ".fascicle", "store", "objects", "??", "*"))
	if err != nil || len(files) == 0 {
		t.Fatal("no objects", err)
	}
	slices.Sort(files)
	return files
}

// wholeObjects makes sure that every object is what its name says.
func wholeObjects(t testing.TB, dir string) {
	t.Helper()
	for _, f := range objectFiles(t, dir) {
		sum := sha256.Sum256(readFile(t, f))
		if hex.EncodeToString(sum[:]) != filepath.Base(f) {
			t.Errorf("object %s is still damaged", filepath.Base(f)[:12])
		}
	}
}

func readFile(t testing.TB, name string) []byte {
	t.Helper()
	b, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func overwrite(t testing.TB, name string, b []byte) {
	t.Helper()
	if err := os.WriteFile(name, b, 0o666); err != nil {
		t.Fatal(err)
	}
}

// revised are the kinds with the revisions of some raised, so that their stages must be made again and read what feeds them.
func revised(kinds []*pipeline.Kind, names ...string) []*pipeline.Kind {
	for _, k := range kinds {
		if slices.Contains(names, k.Name) {
			k.Revision++
		}
	}
	return kinds
}

// reading is a run that also reads all values before it gives the study back, as a report does.
func reading(t testing.TB) pipeline.Options {
	return pipeline.Options{Report: func(ctx context.Context, o *pipeline.Outcome) error {
		_, err := o.ReadValues(ctx)
		return err
	}}
}

// sameAs holds a run against an undamaged one.
func sameAs(t testing.TB, want, got *ran) {
	t.Helper()
	if len(got.failed)+len(got.blocked) > 0 {
		t.Fatal("failed or blocked: ", got.failed, got.blocked, got.messages)
	}
	if d := cmp.Diff(jsonValues(t, want.Outcome), jsonValues(t, got.Outcome)); d != "" {
		t.Error("other values than those of an undamaged run:", d)
	}
	if want.Digest != got.Digest {
		t.Error("another digest than that of an undamaged run")
	}
}

// damages are the ways in which a file can be spoilt.
var damages = []struct {
	name string
	do   func(b, other []byte) []byte // nil: the file goes
}{
	{"first byte flipped", func(b, _ []byte) []byte { b[0] ^= 1; return b }},
	{"middle byte flipped", func(b, _ []byte) []byte { b[len(b)/2] ^= 0x80; return b }},
	{"last byte flipped", func(b, _ []byte) []byte { b[len(b)-1] ^= 1; return b }},
	{"cut by a byte", func(b, _ []byte) []byte { return b[:len(b)-1] }},
	{"cut in the middle", func(b, _ []byte) []byte { return b[:len(b)/2] }},
	{"emptied", func(b, _ []byte) []byte { return []byte{} }},
	{"longer", func(b, _ []byte) []byte { return append(b, 0) }},
	{"zeros", func(b, _ []byte) []byte { return make([]byte, len(b)) }},
	{"another's bytes", func(_, other []byte) []byte { return other }},
	{"gone", func(_, _ []byte) []byte { return nil }},
}

func spoil(t testing.TB, name, other string, do func(b, other []byte) []byte) {
	t.Helper()
	b := do(readFile(t, name), readFile(t, other))
	if b == nil {
		if err := os.Remove(name); err != nil {
			t.Fatal(err)
		}
		return
	}
	overwrite(t, name, b)
}

var allButReading = []string{"t.less", "t.sign", "t.sum", "t.rows"}

func TestDamagedObjectsAreMadeAgain(t *testing.T) {
	first := fixture(t, 3)
	run(t, first, fixtureKinds(nil), pipeline.Options{})
	plain := copyStudy(t, first)
	want := run(t, plain, revised(fixtureKinds(nil), allButReading...), reading(t))

	for _, d := range damages {
		t.Run(d.name, func(t *testing.T) {
			dir := copyStudy(t, first)
			files := objectFiles(t, dir)
			whole := make([][]byte, len(files))
			for i, f := range files {
				whole[i] = readFile(t, f)
			}
			for i, f := range files {
				b := d.do(slices.Clone(whole[i]), whole[(i+1)%len(files)])
				if b == nil {
					if err := os.Remove(f); err != nil {
						t.Fatal(err)
					}
					continue
				}
				overwrite(t, f, b)
			}
			got := run(t, dir, revised(fixtureKinds(nil), allButReading...), reading(t))
			sameAs(t, want, got)
			if len(got.Notices) == 0 || !strings.Contains(got.Notices[0], "made again") {
				t.Errorf("the run does not say what it made again: %q", got.Notices)
			}
			wholeObjects(t, dir)
			again := run(t, dir, revised(fixtureKinds(nil), allButReading...), reading(t))
			if len(again.made) > 0 || len(again.Notices) > 0 {
				t.Errorf("the next run made %v and says %q", again.made, again.Notices)
			}
		})
	}
}

// Each object alone, and each with all that it is made from.
func TestDamagedChainIsMadeAgain(t *testing.T) {
	first := fixture(t, 2)
	r := run(t, first, fixtureKinds(nil), pipeline.Options{})
	hashOf := map[string]string{}   // the object that an item is
	called := map[string][]string{} // … and the items that an object is: two samples may share one
	r.Complete()
	for _, s := range r.Stages {
		for _, it := range s.Items {
			if s.Kind != nil {
				hashOf[it.Stage+" "+it.Name] = it.Hash.String()
				called[it.Hash.String()] = append(called[it.Hash.String()], it.Stage+" "+it.Name)
			}
		}
	}
	chain := []string{"curves day=d1,sample=S1", "curves day=d1,sample=B1", "net day=d1,sample=S1", "sums sample=S1"}
	for depth := range chain {
		for _, from := range []int{depth, 0} {
			t.Run(fmt.Sprintf("%s and %d before", chain[depth], depth-from), func(t *testing.T) {
				dir := copyStudy(t, first)
				for _, id := range chain[from : depth+1] {
					h := hashOf[id]
					spoil(t, filepath.Join(dir, ".fascicle", "store", "objects", h[:2], h), filepath.Join(dir, "study.yaml"),
						func(b, _ []byte) []byte { b[len(b)/3] ^= 4; return b })
				}
				// what is next along the chain is made again, and reads the damaged one
				next := [][]string{{"t.less"}, {"t.less"}, {"t.sign", "t.sum"}, {}}[depth]
				plain := run(t, copyStudy(t, first), revised(fixtureKinds(nil), next...), reading(t))
				got := run(t, dir, revised(fixtureKinds(nil), next...), reading(t))
				sameAs(t, plain, got)
				for _, id := range chain[from : depth+1] {
					if !slices.ContainsFunc(got.Notices, func(n string) bool {
						return slices.ContainsFunc(called[hashOf[id]], func(name string) bool { return strings.Contains(n, name+" ") })
					}) {
						t.Errorf("no notice names %s: %q", id, got.Notices)
					}
				}
				if len(got.Notices) != depth+1-from {
					t.Errorf("%d notices for %d damaged objects: %q", len(got.Notices), depth+1-from, got.Notices)
				}
				wholeObjects(t, dir)
			})
		}
	}
}

func TestRemakeFindsEveryDamagedObject(t *testing.T) {
	dir := fixture(t, 2)
	want := run(t, dir, fixtureKinds(nil), pipeline.Options{})
	for _, f := range objectFiles(t, dir) {
		spoil(t, f, f, func(b, _ []byte) []byte { b[len(b)/2] ^= 1; return b })
	}
	got := run(t, dir, fixtureKinds(nil), pipeline.Options{Remake: true})
	wholeObjects(t, dir)
	if n := len(objectFiles(t, dir)); len(got.Notices) != n {
		t.Errorf("%d notices for %d damaged objects: %q", len(got.Notices), n, got.Notices)
	}
	sameAs(t, want, got)
}

func TestDamagedIndexLinesAreMadeAgain(t *testing.T) {
	first := fixture(t, 2)
	want := run(t, first, fixtureKinds(nil), pipeline.Options{})
	index := filepath.Join(".fascicle", "store", "index")
	whole := readFile(t, filepath.Join(first, index))
	lines := strings.SplitAfter(string(whole), "\n")
	lines = lines[:len(lines)-1]

	// check runs on a damaged index and says what was made again.
	check := func(t *testing.T, damaged string, made int, noticed bool) {
		t.Helper()
		dir := copyStudy(t, first)
		overwrite(t, filepath.Join(dir, index), []byte(damaged))
		got := run(t, dir, fixtureKinds(nil), reading(t))
		sameAs(t, want, got)
		if len(got.made) != made {
			t.Errorf("made %v, want %d items", got.made, made)
		}
		if noticed != (len(got.Notices) > 0) {
			t.Errorf("notices %q", got.Notices)
		}
		if again := run(t, dir, fixtureKinds(nil), reading(t)); len(again.made) > 0 {
			t.Errorf("the next run made %v", again.made)
		}
	}
	line := slices.IndexFunc(lines, func(l string) bool { return strings.Contains(l, `"kind":"t.less`) })
	if line < 0 {
		t.Fatal("no line of t.less")
	}
	put := func(l string) string {
		out := slices.Clone(lines)
		out[line] = l
		return strings.Join(out, "")
	}
	for _, field := range []string{`{"key":"`, `"key":"`, `"kind":"`, `"objects":`, `"output":"`, `"n":`, `"lead":`, `"hash":"`, `"size":`, `"sum":"`} {
		at := strings.Index(lines[line], field)
		if at < 0 {
			t.Fatalf("no %s in %s", field, lines[line])
		}
		t.Run("name of "+field, func(t *testing.T) {
			b := []byte(lines[line])
			b[at+1] ^= 1
			check(t, put(string(b)), 1, true)
		})
		t.Run("value of "+field, func(t *testing.T) {
			b := []byte(lines[line])
			b[at+len(field)] ^= 1
			// a key that was turned into another one is that other recipe's line, which nobody asks for
			check(t, put(string(b)), 1, !strings.HasSuffix(field, `"key":"`))
		})
	}
	t.Run("cut", func(t *testing.T) { check(t, put(lines[line][:len(lines[line])/2]+"\n"), 1, true) })
	t.Run("cut short", func(t *testing.T) { check(t, put("{\n"), 1, true) })
	t.Run("cut without its end", func(t *testing.T) {
		last := len(lines) - 1
		check(t, strings.Join(lines[:last], "")+lines[last][:len(lines[last])-10], 1, true)
	})
	t.Run("emptied", func(t *testing.T) { check(t, put("\n"), 1, false) })
	t.Run("gone", func(t *testing.T) { check(t, put(""), 1, false) })
	t.Run("joined with the next", func(t *testing.T) {
		if line+1 == len(lines) {
			t.Fatal("it is the last")
		}
		check(t, put(strings.TrimSuffix(lines[line], "\n")), 2, true)
	})
	t.Run("another's objects", func(t *testing.T) {
		other := slices.IndexFunc(lines, func(l string) bool { return l != lines[line] && strings.Contains(l, `"kind":"t.less`) })
		key := len(`{"key":"`) + 64
		check(t, put(lines[line][:key]+lines[other][key:]), 1, true)
	})
	t.Run("an older line of the same recipe", func(t *testing.T) {
		b := []byte(lines[line])
		b[len(b)/2] ^= 1
		check(t, string(whole)+string(b), 0, true)
	})
	t.Run("all emptied", func(t *testing.T) { check(t, "", len(want.made), false) })
	t.Run("all zeros", func(t *testing.T) { check(t, string(make([]byte, len(whole))), len(want.made), true) })
	t.Run("lines in another order", func(t *testing.T) {
		l := slices.Clone(lines)
		slices.Reverse(l)
		check(t, strings.Join(l, ""), 0, false)
	})
}

func TestRawFileThatChangedMeanwhile(t *testing.T) {
	dir := fixture(t, 2)
	r := run(t, dir, fixtureKinds(nil), pipeline.Options{})
	r.Complete()
	for _, s := range r.Stages {
		for _, it := range s.Items {
			if it.Stage == "curves" && it.Sample == "S1" {
				h := it.Hash.String()
				overwrite(t, filepath.Join(dir, ".fascicle", "store", "objects", h[:2], h), []byte("damaged"))
			}
		}
	}
	kinds := revised(fixtureKinds(nil), "t.less")
	said := map[string]string{}
	state := map[string]pipeline.State{}
	raw := filepath.Join(dir, "raw", "d1", "S1.csv")
	_, err := pipeline.Run(context.Background(), load(t, dir, kinds), pipeline.Options{Event: func(e pipeline.Event) {
		if e.Stage == "curves" && e.Item == "day=d1,sample=S1" {
			if e.State != pipeline.Kept {
				t.Errorf("the curve is %s", e.State)
			}
			overwrite(t, raw, append(readFile(t, raw), "17,1\n"...))
		}
		said[e.Stage+" "+e.Item], state[e.Stage+" "+e.Item] = e.Message, e.State
	}})
	if err != nil {
		t.Fatal(err)
	}
	m := said["net day=d1,sample=S1"]
	if state["net day=d1,sample=S1"] != pipeline.Failed {
		t.Errorf("net is %s", state["net day=d1,sample=S1"])
	}
	for _, part := range []string{"damaged", "raw/d1/S1.csv has changed since this run began", "run again"} {
		if !strings.Contains(m, part) {
			t.Errorf("the message lacks %q: %s", part, m)
		}
	}
	if state["net day=d2,sample=S2"] != pipeline.Made {
		t.Errorf("the other sample is %s", state["net day=d2,sample=S2"])
	}
	got := run(t, dir, kinds, pipeline.Options{})
	plain := fixture(t, 2)
	overwrite(t, filepath.Join(plain, "raw", "d1", "S1.csv"), readFile(t, raw))
	sameAs(t, run(t, plain, kinds, pipeline.Options{}), got)
}

// A file that cannot be read fails its own item, in words that do not depend on where the study lies.
func TestRawFileThatCannotBeRead(t *testing.T) {
	var digests, messages []string
	for range 2 {
		dir := fixture(t, 2)
		if err := os.Remove(filepath.Join(dir, "raw/d1/S1.csv")); err != nil {
			t.Fatal(err)
		}
		if err := os.Symlink("nowhere", filepath.Join(dir, "raw/d1/S1.csv")); err != nil {
			t.Skip(err)
		}
		r := run(t, dir, fixtureKinds(nil), pipeline.Options{})
		if d := cmp.Diff([]string{"curves day=d1,sample=S1"}, r.failed); d != "" {
			t.Error(d)
		}
		m := r.messages["curves day=d1,sample=S1"]
		if !strings.Contains(m, "raw/d1/S1.csv") || !strings.Contains(m, "no such file") || strings.Contains(m, dir) {
			t.Errorf("the message: %s", m)
		}
		digests, messages = append(digests, r.Digest), append(messages, m)
	}
	if digests[0] != digests[1] {
		t.Error("the digest depends on the study's folder")
	}
	if messages[0] != messages[1] {
		t.Error("the message depends on the study's folder")
	}
}
