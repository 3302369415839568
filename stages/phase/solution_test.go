package phase_test

import (
	"math"
	"strings"
	"testing"

	"fascicle/pipeline"
)

const solutionSheet = `sample,salt,ionic [mmol/L],conc [mmol/L],temperature [°C],donor [mmol/L],acceptor [mmol/L],eps
plain,NaCl,100,100,25,0.5,0.4,
strong,CaCl2,300,100,25,0.5,0.4,76.9
bare,,0,0,20,0.5,0,
odd,HEPES,20,0,25,,0.4,
`

const solutionGraph = `constants: {spacing: {violane: 0.25(1) nm, ambrelle: 0.80 nm}}
graph:
  solution:
    kind: phase.solution
    from: {sample: samples}
    set:
      salt: salt
      ionic: ionic
      temperature: temperature
      charges: {anion: donor, cation: acceptor}
      spacing: {violane: spacing.violane, ambrelle: spacing.ambrelle}
`

// The lengths are those of TestWater and TestLengths; the rest is worked out by hand.
func TestSolution(t *testing.T) {
	got := run(t, write(t, solutionSheet, solutionGraph, nil))
	tests := []struct {
		item, name string
		want, tol  float64 // NaN: null
	}{
		{"plain", "ionic_strength", 0.1, 1e-15}, {"plain", "salt_concentration", 0.1, 1e-15}, {"plain", "bjerrum", 0.715754, 1e-6},
		{"plain", "debye", 0.960777, 1e-6}, {"plain", "charge_ratio", 1.25, 1e-12}, {"plain", "manning_violane", 0.715754 / 0.25, 4e-6},
		{"plain", "manning_ambrelle", 0.715754 / 0.80, 2e-6}, {"plain", "permittivity", 78.303344, 1e-6},
		{"strong", "ionic_strength", 0.3, 1e-15}, {"strong", "salt_concentration", 0.1, 1e-15}, {"strong", "debye", 0.960777 / math.Sqrt(3), 1e-6},
		{"bare", "ionic_strength", 0, 0}, {"bare", "salt_concentration", 0, 0}, {"bare", "debye", math.NaN(), 0}, {"bare", "charge_ratio", math.NaN(), 0},
		{"bare", "bjerrum", 0.711607, 1e-6},
		{"odd", "ionic_strength", 0.02, 1e-15}, {"odd", "salt_concentration", math.NaN(), 0}, {"odd", "charge_ratio", math.NaN(), 0},
	}
	for _, tt := range tests {
		t.Run(tt.item+" "+tt.name, func(t *testing.T) {
			r := got["solution solution sample="+tt.item]
			if r.table == nil {
				t.Fatalf("%s: %s (have %v)", r.State, r.Message, keys(got))
			}
			x, ok := r.number(t, tt.name)
			u, uok := r.number(t, "u_"+tt.name)
			switch {
			case math.IsNaN(tt.want):
				if ok || uok {
					t.Errorf("%g, want none", x)
				}
			case !ok || math.Abs(x-tt.want) > tt.tol:
				t.Errorf("%.9g (known: %v), want %.9g", x, ok, tt.want)
			}
			if math.IsNaN(tt.want) {
				return
			}
			// an error of 0.05 at most is u = 0.05/√3 (JCGM 100:2008, 4.3.7); l_B and ξ go with 1/ε, 1/κ with 1/√ε
			eps, _ := r.number(t, "permittivity")
			share := 0.0
			switch {
			case tt.name == "permittivity", tt.name == "bjerrum", strings.HasPrefix(tt.name, "manning_"):
				share = 0.05 / math.Sqrt(3) / eps
			case tt.name == "debye":
				share = 0.05 / math.Sqrt(3) / eps / 2
			}
			if !uok || math.Abs(u-share*x) > 1e-9*math.Abs(x) {
				t.Errorf("own u %g (known: %v), want %g", u, uok, share*x)
			}
		})
	}
	for _, tt := range []struct {
		item  string
		level pipeline.FlagLevel
		words string
		want  bool
	}{
		{"strong", pipeline.Note, "formal", true}, {"strong", pipeline.Flagged, "", false}, {"plain", pipeline.Note, "formal", false},
		{"plain", pipeline.Note, "NaCl by some 1.1 (1 %)", true}, {"odd", pipeline.Note, "salt lowers", false}, {"plain", pipeline.Note, "condense", true},
		{"bare", pipeline.Note, "no Debye length", true}, {"bare", pipeline.Note, "no charge ratio", true}, {"odd", pipeline.Note, `"HEPES" is not known`, true},
	} {
		if got["solution solution sample="+tt.item].says(tt.level, tt.words) != tt.want {
			t.Errorf("%s: a %s of %q is %v, want %v", tt.item, tt.level, tt.words, !tt.want, tt.want)
		}
	}
}

