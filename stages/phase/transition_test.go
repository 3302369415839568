package phase_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"fascicle/pipeline"
)

// seriesStudy is a series of nine samples along the field `fraction`, with transmittances in the given unit and u of half a percent.
func seriesStudy(unit string, scale float64, values []float64) (sheet string, raw map[string]string) {
	var b strings.Builder
	b.WriteString("sample,chain,fraction [%],cell [mm],ramp\n")
	raw = map[string]string{}
	for i, v := range values {
		fmt.Fprintf(&b, "S%d,long,%d,10,heating\n", i, 20+10*i)
		raw[fmt.Sprintf("raw/S%d.csv", i)] = fmt.Sprintf("transmittance [%s],u_transmittance [%s]\n%.6g,%.6g\n", unit, unit, v*scale, 0.005*scale)
	}
	return b.String(), raw
}

const seriesGraph = `graph:
  wells:
    kind: test.read
    set: {files: raw/<sample>.csv}
  windows:
    kind: phase.transition
    from: {transmittance: wells}
    by: chain
    set: {axis: fraction, wavelength: 620 nm}
`

// seriesValues has a single point within its first step, and two within the second: a logistic one at 0.74 with s = 0.03, from 0.10 to 0.97.
var seriesValues = []float64{0.98, 0.98, 0.60, 0.10, 0.108, 0.281, 0.866, 0.966, 0.970}

// Percent and fractions come to the same; what the axis is in percent comes out as a fraction, the unit inside.
func TestTransitionOfValues(t *testing.T) {
	var first result
	for _, c := range []struct {
		unit  string
		scale float64
	}{{"1", 1}, {"%", 100}} {
		t.Run(c.unit, func(t *testing.T) {
			sheet, raw := seriesStudy(c.unit, c.scale, seriesValues)
			r := run(t, write(t, sheet, seriesGraph, raw))["windows edges chain=long"]
			if r.table == nil {
				t.Fatalf("%s: %s", r.State, r.Message)
			}
			if n, _ := r.number(t, "number"); n != 2 {
				t.Errorf("%g edges", n)
			}
			if !r.says(pipeline.Note, "port `control` is not fed") {
				t.Errorf("nothing is said of controls: %v", r.Flags)
			}
			if first.table == nil {
				first = r
			}
			for _, name := range []string{"closes", "u_closes"} {
				x, ok := r.number(t, name)
				y, _ := first.number(t, name)
				if !ok || math.Abs(x/y-1) > 1e-9 {
					t.Errorf("%s: %g (known: %v), %g as fractions", name, x, ok, y)
				}
			}
			if x, _ := r.number(t, "closes"); math.Abs(x-0.74) > 0.02 {
				t.Errorf("closes at %g", x)
			}
			// one point within the first step: an interval about 0.4
			lo, _ := r.number(t, "opens_lo")
			hi, _ := r.number(t, "opens_hi")
			if r.text("opens_bound") != "interval" || !(lo > 0.35 && lo < hi && hi < 0.46) || r.text("closes_bound") != "" {
				t.Errorf("opens %s from %g to %g; closes %q", r.text("opens_bound"), lo, hi, r.text("closes_bound"))
			}
			if r.text("width_bound") != "interval" {
				t.Errorf("width is no interval")
			}
		})
	}
}

// The table behind the figure holds all points, in order, and a line through them; turbidity is −ln T/path.
func TestTransitionFigure(t *testing.T) {
	sheet, raw := seriesStudy("1", 1, seriesValues)
	got := run(t, write(t, sheet, strings.Replace(seriesGraph, "620 nm", "620 nm, path: cell, direction: ramp", 1), raw))
	fit := got["windows fit chain=long"].table
	if fit == nil {
		t.Fatal(got["windows fit chain=long"].Message)
	}
	x, y, tau := fit.Col("x"), fit.Col("transmittance"), fit.Col("turbidity")
	points, lines := 0, 0
	for i := range fit.Len() {
		if i > 0 && x.Floats[i] < x.Floats[i-1] {
			t.Fatalf("x falls at row %d", i)
		}
		if y.IsNull(i) {
			lines++
			continue
		}
		if k := int(math.Round((x.Floats[i] - 0.2) * 10)); y.Floats[i] != seriesValues[k] {
			t.Errorf("x = %g: %g, want %g", x.Floats[i], y.Floats[i], seriesValues[k])
		}
		// 1 cm: ln 10·A
		if want := -math.Log(y.Floats[i]); math.Abs(tau.Floats[i]-want) > 1e-12 {
			t.Errorf("turbidity %g, want %g", tau.Floats[i], want)
		}
		points++
	}
	if points != len(seriesValues) || lines < 100 {
		t.Errorf("%d points, %d places of the line", points, lines)
	}
	if d := got["windows edges chain=long"].text("direction"); d != "heating" {
		t.Errorf("direction %q", d)
	}
	steps := got["windows steps chain=long"].table
	if steps.Len() != 2 || steps.Col("change").Texts[0] != "turns turbid" || steps.Col("change").Texts[1] != "clears" {
		t.Errorf("steps: %v", steps.Col("change").Texts)
	}
}

