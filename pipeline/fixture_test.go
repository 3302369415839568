package pipeline_test

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"sort"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"fascicle/catalog"
	"fascicle/pipeline"
	"fascicle/pipeline/formula"
	"fascicle/pipeline/table"
)

// The kinds of this file are as small as kinds can be, so that tests show what the frame does.

type readSettings struct {
	Files  string               `set:"files" key:"-" doc:"pattern of the files"`
	Header pipeline.Map[string] `set:"header" default:"-" doc:"field: key"`
}

func (s *readSettings) FilesPattern() string { return s.Files }

func (s *readSettings) Brings() ([]pipeline.Brought, error) {
	p, err := catalog.ParsePattern(s.Files)
	if err != nil {
		return nil, err
	}
	var out []pipeline.Brought
	for _, c := range p.Captures() {
		b := pipeline.Brought{Name: c.Name, Sort: formula.Text, Unit: c.Unit, Where: "files"}
		switch c.Type {
		case catalog.Numeric:
			b.Sort = formula.Number
		case catalog.Date:
			b.Sort = formula.Date
		}
		out = append(out, b)
	}
	for _, h := range s.Header {
		out = append(out, pipeline.Brought{Name: h.Key, Sort: formula.Text, Where: "header"})
	}
	return out, nil
}

// calls counts how often each kind's run function was called.
type calls struct {
	n     atomic.Int64
	delay time.Duration
}

