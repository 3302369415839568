package main

import (
	"context"
	"encoding/json"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"fascicle/cmd/fascicle/internal/firstlook"
	"fascicle/pipeline"

	"github.com/google/go-cmp/cmp"
)

// The demo ends well when exactly what was broken on purpose went wrong, and finds its truth. The limit on |z| is met by the largest of
// 2,000 normal numbers in 999 of 1,000 studies.
func TestDemo(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "study")
	c := fascicle(t, "demo", "--json", dir)
	c.want(t, 0, nil, nil)
	for _, l := range c.lines(t) {
		switch l["event"] {
		case "demo":
			if n := len(l["broken"].([]any)); n < 4 {
				t.Errorf("%d things are broken on purpose", n)
			}
		case "truth":
			if l["values"].(float64) < 400 || l["found"] != l["values"] || len(l["surprises"].([]any)) > 0 || math.Abs(l["largest_z"].(float64)) > 5 {
				t.Errorf("the truth and what was found: %v", l)
			}
		}
	}
	for _, name := range []string{"truth.json", "out/report.html", "out/values.json"} {
		if _, err := os.Stat(filepath.Join(dir, filepath.FromSlash(name))); err != nil {
			t.Error(err)
		}
	}
}

// One study through every command, in the order in which a user would meet them.
func TestEveryCommand(t *testing.T) {
	dir := writeFirstLook(t)
	made := fascicle(t, "run", dir)
	made.want(t, 1, []string{"1 failed", firstlook.Broken, filepath.Join(dir, "out", "report.html")}, nil)
	if made.err != "" {
		t.Errorf("stderr: %s", made.err)
	}
	if t.Failed() {
		t.FailNow() // nothing further would mean anything
	}

	t.Run("truth", func(t *testing.T) { checkTruth(t, dir) })

	t.Run("run again keeps all", func(t *testing.T) {
		before := tree(t, filepath.Join(dir, "out"))
		c := fascicle(t, "run", dir)
		c.want(t, 1, []string{"0 made, ", "failed ", "sample=" + firstlook.Broken, "blocked "}, nil)
		if d := cmp.Diff(before, tree(t, filepath.Join(dir, "out"))); d != "" {
			t.Error("out/ changed:", d)
		}
	})

	t.Run("run --json", func(t *testing.T) { checkRunLines(t, fascicle(t, "run", "--json", dir)) })

	t.Run("run --plan", func(t *testing.T) {
		before := tree(t, filepath.Join(dir, ".fascicle"))
		fascicle(t, "run", "--plan", dir).want(t, 0, []string{"guinier", "scattering.guinier"}, nil)
		lines := fascicle(t, "run", "--plan", "--json", dir).lines(t)
		for _, l := range lines[:len(lines)-1] {
			if l["event"] != "stage" || l["stage"] == "" || l["items"] == nil {
				t.Errorf("got %v", l)
			}
			if l["stage"] == "guinier" && l["kind"] != "scattering.guinier" {
				t.Errorf("got %v", l)
			}
		}
		if d := cmp.Diff(before, tree(t, filepath.Join(dir, ".fascicle"))); d != "" {
			t.Error("a plan changed the store:", d)
		}
	})

	t.Run("check", func(t *testing.T) {
		fascicle(t, "check", dir).want(t, 0, []string{"day_one takes 9 files", "day_two takes 9 files", "18 samples, 18 files"}, nil)
		lines := fascicle(t, "check", "--json", dir).lines(t)
		last := lines[len(lines)-1]
		if last["event"] != "end" || last["files"] != 18.0 || last["faults"] != 0.0 {
			t.Errorf("last line: %v", last)
		}
		stray := filepath.Join(dir, "raw", "d1", "stranger.dat") // its sample is not in the sheet
		if err := os.WriteFile(stray, []byte("1 2 3\n"), 0o666); err != nil {
			t.Fatal(err)
		}
		fascicle(t, "check", dir).want(t, 1, []string{"1 problem"}, []string{"raw/d1/stranger.dat", "samples.csv"})
		if err := os.Remove(stray); err != nil {
			t.Fatal(err)
		}
	})

	t.Run("trace", func(t *testing.T) {
		fascicle(t, "trace", dir, "N15/guinier/Rg_1").want(t, 0, []string{"raw/d1/N15.dat", "raw/d1/N-solvent-1.dat", "scale = 1.004"}, nil)
		fascicle(t, "trace", dir, "N15/guinier/I0_1").want(t, 0, []string{"fractions of u²", "  own part (", " constants.plate_level (", " constants.capillary (", " constants.plate (",
			" constants.monitor_ratio (", " day_scale[day=d1] (", "the noise of day_one day=d1,sample=N-solvent-1, which serves others too, counts in its own part"}, nil)
		fascicle(t, "trace", dir, "N15/guinier/Rg_7").want(t, 2, nil, []string{"Rg_7"})
		lines := fascicle(t, "trace", "--json", dir, "N15/guinier/Rg_1").lines(t)
		if lines[0]["event"] != "lineage" || lines[0]["lineage"] == nil {
			t.Errorf("got %v", lines[0])
		}
	})

	t.Run("labelled run after a change, and compare", func(t *testing.T) {
		study := filepath.Join(dir, "study.yaml")
		edit(t, study, "monitor_ratio: 1.004", "monitor_ratio: 1.010")
		fascicle(t, "run", "--label", "shifted", "--why", dir).want(t, 1, []string{"particles day=d1,sample=N15: scale = 1.01 ± 0.003 (constants.monitor_ratio)\n", "guinier day=d1,sample=N15: "}, nil)
		fascicle(t, "compare", dir).want(t, 0, []string{"N15/guinier/Rg_1", "particles.scale: 1.004 ± 0.003 (constants.monitor_ratio) → 1.01 ± 0.003 (constants.monitor_ratio)"}, nil)
		fascicle(t, "compare", dir, "shifted", "nonsense").want(t, 2, nil, []string{"nonsense"})
		lines := fascicle(t, "compare", "--json", dir).lines(t)
		if lines[0]["event"] != "comparison" {
			t.Errorf("got %v", lines[0])
		}
		edit(t, study, "monitor_ratio: 1.010", "monitor_ratio: 1.004")
	})

	t.Run("trim", func(t *testing.T) {
		fascicle(t, "trim", dir).want(t, 0, []string{"removed "}, nil)
		lines := fascicle(t, "trim", "--json", dir).lines(t)
		if lines[0]["removed"] != 0.0 { // the second time there is nothing left to remove
			t.Errorf("got %v", lines[0])
		}
	})

	t.Run("interrupted", func(t *testing.T) {
		ctx, cancel := context.WithCancel(context.Background())
		cancel()
		fascicleWith(t, ctx, "run", "--remake", dir).want(t, 130, nil, []string{"interrupted"})
		lines := fascicleWith(t, ctx, "run", "--remake", "--json", dir).lines(t)
		if last := lines[len(lines)-1]; last["event"] != "end" || last["interrupted"] != true || last["report"] != nil {
			t.Errorf("last line: %v", last)
		}
	})

	t.Run("a fault in the study", func(t *testing.T) {
		study := filepath.Join(dir, "study.yaml")
		edit(t, study, "kind: scattering.guinier", "kind: scattering.guinie")
		c := fascicle(t, "run", dir)
		c.want(t, 2, nil, []string{"study.yaml:", "scattering.guinie", `scattering.guinier`})
		edit(t, study, "kind: scattering.guinie", "kind: scattering.guinier")
	})

	t.Run("the broken file mended", func(t *testing.T) {
		good, err := os.ReadFile(filepath.Join(dir, "raw", "d2", "N70.csv"))
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, "raw", "d2", firstlook.Broken+".csv"), good, 0o666); err != nil {
			t.Fatal(err)
		}
		fascicle(t, "run", dir).want(t, 0, []string{"0 failed, 0 blocked"}, nil)
	})
}

