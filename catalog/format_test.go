package catalog

import (
	"math"
	"strconv"
	"testing"

	"pgregory.net/rapid"
)

func TestFormat(t *testing.T) {
	nan := math.NaN()
	for _, test := range []struct {
		name     string
		value, u float64
		unit     string
		want     string
	}{
		// the rule and its two examples: Particle Data Group, Review of Particle Physics, Introduction, section 5.3, from memory
		{"PDG 0.827 ± 0.119", 0.827, 0.119, "1", "0.83(12)"},
		{"PDG 0.827 ± 0.367", 0.827, 0.367, "1", "0.8(4)"},
		{"PDG 100", 1, 0.100, "1", "1.00(10)"},
		{"PDG 354", 1, 0.354, "1", "1.00(35)"},
		{"PDG 355", 1, 0.355, "1", "1.0(4)"},
		{"PDG 949", 1, 0.949, "1", "1.0(9)"},
		{"PDG 950", 1, 0.950, "1", "1.0(10)"},
		{"PDG 999", 1, 0.999, "1", "1.0(10)"},
		{"JCGM 100, 7.2.2: 100.02147(35) g", 100.02147, 0.00035, "g", "100.02147(35) g"}, // JCGM 100:2008, 7.2.2, from memory
		{"unit", 14.3612, 0.0412, "Å", "14.36(4) Å"},
		{"reciprocal", 0.1076, 0.0012, "1/Å", "0.1076(12) Å⁻¹"},
		{"percent", 35.21, 2.4, "%", "35.2(24) %"},
		{"angle without space", 29.96, 0.51, "deg", "30.0(5)°"},
		{"negative", -0.5211, 0.0312, "1", "-0.521(31)"},
		{"more u than value", 0.3, 12, "1", "0(12)"},
		{"no minus before nothing", -0.01, 1.5, "1", "0.0(15)"},
		{"tens", 12345.6, 1234, "1", "12300(1200)"},
		{"tens, value below", 3, 5000, "1", "0(5000)"},
		{"small", 1.234e-6, 5e-9, "1", "1.234(5)e-6"},
		{"small, more u than value", 1e-6, 3e-4, "1", "0.0(30)e-4"},
		{"large", 1.23456e7, 3e4, "1/s", "1.2346(30)e7 s⁻¹"},
		{"large, more u than value", 5e7, 5e9, "1", "0(5)e9"},
		{"at the bound below", 0.00123, 0.00004, "1", "0.00123(4)"},
		{"value rounds up", 9.9996, 0.04, "1", "10.00(4)"},
		{"u rounds up", 5, 0.0996, "1", "5.00(10)"},
		{"half to even", 0.125, 0.04, "1", "0.12(4)"},
		{"half to even above", 0.135, 0.04, "1", "0.14(4)"},
		{"zero", 0, 0.02, "1", "0.000(20)"},
		{"no u", 14.36123456, 0, "Å", "14.361 Å"},
		{"no u, short", 14, nan, "", "14"},
		{"negative u", 14, -1, "", "14"},
		{"infinite u", 14, math.Inf(1), "", "14"},
		{"no u, large", 1234567, 0, "1", "1.2346e6"},
		{"no u, small", 1.5e-7, 0, "1", "1.5e-7"},
		{"minus nothing", math.Copysign(0, -1), 0, "1", "0"},
		{"not a number", nan, 1, "nm", "–"},
		{"infinite", math.Inf(-1), 1, "nm", "–"},
		{"tiny", 5e-300, 1e-302, "1", "5.000(10)e-300"},
	} {
		t.Run(test.name, func(t *testing.T) {
			if got := Format(test.value, test.u, mustUnit(test.unit)); got != test.want {
				t.Errorf("got %s, want %s", got, test.want)
			}
		})
	}
}

func TestFormatPlain(t *testing.T) {
	for want, value := range map[string]float64{
		"0": math.Copysign(0, -1), "0.1": 0.1, "1e21": 1e21, "2.5e-7": 2.5e-7, "100000": 1e5, "-3": -3, "1.7976931348623157e308": math.MaxFloat64,
		"0.30000000000000004": math.Nextafter(0.3, 1), "Inf": math.Inf(1), "-Inf": math.Inf(-1), "NaN": math.NaN(),
	} {
		t.Run(want, func(t *testing.T) {
			if got := FormatPlain(value); got != want {
				t.Errorf("got %s", got)
			}
		})
	}
}

// What is printed reads back, within the rounding that the printed uncertainty tells.
func TestFormatReadsBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		value := rapid.Float64Range(-10, 10).Draw(t, "value") * math.Pow(10, float64(rapid.IntRange(-12, 12).Draw(t, "decade")))
		u := rapid.Float64Range(1, 10).Draw(t, "u") * math.Pow(10, float64(rapid.IntRange(-12, 12).Draw(t, "decade of u")))
		unit := mustUnit(rapid.SampledFrom([]string{"1", "nm", "1/Å", "°C", "deg", "L/(mol.cm)", "%"}).Draw(t, "unit"))
		text := Format(value, u, unit)
		n, err := ParseNumber(text)
		if err != nil {
			t.Fatal(err)
		}
		if !n.Unit.Equal(unit) || !n.HasU {
			t.Fatalf("%s has the unit %s", text, n.Unit)
		}
		// one digit is kept from 0.355 on: u is off by half of 1 in 4 at most, value by half the last place of u
		if math.Abs(n.U-u) > 0.13*u || math.Abs(n.Value-value) > 0.15*u {
			t.Fatalf("%v ± %v is printed as %s", value, u, text)
		}
		if again := Format(n.Value, n.U, unit); again != text && n.Value != 0 {
			t.Fatalf("%s prints as %s", text, again)
		}
	})
}

func TestFormatPlainReadsBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		value := rapid.Float64().Draw(t, "value")
		text := FormatPlain(value)
		if back, err := strconv.ParseFloat(text, 64); err != nil || back != value {
			t.Fatalf("%v is printed as %s", value, text)
		}
	})
}

func TestFormatNu(t *testing.T) {
	nm := mustUnit("nm")
	for _, test := range []struct {
		value, u, nu float64
		want         string
	}{
		// JCGM 100:2008, H.1.6, from memory (end gauge): l = 50.000 838 mm, u = 32 nm, 16 effective degrees of freedom
		{838, 32, 16, "838(32) nm; nu 16"}, {215, 9.7, 25.612, "215(10) nm; nu 25.61"}, {1, 0.1, 0.5, "1.00(10) nm; nu 0.5"},
		{1, 0.1, 2e7, "1.00(10) nm; nu 2e7"}, {1, 0.1, 0, "1.00(10) nm"}, {1, 0.1, math.Inf(1), "1.00(10) nm"}, {1, 0.1, math.NaN(), "1.00(10) nm"},
		{1, 0.1, -2, "1.00(10) nm"}, {1, 0, 5, "1 nm"}, {1, math.NaN(), 5, "1 nm"}, {math.NaN(), 1, 5, "–"},
	} {
		t.Run(test.want, func(t *testing.T) {
			if got := FormatNu(test.value, test.u, test.nu, nm); got != test.want {
				t.Errorf("got %s", got)
			}
		})
	}
}
