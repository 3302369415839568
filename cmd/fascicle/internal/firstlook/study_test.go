package firstlook

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"os"
	"path/filepath"
	"testing"

	"fascicle/pipeline"

	"github.com/google/go-cmp/cmp"
)

func TestWrite(t *testing.T) {
	s, err := Make()
	if err != nil {
		t.Fatal(err)
	}
	t.Run("new folder", func(t *testing.T) {
		dir := filepath.Join(t.TempDir(), "a", "b")
		if err := s.Write(context.Background(), dir); err != nil {
			t.Fatal(err)
		}
		for _, f := range s.Files {
			got, err := os.ReadFile(filepath.Join(dir, filepath.FromSlash(f.Name)))
			if err != nil {
				t.Error(err)
			} else if string(got) != string(f.Data) {
				t.Errorf("%s differs", f.Name)
			}
		}
	})
	t.Run("empty folder", func(t *testing.T) {
		if err := s.Write(context.Background(), t.TempDir()); err != nil {
			t.Error(err)
		}
	})
	t.Run("folder with something in it", func(t *testing.T) {
		dir := t.TempDir()
		if err := os.WriteFile(filepath.Join(dir, "mine.txt"), []byte("mine"), 0o666); err != nil {
			t.Fatal(err)
		}
		if err := s.Write(context.Background(), dir); !errors.Is(err, ErrNotEmpty) {
			t.Errorf("got %v, want ErrNotEmpty", err)
		}
		entries, err := os.ReadDir(dir)
		if err != nil || len(entries) != 1 {
			t.Errorf("the folder was written to: %v %v", entries, err)
		}
	})
	t.Run("a file in the place of the folder", func(t *testing.T) {
		name := filepath.Join(t.TempDir(), "file")
		if err := os.WriteFile(name, nil, 0o666); err != nil {
			t.Fatal(err)
		}
		if err := s.Write(context.Background(), name); err == nil {
			t.Error("no error")
		}
	})
	t.Run("interrupted", func(t *testing.T) {
		ctx, cancel := context.WithCancel(context.Background())
		cancel()
		if err := s.Write(ctx, filepath.Join(t.TempDir(), "x")); !errors.Is(err, context.Canceled) {
			t.Errorf("got %v, want context.Canceled", err)
		}
	})
}

func TestTruthFile(t *testing.T) {
	s, err := Make()
	if err != nil {
		t.Fatal(err)
	}
	last := s.Files[len(s.Files)-1]
	var got struct {
		Values []map[string]any
		Draws  map[string]float64
	}
	if err := json.Unmarshal(last.Data, &got); err != nil || last.Name != "truth.json" {
		t.Fatal(last.Name, err)
	}
	if len(got.Values) != 24 { // two numbers each of eleven samples, a factor a day
		t.Errorf("%d values", len(got.Values))
	}
	want := map[string]any{"sample": "N15", "stage": "guinier", "name": "Rg_1", "value": s.Truth.Values[0].Value}
	if d := cmp.Diff(want, got.Values[0]); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff(s.Truth.Draws, got.Draws); d != "" || len(got.Draws) != 4 {
		t.Error(got.Draws, d)
	}
	for _, v := range got.Values {
		if v["sample"] == Broken {
			t.Errorf("truth of the broken sample: %v", v)
		}
	}
}

func TestScores(t *testing.T) {
	f := func(x float64) *float64 { return &x }
	of := func(sample string, value float64) TrueValue {
		return TrueValue{Sample: sample, Stage: "guinier", Name: "Rg_1", Value: value}
	}
	truth := Truth{
		Values: []TrueValue{of("A", 3), of("B", 4), of("C", 5), of("D", 6), {Series: "day=d1", Stage: "scale", Name: "factor", Value: 1}},
		Draws:  map[string]float64{"s": 2},
	}
	found := func(sample, stage string, value, own *float64, parts map[string]float64) pipeline.Value {
		return pipeline.Value{Sample: sample, Stage: stage, Name: "Rg_1", Value: value, Own: own, U: own, Parts: parts}
	}
	scores, missing := truth.Scores([]pipeline.Value{
		found("A", "guinier", f(3.5), f(0.1), map[string]float64{"s": 0.1, "scale[day=d1]": 0.05}),
		found("B", "guinier", nil, f(0.1), nil),
		found("C", "elsewhere", f(5), f(0.1), nil),
		found("D", "guinier", f(6), f(0.1), map[string]float64{"unheard of": 1}),
		{Series: "day=d1", Item: "day=d1", Stage: "scale", Name: "factor", Value: f(1.3), Own: f(0.1), U: f(0.1), Parts: map[string]float64{"s": 0.2}},
	})
	// by hand: the factor lies (1.3 − 1 − 0.2·2)/0.1 = −1 own parts off, Rg (3.5 − 3 − 0.1·2 + 0.05·1)/0.1 = 3.5
	if len(scores) != 2 || math.Abs(scores[0].Z-3.5) > 1e-12 || math.Abs(scores[1].Z+1) > 1e-12 {
		t.Errorf("scores: %v", scores)
	}
	if d := cmp.Diff(truth.Values[1:4], missing); d != "" {
		t.Error(d)
	}
	if got := Largest([]Score{{Z: 1}, {Z: -2}, {Z: 1.5}}).Z; got != -2 {
		t.Errorf("largest is %v", got)
	}
}

func TestSurprises(t *testing.T) {
	importing, other := &pipeline.Kind{Name: "import", Reads: true}, &pipeline.Kind{Name: "x.y"}
	item := func(stage, sample string, state pipeline.State) pipeline.ItemOutcome {
		return pipeline.ItemOutcome{Stage: stage, Name: "sample=" + sample, Sample: sample, State: state}
	}
	outcome := func(in, next []pipeline.ItemOutcome) *pipeline.Outcome {
		return &pipeline.Outcome{Stages: []pipeline.StageOutcome{
			{Name: "day_two", Kind: importing, Items: in}, {Name: "curves", Items: in}, {Name: "particles", Kind: other, Items: next}}}
	}
	type items = []pipeline.ItemOutcome
	for _, c := range []struct {
		name     string
		in, next items
		want     int
	}{
		{"as planned", items{item("day_two", Broken, pipeline.Failed), item("day_two", "N45", pipeline.Made)},
			items{item("particles", Broken, pipeline.Blocked), item("particles", "N45", pipeline.Kept)}, 0},
		{"nothing failed", items{item("day_two", Broken, pipeline.Made)}, nil, 1},
		{"another blocked", items{item("day_two", Broken, pipeline.Failed)}, items{item("particles", "N45", pipeline.Blocked)}, 1},
		{"failed later", items{item("day_two", Broken, pipeline.Made)}, items{item("particles", Broken, pipeline.Failed)}, 1},
		{"failed twice", items{item("day_two", Broken, pipeline.Failed), item("day_two", Broken, pipeline.Failed)}, nil, 1},
		{"of no sample", items{item("day_two", Broken, pipeline.Failed)}, items{item("particles", "", pipeline.Failed)}, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := Surprises(outcome(c.in, c.next)); len(got) != c.want {
				t.Errorf("got %q, want %d", got, c.want)
			}
		})
	}
}