func TestTransitionStates(t *testing.T) {
	for _, c := range []struct {
		name   string
		values []float64
		number float64
		null   []string
		bound  map[string]string
		level  pipeline.FlagLevel
		words  string
	}{
		{"never turbid", []float64{0.98, 0.985, 0.98, 0.975}, 0, []string{"opens", "closes", "middle", "width"}, nil, pipeline.Note, "never turns turbid"},
		{"still turbid", []float64{0.98, 0.98, 0.1, 0.1, 0.1}, 1, nil, map[string]string{"opens": "interval", "closes": "lower", "width": "lower", "middle": "lower"}, pipeline.Note, "turns turbid between 0.3 and 0.4"},
		{"two windows", []float64{0.98, 0.1, 0.98, 0.1, 0.98}, 4, nil, map[string]string{"opens": "interval", "closes": "interval"}, pipeline.Flagged, "2 turbid windows"},
		{"turbid throughout", []float64{0.2, 0.2, 0.21, 0.2}, 0, []string{"middle"}, map[string]string{"opens": "upper", "closes": "lower", "width": "lower"}, pipeline.Flagged, "turbid from end to end"},
		{"half an edge", []float64{0.98, 0.98, 0.98, 0.6}, 1, nil, map[string]string{"opens": "lower", "closes": "lower"}, pipeline.Flagged, "outside the measured range"},
		{"uneven", []float64{0.98, 0.97, 0.1, 0.2, 0.11, 0.98, 0.9}, 2, nil, map[string]string{"opens": "interval"}, pipeline.Flagged, "more than their u"},
	} {
		t.Run(c.name, func(t *testing.T) {
			sheet, raw := seriesStudy("1", 1, c.values)
			r := run(t, write(t, sheet, seriesGraph, raw))["windows edges chain=long"]
			if r.table == nil {
				t.Fatalf("%s: %s", r.State, r.Message)
			}
			if n, _ := r.number(t, "number"); n != c.number {
				t.Errorf("%g edges, want %g", n, c.number)
			}
			for _, name := range c.null {
				if x, ok := r.number(t, name); ok {
					t.Errorf("%s = %g, want none", name, x)
				}
			}
			for name, want := range c.bound {
				if got := r.text(name + "_bound"); got != want {
					t.Errorf("%s is %q, want %q", name, got, want)
				}
			}
			if !r.says(c.level, c.words) {
				t.Errorf("no %s of %q: %v", c.level, c.words, r.Flags)
			}
		})
	}
}

func TestTransitionRefuses(t *testing.T) {
	for _, c := range []struct {
		name, unit string
		scale      float64
		old, new   string
		sheetOld   string
		sheetNew   string
		want       string
	}{
		{name: "percent without unit", unit: "1", scale: 100, want: "if the file holds percent"},
		{name: "fractions as percent", unit: "%", scale: 1, want: "its unit is [1] and not [%]"},
		{name: "length", unit: "nm", scale: 1, want: "transmittance in nm; expected"},
		{name: "one place", unit: "1", scale: 1, old: "axis: fraction", new: "axis: cell", want: "all at one place"},
		{name: "negative", unit: "1", scale: -1, want: "no transmittance beyond"},
		{name: "two directions", unit: "1", scale: 1, old: "620 nm", new: "620 nm, direction: ramp", sheetOld: "10,heating", sheetNew: "10,cooling", want: `"cooling" and "heating" in one series`},
		{name: "two paths", unit: "1", scale: 1, old: "620 nm", new: "620 nm, path: cell", sheetOld: "10,heating", sheetNew: "5,heating", want: "cells of 5 and 10 mm"},
		{name: "no logarithm", unit: "1", scale: 1, old: "axis: fraction", new: "axis: fraction * 0, scale: log", want: "no place on a logarithmic axis"},
	} {
		t.Run(c.name, func(t *testing.T) {
			sheet, raw := seriesStudy(c.unit, c.scale, seriesValues)
			sheet = strings.Replace(sheet, c.sheetOld, c.sheetNew, 1)
			dir := write(t, sheet, strings.Replace(seriesGraph, c.old, c.new, 1), raw)
			_, faults := pipeline.Load(dir, kinds)
			if len(faults) > 0 {
				if !strings.Contains(faults.Error(), c.want) {
					t.Errorf("%v\nwant %q", faults, c.want)
				}
				return
			}
			r := run(t, dir)["windows edges chain=long"]
			if r.State.Good() || !strings.Contains(r.Message, c.want) {
				t.Errorf("%s: %s\nwant %q", r.State, r.Message, c.want)
			}
		})
	}
}

