package kindtest

import (
	"context"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"fascicle/pipeline"
	"fascicle/pipeline/table"
)

type fileSettings struct {
	Files string `set:"files" key:"-" doc:"files"`
}

func (s *fileSettings) FilesPattern() string                { return s.Files }
func (s *fileSettings) Brings() ([]pipeline.Brought, error) { return nil, nil }

// kinds are one that reads, and two that choose the largest of their numbers: one reuses its choice, one does not.
func kinds() []*pipeline.Kind {
	const source = "common practice, no source"
	columns := []pipeline.Column{{Name: "x", Unit: "1"}, {Name: "y", Unit: "1", U: true}}
	chooser := func(name string, forgets bool) *pipeline.Kind {
		return &pipeline.Kind{
			Name: name, Revision: 1, Doc: "chooses", Source: source,
			Ports:   []pipeline.Port{{Name: "curve", Lead: true, Doc: "curve", Forms: []pipeline.Form{pipeline.Curve}}},
			Outputs: []pipeline.Output{{Name: "top", Doc: "largest", Form: pipeline.Values, Columns: []pipeline.Column{{Name: "y", Unit: "1", U: true}}}},
			Run: func(_ context.Context, call *pipeline.Call) (pipeline.Choices, error) {
				y := call.Leads[0].Table.Floats("y")
				at, ok := call.Choices.(int)
				if !ok || forgets {
					at = slices.Index(y, slices.Max(y))
				}
				t := &table.Table{}
				t.AddFloat("y", "1", []float64{y[at]})
				t.AddFloat("u_y", "1", []float64{1})
				call.Give("top", 0, t)
				return at, nil
			},
		}
	}
	return []*pipeline.Kind{
		{
			Name: "k.read", Revision: 1, Doc: "reads", Source: source, Reads: true, Settings: func() any { return &fileSettings{} },
			Outputs: []pipeline.Output{{Name: "items", Doc: "curve", Per: pipeline.PerAny, Form: pipeline.Curve, Columns: columns}},
			Run: func(_ context.Context, call *pipeline.Call) (pipeline.Choices, error) {
				t := &table.Table{}
				t.AddFloat("x", "1", []float64{1, 2, 3, 4, 5, 6})
				t.AddFloat("y", "1", []float64{7.5, 7.4, 7.3, 7.2, 7.1, 7.6})
				return nil, call.Stream("items", nil, t)
			},
		},
		chooser("k.reuses", false), chooser("k.forgets", true),
	}
}

// A kind that ignores the choices handed to it is found, one that reuses them is not accused.
func TestIgnoredChoicesAreFound(t *testing.T) {
	dir := t.TempDir()
	for name, text := range map[string]string{
		"samples.csv": "sample\nA\n", "raw/a.txt": "x",
		"study.yaml": "study: choices\nsamples: samples.csv\ngraph:\n  r: {kind: k.read, set: {files: raw/*.txt}}\n  a: {kind: k.reuses, from: {curve: r}}\n  b: {kind: k.forgets, from: {curve: r}}\n",
	} {
		path := filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	var w Choices
	var watched []*pipeline.Kind
	for _, k := range kinds() {
		watched = append(watched, w.Watch(k))
	}
	p, faults := pipeline.Load(dir, watched)
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	if _, err := pipeline.Run(context.Background(), p, pipeline.Options{}); err != nil {
		t.Fatal(err)
	}
	if got := w.Problems(); len(got) != 1 || !strings.HasPrefix(got[0], "k.forgets: it was handed choices") {
		t.Errorf("found %q, expected that k.forgets is named and k.reuses is not", got)
	}
}
