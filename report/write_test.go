package report

import (
	"context"
	"errors"
	"flag"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"fascicle/pipeline"
	"fascicle/pipeline/table"
)

var update = flag.Bool("update", false, "write testdata/*.golden anew")

// golden compares with testdata/NAME.golden.
func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name+".golden")
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o666); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if string(want) != got {
		t.Errorf("%s differs from what it was; if that is meant, run the test with -update\n%s", path, shout(string(want), got))
	}
}

func write(t testing.TB, f *fake) Result {
	t.Helper()
	res, err := Write(context.Background(), f.Outcome)
	if err != nil {
		t.Fatal(err)
	}
	return res
}

// outFiles reads all files below out/.
func outFiles(t testing.TB, dir string) map[string]string {
	t.Helper()
	files := map[string]string{}
	root := filepath.Join(dir, "out")
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil || !d.Type().IsRegular() {
			return err
		}
		data, err := os.ReadFile(path)
		rel, _ := filepath.Rel(root, path)
		files[filepath.ToSlash(rel)] = string(data)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return files
}

func TestGolden(t *testing.T) {
	dir := t.TempDir()
	f := fullFake(t, dir)
	res := write(t, f)
	files := outFiles(t, dir)
	if res.Written != len(files) || res.Unchanged != 0 || res.Removed != 0 {
		t.Errorf("found %+v; expected %d written", res, len(files))
	}
	golden(t, "values.json", files["values.json"])
	for _, name := range []string{"samples", "sizes", "lifetimes", "lines", "lines.points", "checks"} {
		golden(t, "tables-"+name+".csv", files["tables/"+name+".csv"])
	}
	golden(t, "samples.sizes.Rg_1.svg", files["figures/samples.sizes.Rg_1.svg"])
	golden(t, "lines.line.svg", files["figures/lines.line.salt=NaCl.svg"])
	var names []string
	for name := range files {
		names = append(names, name)
	}
	slices.Sort(names)
	golden(t, "names", strings.Join(names, "\n")+"\n")
	golden(t, "outline", outline(t, files["report.html"]))
}

// The same outcome gives the same bytes, whether items were made or kept, wherever the study lies.
func TestDeterministic(t *testing.T) {
	var want map[string]string
	for i := range 20 {
		dir := t.TempDir()
		f := fullFake(t, dir)
		if i%2 == 1 {
			for s := range f.Stages {
				for k := range f.Stages[s].Items {
					if it := &f.Stages[s].Items[k]; it.State == pipeline.Made {
						it.State = pipeline.Kept
					}
				}
			}
			f.Counts.Kept, f.Counts.Made = f.Counts.Kept+f.Counts.Made, 0
		}
		write(t, f)
		got := outFiles(t, dir)
		for name, text := range got {
			if strings.Contains(text, dir) {
				t.Fatalf("%s names the study's folder", name)
			}
		}
		if i == 0 {
			want = got
			continue
		}
		for name := range got {
			if got[name] != want[name] {
				t.Fatalf("run %d: %s differs: %s", i, name, shout(want[name], got[name]))
			}
		}
		if len(got) != len(want) {
			t.Fatalf("run %d: %d files; expected %d", i, len(got), len(want))
		}
	}
	if page := want["report.html"]; strings.Contains(page, ">made<") || strings.Contains(page, ">kept<") {
		t.Error("the page tells made from kept")
	}
}