func fixtureKinds(c *calls) []*pipeline.Kind {
	if c == nil {
		c = &calls{}
	}
	curve := []pipeline.Column{{Name: pipeline.AxisColumn, Unit: "nm"}, {Name: pipeline.ValueColumn, Unit: "1"}}
	return []*pipeline.Kind{
		{
			Name: "t.read", Revision: 1, Doc: "reads x and y", Source: "common practice, no source", Reads: true,
			Outputs:  []pipeline.Output{{Name: "items", Doc: "curves", Per: pipeline.PerAny, Form: pipeline.Curve, Columns: []pipeline.Column{{Name: "x", Unit: "nm"}, {Name: "y", Unit: "1"}}}},
			Settings: func() any { return &readSettings{} },
			Run: func(ctx context.Context, call *pipeline.Call) (pipeline.Choices, error) {
				c.n.Add(1)
				s := call.Settings.(*readSettings)
				for _, block := range strings.Split(strings.TrimSpace(string(call.File.Data)), "\n\n") {
					var x, y []float64
					head := map[string]string{}
					for _, l := range strings.Split(block, "\n") {
						if k, v, ok := strings.Cut(l, ": "); ok {
							head[k] = v
							continue
						}
						a, b, _ := strings.Cut(l, ",")
						xa, err1 := strconv.ParseFloat(a, 64)
						yb, err2 := strconv.ParseFloat(b, 64)
						if err1 != nil || err2 != nil {
							return nil, fmt.Errorf("the line %q holds no two numbers", l)
						}
						x, y = append(x, xa), append(y, yb)
					}
					t := &table.Table{}
					t.AddFloat("x", "nm", x)
					t.AddFloat("y", "1", y)
					var fields []pipeline.Captured
					for _, h := range s.Header {
						fields = append(fields, pipeline.Captured{Name: h.Key, Text: head[h.Value]})
					}
					if err := call.Stream("items", fields, t); err != nil {
						return nil, err
					}
				}
				return nil, nil
			},
		},
		{
			Name: "t.less", Revision: 1, Doc: "takes a background off", Source: "common practice, no source",
			Ports: []pipeline.Port{
				{Name: "curve", Lead: true, Doc: "curve", Forms: []pipeline.Form{pipeline.Curve}, Columns: curve},
				{Name: "background", Doc: "background", Forms: []pipeline.Form{pipeline.Curve}, Columns: curve},
			},
			Outputs: []pipeline.Output{{Name: "corrected", Doc: "difference", Form: pipeline.Curve, Like: "curve"}},
			Settings: func() any {
				return &struct {
					Scale pipeline.Field    `set:"scale" unit:"1" default:"1" above:"0" doc:"factor"`
					Path  pipeline.Quantity `set:"path" unit:"nm" default:"10 mm" above:"0" doc:"path"`
				}{}
			},
			Run: func(ctx context.Context, call *pipeline.Call) (pipeline.Choices, error) {
				c.n.Add(1)
				time.Sleep(c.delay)
				s := call.Settings.(*struct {
					Scale pipeline.Field    `set:"scale" unit:"1" default:"1" above:"0" doc:"factor"`
					Path  pipeline.Quantity `set:"path" unit:"nm" default:"10 mm" above:"0" doc:"path"`
				})
				for i, l := range call.Leads {
					b := call.Partner("background", i).Table.Floats("y")
					k := call.Number(s.Scale, i).Value
					y := make([]float64, l.Table.Len())
					for j, v := range l.Table.Floats("y") {
						y[j] = v - k*b[j%len(b)]
					}
					t := &table.Table{}
					t.AddFloat("x", "nm", l.Table.Floats("x"))
					t.AddFloat("y", "1", y)
					call.Give("corrected", i, t)
				}
				return nil, nil
			},
		},
		{
			Name: "t.sign", Revision: 1, Doc: "keeps the sign", Source: "common practice, no source",
			Ports:   []pipeline.Port{{Name: "curve", Lead: true, Doc: "curve", Forms: []pipeline.Form{pipeline.Curve}, Columns: curve}},
			Outputs: []pipeline.Output{{Name: "sign", Doc: "sign", Form: pipeline.Curve, Like: "curve"}},
			Run: func(ctx context.Context, call *pipeline.Call) (pipeline.Choices, error) {
				c.n.Add(1)
				for i, l := range call.Leads {
					y := make([]float64, l.Table.Len())
					for j, v := range l.Table.Floats("y") {
						if v > 0 {
							y[j] = 1
						}
					}
					t := &table.Table{}
					t.AddFloat("x", "nm", l.Table.Floats("x"))
					t.AddFloat("y", "1", y)
					call.Give("sign", i, t)
				}
				return nil, nil
			},
		},
		{
			Name: "t.sum", Revision: 1, Doc: "adds up", Source: "common practice, no source", By: "sample",
			Ports:   []pipeline.Port{{Name: "curve", Lead: true, Doc: "curve", Forms: []pipeline.Form{pipeline.Curve}, Columns: curve}},
			Outputs: []pipeline.Output{{Name: "sum", Doc: "sum", Per: pipeline.PerGroup, Form: pipeline.Values, Columns: []pipeline.Column{{Name: "total", Unit: "1", U: true}}}},
			Run: func(ctx context.Context, call *pipeline.Call) (pipeline.Choices, error) {
				c.n.Add(1)
				total := 0.0
				for _, l := range call.Leads {
					for _, v := range l.Table.Floats("y") {
						total += v
					}
				}
				t := &table.Table{}
				t.AddFloat("total", "1", []float64{total})
				t.AddFloat("u_total", "1", []float64{0.5})
				call.Give("sum", -1, t)
				return nil, nil
			},
		},
		{
			Name: "t.rows", Revision: 1, Doc: "gathers", Source: "common practice, no source", Names: true,
			Ports: []pipeline.Port{
				{Name: "sample", Lead: true, Doc: "sheet", Forms: []pipeline.Form{pipeline.Values}},
				{Name: "values", Doc: "numbers", Gather: true, Many: true, Optional: true, Pair: pipeline.BySample, Forms: []pipeline.Form{pipeline.Values}},
			},
			Outputs: []pipeline.Output{{Name: "row", Doc: "row", Form: pipeline.Values, Columns: []pipeline.Column{{Name: "got", Unit: "1"}, {Name: "lost", Text: true}}}},
			Run: func(ctx context.Context, call *pipeline.Call) (pipeline.Choices, error) {
				c.n.Add(1)
				for i := range call.Leads {
					t := &table.Table{}
					t.AddFloat("got", "1", []float64{float64(len(call.Partners("values", i)))})
					var lost []string
					for _, m := range call.Missing {
						lost = append(lost, m.Stage+" "+string(m.State))
					}
					t.AddText("lost", []string{strings.Join(lost, ", ")})
					call.Give("row", i, t)
				}
				return nil, nil
			},
		},
	}
}