// checkTruth holds values.json against truth.json as any reader could. z² summed over 22 independent numbers is a χ² variable of 22
// degrees of freedom. Rg and I0 of one fit go together, at worst as one number twice: then the sum is 2·χ²(11), whose 0.1 % and
// 99.9 % points are 3.67 and 62.5 (gonum's distuv.ChiSquared.Quantile); those of χ²(22), 6.98 and 48.3, lie within them.
func checkTruth(t *testing.T, dir string) {
	var truth firstlook.Truth
	read(t, filepath.Join(dir, "truth.json"), &truth)
	var values struct{ Values []pipeline.Value }
	read(t, filepath.Join(dir, "out", "values.json"), &values)
	scores, missing := truth.Scores(values.Values)
	if len(missing) > 0 {
		t.Errorf("not found: %v", missing)
	}
	var chi2 float64
	for _, s := range scores {
		t.Logf("%s %s: truth %.4f, found %.4f, z %.2f", s.Sample, s.Name, s.Value, s.Found, s.Z)
		if math.Abs(s.Z) > 4 {
			t.Errorf("%s %s: truth %g, found %g, z %.2f", s.Sample, s.Name, s.Value, s.Found, s.Z)
		}
		chi2 += s.Z * s.Z
	}
	if chi2 < 3.67 || chi2 > 62.5 {
		t.Errorf("χ² is %.1f of %d", chi2, len(scores))
	}
	for _, v := range values.Values {
		if v.Sample == firstlook.Broken && v.Stage == "guinier" {
			t.Errorf("a value of the broken sample: %v", v)
		}
	}
}

