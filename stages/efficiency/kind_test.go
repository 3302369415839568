package efficiency

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"fascicle/catalog"
	"fascicle/pipeline"
	"fascicle/pipeline/formula"
	"fascicle/pipeline/table"
)

// valuesKind reads lines of "NAME UNIT NUMBER" (or "NAME text WORD") into one row, for tests alone.
var valuesKind = pipeline.Kind{
	Name: "t.values", Revision: 1, Doc: "reads numbers", Source: "common practice, no source", Reads: true,
	Outputs:  []pipeline.Output{{Name: "items", Doc: "numbers", Per: pipeline.PerAny, Form: pipeline.Values, Open: true}},
	Settings: func() any { return &valuesSettings{} },
	Run: func(_ context.Context, call *pipeline.Call) (pipeline.Choices, error) {
		t := &table.Table{}
		for line := range strings.Lines(string(call.File.Data)) {
			f := strings.Fields(line)
			if f[1] == "text" {
				t.AddText(f[0], []string{f[2]})
				continue
			}
			v := math.NaN()
			if f[2] != "null" {
				fmt.Sscan(f[2], &v)
			}
			pipeline.AddWithNaN(t, f[0], f[1], []float64{v})
		}
		return nil, call.Stream("items", nil, t)
	},
}

type valuesSettings struct {
	Files string `set:"files" key:"-" doc:"pattern of the files"`
}

func (s *valuesSettings) FilesPattern() string { return s.Files }

