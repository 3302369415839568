package phase_test

import (
	"fmt"
	"math"
	"strings"
	"testing"
)

// All places of a series are proportional to a constant with a relative uncertainty of 1 %. So are measured edges, limits of intervals and
// bounds, and each has a part of 1 % of itself, to the second order of central differences.
func TestTransitionParts(t *testing.T) {
	for _, c := range []struct {
		name   string
		values []float64
		scale  string
		bound  map[string]string
	}{
		{"measured", []float64{0.98, 0.97, 0.90, 0.60, 0.22, 0.12, 0.10, 0.15, 0.40, 0.80, 0.94, 0.97, 0.97}, "linear", map[string]string{"opens": "", "closes": "", "middle": "", "width": ""}},
		{"measured, logarithmic", []float64{0.98, 0.97, 0.90, 0.60, 0.22, 0.12, 0.10, 0.15, 0.40, 0.80, 0.94, 0.97, 0.97}, "log", map[string]string{"opens": "", "closes": "", "middle": "", "width": ""}},
		{"sharp", []float64{0.98, 0.98, 0.10, 0.10, 0.10}, "linear", map[string]string{"opens": "interval", "closes": "lower", "middle": "lower", "width": "lower"}},
		{"narrow", seriesValues, "linear", map[string]string{"opens": "interval", "closes": "", "middle": "interval", "width": "interval"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			sheet, raw := seriesStudy("1", 1, c.values)
			graph := "constants: {stock: 1.00(1)}\n" + strings.NewReplacer("axis: fraction", "axis: fraction * stock", "620 nm", "620 nm, scale: "+c.scale).Replace(seriesGraph)
			r := run(t, write(t, sheet, graph, raw))["windows edges chain=long"]
			if r.table == nil {
				t.Fatalf("%s: %s", r.State, r.Message)
			}
			for name, bound := range c.bound {
				if r.text(name+"_bound") != bound {
					t.Errorf("%s is %q, want %q", name, r.text(name+"_bound"), bound)
				}
				x, _ := r.number(t, name)
				part, ok := r.number(t, name+"@constants.stock")
				if !ok || math.Abs(part-0.01*x) > 1e-4*0.01*math.Abs(x) {
					t.Errorf("%s = %g: part %g (known: %v), want %g", name, x, part, ok, 0.01*x)
				}
				if u, ok := r.number(t, "u_"+name); !ok || (u > 0) != (bound == "" || name == "width" && c.name == "narrow" || name == "middle" && c.name == "narrow") {
					t.Errorf("u of %s is %g (known: %v)", name, u, ok)
				}
			}
		})
	}
}

// Parts of the lengths by their formulas: l_B ~ 1/ε, 1/κ ~ √(ε/I), ξ ~ 1/b.
func TestSolutionParts(t *testing.T) {
	sheet := "sample,salt,ionic [mmol/L],eps\nplain,NaCl,20.0(4),78.0(8)\n"
	graph := `constants: {violane: 0.25(1) nm}
graph:
  solution:
    kind: phase.solution
    from: {sample: samples}
    set: {salt: salt, ionic: ionic, temperature: 25 °C, permittivity: eps, spacing: {violane: violane}}
`
	r := run(t, write(t, sheet, graph, nil))["solution solution sample=plain"]
	if r.table == nil {
		t.Fatalf("%s: %s", r.State, r.Message)
	}
	for _, c := range []struct {
		name, source string
		relative     float64
	}{
		{"ionic_strength", "sheet.ionic[plain]", 0.02}, {"salt_concentration", "sheet.ionic[plain]", 0.02}, {"debye", "sheet.ionic[plain]", -0.01},
		{"bjerrum", "sheet.eps[plain]", -0.8 / 78}, {"debye", "sheet.eps[plain]", 0.4 / 78}, {"manning_violane", "constants.violane", -0.04},
		{"manning_violane", "sheet.eps[plain]", -0.8 / 78},
	} {
		t.Run(fmt.Sprintf("%s of %s", c.source, c.name), func(t *testing.T) {
			x, _ := r.number(t, c.name)
			part, ok := r.number(t, c.name+"@"+c.source)
			if !ok || math.Abs(part/x-c.relative) > 0.003*math.Abs(c.relative) {
				t.Errorf("part %g of %g, want %g of it", part, x, c.relative)
			}
		})
	}
}
