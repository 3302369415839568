package importing

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"fascicle/pipeline"

	"github.com/google/go-cmp/cmp"
)

// A whole study: names and fields of items come from the curves of files, a row of values is a number of the study, and what is wrong blocks or fails its item alone.
func TestStudy(t *testing.T) {
	dir := t.TempDir()
	for name, text := range map[string]string{
		"samples.csv": "sample\nLN1\nLN2\nLN3\n",
		"study.yaml": `study: Test
samples: samples.csv
graph:
  book:
    kind: import
    set:
      files: raw/<day>.csv
      curves: <sample>
      columns: {wavelength: "1 [nm]", absorbance: 2}
      u: {absorbance: 0.0010}
  scans:
    kind: import
    set:
      files: raw/scans.txt.gz
      curves: "# <sample>, excited at <ex [nm]>"
      columns: {wavelength: nm, intensity: kcps}
      header: {slit: "band pass [nm]"}
  counted:
    kind: import
    set: {files: raw/counted.dat, columns: {x: 1, y: 2}}
  volumes:
    kind: import
    set: {files: raw/volumes/all.csv, layout: lines, curves: <sample>, columns: {v: "upper [mL]"}, u: {v: 0.01 mL}}
`,
		"raw/d1.csv":          "nm,LN1,LN2,stranger\n400,0.1,0.2,9\n401,0.3,0.4,9\n402,0.5,0.6,9\n",
		"raw/scans.txt.gz":    string(gzipped(t, []byte("band pass: 2\n# LN1, excited at 350\nnm kcps\n400 1\n401 2\n402 3\n# LN1, excited at 360\nnm kcps\n400 4\n401 5\n402 6\n"))),
		"raw/counted.dat":     "1 5\n2 6\n3 7\n\n1 8\n2 9\n3 10\n",
		"raw/volumes/all.csv": "sample,upper\nLN1,1.5\nLN3,2.5\n",
	} {
		full := filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(full), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(full, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	p, faults := pipeline.Load(dir, []*pipeline.Kind{&ImportKind})
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	o, err := pipeline.Run(context.Background(), p, pipeline.Options{Jobs: 1})
	if err != nil {
		t.Fatal(err)
	}
	o.Complete()
	var got []string
	for _, s := range o.Stages {
		if s.Name == "samples" {
			continue
		}
		for _, it := range s.Items {
			line := fmt.Sprintf("%s %s %s: %s", s.Name, it.Form, it.Name, it.State)
			if !it.State.Good() {
				got = append(got, line+": "+it.Message)
				continue
			}
			tab, err := o.Load(it)
			if err != nil {
				t.Fatal(err)
			}
			got = append(got, line+" | "+short(nil, tab, nil))
		}
	}
	want := []string{
		"book curve day=d1,sample=LN1: made | wavelength nm: 400 401 402 | absorbance: 0.1 0.3 0.5 | u_absorbance: 0.001 0.001 0.001",
		"book curve day=d1,sample=LN2: made | wavelength nm: 400 401 402 | absorbance: 0.2 0.4 0.6 | u_absorbance: 0.001 0.001 0.001",
		`book curve day=d1,sample=stranger: blocked: raw/d1.csv: sample "stranger" is not in samples.csv; add its row, or correct the name`,
		"counted curve all#1: made | x: 1 2 3 | y: 5 6 7",
		"counted curve all#2: made | x: 1 2 3 | y: 8 9 10",
		"scans curve sample=LN1,ex=350: made | wavelength nm: 400 401 402 | intensity 1/s: 1000 2000 3000",
		"scans curve sample=LN1,ex=360: made | wavelength nm: 400 401 402 | intensity 1/s: 4000 5000 6000",
		"volumes values sample=LN1: made | v mL: 1.5 | u_v mL: 0.01",
		"volumes values sample=LN3: made | v mL: 2.5 | u_v mL: 0.01",
	}
	slices.Sort(got)
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("items (-want +got):\n%s", d)
	}
	values, err := o.ReadValues(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	var numbers []string
	for _, v := range values {
		numbers = append(numbers, fmt.Sprintf("%s/%s/%s", v.Sample, v.Stage, v.Name))
	}
	if d := cmp.Diff([]string{"LN1/volumes/v", "LN3/volumes/v"}, numbers); d != "" {
		t.Errorf("values (-want +got):\n%s", d)
	}
}

// Settings that contradict one another are refused with the study, before any file is read.
func TestSettingErrors(t *testing.T) {
	for _, c := range []struct {
		name string
		set  importSettings
		want string
	}{
		{"nothing captured", importSettings{Curves: "scan"}, "captures nothing"},
		{"pattern", importSettings{Curves: "<a"}, "curves"},
		{"one column", importSettings{Columns: pipeline.Map[string]{{Key: "x", Value: "1"}}}, "where a curve has an axis and a value"},
		{"repeats of values", importSettings{Layout: "lines", U: pipeline.Map[string]{{Key: "x", Value: "repeats"}}}, "repeats belong to curves"},
		{"uncertainty", importSettings{U: pipeline.Map[string]{{Key: "x", Value: "perhaps"}}}, "poisson, repeats or unknown"},
		{"negative", importSettings{U: pipeline.Map[string]{{Key: "x", Value: "-1"}}}, "cannot be negative"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if err := c.set.Validate(); err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("error %v, want %q", err, c.want)
			}
		})
	}
}

