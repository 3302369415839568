package stages

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"fascicle/pipeline"
	"fascicle/pipeline/table"
)

type threeSettings struct {
	A pipeline.Quantity `set:"a" unit:"1" doc:"factor"`
	B pipeline.Quantity `set:"b" unit:"1" doc:"divisor"`
	C pipeline.Quantity `set:"c" unit:"1" doc:"what is added"`
}

// three brings in three uncertain numbers.
var three = pipeline.Kind{
	Name: "t.three", Revision: 1, Doc: "scales and shifts", Source: "common practice, no source",
	Ports:    []pipeline.Port{{Name: "curve", Lead: true, Doc: "curve", Forms: []pipeline.Form{pipeline.Curve}}},
	Outputs:  []pipeline.Output{{Name: "same", Doc: "curve", Form: pipeline.Curve, Like: "curve"}},
	Settings: func() any { return &threeSettings{} },
	Run: func(_ context.Context, call *pipeline.Call) (pipeline.Choices, error) {
		s := call.Settings.(*threeSettings)
		for i, l := range call.Leads {
			out := &table.Table{Columns: append([]table.Column(nil), l.Table.Columns...)}
			y := make([]float64, l.Table.Len())
			for k, v := range out.Columns[1].Floats {
				y[k] = v*s.A.Value/s.B.Value + s.C.Value
			}
			out.Columns[1].Floats = y
			call.Give("same", i, out)
		}
		return nil, nil
	},
}

// What three shared sources cost the Guinier stage of 10,000 curves: the kind is called six times more for each, and the rest is the
// runner's. Peer: the kind's own further calls.
func BenchmarkParts(b *testing.B) {
	const n = 10000
	measure := func(a, bb, c string) (wall, inside time.Duration, calls int64) {
		set := fmt.Sprintf("  shifted:\n    kind: t.three\n    from: {curve: curves}\n    set: {a: %s, b: %s, c: %s}\n", a, bb, c)
		dir := bigStudy(b, n, 400, importStage+set)
		var spent, count atomic.Int64
		var kinds []*pipeline.Kind
		for _, k := range Kinds() {
			if k.Name == "scattering.guinier" {
				timed, run := *k, k.Run
				timed.Run = func(ctx context.Context, call *pipeline.Call) (pipeline.Choices, error) {
					start := time.Now()
					choices, err := run(ctx, call)
					spent.Add(int64(time.Since(start)))
					count.Add(1)
					return choices, err
				}
				k = &timed
			}
			kinds = append(kinds, k)
		}
		kinds = append(kinds, &three)
		runBench(b, dir, kinds, 1)
		text, err := os.ReadFile(filepath.Join(dir, "study.yaml"))
		if err != nil {
			b.Fatal(err)
		}
		guinier := "  guinier:\n    kind: scattering.guinier\n    from: {curve: shifted}\n    set: {range: [0.2 1/nm, 1.2 1/nm]}\n"
		if err := os.WriteFile(filepath.Join(dir, "study.yaml"), []byte(strings.TrimRight(string(text), "\n")+"\n"+guinier), 0o666); err != nil {
			b.Fatal(err)
		}
		start := time.Now()
		runBench(b, dir, kinds, 1)
		return time.Since(start), time.Duration(spent.Load()), count.Load()
	}
	for b.Loop() {
		wall0, inside0, calls0 := measure("1", "1", "0.001")
		wall3, inside3, calls3 := measure("1.000(1)", "1.000(2)", "0.0010(1)")
		further := inside3 - inside0
		beyond := (wall3 - inside3) - (wall0 - inside0)
		b.ReportMetric(float64(calls3)/float64(calls0)-1, "calls-more")
		b.ReportMetric(float64(further)/1e6/n, "ms/item-in-calls")
		b.ReportMetric(float64(beyond)/1e6/n, "ms/item-beyond")
		b.ReportMetric(float64(beyond)/float64(further), "×calls")
		b.ReportMetric(float64(wall0)/1e6/n, "ms/item-without")
	}
}
