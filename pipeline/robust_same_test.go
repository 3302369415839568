package pipeline_test

import (
	"crypto/sha256"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"fascicle/pipeline"
)

// variedFiles are a study in which things are made, fail, are blocked and are remarked on, by dates, text and numbers.
func variedFiles() map[string]string {
	files := map[string]string{
		"samples.csv": `sample,role,taken,day,factor
S1,mixture,2031-03-01T00:30,d1,1
S2,mixture,2031-03-29T02:30,d1,1.25
S3,mixture,2031-03-30,d2,0.1
S4,mixture,,d2,2
S5,mixture,2031-10-26T01:30,d2,
S10,mixture,2031-10-26T23:45,d2,3
S11,,2031-10-26,d2,3
B1,solvent,2031-02-28T23:30,d1,1
B2,solvent,2031-03-29T02:00,d1,1
B3,solvent,2031-10-26T02:15,d2,1
`,
		"study.yaml": `study: much goes wrong here
samples: samples.csv
conditions:
  mixture: role == "mixture"
graph:
  curves:
    kind: t.read
    set: {files: raw/<rep>/<sample>.csv}
  net:
    kind: t.less
    from:
      curve: {stage: curves, where: mixture}
      background: {stage: curves, where: role == "solvent", nearest: {taken: before}}
    set: {scale: factor}
  signs: {kind: t.sign, from: {curve: net}}
  sums: {kind: t.sum, from: {curve: net}}
  counts: {kind: t.sum, from: {curve: signs}, by: [day, rep]}
  rows:
    kind: t.rows
    from: {sample: {stage: samples, where: mixture}, values: sums}
`,
		"raw/a/S99.csv":   "1,1\n", // of no sample
		"raw/notes.txt":   "nobody reads this\n",
		"raw/b/S3.csv":    "torn\n",
		"raw/b/extra.dat": "1,1\n",
	}
	for i, s := range []string{"S1", "S2", "S3", "S4", "S5", "S10", "S11", "B1", "B2", "B3"} {
		var b strings.Builder
		for j := range 40 {
			fmt.Fprintf(&b, "%d,%g\n", j+1, float64((i*7+j*13)%29)/3-2)
		}
		files["raw/a/"+s+".csv"] = b.String()
		if i < 2 {
			files["raw/b/"+s+".csv"] = b.String() + "41,7\n"
		}
	}
	return files
}

func writeIn(t *testing.T, dir string, files map[string]string, names []string) {
	t.Helper()
	for _, n := range names {
		write(t, dir, n, files[n])
	}
}

// TestSameWhateverTheCircumstances holds digest and values of one study against themselves, however it is run.
func TestSameWhateverTheCircumstances(t *testing.T) {
	files := variedFiles()
	names := slices.Sorted(maps.Keys(files))
	first := filepath.Join(quickDir(t), "study")
	writeIn(t, first, files, names)
	want := run(t, first, fixtureKinds(nil), pipeline.Options{Jobs: 2})
	values := jsonValues(t, want.Outcome)
	if want.Counts.Made < 20 || want.Counts.Failed == 0 || want.Counts.Blocked < 4 || len(want.Remarks) < 3 {
		t.Fatalf("too little happens for a test: %+v, %q", want.Counts, want.Remarks)
	}
	check := func(t *testing.T, dir string, opt pipeline.Options) {
		t.Helper()
		r := run(t, dir, fixtureKinds(nil), opt)
		if r.Digest != want.Digest {
			t.Errorf("another digest; messages %v; remarks %q", r.messages, r.Remarks)
		}
		if jsonValues(t, r.Outcome) != values {
			t.Error("other values")
		}
		rec, err := pipeline.LoadRecord(r.Dir, "") // dir may be the study file
		if err != nil || rec.Digest != want.Digest {
			t.Errorf("the record: %v", err)
		}
	}
	fresh := func(t *testing.T) string {
		dir := filepath.Join(quickDir(t), "study")
		writeIn(t, dir, files, names)
		return dir
	}
	for _, jobs := range []int{1, 2, 8} {
		t.Run(fmt.Sprintf("%d workers", jobs), func(t *testing.T) { check(t, fresh(t), pipeline.Options{Jobs: jobs}) })
	}
	t.Run("files written in another order", func(t *testing.T) {
		dir := filepath.Join(quickDir(t), "study")
		turned := slices.Clone(names)
		slices.Reverse(turned)
		writeIn(t, dir, files, turned)
		check(t, dir, pipeline.Options{})
	})
	t.Run("another folder", func(t *testing.T) {
		dir := filepath.Join(quickDir(t), "a b", "Über – study=1,x", "deep")
		writeIn(t, dir, files, names)
		check(t, dir, pipeline.Options{})
	})
	t.Run("named by its file", func(t *testing.T) { check(t, filepath.Join(fresh(t), "study.yaml"), pipeline.Options{}) })
	t.Run("from within", func(t *testing.T) {
		t.Chdir(fresh(t))
		check(t, ".", pipeline.Options{})
	})
	t.Run("through a link", func(t *testing.T) {
		link := filepath.Join(t.TempDir(), "link")
		if err := os.Symlink(fresh(t), link); err != nil {
			t.Skip(err)
		}
		check(t, link, pipeline.Options{})
	})
	t.Run("again", func(t *testing.T) { check(t, first, pipeline.Options{}) })
	t.Run("all made anew", func(t *testing.T) { check(t, first, pipeline.Options{Remake: true}) })
	t.Run("without its state", func(t *testing.T) {
		if err := os.RemoveAll(filepath.Join(first, pipeline.StateDir)); err != nil {
			t.Fatal(err)
		}
		check(t, first, pipeline.Options{})
	})
	t.Run("without half of the index", func(t *testing.T) {
		for odd := range 2 {
			dir := copyStudy(t, first)
			index := filepath.Join(dir, pipeline.StateDir, "store", "index")
			var kept []string
			for i, l := range strings.SplitAfter(string(readFile(t, index)), "\n") {
				if i%2 == odd {
					kept = append(kept, l)
				}
			}
			overwrite(t, index, []byte(strings.Join(kept, "")))
			check(t, dir, pipeline.Options{Jobs: 3})
		}
	})
	t.Run("after another study in the same folder", func(t *testing.T) {
		dir := fresh(t)
		write(t, dir, "study.yaml", strings.Replace(files["study.yaml"], "nearest: {taken: before}", "nearest: {taken: after}", 1))
		if r := run(t, dir, fixtureKinds(nil), pipeline.Options{}); r.Digest == want.Digest {
			t.Fatal("two studies have one digest")
		}
		writeIn(t, dir, files, names)
		check(t, dir, pipeline.Options{})
	})
	for _, zone := range []string{"Pacific/Auckland", "America/St_Johns", "UTC"} {
		t.Run("in "+zone, func(t *testing.T) {
			got := startChild(t, fresh(t), 0, "TZ="+zone, "LANG=tr_TR.UTF-8", "LC_ALL=de_DE.UTF-8").outcome(t)
			if got.Digest != want.Digest {
				t.Errorf("another digest: %q", got.Failures)
			}
			if got.Values != fmt.Sprintf("%x", sha256.Sum256([]byte(values))) {
				t.Error("other values")
			}
		})
	}
}
