package correction

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"fascicle/catalog"
	"fascicle/pipeline"
	"fascicle/pipeline/formula"
	"fascicle/pipeline/table"
)

// readKind reads the files of these tests: a line of heads `name [unit]`, then numbers between tabs, "-" for none. Values stay in the
// units that the heads name, which must be those used inside. With columns (NAME: unit) the check of the study knows them before.
var readKind = pipeline.Kind{
	Name: "read", Revision: 1, Doc: "reads a table", Source: "common practice, no source", Methods: "read", Reads: true,
	Outputs:  []pipeline.Output{{Name: "items", Doc: "the tables", Per: pipeline.PerAny, Form: pipeline.Curve, Shape: readShape}, {Name: "row", Doc: "tables of one row", Per: pipeline.PerAny, Form: pipeline.Values, Open: true}},
	Settings: func() any { return &readSettings{} },
	Run:      runRead,
}

type readSettings struct {
	Files string `set:"files" key:"-" doc:"pattern of the files"`
	Form  string `set:"form" oneof:"items|row" default:"items" doc:"output that the tables go to"`

	Columns pipeline.Map[string] `set:"columns" default:"-" doc:"NAME: unit"`
}

func readShape(c pipeline.ShapeCall) ([]pipeline.Column, error) {
	s := c.Settings.(*readSettings)
	if len(s.Columns) == 0 {
		return pipeline.UnknownShape()
	}
	var out []pipeline.Column
	for _, n := range s.Columns {
		out = append(out, pipeline.Column{Name: n.Key, Unit: n.Value})
	}
	return out, nil
}

func (s *readSettings) FilesPattern() string { return s.Files }

func (s *readSettings) Brings() ([]pipeline.Brought, error) {
	p, err := catalog.ParsePattern(s.Files)
	if err != nil {
		return nil, err
	}
	var out []pipeline.Brought
	for _, c := range p.Captures() {
		b := pipeline.Brought{Name: c.Name, Sort: formula.Text, Unit: c.Unit, HasUnit: c.HasUnit, Where: "files"}
		if c.Type == catalog.Numeric {
			b.Sort = formula.Number
		}
		out = append(out, b)
	}
	return out, nil
}

func runRead(_ context.Context, call *pipeline.Call) (pipeline.Choices, error) {
	lines := strings.Split(strings.TrimSpace(string(call.File.Data)), "\n")
	tab := &table.Table{}
	for k, head := range strings.Split(lines[0], "\t") {
		name, unit, _ := strings.Cut(strings.TrimSuffix(head, "]"), " [")
		if unit == "" {
			unit = "1"
		}
		v := make([]float64, len(lines)-1)
		for i, line := range lines[1:] {
			v[i] = math.NaN()
			if cell := strings.Split(line, "\t")[k]; cell != "-" {
				x, err := strconv.ParseFloat(cell, 64)
				if err != nil {
					return nil, err
				}
				v[i] = x
			}
		}
		pipeline.AddWithNaN(tab, name, unit, v)
	}
	return nil, call.Stream(call.Settings.(*readSettings).Form, nil, tab)
}

// study is a whole study in a folder of its own, so that kinds are tested as a user meets them.
type study struct {
	outcome *pipeline.Outcome
}

// studyHead begins each study.
const studyHead = "study: Test\nsamples: samples.csv\n"

// runStudy runs a study over files, named below raw/; samples.csv is the sheet. Any fault of the study ends the test.
func runStudy(t *testing.T, text, sheet string, files map[string]string) *study {
	t.Helper()
	p, faults := loadStudy(t, text, sheet, files)
	if faults != "" {
		t.Fatal(faults)
	}
	o, err := pipeline.Run(context.Background(), p, pipeline.Options{Jobs: 1})
	if err != nil {
		t.Fatal(err)
	}
	o.Complete()
	return &study{o}
}

