package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"fascicle/pipeline"

	"github.com/google/go-cmp/cmp"
)

// call runs the program and holds what it printed.
type call struct {
	status   int
	out, err string
}

func fascicle(t *testing.T, args ...string) call {
	t.Helper()
	return fascicleWith(t, context.Background(), args...)
}

func fascicleWith(t *testing.T, ctx context.Context, args ...string) call {
	t.Helper()
	var out, err bytes.Buffer
	status := Main(ctx, args, &out, &err)
	c := call{status, out.String(), err.String()}
	for name, text := range map[string]string{"stdout": c.out, "stderr": c.err} {
		if i := strings.IndexAny(text, "\x1b\r"); i >= 0 { // neither is a terminal
			t.Errorf("%v: %s holds colours or bars: %q", args, name, text)
		}
		if strings.Contains(text, "goroutine ") {
			t.Errorf("%v: %s holds a trace: %s", args, name, text)
		}
	}
	return c
}

// want holds exit status and parts of what was printed against what is expected.
func (c call) want(t *testing.T, status int, out, err []string) {
	t.Helper()
	if c.status != status {
		t.Errorf("exit status %d, want %d", c.status, status)
	}
	for _, part := range out {
		if !strings.Contains(c.out, part) {
			t.Errorf("stdout lacks %q", part)
		}
	}
	for _, part := range err {
		if !strings.Contains(c.err, part) {
			t.Errorf("stderr lacks %q", part)
		}
	}
	if t.Failed() {
		t.Logf("stdout:\n%s\nstderr:\n%s", c.out, c.err)
	}
}

// lines decodes machine-readable output: every line is an object with an event.
func (c call) lines(t *testing.T) []map[string]any {
	t.Helper()
	var out []map[string]any
	for text := range strings.Lines(c.out) {
		var m map[string]any
		if err := json.Unmarshal([]byte(text), &m); err != nil {
			t.Fatalf("%v: %s", err, text)
		}
		if e, _ := m["event"].(string); e == "" {
			t.Errorf("no event: %s", text)
		}
		out = append(out, m)
	}
	if len(out) == 0 {
		t.Fatalf("no lines; stderr: %s", c.err)
	}
	return out
}

func keysOf(m map[string]any) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

func TestCommandLine(t *testing.T) {
	empty := t.TempDir()
	for _, c := range []struct {
		name     string
		args     []string
		status   int
		out, err []string
	}{
		{"nothing", nil, 0, []string{"Usage:", "run", "Exit status"}, nil},
		{"version", []string{"--version"}, 0, []string{pipeline.Program + "\n"}, nil},
		{"mistyped command", []string{"rnu"}, 2, nil, []string{`unknown command "rnu"`, "Did you mean this?", "run"}},
		{"unknown flag", []string{"run", "--jbos", "2"}, 2, nil, []string{"unknown flag: --jbos"}},
		{"no jobs", []string{"run", "--jobs", "0"}, 2, nil, []string{"--jobs 0", "1 or more"}},
		{"jobs below nothing", []string{"run", "--jobs", "-3"}, 2, nil, []string{"--jobs -3"}},
		{"jobs in words", []string{"run", "--jobs", "two"}, 2, nil, []string{`"two"`}},
		{"time below nothing", []string{"run", "--longest", "-1s"}, 2, nil, []string{"--longest"}},
		{"time without unit", []string{"run", "--longest", "30"}, 2, nil, []string{"--longest"}},
		{"label that is a path", []string{"run", "--label", "../mine"}, 2, nil, []string{`the label "../mine"`, "letters, digits"}},
		{"label that is a number", []string{"run", "--label", "12"}, 2, nil, []string{`the label "12"`, "choose another"}},
		{"label that is the name of the last run", []string{"run", "--label", "last"}, 2, nil, []string{`the label "last"`}},
		{"label of nothing", []string{"run", "--label", ""}, 2, nil, []string{`the label ""`}},
		{"trim of no study", []string{"trim", empty}, 2, nil, []string{empty, "study.yaml", "name the folder"}},
		{"two folders", []string{"run", "a", "b"}, 2, nil, []string{"found 2 arguments", "fascicle run [DIR]"}},
		{"trace of nothing", []string{"trace"}, 2, nil, []string{"found 0 arguments", "VALUE"}},
		{"demo without a folder", []string{"demo"}, 2, nil, []string{"found 0 arguments", "DIR"}},
		{"unknown kind", []string{"kinds", "scattering.guinie"}, 2, nil, []string{`"scattering.guinie"`, "scattering.guinier"}},
		{"no study", []string{"run", empty}, 2, nil, []string{"study.yaml"}},
		{"no study to check", []string{"check", empty}, 2, []string{"1 fault"}, []string{"study.yaml"}},
		{"no folder", []string{"run", filepath.Join(empty, "none")}, 2, nil, []string{"study.yaml"}},
		{"completion is there", []string{"completion", "bash"}, 0, []string{"fascicle"}, nil},
	} {
		t.Run(c.name, func(t *testing.T) { fascicle(t, c.args...).want(t, c.status, c.out, c.err) })
	}
}

