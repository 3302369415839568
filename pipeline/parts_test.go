package pipeline_test

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"fascicle/pipeline"
)

// scaled is a study in which n numbers are scaled by what the tests put in.
func scaled(t testing.TB, n int, constants, graph string) string {
	t.Helper()
	dir := t.TempDir()
	sheet := "sample,path [mm]\n"
	for i := range n {
		sheet += fmt.Sprintf("S%d,10\n", i+1)
		write(t, dir, fmt.Sprintf("raw/S%d.num", i+1), fmt.Sprintf("x %g 0.1\n", float64(i+1)))
	}
	write(t, dir, "samples.csv", sheet)
	write(t, dir, "cal/cal.num", "a 2 0.02\nb 4 0.08\ncov a b 0.0008\n")
	write(t, dir, "study.yaml", "study: parts\nsamples: samples.csv\nconstants:\n"+constants+"graph:\n  raw:\n    kind: p.values\n    set: {files: raw/<sample>.num}\n  cal:\n    kind: p.values\n    set: {files: cal/cal.num}\n"+graph)
	return dir
}

func TestPartsTravel(t *testing.T) {
	for _, c := range []struct {
		name, constants, graph, value string
		x, u, own                     float64
		parts                         map[string]float64
		unknown                       string
	}{
		{name: "a constant in a setting", constants: "  k: 2.0(1)\n", graph: "  y: {kind: p.scale, from: {number: raw}, set: {factor: k}}\n",
			value: "y/x/sample=S3", x: 6, own: 0.2, parts: map[string]float64{"constants.k": 0.3}},
		{name: "a number in a setting", constants: "  k: 1\n", graph: "  y: {kind: p.scale, from: {number: raw}, set: {factor: 2.0(1)}}\n",
			value: "y/x/sample=S3", x: 6, own: 0.2, parts: map[string]float64{"y.factor": 0.3}},
		{name: "a constant in a field", constants: "  cell: 20.0(2) mm\n", graph: "  y: {kind: p.scale, from: {number: raw}, set: {path: cell}}\n",
			value: "y/x/sample=S2", x: 1, own: 0.05, parts: map[string]float64{"constants.cell": -0.5 * (1/0.99 - 1/1.01)}},
		{name: "an expression", constants: "  cell: 20.0(2) mm\n", graph: "  y: {kind: p.scale, from: {number: raw}, set: {path: cell * 2}}\n",
			value: "y/x/sample=S4", x: 1, own: 0.025, parts: map[string]float64{"constants.cell": -0.5 * (1/0.99 - 1/1.01)}},
		{name: "a calibration of two correlated numbers, whose ratio is better known than either", constants: "  k: 1\n", graph: "  y: {kind: p.scale, from: {number: raw, by: {stage: cal, only: true}}}\n",
			// u(a) = 1 %, u(b) = 2 %, r = 0.5: two directions
			value: "y/x/sample=S4", x: 2, own: 0.05, parts: map[string]float64{
				"cal[all].1": 2 * 0.5 * (1.01/1.01 - 0.99/0.99), // a rises by 1 %, and b with it by r·u(b) = 1 %
				"cal[all].2": -2 * 0.5 * (1/(1-0.02*math.Sqrt(0.75)) - 1/(1+0.02*math.Sqrt(0.75))),
			}},
		{name: "a source that comes in twice, with its sign", constants: "  k: 2.0(1)\n  cell: 10 mm\n",
			graph: "  z: {kind: p.scale, from: {number: raw}, set: {factor: k}}\n  y: {kind: p.scale, from: {number: z}, set: {factor: k}}\n",
			value: "y/x/sample=S1", x: 4, own: 0.4, parts: map[string]float64{"constants.k": 0.5 * (2.1*2.1 - 1.9*1.9)}},
		{name: "a ratio in which it cancels", constants: "  k: 2.0(1)\n", graph: "  z: {kind: p.scale, from: {number: raw}, set: {factor: k}}\n  w: {kind: p.scale, from: {number: raw}, set: {factor: k}}\n  y: {kind: p.ratio, from: {a: z, b: w}}\n",
			value: "y/x/sample=S3", x: 1, own: 0, parts: map[string]float64{}},
		{name: "a mean over samples", constants: "  k: 2.0(1)\n", graph: "  z: {kind: p.scale, from: {number: raw}, set: {factor: k}}\n  y: {kind: p.mean, from: {point: z}, set: {column: x}}\n",
			value: "y/mean/all", x: 5, own: 0.1, parts: map[string]float64{"constants.k": 0.25}},
		{name: "an expression over rows", constants: "  k: 2.0(1)\n", graph: "  z: {kind: p.scale, from: {number: raw}, set: {factor: 3}}\n  y: {kind: p.mean, from: {point: z}, set: {column: x * k}}\n",
			value: "y/mean/all", x: 15, own: 0.3, parts: map[string]float64{"constants.k": 0.75}},
		{name: "an expression over rows whose columns only the files tell", constants: "  k: 2.0(1)\n", graph: "  y: {kind: p.mean, from: {point: raw}, set: {column: x * k}}\n",
			value: "y/mean/all", x: 5, own: 0.1, parts: map[string]float64{"constants.k": 0.25}},
		{name: "a kind that lets none through", constants: "  k: 2.0(1)\n", graph: "  z: {kind: p.scale, from: {number: raw}, set: {factor: k}}\n  w: {kind: p.blind, from: {number: z}}\n  y: {kind: p.scale, from: {number: w}}\n",
			value: "y/x/sample=S3", x: 6, own: 0.1, unknown: "constants.k"},
		{name: "a shifted call that fails", constants: "  k: 2.0(3.0)\n", graph: "  z: {kind: p.scale, from: {number: raw}, set: {factor: k}}\n  w: {kind: p.log, from: {number: z}}\n  y: {kind: p.scale, from: {number: w}}\n",
			value: "y/x/sample=S3", x: math.Log(6), own: 0, unknown: "constants.k"},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := scaled(t, 4, c.constants, c.graph)
			v, ok := runValues(t, dir)[c.value]
			if !ok {
				t.Fatalf("no value %s", c.value)
			}
			near(t, "value", v.Value, c.x, 1e-12)
			near(t, "own", v.Own, c.own, 1e-12)
			if c.unknown != "" {
				if v.U != nil || !slices.Contains(v.Unknown, c.unknown) || !strings.Contains(strings.Join(v.Flags, "\n"), c.unknown) {
					t.Errorf("u = %v, unknown %q, flags %q: expected no u, because of %s", v.U, v.Unknown, v.Flags, c.unknown)
				}
				return
			}
			uu := c.own * c.own
			for src, want := range c.parts {
				got := v.Parts[src]
				near(t, "part of "+src, &got, want, 1e-12)
				uu += want * want
			}
			for src := range v.Parts {
				if c.parts[src] == 0 {
					t.Errorf("an unexpected part %s: %g", src, v.Parts[src])
				}
			}
			near(t, "u", v.U, math.Sqrt(uu), 1e-12)
		})
	}
}