func TestUpToDate(t *testing.T) {
	dir := t.TempDir()
	f := fullFake(t, dir)
	first := write(t, f)
	n := first.Written
	page := filepath.Join(dir, "out", "report.html")
	before, err := os.Stat(page)
	if err != nil {
		t.Fatal(err)
	}
	again := func(t *testing.T, digest string) (Result, int64) {
		g := fullFake(t, dir)
		g.Digest = digest
		return write(t, g), g.loads.Load()
	}

	t.Run("nothing changed", func(t *testing.T) {
		record, err := os.Stat(manifestPath(dir))
		if err != nil {
			t.Fatal(err)
		}
		res, loads := again(t, "one")
		if want := (Result{Report: page, Unchanged: n}); res != want || loads != 0 {
			t.Errorf("found %+v and %d tables read; expected %+v and none", res, loads, want)
		}
		if now, _ := os.Stat(manifestPath(dir)); !os.SameFile(record, now) {
			t.Error("the record was written again")
		}
	})
	t.Run("a file was touched", func(t *testing.T) {
		when := time.Unix(1_900_000_000, 0)
		if err := os.Chtimes(page, when, when); err != nil {
			t.Fatal(err)
		}
		res, loads := again(t, "one")
		if res.Written != 0 || res.Unchanged != n || loads == 0 {
			t.Errorf("found %+v, %d tables read; expected all compared and none written", res, loads)
		}
		if _, loads := again(t, "one"); loads != 0 {
			t.Error("the new stamp was not taken down")
		}
	})
	t.Run("another digest, same content", func(t *testing.T) {
		res, _ := again(t, "two")
		now, err := os.Stat(page)
		if err != nil {
			t.Fatal(err)
		}
		if res.Written != 0 || !os.SameFile(before, now) {
			t.Errorf("found %+v; expected nothing written", res)
		}
	})
	t.Run("a file was changed by hand", func(t *testing.T) {
		name := filepath.Join(dir, "out", "tables", "sizes.csv")
		want, _ := os.ReadFile(name)
		if err := os.WriteFile(name, append([]byte("!"), want[1:]...), 0o666); err != nil {
			t.Fatal(err)
		}
		res, _ := again(t, "two")
		if got, _ := os.ReadFile(name); res.Written != 1 || string(got) != string(want) {
			t.Errorf("found %+v; expected the one file mended", res)
		}
	})
	t.Run("a file is gone", func(t *testing.T) {
		if err := os.Remove(filepath.Join(dir, "out", "values.json")); err != nil {
			t.Fatal(err)
		}
		if res, _ := again(t, "two"); res.Written != 1 {
			t.Errorf("found %+v; expected one file written", res)
		}
	})
	t.Run("the record is gone", func(t *testing.T) {
		if err := os.RemoveAll(filepath.Join(dir, pipeline.StateDir)); err != nil {
			t.Fatal(err)
		}
		if res, _ := again(t, "two"); res.Written != 0 || res.Unchanged != n {
			t.Errorf("found %+v; expected all compared", res)
		}
	})
	t.Run("the record is damaged", func(t *testing.T) {
		if err := os.WriteFile(manifestPath(dir), []byte(`{"digest":`), 0o666); err != nil {
			t.Fatal(err)
		}
		if res, _ := again(t, "two"); res.Written != 0 || res.Unchanged != n {
			t.Errorf("found %+v; expected all compared", res)
		}
	})
	t.Run("no digest", func(t *testing.T) {
		if _, loads := again(t, ""); loads == 0 {
			t.Error("an outcome without digest was taken for up to date")
		}
	})
}

