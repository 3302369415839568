package stages

import (
	"bytes"
	"context"
	"crypto/sha256"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"fascicle/pipeline"
	"fascicle/pipeline/store"
	"fascicle/pipeline/table"
	"fascicle/stages/importing"
)

// bigStudy writes a study of n curves with so many points, and one solvent for all of them.
func bigStudy(b *testing.B, n, points int, graph string) string {
	b.Helper()
	dir := b.TempDir()
	must := func(err error) {
		if err != nil {
			b.Fatal(err)
		}
	}
	must(os.MkdirAll(filepath.Join(dir, "raw"), 0o777))
	var sheet strings.Builder
	sheet.WriteString("sample,role\n")
	old := time.Now().Add(-time.Hour)
	var text bytes.Buffer
	for i := range n {
		name, role := fmt.Sprintf("S%05d", i), "mixture"
		if i == 0 {
			role = "solvent"
		}
		fmt.Fprintf(&sheet, "%s,%s\n", name, role)
		text.Reset()
		for k := range points {
			q := 0.01 + 0.35*float64(k)/float64(points)
			fmt.Fprintf(&text, "%.6f %.5e\n", q, math.Exp(-100*q*q)+float64((k*7919+i*104729)%1000)*1e-6+0.1*float64(b2i(i > 0)))
		}
		file := filepath.Join(dir, "raw", name+".dat")
		must(os.WriteFile(file, text.Bytes(), 0o666))
		must(os.Chtimes(file, old, old))
	}
	must(os.WriteFile(filepath.Join(dir, "samples.csv"), []byte(sheet.String()), 0o666))
	must(os.WriteFile(filepath.Join(dir, "study.yaml"), []byte("study: many curves\nsamples: samples.csv\ngraph:\n"+graph), 0o666))
	return dir
}

func b2i(x bool) int {
	if x {
		return 1
	}
	return 0
}

const importStage = `  curves:
    kind: import
    set:
      files: raw/<sample>.dat
      columns: {q: "1 [1/Å]", I: "2 [1/cm]"}
`

const subtractStage = `  net:
    kind: correct.subtract
    from:
      curve: {stage: curves, where: role == "mixture"}
      background: {stage: curves, where: role == "solvent", only: true}
`

func runBench(b *testing.B, dir string, kinds []*pipeline.Kind, jobs int) *pipeline.Outcome {
	b.Helper()
	p, faults := pipeline.Load(dir, kinds)
	if len(faults) > 0 {
		b.Fatal(faults)
	}
	o, err := pipeline.Run(context.Background(), p, pipeline.Options{Jobs: jobs})
	if err != nil {
		b.Fatal(err)
	}
	if o.Counts.Failed+o.Counts.Blocked > 0 {
		b.Fatalf("%+v", o.Counts)
	}
	return o
}

// The whole process of a run that finds nothing new: 3,000 raw files, about 10,000 items. Peer: os.Stat of the same files.
func BenchmarkUnchangedRerun(b *testing.B) {
	dir := bigStudy(b, 3000, 64, importStage+subtractStage+"  rest:\n    kind: correct.subtract\n    from:\n      curve: net\n      background: {stage: curves, where: role == \"solvent\", only: true}\n")
	program := filepath.Join(b.TempDir(), "fascicle")
	if out, err := exec.Command("go", "build", "-o", program, "fascicle/cmd/fascicle").CombinedOutput(); err != nil {
		b.Fatal(string(out))
	}
	if out, err := exec.Command(program, "run", dir).CombinedOutput(); err != nil {
		b.Fatal(string(out))
	}
	o := runBench(b, dir, Kinds(), 0)
	if o.Objects.Opened > 0 || o.Counts.Made > 0 {
		b.Fatalf("opened %d objects, made %d items", o.Objects.Opened, o.Counts.Made)
	}
	b.ReportMetric(float64(o.Counts.Kept), "items")
	var peer, own time.Duration
	for b.Loop() {
		start := time.Now()
		if out, err := exec.Command(program, "run", dir).CombinedOutput(); err != nil {
			b.Fatal(string(out))
		}
		own += time.Since(start)
		start = time.Now()
		for i := range 3000 {
			if _, err := os.Stat(filepath.Join(dir, "raw", fmt.Sprintf("S%05d.dat", i))); err != nil {
				b.Fatal(err)
			}
		}
		peer += time.Since(start)
	}
	b.ReportMetric(float64(own)/float64(peer), "×stat")
}

