package main

import (
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"fascicle/pipeline"
)

// Measured curves from file to report: lysozyme at 8 mg/mL less its buffer. The data set (BioStruct-UdeM, lysozyme SAXS tutorial data)
// states Rg = 14.36(4) Å and I0 = 0.01180(2) for 0.0134 < q < 0.0895 1/Å, by a straight weighted line. These ends are rounded: the
// points meant lie at 0.0133653 and 0.0895351 1/Å. Taken literally they leave both out.
//
// `exact` are the normal equations of the weighted line in rational arithmetic (Python's fractions.Fraction, from the same files).
func TestLysozyme(t *testing.T) {
	open := os.Getenv("FASCICLE_OPEN_DATA")
	if open == "" {
		t.Skip("FASCICLE_OPEN_DATA is not set")
	}
	const angstrom = 0.1 // nm, inside the program's unit of length
	for _, c := range []struct {
		name    string
		low     string
		high    string
		rg, urg float64 // exact, Å
		i0, ui0 float64
		points  float64
		printed []string
	}{
		{"the printed ends", "0.0134 1/Å", "0.0895 1/Å", 14.328231224008675, 0.044439081183796705, 0.011789270702909213, 2.0570633688538296e-05, 56,
			[]string{"1.433(4) nm", "0.011789(21)"}},
		{"the points meant", "0.01336 1/Å", "0.08954 1/Å", 14.356275420224183, 0.042671045488092016, 0.011797185258287738, 2.0253688426324513e-05, 58,
			[]string{"1.436(4) nm", "0.011797(20)"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := lysozyme(t, open)
			if study := filepath.Join(dir, pipeline.StudyFile); c.low != "0.0134 1/Å" {
				edit(t, study, "0.0134 1/Å, 0.0895 1/Å", c.low+", "+c.high)
			}
			fascicle(t, "run", dir).want(t, 0, []string{"0 failed, 0 blocked"}, nil)
			if t.Failed() {
				return
			}
			var file struct{ Values []pipeline.Value }
			read(t, filepath.Join(dir, "out", "values.json"), &file)
			got := map[string]pipeline.Value{}
			for _, v := range file.Values {
				if v.Sample == "lys8" && v.Stage == "guinier" {
					got[v.Name] = v
				}
			}
			number := func(name, unit string, value, u float64) {
				t.Helper()
				v, ok := got[name]
				if !ok || v.Value == nil || v.U == nil {
					t.Fatalf("values.json has no %s with an uncertainty", name)
				}
				if v.Unit != unit {
					t.Errorf("%s is in %q, want %q", name, v.Unit, unit)
				}
				if math.Abs(*v.Value/value-1) > 1e-9 || math.Abs(*v.U/u-1) > 1e-9 {
					t.Errorf("%s = %v ± %v, want %v ± %v", name, *v.Value, *v.U, value, u)
				}
			}
			number("Rg_1", "nm", c.rg*angstrom, c.urg*angstrom)
			number("I0_1", "1", c.i0, c.ui0)
			if v := got["points"]; v.Value == nil || *v.Value != c.points {
				t.Errorf("points: %+v, want %v", v, c.points)
			}
			if t.Failed() {
				return
			}
			if rg := *got["Rg_1"].Value / angstrom; math.Abs(rg-14.36) > 0.04 {
				t.Errorf("Rg = %.3f Å is more than one u from the published 14.36(4) Å", rg)
			}
			if i0 := *got["I0_1"].Value; math.Abs(i0-0.01180) > 0.00002 {
				t.Errorf("I0 = %.6f is more than one u from the published 0.01180(2)", i0)
			}
			page := text(t, filepath.Join(dir, "out", "report.html"))
			for _, want := range c.printed {
				if !strings.Contains(page, want) {
					t.Errorf("the report does not say %q", want)
				}
			}
		})
	}
}

// lysozyme puts the study and its raw files into a new folder.
func lysozyme(t *testing.T, open string) string {
	t.Helper()
	dir := t.TempDir()
	study := filepath.Join("..", "..", "testdata", "lysozyme")
	for to, from := range map[string]string{
		pipeline.StudyFile:            filepath.Join(study, pipeline.StudyFile),
		"samples.csv":                 filepath.Join(study, "samples.csv"),
		"raw/lys8_averaged.dat":       filepath.Join(open, "scattering", "lys8_averaged.dat"),
		"raw/lys_buffer_averaged.dat": filepath.Join(open, "scattering", "lys_buffer_averaged.dat"),
	} {
		data, err := os.ReadFile(from)
		if err != nil {
			t.Fatal(err)
		}
		name := filepath.Join(dir, filepath.FromSlash(to))
		if err := os.MkdirAll(filepath.Dir(name), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(name, data, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

// text gives what a page says, without tags, blanks run together.
func text(t *testing.T, name string) string {
	t.Helper()
	data, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	page := regexp.MustCompile(`<[^>]*>`).ReplaceAllString(string(data), "")
	return strings.Join(strings.Fields(page), " ")
}
