package pipeline_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"fascicle/pipeline"

	"github.com/google/go-cmp/cmp"
)

func TestFirstRunMakesAllAndSecondKeepsAll(t *testing.T) {
	c := &calls{}
	kinds := fixtureKinds(c)
	dir := fixture(t, 4)
	first := run(t, dir, kinds, pipeline.Options{})
	if len(first.failed)+len(first.blocked) > 0 {
		t.Fatal(first.messages)
	}
	if want := 6 + 4*5; len(first.made) != want || first.Counts.Made != want {
		t.Fatalf("made %d items, want %d: %v", len(first.made), want, first.made)
	}
	n := c.n.Load()
	second := run(t, dir, kinds, pipeline.Options{})
	if len(second.made) != 0 || len(second.kept) != len(first.made) || c.n.Load() != n {
		t.Fatalf("second run made %v", second.made)
	}
	if first.Objects.Opened == 0 || second.Objects.Opened != 0 || second.Objects.Written != 0 {
		t.Errorf("objects: %+v, then %+v; a run that finds nothing new opens none", first.Objects, second.Objects)
	}
	if first.Digest != second.Digest {
		t.Error("made and kept items differ in the digest")
	}
	if first.Run != 1 || second.Run != 1 {
		t.Errorf("records: %d, %d; an unchanged run writes none", first.Run, second.Run)
	}
}

func TestOnlyDescendantsAreMade(t *testing.T) {
	kinds := fixtureKinds(nil)
	dir := fixture(t, 4)
	run(t, dir, kinds, pipeline.Options{})

	t.Run("touched file", func(t *testing.T) {
		now := time.Now().Add(-time.Minute)
		if err := os.Chtimes(filepath.Join(dir, "raw/d1/S1.csv"), now, now); err != nil {
			t.Fatal(err)
		}
		if r := run(t, dir, kinds, pipeline.Options{}); len(r.made) != 0 {
			t.Errorf("made %v", r.made)
		}
	})
	t.Run("one sample's file", func(t *testing.T) {
		text, _ := os.ReadFile(filepath.Join(dir, "raw/d1/S1.csv"))
		write(t, dir, "raw/d1/S1.csv", strings.Replace(string(text), "1,", "1,1", 1))
		r := run(t, dir, kinds, pipeline.Options{})
		// the signs of net stay as they were: what follows from them is kept
		want := []string{"curves day=d1,sample=S1", "net day=d1,sample=S1", "rows sample=S1", "signs day=d1,sample=S1", "sums sample=S1"}
		if d := cmp.Diff(want, r.made); d != "" {
			t.Error(d)
		}
	})
	t.Run("equivalent spelling", func(t *testing.T) {
		write(t, dir, "study.yaml", strings.Replace(fixtureStudy, "path: 10 mm", "path: 1 cm", 1))
		if r := run(t, dir, kinds, pipeline.Options{}); len(r.made) != 0 {
			t.Errorf("made %v", r.made)
		}
	})
	t.Run("setting", func(t *testing.T) {
		write(t, dir, "study.yaml", strings.Replace(fixtureStudy, "path: 10 mm", "path: 11 mm", 1))
		r := run(t, dir, kinds, pipeline.Options{})
		// net is made again, comes out as it was, and nothing after it is made
		if want := 4; len(r.made) != want || !strings.HasPrefix(r.made[0], "net ") {
			t.Errorf("made %v", r.made)
		}
	})
	t.Run("one row of the sheet", func(t *testing.T) {
		sheet, _ := os.ReadFile(filepath.Join(dir, "samples.csv"))
		write(t, dir, "samples.csv", strings.Replace(string(sheet), "S2,mixture,d2,1.125", "S2,mixture,d2,1.5", 1))
		r := run(t, dir, kinds, pipeline.Options{Why: true})
		want := []string{"net day=d2,sample=S2", "rows sample=S2", "signs day=d2,sample=S2", "sums sample=S2"}
		if d := cmp.Diff(want, r.made); d != "" {
			t.Error(d)
		}
	})
}

func TestEqualFilesShareARecipe(t *testing.T) {
	c := &calls{}
	dir := fixture(t, 4)
	text, _ := os.ReadFile(filepath.Join(dir, "raw/d1/S1.csv"))
	write(t, dir, "raw/d1/S3.csv", string(text))
	r := run(t, dir, fixtureKinds(c), pipeline.Options{Jobs: 1})
	var names []string
	var keys []string
	for _, s := range r.Stages {
		if s.Name == "curves" {
			for _, it := range s.Items {
				if it.Sample == "S1" || it.Sample == "S3" {
					names = append(names, it.Name)
					keys = append(keys, it.Key.String())
				}
			}
		}
	}
	if d := cmp.Diff([]string{"day=d1,sample=S1", "day=d1,sample=S3"}, names); d != "" {
		t.Error(d)
	}
	if keys[0] != keys[1] {
		t.Error("equal files have two recipes")
	}
	if r.Counts.Failed+r.Counts.Blocked > 0 {
		t.Error(r.messages)
	}
}

func TestFailureStopsOnlyItsDescendants(t *testing.T) {
	dir := fixture(t, 4)
	write(t, dir, "raw/d1/S1.csv", "no numbers here\n")
	r := run(t, dir, fixtureKinds(nil), pipeline.Options{})
	if d := cmp.Diff([]string{"curves day=d1,sample=S1"}, r.failed); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff([]string{"counts sample=S1", "net day=d1,sample=S1", "signs day=d1,sample=S1", "sums sample=S1"}, r.blocked); d != "" {
		t.Error(d)
	}
	if m := r.messages["sums sample=S1"]; !strings.Contains(m, "no numbers here") {
		t.Errorf("the cause is not passed on: %q", m)
	}
	values, err := r.ReadValues(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range values {
		if v.Sample == "S1" && v.Stage == "rows" && v.Name == "lost" && v.Text != "sums blocked, counts blocked" {
			t.Errorf("the gathering stage says %q", v.Text)
		}
	}
}

func TestMissingPartnerBlocksAndNamesTheFile(t *testing.T) {
	dir := fixture(t, 4)
	if err := os.Remove(filepath.Join(dir, "raw/d2/B2.csv")); err != nil {
		t.Fatal(err)
	}
	r := run(t, dir, fixtureKinds(nil), pipeline.Options{})
	m := r.messages["net day=d2,sample=S2"]
	for _, part := range []string{"no partner at port `background`", "day = d2", "raw/<day>/<sample>.csv"} {
		if !strings.Contains(m, part) {
			t.Errorf("message lacks %q: %s", part, m)
		}
	}
	// two partners
	write(t, dir, "raw/d2/B2.csv", "1,1\n")
	sheet, _ := os.ReadFile(filepath.Join(dir, "samples.csv"))
	write(t, dir, "samples.csv", string(sheet)+"B3,solvent,d2,1,10\n")
	write(t, dir, "raw/d2/B3.csv", "1,2\n")
	r = run(t, dir, fixtureKinds(nil), pipeline.Options{})
	m = r.messages["net day=d2,sample=S2"]
	for _, part := range []string{"2 partners", "raw/d2/B2.csv", "raw/d2/B3.csv"} {
		if !strings.Contains(m, part) {
			t.Errorf("message lacks %q: %s", part, m)
		}
	}
}
