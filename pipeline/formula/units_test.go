package formula

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"fascicle/catalog"
)

func inf(sign int) float64 { return math.Inf(sign) }

// Unit algebra against examples worked out by hand, and a few published numbers named beside their row.
func TestUnits(t *testing.T) {
	w := newWords()
	w.number(t, "a", "nm", 3).number(t, "b", "µm", 0.004).number(t, "area", "nm2", 9).number(t, "volume", "mL", 8)
	w.number(t, "path", "mm", 10).number(t, "molar", "mmol/L", 0.01).number(t, "epsilon", "L/(mol.cm)", 10000)
	w.number(t, "share", "%", 40).number(t, "rest", "1", 0.25).number(t, "celsius", "°C", 25).number(t, "cold", "°C", 20).number(t, "kelvin", "K", 298.15).number(t, "step", "K", 5)
	w.number(t, "rate", "1/ns", 0.25).number(t, "tau", "ns", 4).number(t, "energy", "J", 1).number(t, "mass", "kg/mol", 18.744)
	w.number(t, "gas", "J/(mol.K)", 8.314462618)
	w.number(t, "hc", "eV.nm", 1239.841984).number(t, "line", "nm", 620)
	w.number(t, "q", "1/Å", 0.12)
	for _, c := range []struct {
		src, unit string
		want      float64
	}{
		{"a + b", "nm", 7},
		{"b + a", "nm", 7}, // in µm, the unit of the left side
		{"b - a", "µm", 0.001},
		{"a * b", "nm2", 12},
		{"a / b", "1", 0.75},
		{"b % a", "nm", 1}, // 4 nm modulo 3 nm
		{"2 * a", "nm", 6},
		{"a ^ 2", "nm2", 9},
		{"a ** 3", "nm3", 27},
		{"a ^ -1", "1/nm", 1.0 / 3},
		{"b ^ 0", "1", 1},
		{"-a ^ 2", "nm2", -9}, // the power binds closer than the sign
		{"2 ^ 3 ^ 2", "1", 512},
		{"rest ^ 0.5", "1", 0.5},
		{"4 ^ rest ^ 0.5", "1", 2},
		{"share ^ 2", "1", 0.16},
		{"sqrt(area)", "nm", 3},
		{"sqrt(a ^ 2 + b ^ 2)", "µm", 0.005}, // 3, 4, 5
		{"sqrt(a * b)", "nm", math.Sqrt(12)},
		{"sqrt(share * 10)", "1", 2}, // √4
		{"abs(-a)", "nm", 3},
		{"min(b, a)", "nm", 3},
		{"max(a, b)", "µm", 0.004},
		{"round(a / 2)", "nm", 2}, // 1.5 nm, half away from zero
		{"floor(-a / 2)", "nm", -2},
		{"ceil(-a / 2)", "nm", -1},
		{"epsilon * molar * path", "1", 0.1}, // Beer-Lambert: 1e4 · 1e-5 · 1
		{"share + rest", "%", 65},
		{"share + rest", "1", 0.65},
		{"1 - share", "1", 0.6},
		{"share * a", "nm", 1.2},
		{"share / 2", "1", 0.2},
		{"rate * tau", "1", 1},
		{"exp(-rate * tau)", "1", math.Exp(-1)},
		{"exp(-share)", "1", math.Exp(-0.4)},
		{"log10(share / rest)", "1", math.Log10(1.6)},
		{"log(a / b)", "1", math.Log(0.75)},
		{"celsius - cold", "K", 5},
		{"celsius + step", "°C", 30},
		{"kelvin - celsius", "K", 0},
		{"(celsius + cold) / 2", "°C", 22.5},
		{"celsius", "K", 298.15},
		{"max(celsius, kelvin - step)", "°C", 25},
		{"mass * molar", "mg/mL", 0.18744}, // 18744 g/mol · 1e-5 mol/L = 0.18744 g/L
		// CODATA 2018: R and the molar volume of an ideal gas at 273.15 K, 101.325 kPa; from memory
		{"hc / line", "eV", 1.9997451354838710},                 // 1239.841984/620, by long division; hc: CODATA 2018, from memory
		{"2 * 3.141592653589793 / q", "nm", 5.2359877559829890}, // 2π/1.2 nm⁻¹
		{"energy / (gas * kelvin)", "mol", 1 / (8.314462618 * 298.15)},
	} {
		t.Run(c.src+" in "+c.unit, func(t *testing.T) {
			f, err := mustCompile(t, c.src, w).In(unit(t, c.unit))
			if err != nil {
				t.Fatal(err)
			}
			v := f.Eval(w.env())
			tolerance := 2e-14 * math.Abs(c.want)
			if c.want == 0 {
				tolerance = 1e-13 // a rounding of 298 K
			}
			if v.Null || math.Abs(v.Number-c.want) > tolerance {
				t.Errorf("got %v, want %v", v.Number, c.want)
			}
		})
	}
}

