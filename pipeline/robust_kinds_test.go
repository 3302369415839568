package pipeline_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"runtime"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"fascicle/pipeline"
	"fascicle/pipeline/table"

	"github.com/google/go-cmp/cmp"
)

// A misdeed is what a kind does wrong with one item: the one whose first y is 13. With all others it does what it should.
type misdeed struct {
	name    string
	outputs []pipeline.Output // nil: one `values` output of a pure number `a` and a text `w`
	do      func(ctx context.Context, call *pipeline.Call) (pipeline.Choices, error)
	says    []string // parts of the message, beside the kind's name
	longest time.Duration
}

func one(name, unit string, v ...float64) *table.Table {
	t := &table.Table{}
	t.AddFloat(name, unit, v)
	return t
}

// right is what the misbehaving kind should give.
func right() *table.Table {
	t := one("a", "1", 1)
	t.AddFloat("u_a", "1", []float64{0.1})
	t.AddText("w", []string{"w"})
	return t
}

func gives(tables ...*table.Table) func(context.Context, *pipeline.Call) (pipeline.Choices, error) {
	return func(_ context.Context, call *pipeline.Call) (pipeline.Choices, error) {
		for _, t := range tables {
			call.Give("out", 0, t)
		}
		return nil, nil
	}
}

func with(change func(t *table.Table)) func(context.Context, *pipeline.Call) (pipeline.Choices, error) {
	t := right()
	change(t)
	return gives(t)
}

func image(header map[string]string, points int) *table.Table {
	t := one("counts", "1", make([]float64, points)...)
	t.Header = header
	return t
}

var valuesOutput = []pipeline.Output{{Name: "out", Doc: "out", Form: pipeline.Values, Columns: []pipeline.Column{{Name: "a", Unit: "1", U: true}, {Name: "w", Text: true}}}}

var imageOutput = []pipeline.Output{{Name: "out", Doc: "out", Form: pipeline.Image, Columns: []pipeline.Column{{Name: "counts", Unit: "1"}}}}