// loadStudy gives a study that was checked, or what is wrong with it.
func loadStudy(t *testing.T, text, sheet string, files map[string]string) (*pipeline.Project, string) {
	t.Helper()
	dir := t.TempDir()
	write := func(name, content string) {
		t.Helper()
		full := filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(full), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(full, []byte(content), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	write("study.yaml", studyHead+text)
	write("samples.csv", sheet)
	for name, content := range files {
		write("raw/"+name, content)
	}
	kinds := []*pipeline.Kind{&readKind, &SubtractKind, &CalibrateScaleKind, &PathKind, &ScaleKind, &DarkKind, &InnerFilterKind}
	p, faults := pipeline.Load(dir, kinds)
	if len(faults) > 0 {
		return nil, faults.Error()
	}
	return p, ""
}

// item finds the item of a stage's output whose name holds part.
func (s *study) item(t *testing.T, stage, output, part string) pipeline.ItemOutcome {
	t.Helper()
	var have []string
	for _, st := range s.outcome.Stages {
		for _, it := range st.Items {
			if st.Name == stage && (it.Output == output || !it.State.Good()) && strings.Contains(it.Name, part) {
				return it
			}
			have = append(have, fmt.Sprintf("%s %s %s is %s: %s", st.Name, it.Output, it.Name, it.State, it.Message))
		}
	}
	t.Fatalf("no item %q of %s %s; there are\n%s", part, stage, output, strings.Join(have, "\n"))
	return pipeline.ItemOutcome{}
}

// table is an item's table; an item that was not made ends the test.
func (s *study) table(t *testing.T, stage, output, part string) *table.Table {
	t.Helper()
	it := s.item(t, stage, output, part)
	if !it.State.Good() {
		t.Fatalf("%s %s is %s: %s", stage, it.Name, it.State, it.Message)
	}
	tab, err := s.outcome.Load(it)
	if err != nil {
		t.Fatal(err)
	}
	return tab
}

// flags are an item's remarks, one a line.
func (s *study) flags(t *testing.T, stage, output, part string) string {
	t.Helper()
	var lines []string
	for _, f := range s.item(t, stage, output, part).Flags {
		lines = append(lines, f.Level+": "+f.Text)
	}
	return strings.Join(lines, "\n")
}

// column gives a column with NaN for nulls, nil when there is none.
func column(t *testing.T, tab *table.Table, name, unit string) []float64 {
	t.Helper()
	c := tab.Col(name)
	if c == nil {
		return nil
	}
	if c.Unit != unit {
		t.Errorf("column %s is in %q, want %q", name, c.Unit, unit)
	}
	return pipeline.WithNaN(c)
}

// curveFile writes a line of heads, given as one text between spaced bars, and columns. NaN is none.
func curveFile(heads string, columns ...[]float64) string {
	var b strings.Builder
	b.WriteString(strings.ReplaceAll(heads, " | ", "\t") + "\n")
	for i := range columns[0] {
		for k, c := range columns {
			if k > 0 {
				b.WriteByte('\t')
			}
			if math.IsNaN(c[i]) {
				b.WriteByte('-')
			} else {
				b.WriteString(strconv.FormatFloat(c[i], 'g', -1, 64))
			}
		}
		b.WriteByte('\n')
	}
	return b.String()
}

// grid is n numbers from lo on, a step apart.
func grid(lo, step float64, n int) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = lo + step*float64(i)
	}
	return x
}

// over gives f at each x.
func over(x []float64, f func(float64) float64) []float64 {
	y := make([]float64, len(x))
	for i, v := range x {
		y[i] = f(v)
	}
	return y
}

func flat(x []float64, v float64) []float64 { return over(x, func(float64) float64 { return v }) }

// near tells whether numbers agree to a relative tolerance; NaN agrees with NaN.
func near(got, want, rel float64) bool {
	return math.IsNaN(got) && math.IsNaN(want) || math.Abs(got-want) <= rel*math.Abs(want)
}

// refused makes sure that an item was not made, and that its message holds all words.
func (s *study) refused(t *testing.T, stage, part string, words ...string) {
	t.Helper()
	for _, st := range s.outcome.Stages {
		for _, it := range st.Items {
			if st.Name != stage || !strings.Contains(it.Name, part) {
				continue
			}
			if it.State.Good() {
				t.Errorf("%s %s is %s, and should have been refused", stage, it.Name, it.State)
			}
			holds(t, it.Message, words...)
			return
		}
	}
	t.Errorf("no item %q of stage %s", part, stage)
}

// holds makes sure that a text holds all words.
func holds(t *testing.T, text string, words ...string) {
	t.Helper()
	for _, w := range words {
		if !strings.Contains(text, w) {
			t.Errorf("%q is not in\n%s", w, text)
		}
	}
}