// CODATA 2018, from memory: R = 8.314462618… J/(mol K); the molar volume of an ideal gas at 273.15 K and 101.325 kPa is
// 22.41396954… L/mol. Both end in dots, so the pressure is known to 3e-10.
func TestIdealGas(t *testing.T) {
	w := newWords().number(t, "gas", "J/(mol.K)", 8.314462618).number(t, "molarvolume", "L/mol", 22.41396954).number(t, "ice", "°C", 0)
	f, err := mustCompile(t, "gas * ice / molarvolume", w).In(unit(t, "Pa"))
	if err != nil {
		t.Fatal(err)
	}
	if got := f.Eval(w.env()).Number; math.Abs(got/101325-1) > 3e-10 {
		t.Errorf("got %v Pa, want 101325", got)
	}
}

// Equality across units does not depend on the side.
func TestEqualityAcrossUnits(t *testing.T) {
	for i := range 1000 {
		m, cm := float64(i)/100, float64(i)
		w := newWords().number(t, "a", "m", m).number(t, "b", "cm", cm)
		for _, src := range []string{"a == b", "b == a", "a <= b", "b <= a", "a >= b", "not (a != b)", "not (a < b)", "not (b < a)", "not (a > b)", "a in [b]"} {
			if got := show(mustCompile(t, src, w), w.env()); got != "true" {
				t.Errorf("%s with a = %g m, b = %g cm: %s", src, m, cm, got)
			}
		}
	}
}

// The unit of the result is that of the left side of a sum; a dimensionless product is a plain number.
func TestResultUnit(t *testing.T) {
	w := newWords().number(t, "a", "nm", 3).number(t, "b", "µm", 0.004).number(t, "share", "%", 40).number(t, "celsius", "°C", 25).number(t, "cold", "°C", 20)
	for src, want := range map[string]string{
		"a + b": "nm", "b + a": "um", "a / b": "1", "share": "%", "share + 1": "%", "1 + share": "1", "share * share": "1",
		"celsius": "Cel", "celsius - cold": "K", "round(celsius)": "Cel", "min(b, a)": "um", "a * 2": "nm", "len(\"ab\")": "1", "a ?? b": "nm", "a > b ? b : a": "um",
	} {
		t.Run(src, func(t *testing.T) {
			if got := mustCompile(t, src, w).Type().Unit.Code(); got != want {
				t.Errorf("unit %s, want %s", got, want)
			}
		})
	}
}