// Sides of a part that differ are flagged; a straight one is not.
func TestCrookedPartIsFlagged(t *testing.T) {
	for _, c := range []struct {
		constant string
		flagged  bool
	}{{"  k: 2.0(1.5)\n", true}, {"  k: 2.0(1)\n", false}} {
		dir := scaled(t, 2, c.constant, "  z: {kind: p.scale, from: {number: raw}, set: {factor: k}}\n  y: {kind: p.log, from: {number: z}}\n")
		v := runValues(t, dir)["y/x/sample=S1"]
		if got := strings.Contains(strings.Join(v.Flags, "\n"), "x does not follow constants.k in a straight line"); got != c.flagged {
			t.Errorf("%q: flags %q, expected one: %v", c.constant, v.Flags, c.flagged)
		}
	}
}

// The uncertainty of a constant changes no value; what does not carry it is kept, what does is made again.
func TestOnlyWhatCarriesAConstantIsRemade(t *testing.T) {
	graph := "  y: {kind: p.scale, from: {number: raw}, set: {factor: k}}\n  other: {kind: p.scale, from: {number: raw}, set: {factor: 3}}\n" +
		"  z: {kind: p.mean, from: {point: y}, set: {column: x}}\n  w: {kind: p.mean, from: {point: other}, set: {column: x}}\n"
	dir := scaled(t, 3, "  k: 2.0(1)\n", graph)
	before := runValues(t, dir)
	for _, k := range []string{"2.0(2)", "2.0(2); nu 7", "2"} {
		write(t, dir, "study.yaml", strings.Replace(read(t, dir, "study.yaml"), constantLine(read(t, dir, "study.yaml")), "  k: "+k+"\n", 1))
		r := run(t, dir, partsKinds(), pipeline.Options{})
		want := []string{"y sample=S1", "y sample=S2", "y sample=S3", "z all"}
		if !slices.Equal(r.made, want) {
			t.Errorf("k: %s: made %q, expected %q", k, r.made, want)
		}
		values, err := r.ReadValues(context.Background())
		if err != nil {
			t.Fatal(err)
		}
		for _, v := range values {
			b := before[v.Stage+"/"+v.Name+"/"+v.Item]
			if *v.Value != *b.Value || *v.Own != *b.Own {
				t.Errorf("k: %s: %s moved from %v ± %v to %v ± %v", k, v.Address(), *b.Value, *b.Own, *v.Value, *v.Own)
			}
			if _, carries := v.Parts["constants.k"]; carries != (k != "2" && (v.Stage == "y" || v.Stage == "z")) {
				t.Errorf("k: %s: %s has the parts %v", k, v.Address(), v.Parts)
			}
			if k == "2.0(2); nu 7" && v.Stage == "y" {
				p := v.Parts["constants.k"]
				near(t, "ν of "+v.Address(), v.Nu, 7*math.Pow(*v.U, 4)/math.Pow(p, 4), 1e-9*math.Pow(*v.U/p, 4)*7)
			}
		}
	}
}