// fixture writes a study with n samples, one background a day, and returns its folder.
func fixture(t testing.TB, n int) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "study")
	var sheet strings.Builder
	sheet.WriteString("sample,role,day,factor,path [mm]\n")
	for i := range n {
		name := fmt.Sprintf("S%d", i+1)
		day := fmt.Sprintf("d%d", i%2+1)
		fmt.Fprintf(&sheet, "%s,mixture,%s,%g,10\n", name, day, 1+float64(i)/8)
		var b strings.Builder
		for j := range 16 {
			fmt.Fprintf(&b, "%d,%g\n", j+1, float64((i+2)*(j+3)%17)+20)
		}
		write(t, dir, "raw/"+day+"/"+name+".csv", b.String())
	}
	for d := range 2 {
		name := fmt.Sprintf("B%d", d+1)
		fmt.Fprintf(&sheet, "%s,solvent,d%d,1,10\n", name, d+1)
		var b strings.Builder
		for j := range 16 {
			fmt.Fprintf(&b, "%d,%d\n", j+1, j%3+d)
		}
		write(t, dir, fmt.Sprintf("raw/d%d/%s.csv", d+1, name), b.String())
	}
	write(t, dir, "samples.csv", sheet.String())
	write(t, dir, "study.yaml", fixtureStudy)
	return dir
}

const fixtureStudy = `study: a fixture
samples: samples.csv
constants:
  k: 1.00
conditions:
  mixture: role == "mixture"
graph:
  curves:
    kind: t.read
    set: {files: raw/<day>/<sample>.csv}
  net:
    kind: t.less
    from:
      curve: {stage: curves, where: mixture}
      background: {stage: curves, where: role == "solvent", match: [day]}
    set: {scale: factor, path: 10 mm}
  signs:
    kind: t.sign
    from: {curve: net}
  sums:
    kind: t.sum
    from: {curve: net}
  counts:
    kind: t.sum
    from: {curve: signs}
  rows:
    kind: t.rows
    from:
      sample: {stage: samples, where: mixture}
      values: [sums, counts]
`

func write(t testing.TB, dir, name, text string) {
	t.Helper()
	path := filepath.Join(dir, filepath.FromSlash(name))
	if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
	// raw files younger than 2 s are not trusted; tests want them old
	old := time.Now().Add(-time.Hour)
	if err := os.Chtimes(path, old, old); err != nil {
		t.Fatal(err)
	}
}

func load(t testing.TB, dir string, kinds []*pipeline.Kind) *pipeline.Project {
	t.Helper()
	p, faults := pipeline.Load(dir, kinds)
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	return p
}

// ran is what one run did: the items by state, as "stage item".
type ran struct {
	*pipeline.Outcome
	made, kept, failed, blocked []string
	messages                    map[string]string
}

func run(t testing.TB, dir string, kinds []*pipeline.Kind, opt pipeline.Options) *ran {
	t.Helper()
	r := &ran{messages: map[string]string{}}
	opt.Event = func(e pipeline.Event) {
		id := e.Stage + " " + e.Item
		switch e.State {
		case pipeline.Made:
			r.made = append(r.made, id)
		case pipeline.Kept:
			r.kept = append(r.kept, id)
		case pipeline.Failed:
			r.failed = append(r.failed, id)
		case pipeline.Blocked:
			r.blocked = append(r.blocked, id)
		}
		r.messages[id] = e.Message
	}
	out, err := pipeline.Run(context.Background(), load(t, dir, kinds), opt)
	if err != nil {
		t.Fatal(err)
	}
	r.Outcome = out
	for _, l := range [][]string{r.made, r.kept, r.failed, r.blocked} {
		sort.Strings(l)
	}
	return r
}