func TestJSONFault(t *testing.T) {
	lines := fascicle(t, "run", "--json", t.TempDir()).lines(t)
	if lines[0]["event"] != "fault" || lines[0]["message"] == "" {
		t.Errorf("got %v", lines[0])
	}
}

func TestDemoRefuses(t *testing.T) {
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "mine.txt"), []byte("mine"), 0o666); err != nil {
		t.Fatal(err)
	}
	fascicle(t, "demo", dir).want(t, 2, nil, []string{dir, "is not empty", "name a new folder"})
	if entries, _ := os.ReadDir(dir); len(entries) != 1 {
		t.Errorf("the folder was written to: %v", entries)
	}
}

func TestInterrupted(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	dir := filepath.Join(t.TempDir(), "study")
	fascicleWith(t, ctx, "demo", dir).want(t, 130, nil, []string{"interrupted"})
}

func TestSplit(t *testing.T) {
	study := t.TempDir()
	file := filepath.Join(study, "study.yaml")
	if err := os.WriteFile(file, nil, 0o666); err != nil {
		t.Fatal(err)
	}
	other := t.TempDir()
	for _, c := range []struct {
		name        string
		args        []string
		least, most int
		dir         string
		rest        []string
	}{
		{"trace: a value", []string{"v"}, 1, 1, ".", []string{"v"}},
		{"trace: a value called as a study", []string{study}, 1, 1, ".", []string{study}},
		{"trace: folder and value", []string{"d", "v"}, 1, 1, "d", []string{"v"}},
		{"compare: nothing", nil, 0, 2, ".", nil},
		{"compare: a run", []string{"7"}, 0, 2, ".", []string{"7"}},
		{"compare: a folder", []string{study}, 0, 2, study, []string{}},
		{"compare: a study file", []string{file}, 0, 2, file, []string{}},
		{"compare: a label like a folder that is no study", []string{other, "8"}, 0, 2, ".", []string{other, "8"}},
		{"compare: two runs", []string{"7", "8"}, 0, 2, ".", []string{"7", "8"}},
		{"compare: all", []string{"d", "7", "8"}, 0, 2, "d", []string{"7", "8"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir, rest := split(c.args, c.least, c.most)
			if dir != c.dir || !slices.Equal(rest, c.rest) {
				t.Errorf("got %q %q, want %q %q", dir, rest, c.dir, c.rest)
			}
		})
	}
}

func TestEndListsWhatIsMissing(t *testing.T) {
	o := &pipeline.Outcome{Dir: "study", Counts: pipeline.Counts{Made: 3, Failed: 22, Blocked: 2}}
	stage := pipeline.StageOutcome{Name: "s", Kind: &pipeline.Kind{Name: "x.y"}}
	add := func(state pipeline.State, n int) {
		for i := range n {
			item := pipeline.ItemOutcome{Stage: "s", Output: "fit", Name: fmt.Sprintf("k=%s%d", state, i), State: state, Message: "why"}
			stage.Items = append(stage.Items, item)
			if i == 0 { // the first has a second output, of which the same is to be said
				item.Output = "curve"
				stage.Items = append(stage.Items, item)
			}
		}
	}
	add(pipeline.Blocked, 2)
	add(pipeline.Made, 3)
	add(pipeline.Failed, 22)
	o.Stages = append(o.Stages, stage, pipeline.StageOutcome{Name: "together", Items: stage.Items}) // says all of it again
	var out bytes.Buffer
	a := &app{out: &out}
	a.end(o)
	lines := strings.Split(strings.TrimSpace(out.String()), "\n")
	if len(lines) != 1+listed+1+1 {
		t.Fatalf("%d lines: %q", len(lines), lines)
	}
	got := []string{lines[0], lines[1], lines[listed], lines[listed+1], lines[listed+2]}
	want := []string{"3 made, 0 kept, 22 failed, 2 blocked", "failed   s  k=failed0 (fit, curve): why", "failed   s  k=failed19: why",
		"and 4 more, listed in the report", "report: " + filepath.Join("study", "out", "report.html")}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
}

func TestSize(t *testing.T) {
	for n, want := range map[int64]string{0: "0 bytes", 1: "1 byte", 999: "999 bytes", 1500: "1.5 kB", 2_000_000: "2.0 MB", 3_400_000_000: "3.4 GB"} {
		if got := size(n); got != want {
			t.Errorf("size(%d) = %q, want %q", n, got, want)
		}
	}
}

// The kinds are listed, and each explains itself.
func TestKinds(t *testing.T) {
	list := fascicle(t, "kinds")
	list.want(t, 0, []string{"import", "correct.subtract", "scattering.guinier", "relation.join"}, nil)
	for _, line := range fascicle(t, "kinds", "--json").lines(t) {
		name := line["name"].(string)
		help := fascicle(t, "kinds", name)
		help.want(t, 0, []string{name}, nil)
		want := []string{"by", "doc", "event", "formula", "name", "outputs", "ports", "revision", "settings", "source"}
		if d := cmp.Diff(want, keysOf(line)); d != "" {
			t.Errorf("%s: %s", name, d)
		}
	}
}