// Whatever bytes a file holds, and whatever a study says of it, what comes out are sound tables or an error of one line.
func FuzzImport(f *testing.F) {
	for i, s := range []string{"nm,A\n400,1\n401,2\n401,3\n", "x,A,A,B\n1,2,3,4\n2,3,4,5\n", "A,,B,\n1,2,1,3\n2,3,,\n", "s,1,2,3,4,5\nA,1,2,3,4,5\n", "A,1,2\nA,2,3\nB,1,2\n", "1 2\n2 3\n3 4\n\n1 2\n2 3\n3 4\n",
		jcampFile("##FIRSTX= 0\n##DELTAX= 1", "0AJT%jX"), sasFile(sasEntry), "1;998\n2;1,002\n", "Taken;3/4/2031;\n1;2;\n2;3;\n"} {
		f.Add([]byte(s), uint16(i*37))
	}
	layouts := []string{"found", "single", "wide", "pairs", "rows", "long", "blocks", "lines"}
	columns := [][]string{nil, {"x = 1", "y = 2"}, {"x = nm", "y = A"}, {"x = 1", "y = 2", "u_y = 3"}, {"x = 1 to 5 [nm]", "y = 2"}, {"q = 1 [1/nm]", "y = 2 [%]"}}
	us := [][]string{nil, {"y = poisson"}, {"y = relative 1 %"}, {"y = 0.5"}, {"y = repeats"}}
	curves := []string{"", "<sample>", "<a> <b [1]>"}
	f.Fuzz(func(t *testing.T, data []byte, pick uint16) {
		n := int(pick)
		choose := func(of int) int {
			k := n % of
			n /= of
			return k
		}
		s := setting{layout: layouts[choose(len(layouts))], columns: columns[choose(len(columns))], curves: curves[choose(len(curves))], u: us[choose(len(us))]}
		if choose(2) == 1 {
			s.duplicates, s.header = "mean", []string{"taken = Taken [date]"}
		}
		if s.columns == nil || len(s.columns) == 3 || s.layout == "lines" && len(s.u) > 0 && s.u[0] == "y = repeats" {
			s.u = nil
		}
		_, err := items(t, s, string(data)) // which holds each table against table.Check
		if err != nil && (err.Error() == "" || strings.ContainsAny(err.Error(), "\n\r")) {
			t.Fatalf("error %q", err)
		}
	})
}
