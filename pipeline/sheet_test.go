package pipeline_test

import (
	"bytes"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"fascicle/pipeline"

	"github.com/google/go-cmp/cmp"
	"github.com/xuri/excelize/v2"
)

// workbook writes rows of text and numbers into the sheets of a workbook.
func workbook(t *testing.T, dir, name string, sheets map[string][][]any) {
	t.Helper()
	f := excelize.NewFile()
	for _, s := range slices.Sorted(maps.Keys(sheets)) {
		if _, err := f.NewSheet(s); err != nil {
			t.Fatal(err)
		}
		for i, row := range sheets[s] {
			for j, v := range row {
				cell, _ := excelize.CoordinatesToCellName(j+1, i+1)
				if err := f.SetCellValue(s, cell, v); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
	if err := f.DeleteSheet("Sheet1"); err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := f.Write(&b); err != nil {
		t.Fatal(err)
	}
	write(t, dir, name, b.String())
}

const sheetStudy = `study: a sheet
samples: SAMPLES
graph:
  curves:
    kind: t.read
    set: {files: raw/<sample>.csv}
  sums:
    kind: t.sum
    from: {curve: curves}
`

func TestWorkbookAsSheet(t *testing.T) {
	dir := t.TempDir()
	workbook(t, dir, "samples.xlsx", map[string][][]any{
		"A first":  {{"sample", "factor"}, {"S1", 1.5}},
		"B second": {{"sample", "factor"}, {"S2", 2.5}, {"S3", 3.5}},
	})
	write(t, dir, "raw/S2.csv", "1,2\n2,3\n")
	for _, c := range []struct{ samples, file, state, remark string }{
		{"samples.xlsx!B second", "samples.xlsx!B second", "", ""},
		{"samples.xlsx", "samples.xlsx!A first", `sample "S2" is not in samples.xlsx!A first`, "the first of 2 sheets"},
	} {
		t.Run(c.samples, func(t *testing.T) {
			write(t, dir, "study.yaml", strings.Replace(sheetStudy, "SAMPLES", c.samples, 1))
			p := load(t, dir, fixtureKinds(nil))
			if p.Sheet.File != c.file {
				t.Errorf("sheet %q, want %q", p.Sheet.File, c.file)
			}
			files, remarks := p.Files()
			if len(files) != 1 || (files[0].Problem == "") != (c.state == "") || !strings.Contains(files[0].Problem, c.state) {
				t.Errorf("files %+v, want the problem %q", files, c.state)
			}
			r := run(t, dir, fixtureKinds(nil), pipeline.Options{})
			for _, list := range [][]string{remarks, r.Remarks} {
				if told := strings.Contains(strings.Join(list, "\n"), "the first of 2 sheets"); told != (c.remark != "") {
					t.Errorf("remarks %q, want %q", list, c.remark)
				}
			}
		})
	}
	t.Run("no such sheet", func(t *testing.T) {
		write(t, dir, "study.yaml", strings.Replace(sheetStudy, "SAMPLES", "samples.xlsx!C third", 1))
		if _, faults := pipeline.Load(dir, fixtureKinds(nil)); len(faults) != 1 || !strings.Contains(faults[0].Error(), "C third") || faults[0].File != "samples.xlsx" {
			t.Errorf("faults %v", faults)
		}
	})
	t.Run("no such file", func(t *testing.T) {
		write(t, dir, "study.yaml", strings.Replace(sheetStudy, "SAMPLES", "other.xlsx!C third", 1))
		_, faults := pipeline.Load(dir, fixtureKinds(nil))
		if len(faults) != 1 || !strings.Contains(faults[0].Error(), `study.yaml:2:10: found the sheet "other.xlsx": no such file`) {
			t.Errorf("faults %v", faults)
		}
	})
}

func TestSamplesByOtherSpellings(t *testing.T) {
	dir := t.TempDir()
	write(t, dir, "samples.csv", "sample,also\nLN-35,longneck\nS1.5,\nS15,\nS-1.55,\n")
	write(t, dir, "study.yaml", strings.Replace(sheetStudy, "SAMPLES", "samples.csv", 1))
	for name, want := range map[string]string{
		"ln_35":    "LN-35",
		"LONGNECK": "LN-35",
		"s 1_5":    "S1.5",
		"S1.55":    "S-1.55",
	} {
		t.Run(name, func(t *testing.T) {
			if err := os.RemoveAll(filepath.Join(dir, "raw")); err != nil {
				t.Fatal(err)
			}
			write(t, dir, "raw/"+name+".csv", "1,2\n2,3\n")
			r := run(t, dir, fixtureKinds(nil), pipeline.Options{})
			got := slices.Concat(r.made, r.kept)
			slices.Sort(got)
			if d := cmp.Diff([]string{"curves sample=" + want, "sums sample=" + want}, got); d != "" {
				t.Error(d, r.messages)
			}
			for _, s := range r.Stages {
				for _, it := range s.Items {
					if s.Name != "samples" && it.Sample != want {
						t.Errorf("%s %s belongs to %q, want %q", s.Name, it.Name, it.Sample, want)
					}
				}
			}
		})
	}
	for name, want := range map[string][]string{
		"S155":  {`"S155" may mean sample S-1.55 of samples.csv`},
		"S1-55": nil,
		"LN-36": {`sample "LN-36" is not in samples.csv; did you mean LN-35?`},
		"LN3-5": {`"LN3-5" may mean sample LN-35 of samples.csv`, "`also`"},
	} {
		t.Run(name, func(t *testing.T) {
			if err := os.RemoveAll(filepath.Join(dir, "raw")); err != nil {
				t.Fatal(err)
			}
			write(t, dir, "raw/"+name+".csv", "1,2\n2,3\n")
			files, _ := load(t, dir, fixtureKinds(nil)).Files()
			if len(files) != 1 || (files[0].Problem == "") != (want == nil) {
				t.Fatalf("files %+v, want a problem with %q", files, want)
			}
			for _, w := range want {
				if !strings.Contains(files[0].Problem, w) {
					t.Errorf("problem %q, want %q", files[0].Problem, w)
				}
			}
			r := run(t, dir, fixtureKinds(nil), pipeline.Options{})
			if want != nil && (r.Counts.Blocked != 2 || r.Counts.Made+r.Counts.Kept != 0) {
				t.Errorf("counts %+v, want all blocked", r.Counts)
			}
		})
	}
	t.Run("two samples", func(t *testing.T) {
		if err := os.RemoveAll(filepath.Join(dir, "raw")); err != nil {
			t.Fatal(err)
		}
		write(t, dir, "samples.csv", "sample\nA1-23\nA12-3\n")
		write(t, dir, "raw/A123.csv", "1,2\n2,3\n")
		files, _ := load(t, dir, fixtureKinds(nil)).Files()
		if len(files) != 1 || !strings.Contains(files[0].Problem, `"A123" may mean sample A1-23 or A12-3 of samples.csv`) {
			t.Errorf("files %+v", files)
		}
	})
	t.Run("two files of one sample", func(t *testing.T) {
		write(t, dir, "samples.csv", "sample\nLN-35\n")
		write(t, dir, "raw/ln35.csv", "1,2\n2,3\n")
		write(t, dir, "raw/LN-35.csv", "1,2\n2,4\n")
		if err := os.Remove(filepath.Join(dir, "raw/A123.csv")); err != nil {
			t.Fatal(err)
		}
		files, _ := load(t, dir, fixtureKinds(nil)).Files()
		for _, f := range files {
			if !strings.Contains(f.Problem, "two files give the item sample=LN-35: raw/LN-35.csv and raw/ln35.csv") {
				t.Errorf("%+v", f)
			}
		}
	})
}

func TestSampleNamedInsideFile(t *testing.T) {
	dir := t.TempDir()
	write(t, dir, "samples.csv", "sample\nLN-35\nLN-36\nA1-23\nA12-3\n")
	write(t, dir, "study.yaml", strings.NewReplacer("SAMPLES", "samples.csv", "raw/<sample>.csv", "raw/<day>.csv, header: {sample: Sample}").Replace(sheetStudy))
	write(t, dir, "raw/d1.csv", "Sample: ln 35\n1,2\n2,3\n")
	write(t, dir, "raw/d2.csv", "Sample: A123\n1,2\n2,3\n")
	r := run(t, dir, fixtureKinds(nil), pipeline.Options{})
	if d := cmp.Diff([]string{"curves day=d1", "sums sample=LN-35"}, r.made); d != "" {
		t.Error(d, r.messages)
	}
	if m := r.messages["curves day=d2"]; !strings.Contains(m, `raw/d2.csv: "A123" may mean sample A1-23 or A12-3 of samples.csv`) {
		t.Errorf("message %q", m)
	}
}

func TestSplitsByOtherSpellings(t *testing.T) {
	dir := t.TempDir()
	write(t, dir, "study.yaml", strings.NewReplacer("SAMPLES", "samples.csv", "<sample>.csv", "<sample>_<rep>.csv").Replace(sheetStudy))
	write(t, dir, "raw/ln_35_1.csv", "1,2\n2,3\n")
	for _, c := range []struct{ name, sheet, item, problem string }{
		{"one", "LN-35\n", "sample=LN-35,rep=1", ""},
		{"two", "LN-35\nLN\n", "", "can be split in more than one way"},
		{"none", "LN-36\n", "", `is not in samples.csv`},
	} {
		t.Run(c.name, func(t *testing.T) {
			write(t, dir, "samples.csv", "sample\n"+c.sheet)
			files, _ := load(t, dir, fixtureKinds(nil)).Files()
			if len(files) != 1 || (files[0].Problem == "") != (c.problem == "") || !strings.Contains(files[0].Problem, c.problem) {
				t.Fatalf("files %+v, want the problem %q", files, c.problem)
			}
			if c.item != "" && files[0].Item != c.item {
				t.Errorf("item %q, want %q", files[0].Item, c.item)
			}
		})
	}
}
