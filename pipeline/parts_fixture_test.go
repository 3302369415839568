package pipeline_test

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"fascicle/pipeline"
	"fascicle/pipeline/table"
)

// Kinds that show how uncertainties travel. Their science is as small as can be.

type numberSettings struct {
	Number pipeline.Field `set:"number" unit:"*" doc:"the number"`
}

type factorSettings struct {
	Factor pipeline.Quantity `set:"factor" unit:"1" default:"1" doc:"factor"`
	Path   pipeline.Field    `set:"path" unit:"mm" default:"10 mm" above:"0" doc:"path"`
}

type atSettings struct {
	At pipeline.Field `set:"at" unit:"1" doc:"where"`
}

type columnSettings struct {
	Column pipeline.ColumnName `set:"column" unit:"*" doc:"column"`
}

var sheetPort = pipeline.Port{Name: "sample", Lead: true, Sheet: true, Doc: "sheet", Forms: []pipeline.Form{pipeline.Values}}

func valuesPort(name string, lead bool, pair pipeline.Pairing) pipeline.Port {
	return pipeline.Port{Name: name, Lead: lead, Pair: pair, Doc: name, Forms: []pipeline.Form{pipeline.Values}}
}

func pureNumbers(names ...string) []pipeline.Column {
	var out []pipeline.Column
	for _, n := range names {
		out = append(out, pipeline.Column{Name: n, Unit: "1", U: true})
	}
	return out
}

// row makes a one-row table of pure numbers: name, value, u, name, value, u, …; u < 0: none.
func row(args ...any) *table.Table {
	t := &table.Table{}
	for i := 0; i < len(args); i += 3 {
		name := args[i].(string)
		t.AddFloat(name, "1", []float64{args[i+1].(float64)})
		if u := args[i+2].(float64); u >= 0 {
			t.AddFloat("u_"+name, "1", []float64{u})
		}
	}
	return t
}

func first(t *table.Table, name string) float64 { return t.Col(name).Floats[0] }

