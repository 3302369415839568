package spectra

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"fascicle/catalog"
	"fascicle/pipeline"
	"fascicle/pipeline/formula"
	"fascicle/pipeline/table"
)

// readKind reads lines of numbers into a curve, for tests alone: wavelength, value and, where there is a third number, its uncertainty.
var readKind = pipeline.Kind{
	Name: "t.read", Revision: 1, Doc: "reads a curve", Source: "common practice, no source", Reads: true,
	Outputs: []pipeline.Output{{Name: "items", Doc: "curves", Per: pipeline.PerAny, Form: pipeline.Curve,
		Columns: []pipeline.Column{{Name: "x", Unit: "nm"}, {Name: "y", Unit: "*", U: true}}}},
	Settings: func() any { return &readSettings{} },
	Run: func(_ context.Context, call *pipeline.Call) (pipeline.Choices, error) {
		s := call.Settings.(*readSettings)
		t := &table.Table{}
		var c [3][]float64
		for line := range strings.Lines(string(call.File.Data)) {
			var v [3]float64
			n, _ := fmt.Sscan(line, &v[0], &v[1], &v[2])
			for k := range n {
				c[k] = append(c[k], v[k])
			}
		}
		t.AddFloat("x", s.Axis, c[0])
		pipeline.AddWithNaN(t, "y", s.Unit, c[1])
		if c[2] != nil {
			pipeline.AddWithNaN(t, "u_y", s.Unit, c[2])
		}
		return nil, call.Stream("items", nil, t)
	},
}

