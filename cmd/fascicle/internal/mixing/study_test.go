package mixing

import (
	"archive/zip"
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"fascicle/pipeline"

	"github.com/google/go-cmp/cmp"
)

func TestStudyIsAlwaysTheSame(t *testing.T) {
	a, err := Make()
	if err != nil {
		t.Fatal(err)
	}
	b, err := Make()
	if err != nil {
		t.Fatal(err)
	}
	for k, f := range a.Files {
		if g := b.Files[k]; f.Name != g.Name || !bytes.Equal(f.Data, g.Data) {
			t.Errorf("%s differs", f.Name)
		}
	}
	if a.Mixtures != 68 || a.Others != 26 {
		t.Errorf("%d mixtures and %d others", a.Mixtures, a.Others)
	}
	other, err := simulated(seed + 1)
	if err != nil {
		t.Fatal(err)
	}
	for k, f := range a.Files {
		switch same := bytes.Equal(f.Data, other.Files[k].Data); {
		case f.Name == "study.yaml" || f.Name == "samples.csv" || len(f.Data) == 0:
			if !same {
				t.Errorf("%s depends on the seed", f.Name)
			}
		case same:
			t.Errorf("%s is the same with another seed", f.Name)
		}
	}
}

func TestWrite(t *testing.T) {
	s := &Study{Files: []File{{Name: "raw/a/b.txt", Data: []byte("x")}}}
	dir := filepath.Join(t.TempDir(), "new")
	if err := s.Write(context.Background(), dir); err != nil {
		t.Fatal(err)
	}
	if got, err := os.ReadFile(filepath.Join(dir, "raw", "a", "b.txt")); err != nil || string(got) != "x" {
		t.Error(string(got), err)
	}
	if err := s.Write(context.Background(), dir); err == nil {
		t.Error("a folder with files in it is written to")
	}
}

// The forms of the raw files: each is what its name in the study says.
func TestForms(t *testing.T) {
	s, err := Make()
	if err != nil {
		t.Fatal(err)
	}
	files := map[string][]byte{}
	var empty []string
	for _, f := range s.Files {
		files[f.Name] = f.Data
		if len(f.Data) == 0 {
			empty = append(empty, f.Name)
		}
	}
	if d := cmp.Diff([]string{"raw/scattering/d2/" + emptyFile + ".xml"}, empty); d != "" {
		t.Error("empty files:", d)
	}
	unpacked := func(name string, open func(io.Reader) (io.Reader, error)) []byte {
		z, err := open(bytes.NewReader(files[name]))
		if err != nil {
			t.Fatal(name, err)
		}
		data, err := io.ReadAll(z)
		if err != nil {
			t.Fatal(name, err)
		}
		return data
	}
	files["unpacked"] = unpacked("raw/emission/d2.txt.gz", func(r io.Reader) (io.Reader, error) { return gzip.NewReader(r) })
	files["decay"] = unpacked("raw/decay/d2.zip", func(r io.Reader) (io.Reader, error) {
		z, err := zip.NewReader(r.(*bytes.Reader), r.(*bytes.Reader).Size())
		if err != nil {
			return nil, err
		}
		return z.Open("LN25_donor.dat")
	})
	for _, c := range []struct{ file, has, lacks string }{
		{"raw/absorbance/d1.csv", "\xb0C;", "\xc2\xb0"},           // Latin-1
		{"raw/absorbance/d1.csv", "\r\n780,0;0,0", "."},           // decimal commas, Windows line ends
		{"raw/absorbance/d2/LC25.txt", "Solvent = CaCl2\r", "\n"}, // bare carriage returns
		{"raw/absorbance/d2/" + wrongSolvent + ".txt", "Solvent = CaCl2", "NaCl"},
		{"raw/emission/d1/LN35_350.txt", "\xff\xfeS\x00a\x00m\x00", "."},
		{"raw/emission/d1/" + saturated + "_520.txt", "O\x00V\x00E\x00R\x00", "nothing"},
		{"raw/emission/dark_d1.txt", "closed\r", "\n"},
		{"unpacked", "# LC45, excited at 350\n360.0 ", "\t"},
		{"decay", "ps  n\r\n", ","},
		{"raw/decay/irf_d1_donor.csv", "t;n\n0,0000;", "."},
		{"raw/decay/d1/" + noResponse + "_red.csv", "band: red", "acceptor"},
		{"raw/scattering/d1/LN35.dat", "! sample: LN35", ";"},
		{"raw/scattering/d2/LC25.xml", `<Q unit="1/A">`, ";"},
		{"raw/plates/p1.csv", "well;580;600;620;640;660\r\nLN15;9", "."},
		{"raw/plates/p2.tsv", "sample\tnm\tT\nLN50-1\t600\t0.", ";"},
	} {
		data, ok := files[c.file]
		if !ok || !bytes.Contains(data, []byte(c.has)) {
			t.Errorf("%s lacks %q", c.file, c.has)
		}
		if bytes.Contains(data, []byte(c.lacks)) {
			t.Errorf("%s has %q", c.file, c.lacks)
		}
	}
	if _, ok := files["raw/decay/d1/"+noResponse+"_acceptor.csv"]; ok {
		t.Error("the decay that lacks a response is there under another name too")
	}
}

