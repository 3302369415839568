package pipeline_test

import (
	"archive/zip"
	"bytes"
	"compress/gzip"
	"context"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"fascicle/pipeline"
	"fascicle/pipeline/store"
	"fascicle/pipeline/table"

	"github.com/google/go-cmp/cmp"
)

func packed(t testing.TB, files map[string]string) string {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for _, name := range slices.Sorted(maps.Keys(files)) {
		w, err := z.Create(name)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := io.WriteString(w, files[name]); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// openings is the disk, and counts how often each raw file is opened.
type openings struct {
	store.FS
	mu sync.Mutex
	n  map[string]int
}

func (d *openings) OpenFile(name string, flag int, perm fs.FileMode) (store.File, error) {
	d.mu.Lock()
	if strings.Contains(filepath.ToSlash(name), "/raw/") {
		d.n[filepath.Base(name)]++
	}
	d.mu.Unlock()
	return d.FS.OpenFile(name, flag, perm)
}

const archiveStudy = `study: archives
samples: samples.csv
graph:
  curves:
    kind: t.read
    set: {files: raw/<day>.zip!/a/<sample>.csv}
  sums:
    kind: t.sum
    from: {curve: curves}
`

func TestFilesInArchives(t *testing.T) {
	dir := t.TempDir()
	write(t, dir, "samples.csv", "sample\nS1\nS2\nS3\n")
	write(t, dir, "study.yaml", archiveStudy)
	first := map[string]string{"a/S1.csv": "1,2\n2,3\n", "a/S2.csv": "1,5\n2,6\n", "b/S1.csv": "no curve", "__MACOSX/a/._S1.csv": "", "a/.DS_Store": ""}
	write(t, dir, "raw/d1.zip", packed(t, first))
	write(t, dir, "raw/d2.zip", packed(t, map[string]string{"a/S3.csv": "1,7\n2,8\n"}))
	c := &calls{}
	disk := &openings{FS: store.OS{}, n: map[string]int{}}
	again := func() *ran {
		t.Helper()
		clear(disk.n)
		return run(t, dir, fixtureKinds(c), pipeline.Options{Disk: disk})
	}
	r := again()
	want := []string{"curves day=d1,sample=S1", "curves day=d1,sample=S2", "curves day=d2,sample=S3", "sums sample=S1", "sums sample=S2", "sums sample=S3"}
	if d := cmp.Diff(want, r.made); d != "" {
		t.Fatal(d, r.messages)
	}
	if d := cmp.Diff([]string{"no stage reads raw/d1.zip!/b/S1.csv"}, r.Remarks); d != "" {
		t.Error(d)
	}
	r.Complete()
	if raw := r.Raw[0]; raw.Path != "raw/d1.zip!/a/S1.csv" || raw.SHA256 != store.HashBytes([]byte(first["a/S1.csv"])).String() || raw.Size != 8 {
		t.Errorf("raw file %+v", raw)
	}
	if r = again(); len(r.kept) != 6 || len(disk.n) != 0 {
		t.Errorf("unchanged: kept %v, opened %v", r.kept, disk.n)
	}
	n := c.n.Load()
	first["a/S2.csv"] = "1,9\n2,9\n"
	write(t, dir, "raw/d1.zip", packed(t, first))
	if r = again(); !slices.Equal(r.made, []string{"curves day=d1,sample=S2", "sums sample=S2"}) || c.n.Load() != n+2 || disk.n["d2.zip"] != 0 {
		t.Errorf("one file in one archive: made %v, opened %v", r.made, disk.n)
	}
	delete(first, "a/S2.csv")
	write(t, dir, "raw/d1.zip", packed(t, first))
	if r = again(); len(r.made) != 0 || len(r.kept) != 4 {
		t.Errorf("a file taken out: made %v, kept %v", r.made, r.kept)
	}
	t.Run("check", func(t *testing.T) {
		files, remarks := load(t, dir, fixtureKinds(nil)).Files()
		want := []pipeline.FileMatch{{Stage: "curves", Path: "raw/d1.zip!/a/S1.csv", Item: "day=d1,sample=S1", Sample: "S1"}, {Stage: "curves", Path: "raw/d2.zip!/a/S3.csv", Item: "day=d2,sample=S3", Sample: "S3"}}
		if d := cmp.Diff(want, files); d != "" {
			t.Error(d)
		}
		if d := cmp.Diff([]string{"stage curves has no file of S2", "no stage reads raw/d1.zip!/b/S1.csv"}, remarks); d != "" {
			t.Error(d)
		}
	})
	t.Run("a damaged object", func(t *testing.T) {
		damaged := 0
		err := filepath.WalkDir(filepath.Join(dir, pipeline.StateDir, "store", "objects"), func(name string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() {
				return err
			}
			damaged++
			return os.Truncate(name, 9)
		})
		if err != nil || damaged == 0 {
			t.Fatal(damaged, err)
		}
		write(t, dir, "study.yaml", archiveStudy+"  signs:\n    kind: t.sign\n    from: {curve: curves}\n")
		r := run(t, dir, fixtureKinds(nil), pipeline.Options{})
		if len(r.failed)+len(r.blocked) > 0 || !strings.Contains(strings.Join(r.Notices, "\n"), "it was made again") {
			t.Errorf("%v, notices %v", r.messages, r.Notices)
		}
	})
	t.Run("broken", func(t *testing.T) {
		write(t, dir, "raw/d2.zip", "no archive")
		files, _ := load(t, dir, fixtureKinds(nil)).Files()
		if len(files) != 2 || files[1].Path != "raw/d2.zip" || !strings.Contains(files[1].Problem, "raw/d2.zip: found no zip archive, or a broken one") {
			t.Errorf("files %+v", files)
		}
		r := again()
		if m := r.messages["curves raw/d2.zip"]; !strings.Contains(m, "raw/d2.zip: found no zip archive, or a broken one") || r.messages["sums raw/d2.zip"] != m {
			t.Errorf("messages %q", r.messages)
		}
	})
	t.Run("a bomb", func(t *testing.T) {
		write(t, dir, "raw/d2.zip", packed(t, map[string]string{"a/S3.csv": strings.Repeat("0", 8<<20)}))
		r := again()
		if m := r.messages["curves day=d2,sample=S3"]; !strings.Contains(m, "raw/d2.zip!/a/S3.csv: found a file of") || !slices.Contains(r.failed, "curves day=d2,sample=S3") {
			t.Errorf("message %.200q", m)
		}
	})
}

// A kind gets the bytes of its file as they are, compressed or not, from a folder or an archive.
func TestFilesReachTheKindAsTheyAre(t *testing.T) {
	var b bytes.Buffer
	z := gzip.NewWriter(&b)
	if _, err := io.WriteString(z, "1,2\n2,3\n"); err != nil {
		t.Fatal(err)
	}
	z.Close()
	dir := t.TempDir()
	write(t, dir, "samples.csv", "sample\nS1\nS2\n")
	write(t, dir, "study.yaml", "study: bytes\nsamples: samples.csv\ngraph:\n  packed:\n    kind: t.bytes\n    set: {files: raw/<sample>.csv.gz}\n  archived:\n    kind: t.bytes\n    set: {files: raw/d.zip!/<sample>.csv.gz}\n")
	write(t, dir, "raw/S1.csv.gz", b.String())
	write(t, dir, "raw/d.zip", packed(t, map[string]string{"S2.csv.gz": b.String()}))
	kind := &pipeline.Kind{Name: "t.bytes", Revision: 1, Doc: "counts bytes", Source: "common practice, no source", Reads: true,
		Outputs:  []pipeline.Output{{Name: "items", Doc: "counts", Per: pipeline.PerAny, Form: pipeline.Values, Columns: []pipeline.Column{{Name: "same", Unit: "1"}}}},
		Settings: func() any { return &readSettings{} },
		Run: func(ctx context.Context, call *pipeline.Call) (pipeline.Choices, error) {
			tab := &table.Table{}
			same := 0.0
			if bytes.Equal(call.File.Data, b.Bytes()) {
				same = 1
			}
			tab.AddFloat("same", "1", []float64{same})
			return nil, call.Stream("items", nil, tab)
		}}
	r := run(t, dir, []*pipeline.Kind{kind}, pipeline.Options{})
	values, err := r.ReadValues(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, v := range values {
		if *v.Value == 1 {
			got = append(got, v.Sample+"/"+v.Stage)
		}
	}
	if d := cmp.Diff([]string{"S1/packed", "S2/archived"}, got); d != "" {
		t.Error(d, r.messages)
	}
}