// In which unit does a number stand that is compared?
func TestComparedUnits(t *testing.T) {
	w := laboratory(t).number(t, "b", "µm", 0.35).number(t, "share", "%", 40).number(t, "kelvin", "K", 298.15).textual("text", Text, "95 %")
	for src, want := range map[string]string{
		// a bare number takes the unit of the name
		"ex == 350": "true", "350 == ex": "true", "b == 350": "false", "b == 0.35": "true", "share > 39": "true", "share > 0.41": "true",
		"temperature == 25": "true", "temperature > 298": "false", "-5 < temperature": "true", "ex in [340, 350]": "true", "ex in 340..360": "true", "ex not in 340..360": "false",
		"ex in [1, 2, 340..350]": "true", "carbon[day] == 1": "true", "carbon.d2 == 1.005": "true", "(ex) == +350": "true", "300 < ex < 400": "true", "300 < ex <= 349": "false",
		// a text carries its own
		`ex == "0.35 µm"`: "true", `"350 nm" == ex`: "true", `ex in ["0.2 µm", "350 nm"]`: "true", `ex in "0.3 µm".."400 nm"`: "true", `ionic == "100 mM"`: "true",
		`ionic >= "0.1 M"`: "true", `share == "0.4"`: "", `share == "0.4 1"`: "", `fraction < "40 %"`: "true", `temperature == "298.15 K"`: "true", `temperature > "24.9 °C"`: "true",
		`density > "1 g/mL"`: "true", `density > "1000 g/L"`: "true", `capillary == "1.48 mm"`: "true", `ex - ex == "0 nm"`: "true", `abs(ex) < "1 µm"`: "true",
		// two expressions: the right side is converted
		"b == ex": "true", "ex == b": "true", "b < ex": "false", "share == 0.1 * 4": "true", "temperature == kelvin": "true", "kelvin <= temperature": "true", "b in [ex]": "true",
		"b in ex..cell": "true", "fraction * 2 > 0.5": "true", "v_donor / v_total < 0.06": "true", "b / ex == 1": "true",
		// a text compared with a text is a text
		`text == "95 %"`: "true", `text in ["95 %", "90 %"]`: "true",
	} {
		t.Run(src, func(t *testing.T) {
			if want == "" {
				mustFail(t, src, w)
				return
			}
			if got := show(mustCompile(t, src, w), w.env()); got != want {
				t.Errorf("got %s, want %s", got, want)
			}
		})
	}
}

// A comparison does not depend on the unit in which either side is declared, and mirrored comparisons agree.
func TestUnitIndependence(t *testing.T) {
	units := []string{"nm", "µm", "mm", "Å", "cm"}
	perNanometre := map[string]float64{"nm": 1, "µm": 1e-3, "mm": 1e-6, "Å": 10, "cm": 1e-7}
	mirror := map[string]string{"<": ">", "<=": ">=", ">": "<", ">=": "<="}
	rapid.Check(t, func(rt *rapid.T) {
		u, v := rapid.SampledFrom(units).Draw(rt, "u"), rapid.SampledFrom(units).Draw(rt, "v")
		x := float64(rapid.IntRange(-1000, 1000).Draw(rt, "x"))
		y := float64(rapid.IntRange(-1000, 1000).Draw(rt, "y"))
		if x == y {
			y++ // equality across units depends on rounding
		}
		w := newWords().number(t, "x", u, x*perNanometre[u]).number(t, "y", v, y*perNanometre[v])
		for op, back := range mirror {
			want := map[string]bool{"<": x < y, "<=": x <= y, ">": x > y, ">=": x >= y}[op]
			for _, src := range []string{"x " + op + " y", "y " + back + " x", "not (y " + op + " x)", "x " + op + ` "` + catalog.FormatPlain(y) + ` nm"`} {
				f, err := CompileCondition(src, w)
				if err != nil {
					rt.Fatal(err)
				}
				if got := f.Eval(w.env()); got.Null || got.Bool != want {
					rt.Errorf("%s with x = %g nm (in %s), y = %g nm (in %s): %v", src, x, u, y, v, got)
				}
			}
		}
	})
}