func constantLine(study string) string {
	at := strings.Index(study, "  k:")
	return study[at : at+strings.IndexByte(study[at:], '\n')+1]
}

// A study gives the same bytes whatever the number of workers, and kept parts are those that were made.
func TestPartsAreTheSameForAnyWorkers(t *testing.T) {
	graph := "  y: {kind: p.scale, from: {number: raw, by: {stage: cal, only: true}}, set: {factor: k, path: cell}}\n  z: {kind: p.mean, from: {point: y}, set: {column: x}}\n"
	constants := "  k: 2.0(1)\n  cell: 10.0(2) mm\n"
	var hashes []string
	for _, jobs := range []int{1, 2, 7} {
		dir := scaled(t, 9, constants, graph)
		for range 2 { // made, then kept
			r := run(t, dir, partsKinds(), pipeline.Options{Jobs: jobs})
			r.Complete()
			var b strings.Builder
			for _, s := range r.Stages {
				for _, it := range s.Items {
					fmt.Fprintf(&b, "%s %s %s %v\n", s.Name, it.Name, it.Hash, it.Flags)
				}
			}
			hashes = append(hashes, b.String())
		}
	}
	for _, h := range hashes[1:] {
		if h != hashes[0] {
			t.Errorf("found\n%s\nexpected\n%s", h, hashes[0])
		}
	}
}

// A covariance that cannot be is the kind's error, and said with its name.
func TestImpossibleCovariance(t *testing.T) {
	dir := scaled(t, 1, "  k: 1\n", "  y: {kind: p.scale, from: {number: raw, by: {stage: cal, only: true}}}\n")
	write(t, dir, "cal/cal.num", "a 2 0.02\nb 4 0.08\ncov a b 0.002\n") // r = 1.25
	r := run(t, dir, partsKinds(), pipeline.Options{})
	if len(r.failed) != 1 || !strings.Contains(r.messages[r.failed[0]], "p.values gave a covariance of a, b in output items that is not positive semidefinite") {
		t.Errorf("failed %q: %q; expected that p.values gave a covariance that cannot be", r.failed, r.messages)
	}
}