func TestStaleFilesGo(t *testing.T) {
	dir, elsewhere := t.TempDir(), t.TempDir()
	precious := filepath.Join(elsewhere, "precious.txt")
	if err := os.WriteFile(precious, []byte("mine"), 0o666); err != nil {
		t.Fatal(err)
	}
	f := fullFake(t, dir)
	write(t, f)
	out := filepath.Join(dir, "out")
	put := func(name string) {
		name = filepath.Join(out, name)
		if err := os.MkdirAll(filepath.Dir(name), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(name, nil, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	put("figures/old.svg")
	put("old/deeper/old.txt")
	put("report.html.part")
	for _, link := range []struct{ to, at string }{{elsewhere, "linked"}, {precious, "link.txt"}} {
		if err := os.Symlink(link.to, filepath.Join(out, link.at)); err != nil {
			t.Skip("no links here")
		}
	}
	res := write(t, fullFake(t, dir))
	if res.Removed != 3 || res.Written != 0 {
		t.Errorf("found %+v; expected 3 files removed", res)
	}
	if _, err := os.Stat(filepath.Join(out, "old")); !errors.Is(err, fs.ErrNotExist) {
		t.Error("the emptied folder still stands")
	}
	if data, _ := os.ReadFile(precious); string(data) != "mine" {
		t.Error("a file behind a link was touched")
	}
	if _, err := os.Lstat(filepath.Join(out, "link.txt")); err != nil {
		t.Error("a link was removed; only files are")
	}
	if g := fullFake(t, dir); write(t, g).Removed != 0 || g.loads.Load() != 0 {
		t.Error("links in out/ keep the report from being up to date")
	}
}

// A link in the place of a file is replaced, what it points to is not written through.
func TestLinkIsNotFollowed(t *testing.T) {
	dir := t.TempDir()
	precious := filepath.Join(t.TempDir(), "precious.html")
	if err := os.WriteFile(precious, []byte("mine"), 0o666); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(filepath.Join(dir, "out"), 0o777); err != nil {
		t.Fatal(err)
	}
	page := filepath.Join(dir, "out", "report.html")
	if err := os.Symlink(precious, page); err != nil {
		t.Skip("no links here")
	}
	write(t, fullFake(t, dir))
	if data, _ := os.ReadFile(precious); string(data) != "mine" {
		t.Error("the file behind the link was written")
	}
	if info, err := os.Lstat(page); err != nil || !info.Mode().IsRegular() {
		t.Error("the link was not replaced by the page")
	}
}

func TestRefusals(t *testing.T) {
	cases := []struct {
		name  string
		setup func(t *testing.T, dir string) error
		want  string
	}{
		{"out is a link", func(t *testing.T, dir string) error { return os.Symlink(t.TempDir(), filepath.Join(dir, "out")) }, "out: found a link"},
		{"out is a file", func(t *testing.T, dir string) error {
			return os.WriteFile(filepath.Join(dir, "out"), nil, 0o666)
		}, "out: found a file"},
		{"out belongs to somebody else", func(t *testing.T, dir string) error {
			if err := os.Mkdir(filepath.Join(dir, "out"), 0o777); err != nil {
				return err
			}
			return os.WriteFile(filepath.Join(dir, "out", "thesis.tex"), nil, 0o666)
		}, "did not write (thesis.tex)"},
		{"figures is a link", func(t *testing.T, dir string) error {
			if err := os.Mkdir(filepath.Join(dir, "out"), 0o777); err != nil {
				return err
			}
			return os.Symlink(t.TempDir(), filepath.Join(dir, "out", "figures"))
		}, "out/figures: found a link"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			if err := c.setup(t, dir); err != nil {
				t.Skip(err)
			}
			_, err := Write(context.Background(), fullFake(t, dir).Outcome)
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("found %v; expected an error with %q", err, c.want)
			}
		})
	}
}

func TestErrorsReachTheCaller(t *testing.T) {
	t.Run("a curve cannot be read", func(t *testing.T) {
		dir := t.TempDir()
		f := fullFake(t, dir)
		delete(f.tables, itemID{"sizes", "fit", "sample=S2"})
		_, err := Write(context.Background(), f.Outcome)
		if err == nil || !strings.Contains(err.Error(), "stage sizes, output fit, item sample=S2") {
			t.Fatalf("found %v; expected an error that names the item", err)
		}
		res := write(t, fullFake(t, dir)) // nothing of the failed attempt is in the way
		if got := len(outFiles(t, dir)); res.Written+res.Unchanged != got {
			t.Errorf("%+v, but %d files", res, got)
		}
	})
	t.Run("cancelled", func(t *testing.T) {
		ctx, cancel := context.WithCancel(context.Background())
		cancel()
		if _, err := Write(ctx, fullFake(t, t.TempDir()).Outcome); !errors.Is(err, context.Canceled) {
			t.Errorf("found %v; expected %v", err, context.Canceled)
		}
	})
	t.Run("a table's columns differ in unit", func(t *testing.T) {
		f := fullFake(t, t.TempDir())
		other := &table.Table{}
		other.AddFloat("radius", "um", []float64{1})
		f.tables[itemID{"lines", "points", "salt=NaCl"}] = other
		if _, err := Write(context.Background(), f.Outcome); err == nil || !strings.Contains(err.Error(), `column "radius"`) {
			t.Errorf("found %v; expected an error that names the column", err)
		}
	})
}

func TestEmptyOutcome(t *testing.T) {
	dir := t.TempDir()
	f := newFake(dir)
	write(t, f)
	files := outFiles(t, dir)
	if diff := cmp.Diff(2, len(files)); diff != "" {
		t.Errorf("files: %s", diff)
	}
	outline(t, files["report.html"])
	if !strings.Contains(files["report.html"], "Nothing failed and nothing is blocked.") {
		t.Error("the page does not say that nothing failed")
	}
}

func TestManySamplesLinkTheirFigures(t *testing.T) {
	dir := t.TempDir()
	f := manyItems(dir, mostInline+1, 1)
	write(t, f)
	files := outFiles(t, dir)
	page := files["report.html"]
	if strings.Contains(page, "Start of the curve with fitted line</title>") || !strings.Contains(page, `href="figures/sizes.fit.sample=N7.svg"`) {
		t.Error("figures of many samples should be links")
	}
	if files["figures/sizes.fit.sample=N7.svg"] == "" {
		t.Error("the linked figure is missing")
	}
}

// manyItems is a study of n samples with `each` stages of sizes.
func manyItems(dir string, n, each int) *fake {
	f := newFake(dir)
	q, y, u := make([]float64, 200), make([]float64, 200), make([]float64, 200)
	for k := range q {
		q[k], y[k], u[k] = 0.01*float64(k+1), 100/float64(k+1), 0.1
	}
	fit := &table.Table{}
	fit.AddFloat("q", "1/nm", q)
	fit.AddFloat("I", "1/cm", y)
	fit.AddFloat("u_I", "1/cm", u)
	fit.AddFloat("model", "1/cm", y)
	fit.AddFloat("residual", "1", u)
	for e := range each {
		stage := "sizes"
		if e > 0 {
			stage += string(rune('a' + e))
		}
		for i := range n {
			name := "N" + shortest(float64(i))
			it := pipeline.ItemOutcome{Name: "sample=" + name, Sample: name, Output: "plateaus", Form: pipeline.Values}
			v := &table.Table{}
			v.AddFloat("Rg_1", "nm", []float64{float64(i)})
			v.AddFloat("u_Rg_1", "nm", []float64{0.1})
			v.AddFloat("I0_1", "1/cm", []float64{float64(i) * 2})
			f.add(stage, fakeGuinier, it, v)
			it.Output, it.Form = "fit", pipeline.Curve
			f.add(stage, fakeGuinier, it, fit)
		}
	}
	return f
}

func BenchmarkWrite5000(b *testing.B) {
	for b.Loop() {
		b.StopTimer()
		dir := b.TempDir()
		f := manyItems(dir, 500, 5)
		b.StartTimer()
		write(b, f)
	}
}

func BenchmarkUpToDate5000(b *testing.B) {
	dir := b.TempDir()
	f := manyItems(dir, 500, 5)
	write(b, f)
	b.ResetTimer()
	for b.Loop() {
		write(b, f)
	}
}