func TestDates(t *testing.T) {
	w := newWords().textual("date", Date, "2031-03-04").textual("taken", Date, "2031-03-04T10:30:00").textual("later", Date, "2031-03-04T11:00:00").textual("role", Text, "a")
	for src, want := range map[string]string{
		`date == "2031-03-04"`: "true", `date > "2031-03-03"`: "true", `date < "2031-11-01"`: "true", `"2031-03-05" > date`: "true",
		`date in ["2031-03-01", "2031-03-04"]`: "true", `date in "2031-03-01".."2031-03-04"`: "true", `date != "2031-03-04"`: "false", `date >= "2031-03-04"`: "true",
		// where one side is a day, days are compared
		`taken == "2031-03-04"`: "true", `taken <= "2031-03-04"`: "true", `taken > "2031-03-04"`: "false", "taken == date": "true", "date < taken": "false",
		"taken < later": "true", "taken == later": "false", `taken < "2031-03-04T10:31:00"`: "true", `taken < "2031-03-04 10:31"`: "true", `taken == "2031-03-04T10:30"`: "true",
		`role == "a" ? date == taken : false`: "true",
	} {
		t.Run(src, func(t *testing.T) {
			if got := show(mustCompile(t, src, w), w.env()); got != want {
				t.Errorf("got %s, want %s", got, want)
			}
		})
	}
	for _, src := range []string{`date == "4.3.2031"`, `date > "2031-02-30"`, `date > 2031`, `date == role`, "date + 1", "date - taken", `date contains "2031"`, "max(date, taken)"} {
		t.Run(src, func(t *testing.T) { mustFail(t, src, w) })
	}
}

func TestTexts(t *testing.T) {
	w := newWords().textual("s", Text, " Ab µ").textual("t", Text, "LN35b").number(t, "ex", "nm", 350)
	for src, want := range map[string]string{
		`t contains "N3"`: "true", `t startsWith "LN"`: "true", `t endsWith "b"`: "true", `t matches "^L[NC][0-9]+b?$"`: "true", `t not matches "^C"`: "true",
		`t not contains "x"`: "true", `not (t endsWith "b")`: "false", `lower(t)`: "ln35b", `upper(t)`: "LN35B", `trim(s)`: "Ab µ", `len(trim(s))`: "4", `len(t) > 4`: "true",
		`t + "-" + trim(s)`: "LN35b-Ab µ", `t == 'LN35b'`: "true", `"x" != t`: "true", `"a" == "a"`: "true", `t in ["LN35b"]`: "true", `lower(t) in ["ln35b"]`: "true",
		`t not in ["LN35", "LC35"]`: "true", "`raw` == 'raw'": "true", `"tab\t" == "tab	"`: "true",
	} {
		t.Run(src, func(t *testing.T) {
			if got := show(mustCompile(t, src, w), w.env()); got != want {
				t.Errorf("got %s, want %s", got, want)
			}
		})
	}
}

// A number may pick an entry, spelt as it is printed shortest.
func TestNumberKeys(t *testing.T) {
	w := newWords().number(t, "ex", "nm", 350).byField(t, "factor", "1").entry(t, "factor", "350", "1", 0.5).entry(t, "factor", "520", "1", 0.25)
	for src, want := range map[string]string{"factor[ex]": "0.5", "factor[520]": "0.25", `factor["520"]`: "0.25", "factor[350.0]": "0.5"} {
		if got := show(mustCompile(t, src, w), w.env()); got != want {
			t.Errorf("%s = %s, want %s", src, got, want)
		}
	}
	w.values["ex"] = Value{Number: 351}
	if got := show(mustCompile(t, "factor[ex]", w), w.env()); got != "null" {
		t.Errorf("absent key: %s, want null", got)
	}
}

func TestIn(t *testing.T) {
	w := laboratory(t)
	if _, err := mustCompile(t, "donor", w).In(unit(t, "nm")); err == nil {
		t.Error("mmol/L was taken for nm")
	}
	if _, err := mustCompile(t, "role", w).In(unit(t, "nm")); err == nil {
		t.Error("a text was given a unit")
	}
	f := mustCompile(t, "ex", w)
	g, err := f.In(unit(t, "µm"))
	if err != nil {
		t.Fatal(err)
	}
	if show(f, w.env()) != "350" || show(g, w.env()) != "0.35" {
		t.Errorf("ex is %s nm and %s µm", show(f, w.env()), show(g, w.env()))
	}
}
