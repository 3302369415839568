package pipeline_test

import (
	"context"
	"strings"
	"testing"

	"fascicle/pipeline"
	"fascicle/pipeline/table"

	"github.com/google/go-cmp/cmp"
)

// unitKinds are kinds whose items have the units, and the columns, that their files say.
func unitKinds() []*pipeline.Kind {
	curve := []pipeline.Form{pipeline.Curve}
	total := func(ctx context.Context, call *pipeline.Call) (pipeline.Choices, error) {
		for i, l := range call.Leads {
			t := &table.Table{}
			_, y := pipeline.CurveColumns(l.Table)
			t.AddFloat("first", "1", y.Floats[:1])
			call.Give("first", i, t)
		}
		return nil, nil
	}
	first := []pipeline.Output{{Name: "first", Doc: "number", Form: pipeline.Values, Columns: []pipeline.Column{{Name: "first", Unit: "1"}}}}
	read := func(name string, open bool, columns ...pipeline.Column) *pipeline.Kind {
		return &pipeline.Kind{Name: name, Revision: 1, Doc: "reads `x unit, y unit` and a row", Source: "common practice, no source", Reads: true,
			Outputs:  []pipeline.Output{{Name: "items", Doc: "curves", Per: pipeline.PerAny, Form: pipeline.Curve, Columns: columns, Open: open}},
			Settings: func() any { return &readSettings{} },
			Run: func(ctx context.Context, call *pipeline.Call) (pipeline.Choices, error) {
				t := &table.Table{}
				for _, col := range strings.Split(strings.TrimSpace(string(call.File.Data)), ",") {
					name, unit, _ := strings.Cut(col, " ")
					if unit == "text" {
						t.AddText(name, []string{"a", "b"})
						continue
					}
					t.AddFloat(name, unit, []float64{1, 2})
				}
				return nil, call.Stream("items", nil, t)
			}}
	}
	return []*pipeline.Kind{
		read("t.units", false, pipeline.Column{Name: "x", Unit: "*"}, pipeline.Column{Name: "y", Unit: "*"}),
		read("t.open", true),
		{Name: "t.first", Revision: 1, Doc: "first number", Source: "common practice, no source", Outputs: first, Run: total,
			Ports: []pipeline.Port{{Name: "curve", Lead: true, Doc: "curve", Forms: curve, Columns: []pipeline.Column{{Name: pipeline.AxisColumn, Unit: "nm"}, {Name: "y", Unit: "1/cm"}}}}},
		{Name: "t.both", Revision: 1, Doc: "first number", Source: "common practice, no source", Outputs: first, Run: total,
			Ports: []pipeline.Port{{Name: "curve", Lead: true, Doc: "curve", Forms: curve},
				{Name: "other", Doc: "curve", Forms: curve, Pair: pipeline.BySample, Columns: []pipeline.Column{{Name: pipeline.AxisColumn, Unit: "=curve.axis"}, {Name: pipeline.ValueColumn, Unit: "=curve"}}}}},
	}
}

// Units that only the files say are held against the port before the kind sees a number.
func TestUnitsThatFilesSay(t *testing.T) {
	const one = "  first:\n    kind: t.first\n    from: {curve: curves}\n"
	const both = "  others:\n    kind: KIND\n    set: {files: other/<sample>.csv}\n  first:\n    kind: t.both\n    from: {curve: curves, other: others}\n"
	for _, c := range []struct {
		name, kind, file, graph, other string
		want                           []string // parts of the message; none: it works
	}{
		{"as due", "t.units", "x nm,y 1/cm", one, "", nil},
		{"of the same dimension", "t.units", "x nm,y 1/nm", one, "", nil},
		{"no unit", "t.units", "x nm,y 1", one, "", []string{"curves sample=S1 at port `curve` of stage first: found column y in no unit; expected cm⁻¹ or a unit like it",
			"if the file does not say its unit, give it in stage curves, as in `columns: {y: \"HEAD [1/cm]\"}`: look at raw/S1.csv"}},
		{"another axis", "t.units", "x s,y 1/cm", one, "", []string{"found column x in s; expected nm or a unit like it", `columns: {x: "HEAD [nm]"}`}},
		{"open columns", "t.open", "x nm,y mol/L", one, "", []string{"found column y in mol/L; expected cm⁻¹"}},
		{"open columns, one missing", "t.open", "x nm,z 1/cm", one, "", []string{"the port needs the column y in cm⁻¹"}},
		{"open columns, words", "t.open", "x nm,y text", one, "", []string{"column y should hold numbers"}},
		{"like another port", "t.units", "x nm,y 1/cm", both, "x nm,y 1/cm", nil},
		{"unlike another port", "t.units", "x nm,y 1/cm", both, "x nm,y 1", []string{"others sample=S1 at port `other` of stage first: found column y in no unit; expected cm⁻¹, the unit of y in curves sample=S1 at port `curve`", "give it in stage others"}},
		{"another axis than at another port", "t.open", "x nm,y 1/cm", both, "x eV,y 1/cm", []string{"found column x in eV; expected nm, the unit of x"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			write(t, dir, "samples.csv", "sample\nS1\n")
			write(t, dir, "raw/S1.csv", c.file)
			if c.other != "" {
				write(t, dir, "other/S1.csv", c.other)
			}
			write(t, dir, "study.yaml", strings.ReplaceAll("study: units\nsamples: samples.csv\ngraph:\n  curves:\n    kind: KIND\n    set: {files: raw/<sample>.csv}\n"+c.graph, "KIND", c.kind))
			r := run(t, dir, unitKinds(), pipeline.Options{})
			m := r.messages["first sample=S1"]
			if len(c.want) == 0 {
				if d := cmp.Diff("", m); d != "" || len(r.failed) > 0 {
					t.Error(d, r.messages)
				}
				return
			}
			if len(r.failed) != 1 || r.failed[0] != "first sample=S1" {
				t.Errorf("failed %v", r.failed)
			}
			for _, w := range c.want {
				if !strings.Contains(m, w) {
					t.Errorf("message %q, want %q", m, w)
				}
			}
		})
	}
}
