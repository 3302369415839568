package pipeline_test

import (
	"context"
	"fmt"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"fascicle/pipeline"
	"fascicle/pipeline/table"

	"github.com/google/go-cmp/cmp"
)

// pairingKinds are the fixture's kinds and a check that is as far out as its curve says.
func pairingKinds() []*pipeline.Kind {
	check := &pipeline.Kind{
		Name: "t.check", Revision: 1, Doc: "checks a day", Source: "common practice, no source", Checks: true,
		Ports:   []pipeline.Port{{Name: "curve", Lead: true, Doc: "curve", Forms: []pipeline.Form{pipeline.Curve}}},
		Outputs: []pipeline.Output{{Name: "off", Doc: "how far out", Form: pipeline.Values, Columns: []pipeline.Column{{Name: "off", Unit: "1"}}}},
		Run: func(_ context.Context, call *pipeline.Call) (pipeline.Choices, error) {
			for i, l := range call.Leads {
				off := l.Table.Floats("y")[0]
				t := &table.Table{}
				t.AddFloat("off", "1", []float64{off})
				call.Give("off", i, t)
				if off > 2 {
					call.Flag(pipeline.Tolerance, "off", i, "off by %g", off)
				} else if off > 1 {
					call.Flag(pipeline.Notice, "off", i, "off by %g", off)
				}
			}
			return nil, nil
		},
	}
	series := &pipeline.Kind{
		Name: "t.series", Revision: 1, Doc: "takes a series", Source: "common practice, no source", By: "list",
		Ports: []pipeline.Port{{Name: "curve", Lead: true, Doc: "curve", Forms: []pipeline.Form{pipeline.Curve}}},
		Outputs: []pipeline.Output{
			{Name: "each", Doc: "one an item", Form: pipeline.Values, Columns: []pipeline.Column{{Name: "first", Unit: "1"}}},
			{Name: "whole", Doc: "one a series", Per: pipeline.PerGroup, Form: pipeline.Values, Columns: []pipeline.Column{{Name: "number", Unit: "1"}}},
		},
		Run: func(_ context.Context, call *pipeline.Call) (pipeline.Choices, error) {
			for i, l := range call.Leads {
				t := &table.Table{}
				t.AddFloat("first", "1", l.Table.Floats("y")[:1])
				call.Give("each", i, t)
			}
			t := &table.Table{}
			t.AddFloat("number", "1", []float64{float64(len(call.Leads))})
			call.Give("whole", -1, t)
			return nil, nil
		},
	}
	return append(fixtureKinds(nil), check, series)
}

// pairingStudy writes a study of three samples on two days, with three backgrounds, and a graph.
func pairingStudy(t *testing.T, sheet, graph string) string {
	t.Helper()
	dir := t.TempDir()
	for i, s := range []string{"S1", "S2", "S3", "B1", "B2", "B3"} {
		write(t, dir, "raw/"+s+".csv", fmt.Sprintf("1,%d\n2,%d\n", i+1, i+2))
	}
	for i, d := range []string{"d1", "d2"} {
		write(t, dir, "raw/check/"+d+".csv", fmt.Sprintf("1,%g\n2,1\n", 1.5+float64(i)))
	}
	write(t, dir, "samples.csv", sheet)
	write(t, dir, "study.yaml", "study: pairs\nsamples: samples.csv\ngraph:\n  curves:\n    kind: t.read\n    set: {files: raw/<sample>.csv}\n"+graph)
	return dir
}

const pairingSheet = `sample,role,day,taken,chain,factor
S1,m,d1,2031-03-01,long,1
S2,m,d1,2031-03-05,short,1
S3,m,d2,2031-03-09,long,1
B1,b,d1,2031-02-27,,1
B2,b,d1,2031-03-04,,1
B3,b,d2,2031-03-11,,1
`

// backgroundOf gives for each sample the background that was taken, or why there is none.
func backgroundOf(t *testing.T, r *ran) map[string]string {
	t.Helper()
	r.Complete()
	out := map[string]string{}
	for _, s := range r.Stages {
		if s.Name != "net" {
			continue
		}
		for _, it := range s.Items {
			if !it.State.Good() {
				out[it.Sample] = string(it.State) + ": " + it.Message
				continue
			}
			for _, src := range it.Sources {
				if src.Port == "background" {
					out[it.Sample] = strings.TrimPrefix(src.Item, "sample=")
				}
			}
		}
	}
	return out
}