// An uncertain cell of the sheet belongs to its sample alone, and a column derived from it carries the part.
func TestCellsAreSources(t *testing.T) {
	dir := scaled(t, 3, "  k: 1.00(1)\n", "  y: {kind: p.scale, from: {number: raw}, set: {path: longer}}\n  mean: {kind: p.mean, from: {point: y}, set: {column: x}}\n")
	write(t, dir, "samples.csv", "sample,path [mm]\nS1,10\nS2,10.0(1)\nS3,10\n")
	text := read(t, dir, "study.yaml")
	write(t, dir, "study.yaml", strings.Replace(text, "graph:\n", "derive:\n  longer [mm]: path * k\ngraph:\n", 1))
	all := runValues(t, dir)
	for _, c := range []struct {
		value string
		parts map[string]float64
	}{
		{"y/x/sample=S1", map[string]float64{"constants.k": -1}},
		{"y/x/sample=S2", map[string]float64{"constants.k": -2, "sheet.path[S2]": -2}},
		{"mean/mean/all", map[string]float64{"constants.k": -2, "sheet.path[S2]": -2. / 3}},
	} {
		v := all[c.value]
		if len(v.Parts) != len(c.parts) {
			t.Errorf("%s has the parts %v, expected %v", c.value, v.Parts, c.parts)
		}
		for src, want := range c.parts { // of 1/path, whose u is 1 %: third order 1e-4
			got := v.Parts[src]
			near(t, src+" in "+c.value, &got, want/100, 1.1e-4*math.Abs(want)/100)
		}
	}
}

// Items found by match or by nearest date are sources, each under its own name; those found by their sample are not: their own part is
// theirs and their partner's alone.
func TestWhoIsASource(t *testing.T) {
	for _, c := range []struct{ name, date, from string }{
		{"by match", "taken", "{stage: cals, match: [day]}"},
		{"by nearest date", "date", "{stage: cals, nearest: {date: before}}"},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := scaled(t, 3, "  k: 1\n", "  cals:\n    kind: p.values\n    set: {files: 'cals/<day>_<"+c.date+" [date]>.num'}\n"+
				"  y: {kind: p.scale, from: {number: raw, by: "+c.from+"}}\n  z: {kind: p.ratio, from: {a: y, b: raw}}\n")
			write(t, dir, "samples.csv", "sample,day,date\nS1,d1,2031-03-04\nS2,d2,2031-03-11\nS3,d2,2031-03-12\n")
			write(t, dir, "cals/d1_2031-03-01.num", "a 2 0.02\n")
			write(t, dir, "cals/d2_2031-03-11.num", "a 3 0.03\n")
			first, second := "cals[day=d1,"+c.date+"=2031-03-01]", "cals[day=d2,"+c.date+"=2031-03-11]"
			want := map[string]string{"S1": first, "S2": second, "S3": second}
			for id, v := range runValues(t, dir) {
				if (v.Stage == "y" || v.Stage == "z") && (len(v.Parts) != 1 || v.Parts[want[v.Sample]] == 0) {
					t.Errorf("%s has the parts %v, expected one of %s", id, v.Parts, want[v.Sample])
				}
			}
		})
	}
}

// An item that serves all groups by `all: true` is a source like any other.
func TestItemsForAllAreSources(t *testing.T) {
	dir := scaled(t, 2, "  k: 1\n", "  y: {kind: p.pool, from: {number: raw, pool: {stage: cal, all: true}}}\n")
	for id, v := range runValues(t, dir) {
		if v.Stage == "y" && v.Parts["cal[all].1"] == 0 {
			t.Errorf("%s has the parts %v, expected one of cal[all].1", id, v.Parts)
		}
	}
}

// Degrees of freedom of a cell travel with it, and a change of them alone makes a new recipe.
func TestDegreesOfFreedomOfCells(t *testing.T) {
	dir := scaled(t, 1, "  k: 1\n", "  y: {kind: p.scale, from: {number: raw}, set: {path: path}}\n")
	for _, nu := range []float64{4, 9} {
		write(t, dir, "samples.csv", fmt.Sprintf("sample,path [mm]\nS1,10.0(1); nu %g\n", nu))
		v := runValues(t, dir)["y/x/sample=S1"]
		p := v.Parts["sheet.path[S1]"]
		if p == 0 {
			t.Fatalf("parts %v", v.Parts)
		}
		near(t, "ν", v.Nu, nu*math.Pow(*v.U/p, 4), 1e-9*nu*math.Pow(*v.U/p, 4))
	}
}
