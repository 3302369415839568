package pipeline_test

import (
	"context"
	"strings"
	"testing"

	"fascicle/pipeline"
)

type workSettings struct {
	X pipeline.ColumnName `set:"x" doc:"a column, or an expression"`
}

// worker works out a column or an expression of its rows.
func worker() *pipeline.Kind {
	return &pipeline.Kind{
		Name: "t.work", Revision: 1, Doc: "works out", Source: "common practice, no source",
		Ports:    []pipeline.Port{{Name: "row", Lead: true, Doc: "row"}},
		Outputs:  []pipeline.Output{{Name: "out", Doc: "out", Form: pipeline.Values, Columns: declare("out")}},
		Settings: func() any { return &workSettings{} },
		Run: func(_ context.Context, call *pipeline.Call) (pipeline.Choices, error) {
			for i, l := range call.Leads {
				c, err := call.Column(call.Settings.(*workSettings).X, l)
				if err != nil {
					return nil, err
				}
				call.Give("out", i, numbers("out", c.Value))
			}
			return nil, nil
		},
	}
}

// rower gives rows whose columns are declared, or known only when they are there.
func rower(open bool) *pipeline.Kind {
	out := pipeline.Output{Name: "row", Doc: "row", Form: pipeline.Values, Open: open}
	if !open {
		out.Columns = declare("y")
	}
	return &pipeline.Kind{
		Name: "t.row", Revision: 1, Doc: "gives rows", Source: "common practice, no source",
		Ports:   []pipeline.Port{{Name: "curve", Lead: true, Doc: "curve", Forms: aCurve}},
		Outputs: []pipeline.Output{out},
		Run: func(_ context.Context, call *pipeline.Call) (pipeline.Choices, error) {
			for i, l := range call.Leads {
				call.Give("row", i, numbers("y", y0(l)))
			}
			return nil, nil
		},
	}
}

type theirSettings struct {
	X pipeline.ColumnName `set:"x" port:"with" doc:"a column of with, or an expression"`
}

// TestRecipesNameWhatExpressionsReadOfPartners changes a field of a partner, which an expression over the partner's row reads.
func TestRecipesNameWhatExpressionsReadOfPartners(t *testing.T) {
	kind := &pipeline.Kind{
		Name: "t.theirs", Revision: 1, Doc: "works out", Source: "common practice, no source",
		Ports:    []pipeline.Port{{Name: "row", Lead: true, Doc: "row"}, {Name: "with", Doc: "partner"}},
		Outputs:  []pipeline.Output{{Name: "out", Doc: "out", Form: pipeline.Values, Columns: declare("out")}},
		Settings: func() any { return &theirSettings{} },
		Run: func(_ context.Context, call *pipeline.Call) (pipeline.Choices, error) {
			for i := range call.Leads {
				c, err := call.Column(call.Settings.(*theirSettings).X, call.Partner("with", i))
				if err != nil {
					return nil, err
				}
				call.Give("out", i, numbers("out", c.Value))
			}
			return nil, nil
		},
	}
	const sheet = "sample,role,factor\nA,mixture,2\nB,std,3\n"
	dir := meetingDir(t, sheet, map[string]string{"A.csv": "5", "B.csv": "7"}, `  curves: {kind: t.dated, set: {files: raw/<sample>.csv}}
  rows: {kind: t.row, from: {curve: curves}}
  works: {kind: t.theirs, from: {row: {stage: rows, where: role == "mixture"}, with: {stage: rows, where: role == "std", only: true}}, set: {x: "y * factor"}}
`)
	kinds := []*pipeline.Kind{dated(), rower(false), kind}
	says(t, found(t, run(t, dir, kinds, pipeline.Options{}), "works", "out"), map[string]string{"sample=A": "21"})
	write(t, dir, "samples.csv", strings.Replace(sheet, "std,3", "std,4", 1))
	says(t, found(t, run(t, dir, kinds, pipeline.Options{}), "works", "out"), map[string]string{"sample=A": "28"})
}

// TestRecipesNameAllThatExpressionsRead changes one thing that an expression reads, and holds the run after that against a run without
// anything in store.
func TestRecipesNameAllThatExpressionsRead(t *testing.T) {
	const sheet = "sample,salt [mmol/L],factor,chain\nA,500,2,long\n"
	const constants = `study: expressions
samples: samples.csv
constants:
  k: 2.000001
  mass: {long: 60 g/mol, short: 12 g/mol}
conditions:
  salty: salt > "250 mmol/L"
  saltier: salty && factor < 10
graph:
`
	const graph = `  curves: {kind: t.dated, set: {files: raw/<sample>.csv}}
  rows: {kind: t.row, from: {curve: curves}}
  works: {kind: t.work, from: {row: rows}, set: {x: "EXPR"}}
`
	for _, open := range []bool{false, true} {
		for _, c := range []struct{ name, expr, file, old, new, first, second string }{
			{"field", "y * factor", "samples.csv", "500,2", "500,3", "10", "15"},
			{"unit of a field", `salt > \"0.4 mol/L\" && salt < \"1 mol/L\" ? y : 0`, "samples.csv", "salt [mmol/L]", "salt [mol/L]", "5", "0"},
			{"constant", "y > 1 ? k : 0", "study.yaml", "2.000001", "2.000002", "2.000001", "2.000002"},
			{"member of a map", `mass.long > \"30 g/mol\" ? y : 0`, "study.yaml", "60 g/mol", "6 g/mol", "5", "0"},
			{"map by a field", `mass[chain] > \"30 g/mol\" ? y : 0`, "samples.csv", "long", "short", "5", "0"},
			{"entry of a map", `mass[chain] > \"30 g/mol\" ? y : 0`, "study.yaml", "60 g/mol", "6 g/mol", "5", "0"},
			{"field of a condition", "salty ? y : 0", "samples.csv", "500", "200", "5", "0"},
			{"field of a condition of a condition", "saltier ? y : 0", "samples.csv", "500,2", "500,20", "5", "0"},
		} {
			name := c.name
			if open {
				name += ", columns known late"
			}
			t.Run(name, func(t *testing.T) {
				dir := meetingDir(t, sheet, map[string]string{"A.csv": "5"}, "")
				study := constants + strings.Replace(graph, "EXPR", c.expr, 1)
				write(t, dir, "study.yaml", study)
				kinds := []*pipeline.Kind{dated(), rower(open), worker()}
				says(t, found(t, run(t, dir, kinds, pipeline.Options{}), "works", "out"), map[string]string{"sample=A": c.first})
				text := map[string]string{"samples.csv": sheet, "study.yaml": study}[c.file]
				if strings.Count(text, c.old) != 1 {
					t.Fatalf("%q stands %d times in %s", c.old, strings.Count(text, c.old), c.file)
				}
				write(t, dir, c.file, strings.Replace(text, c.old, c.new, 1))
				says(t, found(t, run(t, dir, kinds, pipeline.Options{}), "works", "out"), map[string]string{"sample=A": c.second})
			})
		}
	}
}