func TestPartners(t *testing.T) {
	stage := func(ref string) string {
		return "  net:\n    kind: t.less\n    from:\n      curve: {stage: curves, where: role == \"m\"}\n      background: {stage: curves, where: role == \"b\", " + ref + "}\n"
	}
	for name, test := range map[string]struct {
		ref  string
		want map[string]string // a background, or part of the reason for none
	}{
		"before":          {"nearest: {taken: before}", map[string]string{"S1": "B1", "S2": "B2", "S3": "B2"}},
		"after":           {"nearest: {taken: after}", map[string]string{"S1": "B2", "S2": "B3", "S3": "B3"}},
		"either":          {"nearest: {taken: either}", map[string]string{"S1": "B1", "S2": "B2", "S3": "B3"}},
		"match, then day": {"match: [day], nearest: {taken: before}", map[string]string{"S1": "B1", "S2": "B2", "S3": "no partner"}},
		"match alone":     {"match: [day]", map[string]string{"S1": "2 partners", "S2": "2 partners", "S3": "B3"}},
		"only":            {"only: true", map[string]string{"S1": "3 partners", "S2": "3 partners", "S3": "3 partners"}},
		"empty field":     {"match: [chain]", map[string]string{"S1": "no partner", "S2": "no partner", "S3": "no partner"}},
	} {
		t.Run(name, func(t *testing.T) {
			got := backgroundOf(t, run(t, pairingStudy(t, pairingSheet, stage(test.ref)), pairingKinds(), pipeline.Options{}))
			for s, want := range test.want {
				if got[s] != want && (len(want) < 3 || !strings.Contains(got[s], want) || !strings.HasPrefix(got[s], "blocked")) {
					t.Errorf("%s: %s, want %s", s, got[s], want)
				}
			}
		})
	}
	t.Run("two equally near", func(t *testing.T) {
		sheet := strings.Replace(pairingSheet, "B2,b,d1,2031-03-04", "B2,b,d1,2031-03-03", 1)
		got := backgroundOf(t, run(t, pairingStudy(t, sheet, stage("nearest: {taken: either}")), pairingKinds(), pipeline.Options{}))
		if !strings.Contains(got["S1"], "2 partners") {
			t.Errorf("S1: %s", got["S1"])
		}
	})
}

func TestTrustStopsABadDayAlone(t *testing.T) {
	dir := pairingStudy(t, pairingSheet, `  scans:
    kind: t.read
    set: {files: raw/check/<day>.csv}
  check:
    kind: t.check
    from: {curve: scans}
    serves: [day]
  mixed:
    items: [curves]
    trusts: [check]
  signs:
    kind: t.sign
    from: {curve: {stage: mixed, where: role == "m"}}
  direct:
    kind: t.sign
    from: {curve: {stage: curves, where: role == "m"}}
    trusts: [check]
`)
	r := run(t, dir, pairingKinds(), pipeline.Options{})
	for _, stage := range []string{"signs", "direct"} {
		if m := r.messages[stage+" sample=S3"]; !strings.Contains(m, "out of tolerance: off by 2.5") {
			t.Errorf("%s of day 2: %q", stage, m)
		}
		if m := r.messages[stage+" sample=S1"]; m != "" {
			t.Errorf("%s of day 1: %q", stage, m)
		}
	}
}