// What the formula for water may be wrong by moves all lengths together: their covariances are ± the products of their u, and the product
// of l_B and κ⁻², which holds no permittivity, has none.
func TestSolutionCovariance(t *testing.T) {
	r := run(t, write(t, solutionSheet, solutionGraph, nil))["solution solution sample=plain"]
	if r.table == nil {
		t.Fatal(r.Message)
	}
	at := func(name string) float64 {
		x, ok := r.number(t, name)
		if !ok {
			t.Errorf("no %s", name)
		}
		return x
	}
	b, d := at("bjerrum"), at("debye")
	ub, ud, cov := at("u_bjerrum")/b, at("u_debye")/d, at("cov_bjerrum_debye")/(b*d)
	if v := ub*ub + 4*ud*ud + 4*cov; math.Abs(v) > 1e-9*ub*ub {
		t.Errorf("l_B/κ² has a relative variance of %g, want none beside %g of l_B", v, ub*ub)
	}
	if c, p := at("cov_permittivity_manning_violane"), at("u_permittivity")*at("u_manning_violane"); math.Abs(c+p) > 1e-9*p {
		t.Errorf("covariance %g, want %g", c, -p)
	}
}

// From a concentration and a permittivity of the sheet: three times the concentration of CaCl2, and Debye and Bjerrum lengths as √ε and 1/ε go.
func TestSolutionFromConcentration(t *testing.T) {
	graph := strings.NewReplacer("ionic: ionic", "concentration: conc", "temperature: temperature", "temperature: temperature\n      permittivity: eps",
		"from: {sample: samples}", `from: {sample: {stage: samples, where: sample == "strong"}}`).Replace(solutionGraph)
	r := run(t, write(t, solutionSheet, graph, nil))["solution solution sample=strong"]
	if r.table == nil {
		t.Fatalf("%s: %s", r.State, r.Message)
	}
	for name, want := range map[string]float64{"ionic_strength": 0.3, "salt_concentration": 0.1, "permittivity": 76.9,
		"bjerrum": 0.715754 * 78.303344 / 76.9, "debye": 0.960777 / math.Sqrt(3*78.303344/76.9)} {
		if x, ok := r.number(t, name); !ok || math.Abs(x/want-1) > 2e-6 {
			t.Errorf("%s = %.8g, want %.8g", name, x, want)
		}
	}
}

func TestSolutionRefuses(t *testing.T) {
	for _, tt := range []struct{ name, old, new, want string }{
		{"both", "ionic: ionic", "ionic: ionic\n      concentration: conc", "either `ionic` or `concentration`"},
		{"neither", "ionic: ionic", "", "either `ionic` or `concentration`"},
		{"half a ratio", "{anion: donor, cation: acceptor}", "{anion: donor}", "no setting `charges.cation`"},
		{"no name", "{violane: spacing.violane,", `{"a b": spacing.violane,`, "expected a name"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if said := refuses(t, write(t, solutionSheet, strings.Replace(solutionGraph, tt.old, tt.new, 1), nil)); !strings.Contains(said, tt.want) {
				t.Errorf("%s\nwant %q", said, tt.want)
			}
		})
	}
	t.Run("unknown salt", func(t *testing.T) {
		r := run(t, write(t, solutionSheet, strings.Replace(solutionGraph, "ionic: ionic", "concentration: ionic", 1), nil))["solution solution sample=odd"]
		if r.State.Good() || !strings.Contains(r.Message, "or give the ionic strength itself") {
			t.Errorf("%s: %s", r.State, r.Message)
		}
	})
	t.Run("not liquid", func(t *testing.T) {
		r := run(t, write(t, strings.Replace(solutionSheet, "temperature [°C]", "temperature [K]", 1), solutionGraph, nil))["solution solution sample=plain"]
		if r.State.Good() || !strings.Contains(r.Message, "-248.15 °C") {
			t.Errorf("%s: %s", r.State, r.Message)
		}
	})
}

func keys(m map[string]result) []string {
	var out []string
	for k := range m {
		out = append(out, k)
	}
	return out
}
