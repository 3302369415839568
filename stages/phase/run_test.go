package phase_test

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"fascicle/catalog"
	"fascicle/pipeline"
	"fascicle/pipeline/formula"
	"fascicle/pipeline/table"
	"fascicle/stages/phase"
)

var kinds = []*pipeline.Kind{&readKind, &phase.SolutionKind, &phase.TransitionKind}

// write makes a study of a sheet, a graph and raw files.
func write(t testing.TB, sheet, graph string, raw map[string]string) string {
	t.Helper()
	dir := t.TempDir()
	put := func(name, text string) {
		file := filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(file), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(file, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	put("samples.csv", sheet)
	put("study.yaml", "study: a test\nsamples: samples.csv\n"+graph)
	for name, text := range raw {
		put(name, text)
	}
	return dir
}

// result is one item of a run.
type result struct {
	pipeline.ItemOutcome
	table *table.Table
}

// run makes a study and gives its items by "STAGE OUTPUT ITEM".
func run(t testing.TB, dir string) map[string]result {
	t.Helper()
	p, faults := pipeline.Load(dir, kinds)
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	o, err := pipeline.Run(context.Background(), p, pipeline.Options{})
	if err != nil {
		t.Fatal(err)
	}
	o.Complete()
	out := map[string]result{}
	for _, s := range o.Stages {
		for _, it := range s.Items {
			r := result{ItemOutcome: it}
			if it.State.Good() {
				if r.table, err = o.Load(it); err != nil {
					t.Fatal(err)
				}
			}
			out[s.Name+" "+it.Output+" "+it.Name] = r
		}
	}
	return out
}

// number reads a number of the only row; ok is false where there is none.
func (r result) number(t testing.TB, name string) (x float64, ok bool) {
	t.Helper()
	c := r.table.Col(name)
	if c == nil {
		t.Fatalf("no column %s among %v", name, r.table.Names())
	}
	return c.Floats[0], !c.IsNull(0)
}

func (r result) text(name string) string {
	c := r.table.Col(name)
	if c == nil || c.IsNull(0) {
		return ""
	}
	return c.Texts[0]
}

func (r result) says(level pipeline.FlagLevel, words string) bool {
	for _, f := range r.Flags {
		if f.Level == string(level) && strings.Contains(f.Text, words) {
			return true
		}
	}
	return false
}

// refuses loads a study that must not be taken, and gives what is said of it.
func refuses(t testing.TB, dir string) string {
	t.Helper()
	_, faults := pipeline.Load(dir, kinds)
	if len(faults) == 0 {
		t.Fatal("the study is taken")
	}
	return faults.Error()
}

func TestDeclarations(t *testing.T) {
	if err := pipeline.CheckKinds(kinds); err != nil {
		t.Fatal(err)
	}
}

// readKind stands in for an import, so that these tests depend on no other family. The first line of a file names columns with units, which are
// kept as they stand; one row is an item of values, several are a curve.
var readKind = pipeline.Kind{
	Name: "test.read", Revision: 1, Doc: "reads small tables", Source: "common practice, no source", Reads: true,
	Outputs:  []pipeline.Output{{Name: "items", Doc: "tables", Per: pipeline.PerAny, Open: true}},
	Settings: func() any { return &readSettings{} },
	Run: func(ctx context.Context, call *pipeline.Call) (pipeline.Choices, error) {
		lines := strings.Split(strings.TrimSpace(string(call.File.Data)), "\n")
		t := &table.Table{}
		for i, head := range strings.Split(lines[0], ",") {
			name, unit, _ := strings.Cut(strings.TrimSuffix(head, "]"), " [")
			var v []float64
			for _, line := range lines[1:] {
				x, err := strconv.ParseFloat(strings.Split(line, ",")[i], 64)
				if err != nil {
					return nil, fmt.Errorf("no number: %w", err)
				}
				v = append(v, x)
			}
			pipeline.AddWithNaN(t, name, unit, v)
		}
		return nil, call.Stream("items", nil, t)
	},
}

type readSettings struct {
	Files string `set:"files" key:"-" doc:"pattern of the files"`
}

func (s *readSettings) FilesPattern() string { return s.Files }

func (s *readSettings) Brings() ([]pipeline.Brought, error) {
	p, err := catalog.ParsePattern(s.Files)
	if err != nil {
		return nil, err
	}
	var out []pipeline.Brought
	for _, c := range p.Captures() {
		out = append(out, pipeline.Brought{Name: c.Name, Sort: formula.Text, Where: "files"})
	}
	return out, nil
}