func misdeeds() []misdeed {
	return []misdeed{
		{name: "panics", do: func(context.Context, *pipeline.Call) (pipeline.Choices, error) { panic("ouch") }, says: []string{"ouch"}},
		{name: "panics with nil", do: func(context.Context, *pipeline.Call) (pipeline.Choices, error) { panic(nil) }, says: []string{"panic"}},
		{name: "reads beyond an end", do: func(_ context.Context, c *pipeline.Call) (pipeline.Choices, error) {
			return c.Leads[0].Table.Floats("y")[99], nil
		}, says: []string{"index out of range"}},
		{name: "asks for a name", do: func(_ context.Context, c *pipeline.Call) (pipeline.Choices, error) { return c.Leads[0].Name(), nil }, says: []string{"Names"}},
		{name: "ends its goroutine", do: func(context.Context, *pipeline.Call) (pipeline.Choices, error) { runtime.Goexit(); return nil, nil }, says: []string{"goroutine"}},
		{name: "misses a column", do: gives(one("a", "1", 1)), says: []string{"no column w", "out"}},
		{name: "adds a column", do: with(func(t *table.Table) { t.AddFloat("b", "1", []float64{1}) }), says: []string{"column b", "does not declare"}},
		{name: "takes another unit", do: with(func(t *table.Table) { t.Columns[0].Unit = "nm" }), says: []string{"column a", `"nm"`, `"1"`}},
		{name: "takes another unit for u", do: with(func(t *table.Table) { t.Columns[1].Unit = "nm" }), says: []string{"column u_a", `"nm"`, `"1"`}},
		{name: "takes another unit for a part", do: with(func(t *table.Table) { t.AddFloat("a@constants.k", "nm", []float64{1}) }), says: []string{"column a@constants.k", `"nm"`}},
		{name: "gives words for a number", do: with(func(t *table.Table) { t.Columns[0] = table.Column{Name: "a", Type: table.Text, Texts: []string{"1"}} }), says: []string{"column a", "text"}},
		{name: "gives a number for words", do: with(func(t *table.Table) {
			t.Columns[2] = table.Column{Name: "w", Unit: "1", Type: table.Float, Floats: []float64{1}}
		}), says: []string{"column w", "float"}},
		{name: "gives words for u", do: with(func(t *table.Table) { t.Columns[1] = table.Column{Name: "u_a", Type: table.Text, Texts: []string{"1"}} }), says: []string{"column u_a", "text"}},
		{name: "gives NaN", do: with(func(t *table.Table) { t.Columns[0].Floats[0] = math.NaN() }), says: []string{`"a"`, "NaN"}},
		{name: "gives Inf", do: with(func(t *table.Table) { t.Columns[0].Floats[0] = math.Inf(1) }), says: []string{`"a"`, "+Inf"}},
		{name: "gives -Inf", do: with(func(t *table.Table) { t.Columns[1].Floats[0] = math.Inf(-1) }), says: []string{`"u_a"`, "-Inf"}},
		{name: "gives unequal columns", do: with(func(t *table.Table) { t.Columns[1].Floats = []float64{1, 2} }), says: []string{`"u_a"`, "2 rows"}},
		{name: "gives a column twice", do: with(func(t *table.Table) { t.AddFloat("a", "1", []float64{1}) }), says: []string{`"a"`}},
		{name: "gives bytes for words", do: with(func(t *table.Table) { t.Columns[2].Texts[0] = "\xff" }), says: []string{`"w"`, "UTF-8"}},
		{name: "gives two rows", do: func() func(context.Context, *pipeline.Call) (pipeline.Choices, error) {
			t := one("a", "1", 1, 2)
			t.AddText("w", []string{"v", "w"})
			return gives(t)
		}(), says: []string{"2 rows", "one is due"}},
		{name: "gives no row", do: gives(&table.Table{}), says: []string{"0 rows", "one is due"}},
		{name: "gives no table", do: gives(nil), says: []string{"no table", "out"}},
		{name: "gives nothing", do: gives(), says: []string{"output out 0 times"}},
		{name: "gives it twice", do: gives(right(), right()), says: []string{"output out 2 times"}},
		{name: "gives another output", do: func(_ context.Context, c *pipeline.Call) (pipeline.Choices, error) {
			c.Give("out", 0, right())
			c.Give("more", 0, right())
			return nil, nil
		}, says: []string{`"more"`, "does not declare"}},
		{name: "gives it for the group", do: func(_ context.Context, c *pipeline.Call) (pipeline.Choices, error) {
			c.Give("out", -1, right())
			return nil, nil
		}, says: []string{"output out"}},
		{name: "gives it for a second item", do: func(_ context.Context, c *pipeline.Call) (pipeline.Choices, error) {
			c.Give("out", 0, right())
			c.Give("out", 1, right())
			return nil, nil
		}, says: []string{"lead item 2 of 1"}},
		{name: "gives it for no item at all", outputs: []pipeline.Output{{Name: "out", Doc: "out", Per: pipeline.PerGroup, Form: pipeline.Values, Columns: valuesOutput[0].Columns}},
			do: func(_ context.Context, c *pipeline.Call) (pipeline.Choices, error) {
				c.Give("out", -7, right())
				return nil, nil
			}, says: []string{"output out", "-7"}},
		{name: "remarks on what is not there", do: func(_ context.Context, c *pipeline.Call) (pipeline.Choices, error) {
			c.Give("out", 0, right())
			c.Flag(pipeline.Tolerance, "uot", 0, "off by a mile")
			return nil, nil
		}, says: []string{`"uot"`, "off by a mile"}},
		{name: "remarks on an item that it did not give", do: func(_ context.Context, c *pipeline.Call) (pipeline.Choices, error) {
			c.Give("out", 0, right())
			c.Flag(pipeline.Tolerance, "out", 1, "off by a mile")
			return nil, nil
		}, says: []string{`"out"`, "off by a mile"}},
		{name: "gives an image of the wrong size", outputs: imageOutput, do: gives(image(map[string]string{"width": "3", "height": "3"}, 8)), says: []string{"8 points", "3 × 3"}},
		{name: "gives an image of no size", outputs: imageOutput, do: gives(image(nil, 9)), says: []string{"9 points", "0 × 0"}},
		{name: "gives an image turned inside out", outputs: imageOutput, do: gives(image(map[string]string{"width": "-3", "height": "-3"}, 9)), says: []string{"-3 × -3"}},
		{name: "gives an image whose size is too large for words", outputs: imageOutput,
			do: gives(image(map[string]string{"width": "4294967296", "height": "4294967296"}, 0)), says: []string{"0 points"}},
		{name: "works too long, but ends when asked to", longest: 300 * time.Millisecond, do: func(ctx context.Context, _ *pipeline.Call) (pipeline.Choices, error) {
			<-ctx.Done()
			return nil, fmt.Errorf("given up: %w", ctx.Err())
		}, says: []string{"took longer than 300ms"}},
		{name: "does not end when cancelled", longest: 300 * time.Millisecond, do: func(context.Context, *pipeline.Call) (pipeline.Choices, error) {
			time.Sleep(4 * time.Second)
			return nil, nil
		}, says: []string{"did not end"}},
	}
}