type readSettings struct {
	Files string `set:"files" key:"-" doc:"pattern of the files"`
	Axis  string `set:"axis" default:"nm" doc:"unit of the axis"`
	Unit  string `set:"unit" default:"1/s" doc:"unit of the value"`
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

// moveKind moves a curve along its axis and scales it, by settings that may be uncertain.
var moveKind = pipeline.Kind{
	Name: "t.move", Revision: 1, Doc: "moves a curve", Source: "common practice, no source",
	Ports: []pipeline.Port{{Name: "curve", Lead: true, Forms: []pipeline.Form{pipeline.Curve}, Doc: "curve",
		Columns: []pipeline.Column{{Name: pipeline.AxisColumn, Unit: "nm"}, {Name: pipeline.ValueColumn, Unit: "*"}}}},
	Outputs:  []pipeline.Output{{Name: "moved", Doc: "moved curve", Form: pipeline.Curve, Like: "curve"}},
	Settings: func() any { return &moveSettings{} },
	Run: func(_ context.Context, call *pipeline.Call) (pipeline.Choices, error) {
		s := call.Settings.(*moveSettings)
		for i, lead := range call.Leads {
			t := &table.Table{}
			for k, c := range lead.Table.Columns {
				v := slices.Clone(c.Floats)
				for j := range v {
					if k == 0 {
						v[j] += s.By.Value
					} else {
						v[j] *= s.Times.Value
					}
				}
				t.AddFloatValid(c.Name, c.Unit, v, c.Valid)
			}
			call.Give("moved", i, t)
		}
		return nil, nil
	},
}

type moveSettings struct {
	By    pipeline.Quantity `set:"by" unit:"nm" doc:"along the axis"`
	Times pipeline.Quantity `set:"times" unit:"1" doc:"factor"`
}

// study runs a graph over files of curves; the sheet has a sample a file.
func study(t *testing.T, files map[string]string, graph string) *pipeline.Outcome {
	t.Helper()
	dir := t.TempDir()
	sheet := "sample\n"
	for _, name := range []string{"a", "b"} {
		if text, ok := files[name]; ok {
			sheet += name + "\n"
			if err := os.WriteFile(filepath.Join(dir, name+".txt"), []byte(text), 0o666); err != nil {
				t.Fatal(err)
			}
		}
	}
	for name, text := range map[string]string{"samples.csv": sheet, "study.yaml": "study: test\nsamples: samples.csv\n" + graph} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	p, faults := pipeline.Load(dir, []*pipeline.Kind{&readKind, &moveKind, &BandsKind})
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	o, err := pipeline.Run(context.Background(), p, pipeline.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return o
}

func lines(x []float64, columns ...func(float64) float64) string {
	var b strings.Builder
	for _, v := range x {
		fmt.Fprintf(&b, "%g", v)
		for _, f := range columns {
			fmt.Fprintf(&b, " %g", f(v))
		}
		b.WriteByte('\n')
	}
	return b.String()
}

// item gives the state, the message, the flags and the table of a stage's output for a sample.
func item(t *testing.T, o *pipeline.Outcome, stage, output, sample string) (pipeline.ItemOutcome, *table.Table) {
	t.Helper()
	for _, s := range o.Stages {
		for _, it := range s.Items {
			if s.Name != stage || it.Sample != sample || it.Output != output && it.Output != "" {
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
	t.Fatalf("no item of %s/%s for %s", stage, output, sample)
	return pipeline.ItemOutcome{}, nil
}

func said(it pipeline.ItemOutcome, level pipeline.FlagLevel, words string) bool {
	for _, f := range it.Flags {
		if f.Level == string(level) && strings.Contains(f.Text, words) {
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

const bandsGraph = `graph:
  scans: {kind: t.read, set: {files: <sample>.txt}}
  bands: {kind: spectra.bands, from: {curve: scans}, set: {range: [%s], second-range: %s, baseline: linear}}
`

// The whole way through a study: an emission in 1/s, its second band, and what the table says of them.
func TestBandsKind(t *testing.T) {
	x := axis(420, 720, 1)
	f := func(x float64) float64 { return 3000*gauss(500, 12)(x) + 1000*gauss(640, 14)(x) + 50 }
	u := func(x float64) float64 { return math.Sqrt(f(x)) }
	rising := lines(x, f, u)
	falling := strings.Split(strings.TrimSpace(rising), "\n")
	slices.Reverse(falling)
	o := study(t, map[string]string{"a": rising, "b": strings.Join(falling, "\n")}, fmt.Sprintf(bandsGraph, "430 nm, 575 nm", "[576 nm, 710 nm]"))
	it, tab := item(t, o, "bands", "bands", "a")
	if tab == nil {
		t.Fatal(it.Message)
	}
	if len(it.Flags) > 0 {
		t.Errorf("flags %v", it.Flags)
	}
	near(t, "maximum", number(t, tab, "maximum"), 500, 1e-6)
	near(t, "height", number(t, tab, "height"), 3000, 1e-4)
	near(t, "width", number(t, tab, "width"), 24*math.Sqrt(2*math.Ln2), 5e-4)
	near(t, "area", number(t, tab, "area"), 3000*12*math.Sqrt(2*math.Pi), 1e-5)
	near(t, "ratio of areas", number(t, tab, "area_ratio"), 3*12/14., 2e-4) // the second band's feet, 4e-5 of its height over 134 nm, pass for baseline: 1.6e-4 of its area
	if unit := tab.Col("area").Unit; unit != "nm/s" {
		t.Errorf("the area is in %s", unit)
	}
	for _, c := range []string{"u_maximum", "u_height", "u_centroid", "u_width", "u_area", "u_onset", "u_height_ratio", "u_area_ratio"} {
		if v := number(t, tab, c); !(v > 0) {
			t.Errorf("%s = %g", c, v)
		}
	}
	if c := tab.Col("cov_maximum_area"); c == nil || c.Unit != "nm2/s" {
		t.Errorf("covariance of maximum and area: %+v", c)
	}
	// a falling axis gives the same numbers, bit for bit
	_, reverse := item(t, o, "bands", "bands", "b")
	for i, c := range tab.Columns {
		if r := reverse.Columns[i]; r.Name != c.Name || c.Type == table.Float && r.Floats[0] != c.Floats[0] {
			t.Errorf("%s: %v with a rising axis, %v with a falling one", c.Name, c.Floats, r.Floats)
		}
	}
	_, curve := item(t, o, "bands", "curve", "a")
	model, used, n := curve.Col("model"), curve.Floats("used"), 0
	for i, y := range curve.Floats("value") {
		if used[i] == 1 {
			n++
			if math.Abs(model.Floats[i]-y) > 5 {
				t.Errorf("the model at %g nm is %g, the spectrum %g", curve.Floats("wavelength")[i], model.Floats[i], y)
			}
		} else if !model.IsNull(i) {
			t.Errorf("a model at %g nm, beyond the top", curve.Floats("wavelength")[i])
		}
	}
	if n < 10 {
		t.Errorf("%d points used", n)
	}
}

// Shared uncertainties of the axis and of the scale come out as parts: the maximum goes with the axis and not with
// the scale, height and area the other way round; the centroid by −E²/hc. Width and ratios stay.
func TestBandsKindSharedParts(t *testing.T) {
	x := axis(420, 720, 1)
	r := rand.New(rand.NewPCG(6, 2))
	y := func(x float64) float64 {
		return 3000*gauss(500, 12)(x) + 1000*gauss(640, 14)(x) + 5*r.NormFloat64()
	}
	graph := `graph:
  scans: {kind: t.read, set: {files: <sample>.txt}}
  moved: {kind: t.move, from: {curve: scans}, set: {by: 1.00(20) nm, times: 2.00(4)}}
  bands: {kind: spectra.bands, from: {curve: moved}, set: {range: [430 nm, 575 nm], second-range: [576 nm, 710 nm]}}
`
	it, tab := item(t, study(t, map[string]string{"a": lines(x, y, func(float64) float64 { return 5 })}, graph), "bands", "bands", "a")
	if tab == nil {
		t.Fatal(it.Message)
	}
	if len(it.Flags) > 0 {
		t.Errorf("flags %v", it.Flags)
	}
	e := number(t, tab, "centroid")
	for _, c := range []struct {
		column      string
		axis, scale float64
		tolerance   float64
	}{
		{"maximum", 0.2, 0, 1e-8},
		{"height", 0, 0.02 * number(t, tab, "height"), 1e-9},
		{"area", 0, 0.02 * number(t, tab, "area"), 1e-9},
		{"centroid", -0.2 * e * e / hc, 0, 2e-3}, // a band of finite width: ⟨E²⟩ is above ⟨E⟩² by (0.06/2.47)² and noise
		{"width", 0, 0, 1e-9},
		{"height_ratio", 0, 0, 1e-12},
		{"area_ratio", 0, 0, 1e-12},
	} {
		for source, want := range map[string]float64{"moved.by": c.axis, "moved.times": c.scale} {
			got := 0.0
			if p := tab.Col(c.column + "@" + source); p != nil {
				got = p.Floats[0]
			}
			most := c.tolerance
			if want != 0 {
				most *= math.Abs(want)
			}
			if math.Abs(got-want) > most {
				t.Errorf("part of %s in %s: %g, want %g", source, c.column, got, want)
			}
		}
	}
}

// What cannot be measured is refused or flagged, in words that say what to do.
// overRange is a spectrum whose values above a limit are missing, as they are once an instrument has marked them for over range.
func overRange(x []float64, y, u func(float64) float64, limit float64) string {
	var b strings.Builder
	for _, at := range x {
		if y(at) > limit {
			fmt.Fprintf(&b, "%g NaN %g\n", at, u(at))
		} else {
			fmt.Fprintf(&b, "%g %.6f %g\n", at, y(at), u(at))
		}
	}
	return b.String()
}

func TestBandsKindBadInput(t *testing.T) {
	x := axis(420, 700, 1)
	f := func(x float64) float64 { return 3000*gauss(500, 12)(x) + 1000*gauss(620, 14)(x) + 50 }
	u := func(float64) float64 { return 2 }
	whole := lines(x, f, u)
	clipped := lines(x, func(x float64) float64 { return min(f(x), 2000) }, u)
	for _, c := range []struct {
		name, text, first, second string
		fails                     string // in the message of a failed item
		flag                      string // or in a flag
		null, bound               []string
	}{
		{name: "outside the scan", text: whole, first: "300 nm, 400 nm", fails: "the scan reaches from 420 to 700 nm"},
		{name: "second outside", text: whole, first: "440 nm, 560 nm", second: "[800 nm, 900 nm]", fails: "`second-range`"},
		{name: "two points", text: whole, first: "500 nm, 501 nm", fails: "at least 3"},
		{name: "beyond the scan", text: whole, first: "590 nm, 750 nm", flag: "the scan ends at 700 nm"},
		{name: "few points", text: whole, first: "499 nm, 502 nm", flag: "too few for a polynomial of degree 4", null: []string{"maximum", "height", "width", "onset"}},
		{name: "clipped", text: clipped, first: "440 nm, 560 nm", flag: "clipped", null: []string{"maximum", "centroid", "onset"}, bound: []string{"maximum interval", "height lower", "area lower", "width upper"}},
		{name: "at the end", text: whole, first: "440 nm, 495 nm", flag: "the highest point is the last", null: []string{"width", "onset"}, bound: []string{"maximum lower", "height lower"}},
		{name: "top over range", text: overRange(x, f, u, 2000), first: "440 nm, 560 nm", fails: "the top of the band is missing"},
		{name: "all but the feet over range", text: overRange(x, f, u, 60), first: "470 nm, 530 nm", fails: "have no value (over range?): the band is not seen"},
		{name: "no band", text: lines(x, func(x float64) float64 { return math.Sin(x * x) }, u), first: "440 nm, 560 nm", flag: "no band stands out", null: []string{"maximum", "height", "width", "centroid"}},
		{name: "no uncertainty", text: lines(x, f), first: "440 nm, 560 nm", flag: "uncertainties are unknown"},
		{name: "no fall", text: whole, first: "494 nm, 560 nm", flag: "towards short wavelengths", null: []string{"width"}},
		{name: "same wavelength twice", text: "500 1\n501 2\n501 3\n502 1\n", first: "440 nm, 560 nm", fails: "rises or falls strictly"},
		{name: "negative wavelength", text: "-500 1\n501 2\n502 3\n503 1\n", first: "440 nm, 560 nm", fails: "positive"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if c.second == "" {
				c.second = "none"
			}
			graph := strings.Replace(fmt.Sprintf(bandsGraph, c.first, c.second), "linear", "none", 1)
			it, tab := item(t, study(t, map[string]string{"a": c.text}, graph), "bands", "bands", "a")
			if c.fails != "" {
				if it.State != pipeline.Failed || !strings.Contains(it.Message, c.fails) {
					t.Errorf("%s: %q, want a failure that says %q", it.State, it.Message, c.fails)
				}
				return
			}
			if tab == nil {
				t.Fatal(it.Message)
			}
			if !said(it, pipeline.Flagged, c.flag) {
				t.Errorf("flags %v, want one that says %q", it.Flags, c.flag)
			}
			for _, name := range c.null {
				if v := number(t, tab, name); !math.IsNaN(v) {
					t.Errorf("%s = %g, want none", name, v)
				}
			}
			for _, b := range c.bound {
				name, want, _ := strings.Cut(b, " ")
				if col := tab.Col(name + "_bound"); col == nil || col.Texts[0] != want {
					t.Errorf("%s has bound %+v, want %s", name, col, want)
				}
			}
			if c.name == "no uncertainty" {
				if tab.Col("u_area") != nil || tab.Col("nu_maximum") == nil || !(number(t, tab, "u_maximum") > 0) {
					t.Errorf("columns %v", tab.Names())
				}
			}
		})
	}
}

// What a band is taken as when the study does not say, by unit and name of its values.
func TestIsAbsorption(t *testing.T) {
	for _, c := range []struct {
		name, unit string
		want       bool
	}{
		{"absorbance", "1/cm", true},
		{"y", "1/cm", true},
		{"y", "1/m", true},
		{"epsilon", "L/(mol.cm)", true},
		{"absorbance", "1", true},
		{"Abs", "1", true},
		{"A", "1", true},
		{"OD", "1", true},
		{"counts", "1", false},
		{"absolute", "1", false}, // no absorbance
		{"amber", "1", false},
		{"A", "1/s", false},
		{"emission", "V", false},
	} {
		if got := isAbsorption(c.name, c.unit); got != c.want {
			t.Errorf("%s in %s: %v, want %v", c.name, c.unit, got, c.want)
		}
	}
}

// An attenuation, in 1/cm, is an absorption: its onset is at long wavelengths, and its centroid takes no Jacobian. For a Gaussian the line
// through its flank meets zero beyond the half height, and the centroid of one over the wavelength, with weights dE = hc/λ² dλ, is near hc/500.
func TestBandsKindSort(t *testing.T) {
	x := axis(420, 580, 1)
	text := lines(x, func(x float64) float64 { return 0.3 * gauss(500, 20)(x) }, func(float64) float64 { return 0.001 })
	for _, c := range []struct {
		name, unit, set string
		absorption      bool
		level           pipeline.FlagLevel
		says            string
	}{
		{"1/cm", "1/cm", "", true, pipeline.Note, "taken as an absorption"},
		{"1/cm, told so", "1/cm", "spectrum: absorption", true, "", ""},
		{"1/cm, told otherwise", "1/cm", "spectrum: emission", false, pipeline.Flagged, "look like an absorption"},
		{"pure number", "1", "", false, pipeline.Note, "taken as emission"},
		{"pure number, told so", "1", "spectrum: emission", false, "", ""},
		{"rate", "1/s", "", false, "", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			graph := fmt.Sprintf("graph:\n  scans: {kind: t.read, set: {files: <sample>.txt, unit: %q}}\n  bands: {kind: spectra.bands, from: {curve: scans}, set: {range: [420 nm, 580 nm], %s}}\n", c.unit, c.set)
			it, tab := item(t, study(t, map[string]string{"a": text}, strings.Replace(graph, ", }", "}", 1)), "bands", "bands", "a")
			if tab == nil {
				t.Fatal(it.Message)
			}
			if c.says == "" && len(it.Flags) > 0 || c.says != "" && !said(it, c.level, c.says) {
				t.Errorf("flags %v", it.Flags)
			}
			onset := number(t, tab, "onset")
			if long := onset > 500; long != c.absorption || math.Abs(onset-500) < 20*math.Sqrt(2*math.Ln2) {
				t.Errorf("onset at %g nm", onset)
			}
			// ∫ E·I·dE with I(λ) = G: over λ, absorption weighs by 1/λ² more
			var num, den float64
			for _, v := range x {
				w := gauss(500, 20)(v)
				if c.absorption {
					w /= v * v
				}
				num, den = num+w*hc/v, den+w
			}
			near(t, "centroid", number(t, tab, "centroid"), num/den, 1e-5)
		})
	}
}