// Curves are read at the wavelength, between their points, and controls are looked at there.
func TestTransitionOfCurves(t *testing.T) {
	sheet, raw := "sample,chain,fraction\n", map[string]string{}
	for i, v := range seriesValues {
		sheet += fmt.Sprintf("S%d,long,%g\n", i, 0.2+0.1*float64(i))
		// the straight line through 600 and 640 nm is v at 610 nm
		raw[fmt.Sprintf("raw/S%d.csv", i)] = fmt.Sprintf("wavelength [nm],T [1],u_T [1]\n560,0.5,0.01\n600,%g,0.01\n640,%g,0.01\n", v-0.01, v+0.03)
	}
	sheet += "dye,long,0\npale,long,0\n"
	raw["raw/control/dye.csv"] = "wavelength [nm],absorbance [1]\n600,0.020\n640,0.032\n"
	raw["raw/control/pale.csv"] = "wavelength [nm],absorbance [1]\n600,0.001\n640,0.001\n"
	graph := `graph:
  wells:
    kind: test.read
    set: {files: raw/<sample>.csv}
  alone:
    kind: test.read
    set: {files: raw/control/<sample>.csv}
  windows:
    kind: phase.transition
    from:
      transmittance: wells
      control: {stage: alone, match: [chain]}
    by: chain
    set: {axis: fraction, wavelength: 610 nm}
`
	r := run(t, write(t, sheet, graph, raw))["windows edges chain=long"]
	if r.table == nil {
		t.Fatalf("%s: %s", r.State, r.Message)
	}
	if !r.says(pipeline.Flagged, "absorbance of 0.023 at 610 nm") {
		t.Errorf("the coloured control is not named: %v", r.Flags)
	}
	sheet2, raw2 := seriesStudy("1", 1, seriesValues)
	for name := range raw2 { // u of the interpolated points: 0.01·√(0.75² + 0.25²)
		raw2[name] = strings.Replace(raw2[name], ",0.005\n", fmt.Sprintf(",%.15g\n", 0.01*math.Hypot(0.75, 0.25)), 1)
	}
	other := run(t, write(t, sheet2, seriesGraph, raw2))["windows edges chain=long"]
	for _, name := range []string{"opens", "closes", "u_closes", "opens_lo", "opens_hi"} {
		a, _ := r.number(t, name)
		b, _ := other.number(t, name)
		if math.Abs(a/b-1) > 1e-6 && !(a == 0 && b == 0) {
			t.Errorf("%s = %g, %g of the same values", name, a, b)
		}
	}
	pale := strings.Replace(graph, "{stage: alone, match: [chain]}", `{stage: alone, where: sample == "pale", match: [chain]}`, 1)
	if r := run(t, write(t, sheet, pale, raw))["windows edges chain=long"]; len(r.Flags) != 0 && (r.says(pipeline.Flagged, "absorbance") || r.says(pipeline.Note, "control")) {
		t.Errorf("a pale control is flagged: %v", r.Flags)
	}
	short := strings.Replace(graph, "610 nm", "605 nm", 1)
	raw["raw/control/dye.csv"] = "wavelength [nm],absorbance [1]\n610,0.020\n640,0.032\n"
	if r := run(t, write(t, sheet, short, raw))["windows edges chain=long"]; !r.says(pipeline.Flagged, "not measured at 605 nm") {
		t.Errorf("a control that does not reach the wavelength is passed over: %v", r.Flags)
	}
	for _, c := range []struct{ name, old, new, want string }{
		{"beyond the curves", "610 nm", "700 nm", "expected it to reach 700 nm"},
		{"no wavelength", ", wavelength: 610 nm", "", "expected the setting `wavelength`"},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := run(t, write(t, sheet, strings.Replace(graph, c.old, c.new, 1), raw))["windows edges chain=long"]
			if r.State.Good() || !strings.Contains(r.Message, c.want) {
				t.Errorf("%s: %s\nwant %q", r.State, r.Message, c.want)
			}
		})
	}
}