// What the frame costs an item, by a kind that does nothing, beyond encoding the item and writing its object. Peer: those two alone.
func BenchmarkFrame(b *testing.B) {
	nothing := pipeline.Kind{
		Name: "t.nothing", Revision: 1, Doc: "passes on", Source: "common practice, no source",
		Ports:   []pipeline.Port{{Name: "curve", Lead: true, Doc: "curve", Forms: []pipeline.Form{pipeline.Curve}}},
		Outputs: []pipeline.Output{{Name: "same", Doc: "the same", Form: pipeline.Curve, Like: "curve"}},
		Run: func(_ context.Context, call *pipeline.Call) (pipeline.Choices, error) {
			t := *call.Leads[0].Table
			t.Header = map[string]string{"x": fmt.Sprint(t.Columns[1].Floats[0])}
			call.Give("same", 0, &t)
			return nil, nil
		},
	}
	const n = 10000
	for b.Loop() {
		b.StopTimer()
		dir := bigStudy(b, n, 16, importStage)
		runBench(b, dir, Kinds(), 0)
		study, err := os.ReadFile(filepath.Join(dir, "study.yaml"))
		if err != nil {
			b.Fatal(err)
		}
		start := time.Now()
		runBench(b, dir, Kinds(), 1) // what a run costs that makes nothing
		idle := time.Since(start)
		if err := os.WriteFile(filepath.Join(dir, "study.yaml"), append(study, "  idle:\n    kind: t.nothing\n    from: {curve: curves}\n"...), 0o666); err != nil {
			b.Fatal(err)
		}
		start = time.Now()
		b.StartTimer()
		runBench(b, dir, append(Kinds(), &nothing), 1)
		b.StopTimer()
		own := time.Since(start) - idle
		s, err := store.Open(filepath.Join(b.TempDir(), "store"), store.OS{})
		if err != nil {
			b.Fatal(err)
		}
		start = time.Now()
		for i := range n {
			t := &table.Table{Header: map[string]string{"x": fmt.Sprint(i)}}
			t.AddFloat("q", "1/nm", make([]float64, 16))
			t.AddFloat("I", "1/cm", make([]float64, 16))
			data, err := table.Encode(t)
			if err != nil {
				b.Fatal(err)
			}
			if _, err := s.Put(data); err != nil {
				b.Fatal(err)
			}
		}
		peer := time.Since(start)
		b.ReportMetric(float64(own-peer)/n/1e3, "µs/item-beyond")
		b.ReportMetric(float64(peer)/n/1e3, "µs/item-written")
		b.StartTimer()
	}
}

// Import of 3,000 files of 4,096 lines. Peer: a bare loop that reads, hashes, parses, encodes and writes as many objects.
func BenchmarkImport(b *testing.B) {
	const n = 3000
	for b.Loop() {
		b.StopTimer()
		dir := bigStudy(b, n, 4096, importStage)
		b.StartTimer()
		start := time.Now()
		runBench(b, dir, Kinds(), 1)
		b.StopTimer()
		own := time.Since(start)
		objects := b.TempDir()
		start = time.Now()
		for i := range n {
			data, err := os.ReadFile(filepath.Join(dir, "raw", fmt.Sprintf("S%05d.dat", i)))
			if err != nil {
				b.Fatal(err)
			}
			sha256.Sum256(data)
			x, err := importing.ParseText(data)
			if err != nil {
				b.Fatal(err)
			}
			t := &table.Table{}
			t.AddFloat("q", "1/nm", x.Columns[0])
			t.AddFloat("I", "1/cm", x.Columns[1])
			out, err := table.Encode(t)
			if err != nil {
				b.Fatal(err)
			}
			name := filepath.Join(objects, fmt.Sprintf("%x", sha256.Sum256(out)))
			if err := os.WriteFile(name+".new", out, 0o666); err != nil {
				b.Fatal(err)
			}
			if err := os.Rename(name+".new", name); err != nil {
				b.Fatal(err)
			}
		}
		b.ReportMetric(float64(own)/float64(time.Since(start)), "×bare")
		b.StartTimer()
	}
}