// partsKinds are kinds of one number or a few, with own parts that the test's files say.
func partsKinds() []*pipeline.Kind {
	const source = "common practice, no source"
	values := func(name string, per pipeline.Per, columns ...string) pipeline.Output {
		return pipeline.Output{Name: name, Doc: name, Per: per, Form: pipeline.Values, Columns: pureNumbers(columns...)}
	}
	return []*pipeline.Kind{
		{
			// a file of lines `name value u [nu]` and `cov x y value`
			Name: "p.values", Revision: 1, Doc: "reads numbers", Source: source, Reads: true,
			Outputs:  []pipeline.Output{{Name: "items", Doc: "numbers", Per: pipeline.PerAny, Form: pipeline.Values, Open: true}},
			Settings: func() any { return &readSettings{} },
			Run: func(_ context.Context, call *pipeline.Call) (pipeline.Choices, error) {
				t := &table.Table{}
				for _, l := range strings.Split(strings.TrimSpace(string(call.File.Data)), "\n") {
					f := strings.Fields(l)
					x := make([]float64, len(f))
					for i := range f {
						x[i], _ = strconv.ParseFloat(f[i], 64)
					}
					if f[0] == "cov" {
						t.AddFloat("cov_"+f[1]+"_"+f[2], "1", []float64{x[3]})
						continue
					}
					t.AddFloat(f[0], "1", []float64{x[1]})
					if len(f) > 2 {
						t.AddFloat("u_"+f[0], "1", []float64{x[2]})
					}
					if len(f) > 3 {
						t.AddFloat("nu_"+f[0], "1", []float64{x[3]})
					}
				}
				return nil, call.Stream("items", nil, t)
			},
		},
		{
			Name: "p.table", Revision: 1, Doc: "reads columns", Source: source, Reads: true,
			Outputs:  []pipeline.Output{{Name: "items", Doc: "columns", Per: pipeline.PerAny, Form: pipeline.TableForm, Open: true}},
			Settings: func() any { return &readSettings{} },
			Run: func(_ context.Context, call *pipeline.Call) (pipeline.Choices, error) {
				lines := strings.Split(strings.TrimSpace(string(call.File.Data)), "\n")
				heads := strings.Split(lines[0], ",")
				columns := make([][]float64, len(heads))
				for _, l := range lines[1:] {
					for i, cell := range strings.Split(l, ",") {
						x, err := strconv.ParseFloat(cell, 64)
						if err != nil {
							return nil, err
						}
						columns[i] = append(columns[i], x)
					}
				}
				t := &table.Table{}
				for i, h := range heads {
					t.AddFloat(h, "1", columns[i])
				}
				return nil, call.Stream("items", nil, t)
			},
		},
		{
			Name: "p.field", Revision: 1, Doc: "a number of the sheet", Source: source, Ports: []pipeline.Port{sheetPort},
			Outputs:  []pipeline.Output{{Name: "number", Doc: "number", Form: pipeline.Values, Columns: []pipeline.Column{{Name: "x", Unit: "*", U: true}}}},
			Settings: func() any { return &numberSettings{} },
			Run: func(_ context.Context, call *pipeline.Call) (pipeline.Choices, error) {
				s := call.Settings.(*numberSettings)
				ty, _ := s.Number.Type()
				for i := range call.Leads {
					t := &table.Table{}
					n := call.Number(s.Number, i)
					t.AddFloat("x", ty.Unit.Code(), []float64{n.Value})
					t.AddFloat("u_x", ty.Unit.Code(), []float64{0})
					call.Give("number", i, t)
				}
				return nil, nil
			},
		},
		{
			Name: "p.means", Revision: 1, Doc: "means of columns", Source: "JCGM 100:2008, 4.2.3 and 5.2.3",
			Ports:   []pipeline.Port{{Name: "readings", Lead: true, Doc: "readings", Forms: []pipeline.Form{pipeline.TableForm}}},
			Outputs: []pipeline.Output{values("means", pipeline.PerLead, "V", "I", "phi")},
			Run: func(_ context.Context, call *pipeline.Call) (pipeline.Choices, error) {
				for i, l := range call.Leads {
					out := &table.Table{}
					names := []string{"V", "I", "phi"}
					cov := func(a, b string) float64 {
						x, y := l.Table.Floats(a), l.Table.Floats(b)
						mx, my, s, n := mean(x), mean(y), 0.0, float64(len(x))
						for k := range x {
							s += (x[k] - mx) * (y[k] - my)
						}
						return s / n / (n - 1)
					}
					for _, n := range names {
						out.AddFloat(n, "1", []float64{mean(l.Table.Floats(n))})
						out.AddFloat("u_"+n, "1", []float64{math.Sqrt(cov(n, n))})
					}
					for a := range names {
						for b := range a {
							out.AddFloat("cov_"+names[b]+"_"+names[a], "1", []float64{cov(names[b], names[a])})
						}
					}
					call.Give("means", i, out)
				}
				return nil, nil
			},
		},
		{
			Name: "p.impedance", Revision: 1, Doc: "impedance", Source: "JCGM 100:2008, H.2", Ports: []pipeline.Port{sheetPort, valuesPort("means", false, pipeline.ByOnly)},
			Outputs: []pipeline.Output{values("element", pipeline.PerLead, "R", "X", "Z")},
			Run: func(_ context.Context, call *pipeline.Call) (pipeline.Choices, error) {
				for i := range call.Leads {
					t := call.Partner("means", i).Table
					r, x, z := impedance(first(t, "V"), first(t, "I"), first(t, "phi"))
					call.Give("element", i, row("R", r, 0.0, "X", x, 0.0, "Z", z, 0.0))
				}
				return nil, nil
			},
		},
		{
			Name: "p.impedance-of", Revision: 1, Doc: "impedance", Source: "JCGM 100:2008, H.2", Parts: pipeline.Reads, Ports: []pipeline.Port{valuesPort("means", true, pipeline.BySample)},
			Outputs: []pipeline.Output{values("element", pipeline.PerLead, "R", "X", "Z")},
			Run: func(_ context.Context, call *pipeline.Call) (pipeline.Choices, error) {
				for i, l := range call.Leads {
					j, err := call.JointOf([]*pipeline.Input{l}, pipeline.ColumnName{Name: "V"}, pipeline.ColumnName{Name: "I"}, pipeline.ColumnName{Name: "phi"})
					if err != nil {
						return nil, err
					}
					v, c, phi := j.X[0], j.X[1], j.X[2]
					r, x, z := impedance(v, c, phi)
					call.GiveJacobian("element", i, row("R", r, -1.0, "X", x, -1.0, "Z", z, -1.0), j, map[string][]float64{
						"R": {r / v, -r / c, -x}, "X": {x / v, -x / c, r}, "Z": {z / v, -z / c, 0},
					})
				}
				return nil, nil
			},
		},
		{
			Name: "p.line", Revision: 1, Doc: "a line from 20 on, u from the scatter", Source: "JCGM 100:2008, H.3",
			Ports:   []pipeline.Port{{Name: "readings", Lead: true, Doc: "readings", Forms: []pipeline.Form{pipeline.TableForm}}},
			Outputs: []pipeline.Output{values("line", pipeline.PerLead, "y1", "y2")},
			Run: func(_ context.Context, call *pipeline.Call) (pipeline.Choices, error) {
				for i, l := range call.Leads {
					x, y := l.Table.Floats("t"), l.Table.Floats("b")
					var n, sx, sy, sxx, sxy float64
					for k := range x {
						t := x[k] - 20
						n, sx, sy, sxx, sxy = n+1, sx+t, sy+y[k], sxx+t*t, sxy+t*y[k]
					}
					d := n*sxx - sx*sx
					y1, y2 := (sxx*sy-sx*sxy)/d, (n*sxy-sx*sy)/d
					ss := 0.0
					for k := range x {
						e := y[k] - y1 - y2*(x[k]-20)
						ss += e * e
					}
					s2 := ss / (n - 2)
					t := row("y1", y1, math.Sqrt(s2*sxx/d), "y2", y2, math.Sqrt(s2*n/d))
					t.AddFloat("cov_y1_y2", "1", []float64{-s2 * sx / d})
					t.AddFloat("nu_y1", "1", []float64{n - 2})
					t.AddFloat("nu_y2", "1", []float64{n - 2})
					call.Give("line", i, t)
				}
				return nil, nil
			},
		},
		{
			Name: "p.predict", Revision: 1, Doc: "a point of the line", Source: "JCGM 100:2008, H.3", Ports: []pipeline.Port{sheetPort, valuesPort("line", false, pipeline.ByOnly)},
			Outputs: []pipeline.Output{values("point", pipeline.PerLead, "b")}, Settings: func() any { return &atSettings{} },
			Run: func(_ context.Context, call *pipeline.Call) (pipeline.Choices, error) {
				s := call.Settings.(*atSettings)
				for i := range call.Leads {
					l := call.Partner("line", i).Table
					call.Give("point", i, row("b", first(l, "y1")+first(l, "y2")*(call.Number(s.At, i).Value-20), 0.0))
				}
				return nil, nil
			},
		},
		{
			// y = x·factor·a/(path·b): three ways in which a source comes in
			Name: "p.scale", Revision: 1, Doc: "scales", Source: source,
			Ports:   []pipeline.Port{valuesPort("number", true, pipeline.BySample), {Name: "by", Optional: true, Doc: "calibration", Forms: []pipeline.Form{pipeline.Values}}},
			Outputs: []pipeline.Output{values("scaled", pipeline.PerLead, "x")}, Settings: func() any { return &factorSettings{} },
			Run: func(_ context.Context, call *pipeline.Call) (pipeline.Choices, error) {
				s := call.Settings.(*factorSettings)
				for i, l := range call.Leads {
					f := s.Factor.Value / call.Number(s.Path, i).Value * 10
					if by := call.Partner("by", i); by != nil {
						f *= first(by.Table, "a")
						if b := by.Table.Col("b"); b != nil {
							f /= b.Floats[0]
						}
					}
					u := -1.0
					if c := l.Table.Col("u_x"); c != nil {
						u = math.Abs(f) * c.Floats[0]
					}
					call.Give("scaled", i, row("x", first(l.Table, "x")*f, u))
				}
				return nil, nil
			},
		},
		{
			Name: "p.pool", Revision: 1, Doc: "x times all a of a pool", Source: source,
			Ports:   []pipeline.Port{valuesPort("number", true, pipeline.BySample), {Name: "pool", Many: true, Doc: "pool", Forms: []pipeline.Form{pipeline.Values}}},
			Outputs: []pipeline.Output{values("scaled", pipeline.PerLead, "x")},
			Run: func(_ context.Context, call *pipeline.Call) (pipeline.Choices, error) {
				for i, l := range call.Leads {
					x := first(l.Table, "x")
					for _, p := range call.Partners("pool", i) {
						x *= first(p.Table, "a")
					}
					call.Give("scaled", i, row("x", x, 0.0))
				}
				return nil, nil
			},
		},
		{
			Name: "p.ratio", Revision: 1, Doc: "x of a over x of b", Source: source, Ports: []pipeline.Port{valuesPort("a", true, pipeline.BySample), valuesPort("b", false, pipeline.BySample)},
			Outputs: []pipeline.Output{values("ratio", pipeline.PerLead, "x")},
			Run: func(_ context.Context, call *pipeline.Call) (pipeline.Choices, error) {
				for i, l := range call.Leads {
					call.Give("ratio", i, row("x", first(l.Table, "x")/first(call.Partner("b", i).Table, "x"), 0.0))
				}
				return nil, nil
			},
		},
		{
			// ln x: fails where x is not positive, crooked where its u is not small
			Name: "p.log", Revision: 1, Doc: "logarithm", Source: source, Ports: []pipeline.Port{valuesPort("number", true, pipeline.BySample)},
			Outputs: []pipeline.Output{values("log", pipeline.PerLead, "x")},
			Run: func(_ context.Context, call *pipeline.Call) (pipeline.Choices, error) {
				for i, l := range call.Leads {
					x := first(l.Table, "x")
					if x <= 0 {
						return nil, fmt.Errorf("no logarithm of %g", x)
					}
					call.Give("log", i, row("x", math.Log(x), 0.0))
				}
				return nil, nil
			},
		},
		{
			Name: "p.blind", Revision: 1, Doc: "lets no parts through", Source: source, Parts: pipeline.NoParts, Ports: []pipeline.Port{valuesPort("number", true, pipeline.BySample)},
			Outputs: []pipeline.Output{values("same", pipeline.PerLead, "x")},
			Run: func(_ context.Context, call *pipeline.Call) (pipeline.Choices, error) {
				for i, l := range call.Leads {
					call.Give("same", i, row("x", first(l.Table, "x"), 0.1))
				}
				return nil, nil
			},
		},
		{
			Name: "p.mean", Revision: 1, Doc: "weighted mean", Source: "generalised least squares", Parts: pipeline.Reads, By: "all", Ports: []pipeline.Port{valuesPort("point", true, pipeline.BySample)},
			Outputs: []pipeline.Output{values("mean", pipeline.PerGroup, "mean")}, Settings: func() any { return &columnSettings{} },
			Run: func(_ context.Context, call *pipeline.Call) (pipeline.Choices, error) {
				j, err := call.JointOf(call.Leads, call.Settings.(*columnSettings).Column)
				if err != nil {
					return nil, err
				}
				w := make([]float64, len(j.X))
				m := 0.0
				for i := range w {
					w[i] = 1 / float64(len(w))
					m += w[i] * j.X[i]
				}
				call.GiveJacobian("mean", -1, row("mean", m, -1.0), j, map[string][]float64{"mean": w})
				return nil, nil
			},
		},
	}
}

func mean(x []float64) float64 {
	s := 0.0
	for _, v := range x {
		s += v
	}
	return s / float64(len(x))
}

func impedance(v, i, phi float64) (r, x, z float64) {
	z = v / i * 1000 // I in mA
	return z * math.Cos(phi), z * math.Sin(phi), z
}

func read(t testing.TB, dir, name string) string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(dir, filepath.FromSlash(name)))
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}
