package scattering

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"fascicle/pipeline"
	"fascicle/pipeline/table"
)

// readKind reads lines of q, I and u into a curve, for tests alone.
var readKind = pipeline.Kind{
	Name: "t.read", Revision: 1, Doc: "reads a curve", Source: "common practice, no source", Reads: true,
	Outputs: []pipeline.Output{{Name: "items", Doc: "curves", Per: pipeline.PerAny, Form: pipeline.Curve,
		Columns: []pipeline.Column{{Name: "q", Unit: "1/nm"}, {Name: "I", Unit: "1/cm", U: true}}}},
	Settings: func() any { return &readSettings{} },
	Run: func(_ context.Context, call *pipeline.Call) (pipeline.Choices, error) {
		t := &table.Table{}
		var c [3][]float64
		for line := range strings.Lines(string(call.File.Data)) {
			var v [3]float64
			if _, err := fmt.Sscan(line, &v[0], &v[1], &v[2]); err != nil {
				return nil, err
			}
			for k := range v {
				c[k] = append(c[k], v[k])
			}
		}
		t.AddFloat("q", "1/nm", c[0])
		t.AddFloat("I", "1/cm", c[1])
		t.AddFloat("u_I", "1/cm", c[2])
		return nil, call.Stream("items", nil, t)
	},
}

type readSettings struct {
	Files string `set:"files" key:"-" doc:"the file"`
}

func (s *readSettings) FilesPattern() string { return s.Files }

func (s *readSettings) Brings() ([]pipeline.Brought, error) { return nil, nil }

// remarks runs scattering.guinier on one curve through a study and gives its remarks, a line each, and chi2_nu.
func remarks(t *testing.T, set string, q, i, u []float64) (flags string, chi2 float64) {
	t.Helper()
	dir := t.TempDir()
	var raw strings.Builder
	for k := range q {
		fmt.Fprintf(&raw, "%v %v %v\n", q[k], i[k], u[k])
	}
	graph := "study: test\nsamples: samples.csv\ngraph:\n  curves: {kind: t.read, set: {files: a.txt}}\n  fits: {kind: scattering.guinier, from: {curve: curves}, set: {" + set + "}}\n"
	for name, text := range map[string]string{"a.txt": raw.String(), "samples.csv": "sample\na\n", "study.yaml": graph} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	p, faults := pipeline.Load(dir, []*pipeline.Kind{&readKind, &GuinierKind})
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	o, err := pipeline.Run(context.Background(), p, pipeline.Options{})
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range o.Stages {
		for _, it := range s.Items {
			if s.Name != "fits" || it.Output != "plateaus" && it.State == pipeline.Made {
				continue
			}
			if it.State != pipeline.Made {
				t.Fatalf("%s: %s", it.State, it.Message)
			}
			for _, f := range it.Flags {
				flags += f.Level + ": " + f.Text + "\n"
			}
			tab, err := o.Load(it)
			if err != nil {
				t.Fatal(err)
			}
			return flags, tab.Floats("chi2_nu")[0]
		}
	}
	t.Fatal("no item")
	return "", 0
}

// What a fit says of uncertainties that are too small, and of a line where the points bend.
func TestGuinierRemarks(t *testing.T) {
	claim := func(u []float64, share float64) []float64 {
		out := make([]float64, len(u))
		for k := range u {
			out[k] = share * u[k]
		}
		return out
	}
	for _, c := range []struct {
		name, set      string
		form           func(float64) float64
		rel, share     float64
		want, not      string
		wantChi, relTo float64
	}{
		{"as it should be", "order: line", gaussPart, 0.1, 1, "", ": ", 1, 0.5},
		{"u a third of what it is", "order: line", gaussPart, 0.03, 1. / 3, "flag: χ²/ν is", "", 9, 0.5},
		{"u three times what it is", "order: line", gaussPart, 0.03, 3, "", "χ²/ν", 1. / 9, 0.5},
		{"sphere, precise", "shape: compact", spherePart, 3e-4, 1, "flag: the points bend over the range: with a term in q⁴ Rg is 3.99", "off by up to", 0, 0},
		{"chain, precise", "shape: chain", chainPart, 3e-4, 1, "flag: the points bend over the range", "off by up to", 0, 0},
		{"sphere, less so", "shape: compact", spherePart, 5e-3, 1, "note: bodies of this shape (compact) may bend", "flag", 1, 0.6},
		{"with the term", "order: q4", spherePart, 3e-4, 1, "", "bend", 1, 0.6},
	} {
		t.Run(c.name, func(t *testing.T) {
			q, i, u := curve(c.form, 4, 5, 60, 0.03, 0.6, c.rel, rand.New(rand.NewPCG(12, 5)))
			flags, chi2 := remarks(t, c.set, q, i, claim(u, c.share))
			if !strings.Contains(flags, c.want) || c.not != "" && strings.Contains(flags, c.not) {
				t.Errorf("%q, want %q, not %q", flags, c.want, c.not)
			}
			if c.wantChi > 0 && math.Abs(chi2/c.wantChi-1) > c.relTo {
				t.Errorf("χ²/ν %v, want about %v", chi2, c.wantChi)
			}
		})
	}
}

// The bias of a line that is fitted to exp(−x/3 + c·x²), x = (q·Rg)², c a tenth of the bound of the shape, and so within the first order.
func TestBendBias(t *testing.T) {
	for _, c := range []struct {
		name  string
		shape Shape
		bend  float64
	}{{"compact", Compact, 1. / 90}, {"chain", Chain, 1. / 36}, {"rod", Rod, 1. / 36}} {
		t.Run(c.name, func(t *testing.T) {
			form := func(x float64) float64 { x *= x; return math.Exp(-x/3 + c.bend/10*x*x) }
			q, i, u := curve(form, 4, 5, 50, 0.03, 1.3/4, 0.01, nil)
			var w Workspace
			fit := FitGuinier(q, i, u, Line, &w)
			if got, want := fit.BendBias(c.shape, &w)/10, 4-fit.Rg; math.Abs(got/want-1) > 0.05 {
				t.Errorf("bias %v, found %v", want, got)
			}
			fit = FitGuinier(q, i, nil, Line, &w)
			if got, want := fit.BendBias(c.shape, &w)/10, 4-fit.Rg; math.Abs(got/want-1) > 0.05 || !math.IsNaN(fit.Chi2P()) {
				t.Errorf("u unknown: bias %v, found %v", want, got)
			}
		})
	}
}