func TestSeriesGivesForEachItemAndForTheWhole(t *testing.T) {
	dir := pairingStudy(t, pairingSheet, "  series:\n    kind: t.series\n    from: {curve: {stage: curves, where: role == \"m\"}}\n    by: [chain]\n")
	r := run(t, dir, pairingKinds(), pipeline.Options{})
	values, err := r.ReadValues(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, v := range values {
		got = append(got, fmt.Sprintf("%s%s %s %g", v.Sample, v.Series, v.Name, *v.Value))
	}
	// what a series gives belongs to no sample, even where S2 is alone in its series
	want := []string{"S1 first 1", "S2 first 2", "S3 first 3", "chain=long number 2", "chain=short number 1"}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
}

func TestEmptyFieldsAreSaid(t *testing.T) {
	dir := pairingStudy(t, pairingSheet, "  signs:\n    kind: t.sign\n    from: {curve: {stage: curves, where: chain == \"long\"}}\n")
	r := run(t, dir, pairingKinds(), pipeline.Options{})
	said := strings.Join(r.Remarks, "\n")
	for _, part := range []string{"sample=B1", "sample=B2", "sample=B3", "could not be judged"} {
		if !strings.Contains(said, part) {
			t.Errorf("remarks lack %s: %s", part, said)
		}
	}
	less := "  net:\n    kind: t.less\n    from: {curve: {stage: curves, where: role == \"m\"}, background: {stage: curves, where: role == \"b\", nearest: {taken: before}}}\n    set: {scale: factor}\n"
	sheet := strings.Replace(pairingSheet, "S1,m,d1,2031-03-01,long,1", "S1,m,d1,2031-03-01,long,", 1)
	sheet = strings.Replace(sheet, "S2,m,d1,2031-03-05,short,1", "S2,m,d1,2031-03-05,short,-1", 1)
	r = run(t, pairingStudy(t, sheet, less), pairingKinds(), pipeline.Options{})
	if m := r.messages["net sample=S1"]; !strings.Contains(m, "a field is empty") || !strings.Contains(m, "scale") {
		t.Errorf("empty: %q", m)
	}
	if m := r.messages["net sample=S2"]; !strings.Contains(m, "more than 0") {
		t.Errorf("out of bounds: %q", m)
	}
}

func TestCaptureAgainstTheSheet(t *testing.T) {
	dir := t.TempDir()
	write(t, dir, "raw/d1/S1.csv", "1,1\n2,2\n")
	write(t, dir, "raw/d2/S2.csv", "1,1\n2,3\n")
	write(t, dir, "raw/d1/S3.csv", "1,1\n2,4\n")
	write(t, dir, "samples.csv", "sample,day\nS1,d1\nS2,d1\nS3,\n")
	write(t, dir, "study.yaml", "study: days\nsamples: samples.csv\ngraph:\n  curves:\n    kind: t.read\n    set: {files: raw/<day>/<sample>.csv}\n  signs:\n    kind: t.sign\n    from: {curve: {stage: curves, where: day == \"d1\"}}\n")
	r := run(t, dir, pairingKinds(), pipeline.Options{})
	if m := r.messages["curves day=d2,sample=S2"]; !strings.Contains(m, "d1") || !strings.Contains(m, "d2") {
		t.Errorf("two values: %q", m)
	}
	if d := cmp.Diff([]string{"curves day=d1,sample=S1", "curves day=d1,sample=S3", "signs day=d1,sample=S1", "signs day=d1,sample=S3"}, r.made); d != "" {
		t.Error(d)
	}
}

// An import may give many items of one file. They are stored as they come: memory holds one at a time.
func TestStreamOfItems(t *testing.T) {
	const n = 20000
	dir := quickDir(t)
	write(t, dir, "raw/all.csv", strings.Repeat("x", 10))
	write(t, dir, "samples.csv", "sample\nS1\n")
	write(t, dir, "study.yaml", "study: stream\nsamples: samples.csv\ngraph:\n  curves:\n    kind: t.stream\n    set: {files: raw/all.csv}\n")
	var most uint64
	kind := &pipeline.Kind{
		Name: "t.stream", Revision: 1, Doc: "gives many", Source: "common practice, no source", Reads: true,
		Outputs:  []pipeline.Output{{Name: "items", Doc: "curves", Per: pipeline.PerAny, Form: pipeline.Curve, Columns: []pipeline.Column{{Name: "x", Unit: "nm"}, {Name: "y", Unit: "1"}}}},
		Settings: func() any { return &readSettings{} },
		Run: func(_ context.Context, call *pipeline.Call) (pipeline.Choices, error) {
			var m runtime.MemStats
			for i := range n {
				x := make([]float64, 256)
				for j := range x {
					x[j] = float64(i + j)
				}
				tab := &table.Table{}
				tab.AddFloat("x", "nm", x)
				tab.AddFloat("y", "1", x)
				if err := call.Stream("items", nil, tab); err != nil {
					return nil, err
				}
				if i%2000 == 0 {
					runtime.GC()
					runtime.ReadMemStats(&m)
					most = max(most, m.HeapAlloc)
				}
			}
			return nil, nil
		},
	}
	start := time.Now()
	first := run(t, dir, []*pipeline.Kind{kind}, pipeline.Options{})
	t.Logf("%d items in %s, heap at most %d MB", first.Counts.Made, time.Since(start).Round(time.Millisecond), most>>20)
	if first.Counts.Made != n {
		t.Fatalf("%+v", first.Counts)
	}
	// all tables together would be 80 MB
	if most > 60<<20 {
		t.Errorf("%d MB of heap while items stream", most>>20)
	}
	if lines := strings.Count(string(readFile(t, filepath.Join(dir, pipeline.StateDir, "store", "index"))), "\n"); lines != 1 {
		t.Errorf("%d recipes for one file", lines)
	}
	second := run(t, dir, []*pipeline.Kind{kind}, pipeline.Options{})
	if second.Counts.Kept != n || second.Objects.Opened != 0 {
		t.Errorf("%+v, %+v", second.Counts, second.Objects)
	}
}