func TestTruthFile(t *testing.T) {
	s, err := Make()
	if err != nil {
		t.Fatal(err)
	}
	last := s.Files[len(s.Files)-1]
	var got Truth
	if err := json.Unmarshal(last.Data, &got); err != nil || last.Name != "truth.json" {
		t.Fatal(last.Name, err)
	}
	if !reflect.DeepEqual(s.Truth, got) {
		t.Error("truth.json is not what the study knows")
	}
	names, seen := map[string]bool{}, map[TrueValue]bool{}
	for _, v := range got.Values {
		names[v.Name] = true
		key := v
		key.Value = 0
		if seen[key] {
			t.Errorf("%v is listed twice", key)
		}
		seen[key] = true
	}
	if len(got.Values) < 1000 || len(names) < 20 {
		t.Errorf("%d values of %d names", len(got.Values), len(names))
	}
	sheetCells := 0
	for source := range got.Draws {
		if strings.HasPrefix(source, "sheet.") {
			sheetCells++
		}
	}
	if len(got.Draws)-sheetCells != len(statements()) || sheetCells < 200 {
		t.Errorf("draws of %d constants and %d cells", len(got.Draws)-sheetCells, sheetCells)
	}
}

func TestSurprises(t *testing.T) {
	importing := &pipeline.Kind{Name: "import", Reads: true}
	// planned gives an outcome in which exactly what should fail has failed.
	asPlanned := func() *pipeline.Outcome {
		o := &pipeline.Outcome{}
		place := map[string]int{}
		for _, stage := range []string{"absorbance_files", "absorbance", "emission", "donor_left", "bands", "acceptor_lifetimes", "quenched",
			"curves_delivered", "particles", "slab", "saxs", "guinier"} {
			place[stage] = len(o.Stages)
			o.Stages = append(o.Stages, pipeline.StageOutcome{Name: stage, Kind: importing,
				Items: []pipeline.ItemOutcome{{Stage: stage, Name: "sample=LN15", Sample: "LN15", State: pipeline.Made}}})
		}
		for e, state := range planned() {
			k, ok := place[e.stage]
			if !ok {
				t.Fatalf("stage %s is not in the list of this test", e.stage)
			}
			o.Stages[k].Items = append(o.Stages[k].Items, pipeline.ItemOutcome{Stage: e.stage, Name: "sample=" + e.sample, Sample: e.sample, State: state})
		}
		return o
	}
	if got := Surprises(asPlanned()); len(got) > 0 {
		t.Errorf("as planned: %q", got)
	}
	o := asPlanned()
	o.Stages = append(o.Stages, pipeline.StageOutcome{Name: "together", Items: o.Stages[0].Items})
	if got := Surprises(o); len(got) > 0 {
		t.Errorf("stages taken together are counted again: %q", got)
	}
	o = asPlanned()
	o.Stages[0].Items[0].State = pipeline.Blocked
	if got := Surprises(o); len(got) != 1 {
		t.Errorf("another sample is blocked: %q", got)
	}
	o = asPlanned()
	o.Stages[len(o.Stages)-1].Items = o.Stages[len(o.Stages)-1].Items[:1]
	if got := Surprises(o); len(got) != 1 {
		t.Errorf("a broken sample came out: %q", got)
	}
	o = asPlanned()
	for k := range o.Stages[0].Items {
		if o.Stages[0].Items[k].Sample == wrongSolvent {
			o.Stages[0].Items[k].State = pipeline.Failed
		}
	}
	if got := Surprises(o); len(got) != 1 {
		t.Errorf("failed in place of blocked: %q", got)
	}
}