// misdoer is the kind that does one thing wrong, and the one that does it right.
func misdoer(m misdeed, wrong *atomic.Bool, calls *atomic.Int64) *pipeline.Kind {
	outputs := m.outputs
	if outputs == nil {
		outputs = valuesOutput
	}
	return &pipeline.Kind{
		Name: "t.misdo", Revision: 1, Doc: "does one thing wrong", Source: "common practice, no source",
		Ports:   []pipeline.Port{{Name: "curve", Lead: true, Doc: "curve", Forms: []pipeline.Form{pipeline.Curve}}},
		Outputs: outputs,
		Run: func(ctx context.Context, call *pipeline.Call) (pipeline.Choices, error) {
			calls.Add(1)
			if wrong.Load() && call.Leads[0].Table.Floats("y")[0] == 13 {
				return m.do(ctx, call)
			}
			lead := 0
			if outputs[0].Per == pipeline.PerGroup {
				lead = -1
			}
			if outputs[0].Form == pipeline.Image {
				t := image(map[string]string{"width": "3", "height": "3"}, 9)
				t.Columns[0].Floats[0] = call.Leads[0].Table.Floats("y")[0]
				call.Give("out", lead, t)
			} else {
				t := right()
				t.Columns[0].Floats[0] = call.Leads[0].Table.Floats("y")[0]
				call.Give("out", lead, t)
			}
			return nil, nil
		},
	}
}

// anything takes items of any form.
func anything() *pipeline.Kind {
	return &pipeline.Kind{
		Name: "t.any", Revision: 1, Doc: "takes anything", Source: "common practice, no source",
		Ports:   []pipeline.Port{{Name: "item", Lead: true, Doc: "item"}},
		Outputs: []pipeline.Output{{Name: "rows", Doc: "rows", Form: pipeline.Values, Columns: []pipeline.Column{{Name: "rows", Unit: "1"}}}},
		Run: func(ctx context.Context, call *pipeline.Call) (pipeline.Choices, error) {
			call.Give("rows", 0, one("rows", "1", float64(call.Leads[0].Table.Len())))
			return nil, nil
		},
	}
}

func TestMisbehavingKindFailsItsItemAlone(t *testing.T) {
	for _, m := range misdeeds() {
		t.Run(m.name, func(t *testing.T) {
			t.Parallel()
			dir := quickDir(t)
			write(t, dir, "samples.csv", "sample\nS1\nS2\nS3\n")
			write(t, dir, "raw/S1.csv", "1,11\n2,5\n")
			write(t, dir, "raw/S2.csv", "1,13\n2,5\n")
			write(t, dir, "raw/S3.csv", "1,12\n2,5\n")
			write(t, dir, "study.yaml", `study: misdeeds
samples: samples.csv
graph:
  curves: {kind: t.read, set: {files: raw/<sample>.csv}}
  deeds: {kind: t.misdo, from: {curve: curves}}
  after: {kind: t.any, from: {item: deeds}}
`)
			var wrong atomic.Bool
			var n atomic.Int64
			wrong.Store(true)
			kinds := append(fixtureKinds(nil), misdoer(m, &wrong, &n), anything())
			opt := pipeline.Options{Longest: m.longest, Jobs: 2}
			r := run(t, dir, kinds, opt)
			want := func(r *ran, made, kept, failed, blocked []string) {
				t.Helper()
				got := map[string][]string{"made": r.made, "kept": r.kept, "failed": r.failed, "blocked": r.blocked}
				if d := cmp.Diff(map[string][]string{"made": made, "kept": kept, "failed": failed, "blocked": blocked}, got); d != "" {
					t.Error(d)
				}
			}
			good := []string{"after sample=S1", "after sample=S3", "curves sample=S1", "curves sample=S2", "curves sample=S3", "deeds sample=S1", "deeds sample=S3"}
			want(r, good, nil, []string{"deeds sample=S2"}, []string{"after sample=S2"})
			for _, part := range append(m.says, "t.misdo") {
				if !strings.Contains(r.messages["deeds sample=S2"], part) {
					t.Errorf("the message lacks %q: %s", part, r.messages["deeds sample=S2"])
				}
			}
			if !strings.Contains(r.messages["after sample=S2"], r.messages["deeds sample=S2"]) {
				t.Errorf("what is blocked does not say why: %s", r.messages["after sample=S2"])
			}
			if n.Swap(0) != 3 {
				t.Error("not each item was tried once")
			}
			if m.longest > 0 {
				opt.Longest = time.Minute // a busy machine must not fail what is right
				wrong.Store(false)
			} else {
				r = run(t, dir, kinds, opt)
				want(r, nil, good, []string{"deeds sample=S2"}, []string{"after sample=S2"})
				if k := n.Swap(0); k != 1 {
					t.Errorf("the second run tried %d items, where one had failed", k)
				}
				wrong.Store(false)
			}
			r = run(t, dir, kinds, opt)
			want(r, []string{"after sample=S2", "deeds sample=S2"}, good, nil, nil)
			if k := n.Load(); k != 1 {
				t.Errorf("the last run tried %d items, where one had failed", k)
			}
		})
	}
}