// Without u of the transmittances the edges' u is from the scatter, with few degrees of freedom.
func TestTransitionWithoutU(t *testing.T) {
	values := []float64{0.98, 0.975, 0.985, 0.93, 0.60, 0.25, 0.12, 0.10, 0.11, 0.10, 0.09, 0.105}
	sheet, raw := seriesStudy("1", 1, values)
	for name, text := range raw {
		a, b, _ := strings.Cut(text, "\n")
		raw[name] = strings.Split(a, ",")[0] + "\n" + strings.Split(b, ",")[0] + "\n"
	}
	r := run(t, write(t, sheet, seriesGraph, raw))["windows edges chain=long"]
	if r.table == nil {
		t.Fatalf("%s: %s", r.State, r.Message)
	}
	if nu, ok := r.number(t, "nu_opens"); !ok || nu != 8 {
		t.Errorf("ν = %g (known: %v), want 12 points less 4 parameters", nu, ok)
	}
	if !r.says(pipeline.Flagged, "8 degrees of freedom") {
		t.Errorf("%v", r.Flags)
	}
}

// A series along a temperature of the sheet in °C comes out in K, the unit inside.
func TestTransitionAlongTemperature(t *testing.T) {
	sheet, raw := seriesStudy("1", 1, seriesValues)
	sheet = strings.Replace(sheet, "fraction [%]", "fraction [°C]", 1)
	r := run(t, write(t, sheet, seriesGraph, raw))["windows edges chain=long"]
	if r.table == nil {
		t.Fatalf("%s: %s", r.State, r.Message)
	}
	if x, _ := r.number(t, "closes"); math.Abs(x-(273.15+74)) > 1 {
		t.Errorf("closes at %g K", x)
	}
	if u := r.table.Col("closes").Unit; u != "K" {
		t.Errorf("in %q", u)
	}
}

// Two preparations at each place are two points; a sample without a number is left out, and that is said.
func TestTransitionRepeats(t *testing.T) {
	sheet, raw := seriesStudy("1", 1, seriesValues)
	for i, v := range seriesValues {
		sheet += fmt.Sprintf("R%d,long,%d,10,heating\n", i, 20+10*i)
		raw[fmt.Sprintf("raw/R%d.csv", i)] = fmt.Sprintf("transmittance [1],u_transmittance [1]\n%.6g,0.005\n", v)
	}
	raw["raw/R3.csv"] = "transmittance [1],u_transmittance [1]\nNaN,0.005\n"
	got := run(t, write(t, sheet, seriesGraph, raw))
	r, one := got["windows edges chain=long"], run(t, write(t, sheetOf(sheet, "S"), seriesGraph, rawOf(raw, "S")))["windows edges chain=long"]
	if r.table == nil {
		t.Fatalf("%s: %s", r.State, r.Message)
	}
	if !r.says(pipeline.Note, ": 1 of 18 items") {
		t.Errorf("%v", r.Flags)
	}
	x, _ := r.number(t, "closes")
	y, _ := one.number(t, "closes")
	u, _ := r.number(t, "u_closes")
	v, _ := one.number(t, "u_closes")
	if math.Abs(x-y) > 0.1*v || math.Abs(u/v-math.Sqrt(0.5)) > 0.02 {
		t.Errorf("%g ± %g of two preparations, %g ± %g of one: want the same, and u less by √2", x, u, y, v)
	}
	n := 0
	fit := got["windows fit chain=long"].table
	for i := range fit.Len() {
		if !fit.Col("transmittance").IsNull(i) {
			n++
		}
	}
	if n != 17 {
		t.Errorf("%d points in the figure, want 17", n)
	}
}