// checkRunLines holds the lines of `run --json` against their published form.
func checkRunLines(t *testing.T, c call) {
	lines := c.lines(t)
	last := lines[len(lines)-1]
	counted := map[string]any{"made": 0.0, "kept": 0.0, "failed": 0.0, "blocked": 0.0}
	for _, l := range lines[:len(lines)-1] {
		if d := cmp.Diff([]string{"event", "item", "message", "stage", "state"}, keysOf(l)); d != "" || l["event"] != "item" {
			t.Fatalf("%v: %s", l, d)
		}
		state := l["state"].(string)
		n, ok := counted[state].(float64)
		if !ok {
			t.Fatalf("state %q", state)
		}
		counted[state] = n + 1
		if message := l["message"].(string); (state == "failed" || state == "blocked") && message == "" {
			t.Errorf("no message: %v", l)
		}
	}
	want := map[string]any{"event": "end", "counts": counted, "report": "out/report.html"}
	if d := cmp.Diff(want, last); d != "" {
		t.Error(d)
	}
	if c.status != 1 {
		t.Errorf("exit status %d, want 1", c.status)
	}
}

func read(t *testing.T, name string, v any) {
	t.Helper()
	data, err := os.ReadFile(name)
	if err == nil {
		err = json.Unmarshal(data, v)
	}
	if err != nil {
		t.Fatal(err)
	}
}

func edit(t *testing.T, name, from, to string) {
	t.Helper()
	data, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(data), from) {
		t.Fatalf("%s lacks %q", name, from)
	}
	if err := os.WriteFile(name, []byte(strings.Replace(string(data), from, to, 1)), 0o666); err != nil {
		t.Fatal(err)
	}
}

// tree gives the files below a folder with their contents, run records left out.
func tree(t *testing.T, dir string) map[string]string {
	t.Helper()
	files := map[string]string{}
	err := filepath.WalkDir(dir, func(name string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := os.ReadFile(name)
		files[name] = string(data)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(files) == 0 {
		t.Fatalf("%s is empty", dir)
	}
	t.Logf("%s: %d files, first %s", dir, len(files), slices.Min(slices.Collect(maps.Keys(files))))
	return files
}