// reader is an import whose run function is given.
func reader(do func(ctx context.Context, call *pipeline.Call) (pipeline.Choices, error)) *pipeline.Kind {
	return &pipeline.Kind{
		Name: "t.stream", Revision: 1, Doc: "reads", Source: "common practice, no source", Reads: true,
		Outputs:  []pipeline.Output{{Name: "items", Doc: "curves", Per: pipeline.PerAny, Form: pipeline.Curve, Columns: []pipeline.Column{{Name: "x", Unit: "nm"}, {Name: "y", Unit: "1"}}}},
		Settings: func() any { return &readSettings{} },
		Run:      do,
	}
}

func xy(x, y float64) *table.Table {
	t := one("x", "nm", x)
	t.AddFloat("y", "1", []float64{y})
	return t
}

func TestMisbehavingImportFailsItsFileAlone(t *testing.T) {
	field := func(text string) []pipeline.Captured { return []pipeline.Captured{{Name: "lot", Text: text}} }
	for _, m := range []misdeed{
		{name: "refuses the file", do: func(context.Context, *pipeline.Call) (pipeline.Choices, error) {
			return nil, errors.New("line 3 is torn")
		}, says: []string{"line 3 is torn"}},
		{name: "panics", do: func(context.Context, *pipeline.Call) (pipeline.Choices, error) { panic("ouch") }, says: []string{"ouch", "t.stream"}},
		{name: "panics after an item", do: func(_ context.Context, c *pipeline.Call) (pipeline.Choices, error) {
			_ = c.Stream("items", field("a"), xy(1, 1))
			panic("ouch")
		}, says: []string{"ouch", "t.stream"}},
		{name: "does not hear that an item was refused", do: func(_ context.Context, c *pipeline.Call) (pipeline.Choices, error) {
			_ = c.Stream("items", field("a"), xy(1, math.NaN()))
			_ = c.Stream("items", field("a"), xy(1, 1))
			return nil, nil
		}, says: []string{"NaN", "t.stream"}},
		{name: "gives a field that is no UTF-8", do: func(_ context.Context, c *pipeline.Call) (pipeline.Choices, error) {
			return nil, c.Stream("items", field("\xb5m"), xy(1, 1))
		}, says: []string{"lot", "UTF-8", "t.stream"}},
		{name: "gives a remark that is no UTF-8", do: func(_ context.Context, c *pipeline.Call) (pipeline.Choices, error) {
			return nil, c.Stream("items", field("a"), xy(1, 1), "the unit \xb5m")
		}, says: []string{"UTF-8", "t.stream"}},
		{name: "streams another output", do: func(_ context.Context, c *pipeline.Call) (pipeline.Choices, error) {
			return nil, c.Stream("more", field("a"), xy(1, 1))
		}, says: []string{`"more"`, "t.stream"}},
	} {
		t.Run(m.name, func(t *testing.T) {
			t.Parallel()
			dir := quickDir(t)
			write(t, dir, "samples.csv", "sample\nS1\nS2\nS3\n")
			for _, s := range []string{"S1", "S2", "S3"} {
				write(t, dir, "raw/"+s+".csv", s)
			}
			write(t, dir, "study.yaml", `study: misdeeds
samples: samples.csv
graph:
  curves: {kind: t.stream, set: {files: raw/<sample>.csv, header: {lot: lot}}}
  after: {kind: t.any, from: {item: curves}}
`)
			var wrong atomic.Bool
			wrong.Store(true)
			kinds := []*pipeline.Kind{anything(), reader(func(ctx context.Context, c *pipeline.Call) (pipeline.Choices, error) {
				if wrong.Load() && string(c.File.Data) == "S2" {
					return m.do(ctx, c)
				}
				return nil, c.Stream("items", field("b"), xy(1, float64(c.File.Data[1])))
			})}
			r := run(t, dir, kinds, pipeline.Options{Jobs: 2})
			// S1 and S3 hold different bytes, so each has its recipe
			if d := cmp.Diff([]string{"after sample=S1", "after sample=S3", "curves sample=S1", "curves sample=S3"}, r.made); d != "" {
				t.Error(d)
			}
			if d := cmp.Diff([]string{"curves sample=S2"}, r.failed); d != "" {
				t.Error(d)
			}
			for _, part := range m.says {
				if !strings.Contains(r.messages["curves sample=S2"], part) {
					t.Errorf("the message lacks %q: %s", part, r.messages["curves sample=S2"])
				}
			}
			wrong.Store(false)
			r = run(t, dir, kinds, pipeline.Options{Jobs: 2})
			if d := cmp.Diff([]string{"after sample=S2", "curves sample=S2"}, r.made); d != "" {
				t.Error(d)
			}
		})
	}
}