// sheetOf keeps the head and the rows of samples that begin with a letter, rawOf their files.
func sheetOf(sheet, letter string) string {
	var b strings.Builder
	for i, l := range strings.SplitAfter(sheet, "\n") {
		if i == 0 || strings.HasPrefix(l, letter) {
			b.WriteString(l)
		}
	}
	return b.String()
}

func rawOf(raw map[string]string, letter string) map[string]string {
	out := map[string]string{}
	for name, text := range raw {
		if strings.HasPrefix(name, "raw/"+letter) {
			out[name] = text
		}
	}
	return out
}

// A series as an absorbance gives what it gives as a transmittance: T = 10^−A with u(T) = ln 10·T·u(A). What a column holds is read from its
// name, and not guessed.
func TestTransitionOfAbsorbances(t *testing.T) {
	sheet, raw := seriesStudy("1", 1, seriesValues)
	for i, v := range seriesValues {
		raw[fmt.Sprintf("raw/S%d.csv", i)] = fmt.Sprintf("transmittance [1],u_transmittance [1]\n%.15g,%.15g\n", v, v*0.01*math.Ln10)
	}
	want := run(t, write(t, sheet, seriesGraph, raw))["windows edges chain=long"]
	absorbances := func(name string) map[string]string {
		out := map[string]string{}
		for i, v := range seriesValues {
			out[fmt.Sprintf("raw/S%d.csv", i)] = fmt.Sprintf("%s [1],u_%s [1]\n%.15g,0.01\n", name, name, -math.Log10(v))
		}
		return out
	}
	for _, c := range []struct{ name, set, fails string }{
		{"A", "", ""}, {"absorbance", "", ""}, {"od_600", "", ""}, {"extinction", ", signal: absorbance", ""}, {"transmittance", "", "near 0 at both ends"},
		{"optical_density", ", signal: transmittance", "columns optical_density"},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := run(t, write(t, sheet, strings.Replace(seriesGraph, ", wavelength: 620 nm", c.set, 1), absorbances(c.name)))["windows edges chain=long"]
			if c.fails != "" {
				if r.State.Good() || !strings.Contains(r.Message, c.fails) {
					t.Errorf("%s: %s\nwant %q", r.State, r.Message, c.fails)
				}
				return
			}
			if r.table == nil {
				t.Fatalf("%s: %s", r.State, r.Message)
			}
			for _, name := range []string{"opens_lo", "opens_hi", "closes", "u_closes"} {
				x, _ := r.number(t, name)
				if y, ok := want.number(t, name); !ok || math.Abs(x/y-1) > 1e-6 {
					t.Errorf("%s = %g, %g of the transmittances", name, x, y)
				}
			}
		})
	}
	curves := map[string]string{}
	for i, v := range seriesValues {
		curves[fmt.Sprintf("raw/S%d.csv", i)] = fmt.Sprintf("wavelength [nm],reading [1]\n600,%g\n640,%g\n", v, v)
	}
	if r := run(t, write(t, sheet, seriesGraph, curves))["windows edges chain=long"]; r.State.Good() || !strings.Contains(r.Message, "`signal: absorbance`") {
		t.Errorf("a name that says nothing: %s: %s", r.State, r.Message)
	}
}

// Samples that let no light through at all are turbid, with no more than bounds to their edges; fractions that were given as percent are not
// zero within their noise, and are refused (see TestTransitionRefuses).
func TestTransitionOpaque(t *testing.T) {
	for name, values := range map[string][]float64{"noise": {0.004, -0.003, 0.001, -0.006, 0.012, 0}, "zeros": {0, 0, 0, 0}} {
		sheet, raw := seriesStudy("1", 1, values)
		if name == "zeros" { // without u
			for i := range values {
				raw[fmt.Sprintf("raw/S%d.csv", i)] = "transmittance [1]\n0\n"
			}
		}
		r := run(t, write(t, sheet, seriesGraph, raw))["windows edges chain=long"]
		if r.table == nil {
			t.Fatalf("%s: %s: %s", name, r.State, r.Message)
		}
		if n, _ := r.number(t, "number"); n != 0 || r.text("opens_bound") != "upper" || r.text("closes_bound") != "lower" || !r.says(pipeline.Flagged, "turbid from end to end") {
			t.Errorf("%s: %g edges, opens %q, closes %q, %v", name, n, r.text("opens_bound"), r.text("closes_bound"), r.Flags)
		}
	}
}