func (s *valuesSettings) Brings() ([]pipeline.Brought, error) {
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

// study runs a graph over one mixture m, its control c and blanks b1, b2, … of one day.
func study(t *testing.T, files map[string]string, graph string) *pipeline.Outcome {
	t.Helper()
	dir := t.TempDir()
	write := func(name, text string) {
		name = filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(name), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(name, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	sheet := "sample,role,day,donor [mmol/L]\n"
	for _, row := range []string{"m,mixture,d1,1.0", "c,control,d1,2.0", "b1,blank,d1,", "b2,blank,d1,", "b3,blank,d1,"} {
		name, rest, _ := strings.Cut(row, ",")
		if text, ok := files[name]; ok {
			sheet += row + "\n"
			role, _, _ := strings.Cut(rest, ",")
			write(role+"/"+name+".txt", text)
		}
	}
	write("samples.csv", sheet)
	write("study.yaml", "study: test\nsamples: samples.csv\ngraph:\n"+graph)
	p, faults := pipeline.Load(dir, []*pipeline.Kind{&valuesKind, &QuenchingKind, &LifetimeKind})
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	o, err := pipeline.Run(context.Background(), p, pipeline.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return o
}

// result gives what a stage made of the mixture.
func result(t *testing.T, o *pipeline.Outcome, stage string) (pipeline.ItemOutcome, *table.Table) {
	t.Helper()
	for _, s := range o.Stages {
		for _, it := range s.Items {
			if s.Name != stage || it.Sample != "m" {
				continue
			}
			if it.State != pipeline.Made {
				return it, nil
			}
			tab, err := o.Load(it)
			if err != nil {
				t.Fatal(err)
			}
			return it, tab
		}
	}
	t.Fatalf("no item of %s", stage)
	return pipeline.ItemOutcome{}, nil
}

func said(it pipeline.ItemOutcome, words string) bool {
	for _, f := range it.Flags {
		if strings.Contains(f.Text, words) {
			return true
		}
	}
	return false
}

func number(t *testing.T, tab *table.Table, column string) float64 {
	t.Helper()
	c := tab.Col(column)
	if c == nil {
		t.Fatalf("no column %s among %v", column, tab.Names())
	}
	if c.IsNull(0) {
		return math.NaN()
	}
	return c.Floats[0]
}

// apart reads mixtures, controls and blanks in stages of their own, together in one.
const (
	apart = `  mixtures: {kind: t.values, set: {files: mixture/<sample>.txt}}
  controls: {kind: t.values, set: {files: control/<sample>.txt}}
  blanks: {kind: t.values, set: {files: blank/<sample>.txt}}
`
	together = `  all_files: {kind: t.values, set: {files: "<folder>/<sample>.txt"}}
  mixtures: {items: [all_files]}
  controls: {items: [all_files]}
  blanks: {items: [all_files]}
`
)

const quenchingGraph = `  left:
    kind: efficiency.quenching
    from:
      donor: {stage: mixtures, where: role == "mixture"}
      control: {stage: controls, where: role == "control", match: [day]}
      blanks: {stage: blanks, where: role == "blank", match: [day]}
    set: {signal: area, concentration: donor}
`

func without(graph, line string) string {
	var kept []string
	for l := range strings.Lines(graph) {
		if !strings.Contains(l, line) {
			kept = append(kept, l)
		}
	}
	return strings.Join(kept, "")
}

// One way through with concentrations and blanks: r = (30 − 10)/400 · 2/1, E = 0.9. Own u is the signal's alone; the control's
// and the blanks' become parts, by the derivatives of the formula (JCGM 100:2008, 5.1.3).
func TestQuenchingKind(t *testing.T) {
	o := study(t, map[string]string{
		"m":  "area nm/s 30\nu_area nm/s 3\n",
		"c":  "area nm/s 400\nu_area nm/s 8\n",
		"b1": "area nm/s 9\nu_area nm/s 1\n", "b2": "area nm/s 11\nu_area nm/s 1\n", "b3": "area nm/s 10\nu_area nm/s 1\n",
	}, apart+quenchingGraph)
	it, tab := result(t, o, "left")
	if tab == nil {
		t.Fatal(it.Message)
	}
	near(t, "residual", number(t, tab, "residual"), 0.1, 1e-14)
	near(t, "E", number(t, tab, "E"), 0.9, 1e-14)
	near(t, "u(E)", number(t, tab, "u_E"), 3./400*2, 1e-14)
	near(t, "cov", number(t, tab, "cov_E_residual"), -math.Pow(3./400*2, 2), 1e-14)
	// own and the blanks' mean; the blanks scatter by 1, as their u says, which alone, t(0.95; 2) = 2.919986, would give less: 3.4
	near(t, "detection", number(t, tab, "detection"), 1.6448536*math.Sqrt(9+1./3)/400*2, 1e-6)
	if !math.IsNaN(number(t, tab, "E_limit")) {
		t.Error("a limit where the light is seen")
	}
	parts := map[string]float64{}
	for _, c := range tab.Columns {
		if src, ok := strings.CutPrefix(c.Name, "E@"); ok {
			parts[src] = c.Floats[0]
		}
	}
	control, blank := 0.0, 0.0
	for src, v := range parts {
		switch {
		case strings.Contains(src, "sample=c"):
			control = v
		case strings.Contains(src, "sample=b"):
			blank += v * v
		}
	}
	near(t, "part of the control", math.Abs(control), 0.1*8/400, 1e-3) // the second order of ½[f(+u) − f(−u)] is (u/F0)² = 4e-4 of it
	near(t, "parts of the blanks", math.Sqrt(blank), 2./400/math.Sqrt(3), 1e-9)
}

// Blanks that scatter by more than they say, in whatever way the study sorts its files, and a control that is hardly seen.
func TestQuenchingBlanksThatScatter(t *testing.T) {
	files := map[string]string{
		"m":  "area nm/s 30\nu_area nm/s 3\n",
		"c":  "area nm/s 400\nu_area nm/s 200\n",
		"b1": "area nm/s 4\nu_area nm/s 1\n", "b2": "area nm/s 16\nu_area nm/s 1\n", "b3": "area nm/s 10\nu_area nm/s 1\n",
	}
	for name, read := range map[string]string{"apart": apart, "together": together} {
		t.Run(name, func(t *testing.T) {
			it, tab := result(t, study(t, files, read+quenchingGraph), "left")
			if tab == nil {
				t.Fatal(it.Message)
			}
			own := (36. - 1) * 4 / 3 // s_B² = 36, and 1 of it is known
			v := number(t, tab, "u_E") * number(t, tab, "u_E")
			for _, c := range tab.Columns {
				if strings.HasPrefix(c.Name, "E@") && strings.Contains(c.Name, "sample=m") {
					v += c.Floats[0] * c.Floats[0] // the signal's own, where its item is a source
				}
			}
			near(t, "u(E)", math.Sqrt(v), math.Sqrt(9+own)/400*2, 1e-9)
			if !said(it, "only 2 times its u") {
				t.Errorf("remarks %v, want one on a control that is not known well", it.Flags)
			}
		})
	}
}

// Where one stage gives mixtures and controls, its items are sources, and own uncertainties arrive as zero. Neither u nor the limit
// may depend on how a study sorts its files.
func TestLimitWhereItemsAreSources(t *testing.T) {
	files := map[string]string{"m": "area nm/s -2\nu_area nm/s 4\n", "c": "area nm/s 400\nu_area nm/s 8\n"}
	graph := strings.Replace(without(quenchingGraph, "blanks:"), ", concentration: donor", "", 1)
	var limits, whole []float64
	for _, read := range []string{without(apart, "blanks:"), without(together, "blanks:")} {
		it, tab := result(t, study(t, files, read+graph), "left")
		if tab == nil {
			t.Fatal(it.Message)
		}
		u := number(t, tab, "u_E")
		v := u * u
		for _, c := range tab.Columns {
			if strings.HasPrefix(c.Name, "E@") {
				v += c.Floats[0] * c.Floats[0]
			}
		}
		limits, whole = append(limits, number(t, tab, "E_limit")), append(whole, math.Sqrt(v))
	}
	near(t, "limit", limits[1], limits[0], 1e-12)
	near(t, "limit", limits[0], 1-1.6448536*math.Hypot(4, 8./200)/400, 1e-9)
	near(t, "whole u", whole[1], whole[0], 1e-9)
}

// What is below detection, unknown, bounded or wrong.
func TestQuenchingKindCases(t *testing.T) {
	const control = "area nm/s 400\nu_area nm/s 8\n"
	plainGraph := strings.Replace(without(apart+quenchingGraph, "blanks:"), ", concentration: donor", "", 1)
	limit := func(f, u float64) float64 { // u of the signal, and 8 of the control's 400
		return 1 - (math.Max(f, 0)+1.6448536*math.Hypot(u, f/400*8))/400
	}
	for _, c := range []struct {
		name, signal, control string
		graph                 string
		fails, flag           string
		e, limit              float64 // NaN: null
		bound                 string
	}{
		{name: "below detection", signal: "area nm/s -2\nu_area nm/s 4\n", e: 1.005, limit: limit(-2, 4), flag: "below detection"},
		{name: "complete transfer", signal: "area nm/s 0.2\nu_area nm/s 4\n", e: 0.9995, limit: limit(0.2, 4), flag: "need not be 1"},
		{name: "u unknown", signal: "area nm/s -2\n", e: 1.005, limit: math.NaN(), flag: "uncertainty of area is unknown"},
		{name: "exact", signal: "area nm/s 100\nu_area nm/s 0\n", e: 0.75, limit: math.NaN(), flag: ""},
		{name: "too much taken off", signal: "area nm/s -40\nu_area nm/s 4\n", e: 1.1, limit: limit(-40, 4), flag: "too much was taken off"},
		{name: "brighter than the control", signal: "area nm/s 440\nu_area nm/s 4\n", e: -0.1, limit: math.NaN(), flag: "E is negative"},
		{name: "signal at most", signal: "area nm/s 100\nu_area nm/s 4\narea_bound text upper\n", e: 0.75, bound: "lower", limit: limit(100, 4)},
		{name: "signal at least", signal: "area nm/s 100\nu_area nm/s 4\narea_bound text lower\n", e: 0.75, bound: "upper", limit: math.NaN()},
		{name: "between", signal: "area nm/s null\narea_bound text interval\narea_lo nm/s 100\narea_hi nm/s 200\n", e: math.NaN(), bound: "interval", limit: math.NaN()},
		{name: "other unit", signal: "area um/s 0.1\nu_area um/s 0.004\n", e: 0.75, limit: math.NaN()},
		{name: "expression", signal: "area nm/s 100\nu_area nm/s 4\n", graph: strings.Replace(plainGraph, "signal: area", "signal: 2 * area, control-signal: area", 1), e: 0.5, limit: math.NaN()},
		{name: "expression below detection", signal: "area nm/s 1\nu_area nm/s 4\n", graph: strings.Replace(plainGraph, "signal: area", "signal: 2 * area, control-signal: area", 1), e: 0.995, limit: limit(2, 8), flag: "below detection"},
		{name: "expression over a bound", signal: "area nm/s 1\nu_area nm/s 4\narea_bound text upper\n", graph: strings.Replace(plainGraph, "signal: area", "signal: 2 * area", 1), fails: "only a bound"},
		{name: "no value", signal: "area nm/s null\n", fails: "has no value"},
		{name: "other quantity", signal: "area s 100\nu_area s 4\n", fails: "signal"},
		{name: "dark control", signal: "area nm/s 100\nu_area nm/s 4\n", control: "area nm/s -3\nu_area nm/s 8\n", fails: "above zero"},
		{name: "no such column", signal: "height nm/s 100\n", fails: "area"},
		{name: "open", signal: "area nm/s 100\nu_area nm/s 4\narea_bound text upper\n", control: control + "area_bound text upper\n", fails: "leave the efficiency open"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if c.control == "" {
				c.control = control
			}
			if c.graph == "" {
				c.graph = plainGraph
			}
			it, tab := result(t, study(t, map[string]string{"m": c.signal, "c": c.control}, c.graph), "left")
			if c.fails != "" {
				if it.State != pipeline.Failed || !strings.Contains(it.Message, c.fails) {
					t.Errorf("%s: %q, want a failure that says %q", it.State, it.Message, c.fails)
				}
				return
			}
			if tab == nil {
				t.Fatal(it.Message)
			}
			if c.flag != "" && !said(it, c.flag) || c.flag == "" && len(it.Flags) > 0 {
				t.Errorf("flags %v, want %q", it.Flags, c.flag)
			}
			for name, want := range map[string]float64{"E": c.e, "E_limit": c.limit} {
				got := number(t, tab, name)
				if math.IsNaN(got) != math.IsNaN(want) || math.Abs(got-want) > 2e-9 {
					t.Errorf("%s = %v, want %v", name, got, want)
				}
			}
			if b := tab.Col("E_bound"); (b == nil) != (c.bound == "") || b != nil && b.Texts[0] != c.bound {
				t.Errorf("E has bound %+v, want %q", b, c.bound)
			}
			if b := tab.Col("E_limit_bound"); (b == nil) != math.IsNaN(c.limit) || b != nil && b.Texts[0] != "lower" {
				t.Errorf("the limit has bound %+v", b)
			}
		})
	}
}

// 4.0 ns to 0.8 ns is E = 0.8 (identity); a lifetime at its bound gives a bound, one below detection a limit.
func TestLifetimeKind(t *testing.T) {
	const graph = `  shorter:
    kind: efficiency.lifetime
    from:
      donor: {stage: mixtures, where: role == "mixture"}
      control: {stage: controls, where: role == "control", match: [day]}
`
	const control = "tau_amplitude ns 4.0\nu_tau_amplitude ns 0.04\n"
	for _, c := range []struct {
		name, signal string
		e, u, limit  float64
		bound        string
	}{
		{name: "seen", signal: "tau_amplitude ns 0.8\nu_tau_amplitude ns 0.02\n", e: 0.8, u: 0.005, limit: math.NaN()},
		{name: "below detection", signal: "tau_amplitude ns 0.002\nu_tau_amplitude ns 0.01\n", e: 0.9995, u: 0.0025, limit: 1 - 0.0005 - 1.6448536*0.0025},
		{name: "few degrees of freedom", signal: "tau_amplitude ns 0.002\nu_tau_amplitude ns 0.01\nnu_tau_amplitude 1 4\n", e: 0.9995, u: 0.0025, limit: 1 - 0.0005 - 2.131847*0.0025},
		{name: "at its bound", signal: "tau_amplitude ns 0.04\nu_tau_amplitude ns 0\ntau_amplitude_bound text upper\n", e: 0.99, bound: "lower", limit: 0.99 - 1.6448536*0.01*0.01},
	} {
		t.Run(c.name, func(t *testing.T) {
			it, tab := result(t, study(t, map[string]string{"m": c.signal, "c": control}, without(apart, "blanks:")+graph), "shorter")
			if tab == nil {
				t.Fatal(it.Message)
			}
			near(t, "E", number(t, tab, "E"), c.e, 1e-12)
			if u := number(t, tab, "u_E"); math.Abs(u-c.u) > 1e-15 {
				t.Errorf("u(E) = %g, want %g: of the donor alone", u, c.u)
			}
			if got := number(t, tab, "E_limit"); math.IsNaN(got) != math.IsNaN(c.limit) || math.Abs(got-c.limit) > 1e-7 { // r·u(F0) is the last digit
				t.Errorf("E_limit = %v, want %v", got, c.limit)
			}
			if b := tab.Col("E_bound"); (b == nil) != (c.bound == "") || b != nil && b.Texts[0] != c.bound {
				t.Errorf("E has bound %+v, want %q", b, c.bound)
			}
			part := 0.0
			for _, col := range tab.Columns {
				if strings.HasPrefix(col.Name, "E@") {
					part = col.Floats[0]
				}
			}
			near(t, "part of the control", math.Abs(part), (1-c.e)*0.01, 1e-3)
		})
	}
	// 60 % of the donors are quenched to nothing: what is left lives as long as the control
	const some = "tau_amplitude ns 4.0\nu_tau_amplitude ns 0.04\ncounts 1 %s\na_1 1 %s\n"
	for _, c := range []struct{ a, want string }{{"400", "60 % of the donors"}, {"990", "donors that are quenched within the response do not count"}} {
		it, _ := result(t, study(t, map[string]string{"m": fmt.Sprintf(some, "1e5", c.a), "c": fmt.Sprintf(some, "2e5", "1000")}, without(apart, "blanks:")+graph), "shorter")
		if !said(it, "decay is still seen") || !said(it, c.want) || c.a == "400" && !said(it, "the efficiency of all is 0.6") {
			t.Errorf("an amplitude of %s of 1000: remarks %v", c.a, it.Flags)
		}
	}
	it, _ := result(t, study(t, map[string]string{"m": "tau_amplitude ns 1\n", "c": "tau_amplitude ns 0\nu_tau_amplitude ns 0.1\n"}, without(apart, "blanks:")+graph), "shorter")
	if it.State != pipeline.Failed || !strings.Contains(it.Message, "above zero") {
		t.Errorf("a control of no lifetime: %s %q", it.State, it.Message)
	}
}
