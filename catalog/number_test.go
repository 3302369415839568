package catalog

import (
	"errors"
	"math"
	"math/big"
	"strconv"
	"strings"
	"testing"

	"fascicle/catalog/fault"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

func TestParseNumber(t *testing.T) {
	unit := mustUnit
	for _, test := range []struct {
		text string
		want Number
	}{
		{"10.00(2) mm", Number{Value: 10, U: 0.02, HasU: true, Unit: unit("mm"), HasUnit: true}},
		{"10.00(2)mm", Number{Value: 10, U: 0.02, HasU: true, Unit: unit("mm"), HasUnit: true}},
		{"1.003 ± 0.004 cm", Number{Value: 1.003, U: 0.004, HasU: true, Unit: unit("cm"), HasUnit: true}},
		{"1.003±0.004 cm", Number{Value: 1.003, U: 0.004, HasU: true, Unit: unit("cm"), HasUnit: true}},
		{"1.003+-0.004 cm", Number{Value: 1.003, U: 0.004, HasU: true, Unit: unit("cm"), HasUnit: true}},
		{"1.003 +/- 0.004 cm", Number{Value: 1.003, U: 0.004, HasU: true, Unit: unit("cm"), HasUnit: true}},
		{"(1.003 ± 0.004) cm", Number{Value: 1.003, U: 0.004, HasU: true, Unit: unit("cm"), HasUnit: true}},
		{"(1.003 ± 0.004)e-2 m", Number{Value: 0.01003, U: 0.00004, HasU: true, Unit: unit("m"), HasUnit: true}},
		{"1.5e-4 ± 3e-5 mol/L", Number{Value: 1.5e-4, U: 3e-5, HasU: true, Unit: unit("mol/L"), HasUnit: true}},
		{"0.67(5)", Number{Value: 0.67, U: 0.05, HasU: true}},
		{"100(30)", Number{Value: 100, U: 30, HasU: true}},
		{"0(12)", Number{Value: 0, U: 12, HasU: true}},
		{"12.3(1.5) ns", Number{Value: 12.3, U: 1.5, HasU: true, Unit: unit("ns"), HasUnit: true}},
		{"54.10(0)", Number{Value: 54.1, U: 0, HasU: true}},
		{"1.2(3)e-4 mol/L", Number{Value: 1.2e-4, U: 3e-5, HasU: true, Unit: unit("mol/L"), HasUnit: true}},
		{"-3.5", Number{Value: -3.5}}, {"\u22123.5", Number{Value: -3.5}}, {"+3.5", Number{Value: 3.5}},
		{"-0", Number{Value: 0}}, {"012", Number{Value: 12}}, {".5", Number{Value: 0.5}}, {"5.", Number{Value: 5}},
		{"1e3 eV", Number{Value: 1000, Unit: unit("eV"), HasUnit: true}}, {"3 eV", Number{Value: 3, Unit: unit("eV"), HasUnit: true}},
		{"3eV", Number{Value: 3, Unit: unit("eV"), HasUnit: true}}, {"1E+3", Number{Value: 1000}},
		{"5 %", Number{Value: 5, Unit: unit("%"), HasUnit: true}}, {"5%", Number{Value: 5, Unit: unit("%"), HasUnit: true}},
		{"25\u00A0°C", Number{Value: 25, Unit: unit("°C"), HasUnit: true}},
		{"0.08 1/Å", Number{Value: 0.08, Unit: unit("1/Å"), HasUnit: true}},
		{"2 10*3/s", Number{Value: 2, Unit: unit("kcps"), HasUnit: true}}, {"2 10³/s", Number{Value: 2, Unit: unit("kcps"), HasUnit: true}},
		{"31/nm", Number{Value: 31, Unit: unit("1/nm"), HasUnit: true}},
		{"2.1 Å⁻¹", Number{Value: 2.1, Unit: unit("1/Å"), HasUnit: true}},
		{"215(9.7) nm; nu 25.6", Number{Value: 215, U: 9.7, Nu: 25.6, HasU: true, Unit: unit("nm"), HasUnit: true}},
		{"215 ± 9.7 nm;nu=25.6", Number{Value: 215, U: 9.7, Nu: 25.6, HasU: true, Unit: unit("nm"), HasUnit: true}},
		{"(215 ± 9.7) nm ; nu = 25.6", Number{Value: 215, U: 9.7, Nu: 25.6, HasU: true, Unit: unit("nm"), HasUnit: true}},
		{"0.67(5); ν 4", Number{Value: 0.67, U: 0.05, Nu: 4, HasU: true}},
		{"54.10(0); nu 1e2", Number{Value: 54.1, Nu: 100, HasU: true}},
		{"0.2(1.5) nm", Number{Value: 0.2, U: 1.5, HasU: true, Unit: unit("nm"), HasUnit: true}},
		{"  3 nm ", Number{Value: 3, Unit: unit("nm"), HasUnit: true}},
	} {
		t.Run(test.text, func(t *testing.T) {
			n, err := ParseNumber(test.text)
			if err != nil {
				t.Fatal(err)
			}
			test.want.Text = strings.TrimSpace(test.text)
			if diff := cmp.Diff(test.want, n); diff != "" {
				t.Error(diff)
			}
			if math.Signbit(n.Value) && n.Value == 0 {
				t.Error("-0")
			}
		})
	}
}

func TestParseNumberFaults(t *testing.T) {
	const forms = "; expected a number such as 12.5 mm, 1.003(4) cm or 1.003 ± 0.004 cm"
	const units = "; expected a unit such as nm, 1/nm, mmol/L or L/(mol.cm)"
	const negative = "; expected an uncertainty of 0 or more; remove the sign of the uncertainty"
	const nu = "; expected degrees of freedom above 0, as in 215(9.7) nm; nu 25.6"
	const large = "; expected a number between 1e-307 and 1.7e308, or 0"
	for _, test := range []struct{ text, want string }{
		{"", `found nothing` + forms}, {"abc", `found "abc"` + forms}, {"nm", `found "nm"` + forms}, {"-", `found "-"` + forms},
		{"NaN", `found "NaN"` + forms}, {"Inf", `found "Inf"` + forms}, {"0x10", `found unknown unit "x10" in "0x10"` + units + `; correct the unit`},
		{"1_000", `found "1_000"` + forms}, {"1 000", `found "1 000"` + forms}, {"7 1", `found "7 1"` + forms}, {"7 10 nm", `found "7 10 nm"` + forms}, {"- 3", `found "- 3"` + forms},
		{"0,35", `found "0,35"; expected a decimal point; write a point, and nothing between thousands`},
		{"1,003(4) cm", `found "1,003(4) cm"; expected a decimal point; write a point, and nothing between thousands`},
		{"1.2.3", `found "1.2.3"` + forms + `; found unit ".3"; expected a unit such as nm, 1/nm, mmol/L or L/(mol.cm); remove "." or what is wrong before it`},
		{"10(", `found "10("` + forms}, {"10()", `found "10()"` + forms}, {"10(-2)", `found "10(-2)"` + negative}, {"10(2", `found "10(2"` + forms},
		{"(1.2) cm", `found "(1.2) cm"` + forms}, {"(1.2 ± 0.1", `found "(1.2 ± 0.1"` + forms}, {"1.2 ± -0.1", `found "1.2 ± -0.1"` + negative},
		{"1.2(3) ± 0.1", `found "1.2(3) ± 0.1"` + forms}, {"1 cm ± 0.1 cm", `found "1 cm ± 0.1 cm"` + forms}, {"(1 ± 0.1 cm)", `found "(1 ± 0.1 cm)"` + forms},
		{"10 foo", `found unknown unit "foo" in "10 foo"` + units + `; correct the unit`},
		{"10 mmoll", `found unknown unit "mmoll" in "10 mmoll"` + units + `; did you mean "mmol/L"?`},
		{"1.480(8) mmm", `found unknown unit "mmm" in "1.480(8) mmm"` + units + `; did you mean "mm"?`},
		{"(1.2 ± -0.1) cm", `found "(1.2 ± -0.1) cm"` + negative}, {"-1e2 +/- -1e1 cm", `found "-1e2 +/- -1e1 cm"` + negative}, {"1.5(-0.1) nm; nu 3", `found "1.5(-0.1) nm; nu 3"` + negative},
		{"215(9.7) nm; nu 0", `found "215(9.7) nm; nu 0"` + nu + `; leave nu out where it is infinite`},
		{"215(9.7) nm; nu inf", `found "215(9.7) nm; nu inf"` + nu + `; leave nu out where it is infinite`},
		{"215(9.7) nm; nu -3", `found "215(9.7) nm; nu -3"` + nu}, {"215(9.7) nm; nu", `found "215(9.7) nm; nu"` + nu}, {"215(9.7) nm;", `found "215(9.7) nm;"` + nu},
		{"215(9.7) nm; 3", `found "215(9.7) nm; 3"` + nu}, {"215(9.7) nm; nu3", `found "215(9.7) nm; nu3"` + nu}, {"215(9.7) nm; nu 3,5", `found "215(9.7) nm; nu 3,5"` + nu},
		{"215(9.7) nm; nu 3(1)", `found "215(9.7) nm; nu 3(1)"` + nu}, {"215(9.7) nm; nu 3 nm", `found "215(9.7) nm; nu 3 nm"` + nu}, {"215(9.7) nm; nu 3; nu 4", `found "215(9.7) nm; nu 3; nu 4"` + nu},
		{"215(9.7); nu 3 nm", `found "215(9.7); nu 3 nm"` + nu}, {"215(9.7) nm; nu 1e999", `found "215(9.7) nm; nu 1e999"` + large},
		{"215 nm; nu 3", `found "215 nm; nu 3"; expected an uncertainty in front of its degrees of freedom, as in 215(9.7) nm; nu 25.6; write the uncertainty, or remove nu`},
		{"215(9.7) mmm; nu 3", `found unknown unit "mmm" in "215(9.7) mmm; nu 3"` + units + `; did you mean "mm"?`},
		{"1e400", `found "1e400"` + large}, {"1e-400", `found "1e-400"` + large}, {"1e99999999999999999999", `found "1e99999999999999999999"` + large},
		{"1(1)e-309", `found "1(1)e-309"` + large},
		{strings.Repeat("1", 61), `found "` + strings.Repeat("1", 61) + `"; expected a number of at most 60 digits`},
		{strings.Repeat("1", 500), `found "11111111111111111111…"` + forms},
	} {
		t.Run(test.text, func(t *testing.T) {
			_, err := ParseNumber(test.text)
			if err == nil {
				t.Fatal("no error")
			}
			if diff := cmp.Diff(test.want, err.Error()); diff != "" {
				t.Error(diff)
			}
			var f *fault.Fault
			if !errors.As(err, &f) {
				t.Errorf("the error is a %T", err)
			}
		})
	}
}

func TestNumberIn(t *testing.T) {
	for _, test := range []struct {
		text, unit string
		value, u   float64
	}{
		{"10 mm", "nm", 1e7, 0}, {"1 cm", "nm", 1e7, 0}, {"1.003(4) cm", "mm", 10.03, 0.04}, {"25.0(5) °C", "K", 298.15, 0.5},
		{"-273.15 °C", "K", 0, 0}, {"298.15 K", "°C", 25, 0}, {"0.12398(1) nm", "Å", 1.2398, 1e-4}, {"35(2) %", "1", 0.35, 0.02},
		{"0.35", "%", 35, 0}, {"10.03(6) mmol/L", "mol/L", 0.01003, 0.00006}, {"8 keV", "eV", 8000, 0}, {"90 deg", "rad", math.Pi / 2, 0},
		{"20 min", "h", 1.0 / 3, 0}, {"215(9.7) nm; nu 25.6", "Å", 2150, 97},
	} {
		t.Run(test.text+" in "+test.unit, func(t *testing.T) {
			n, err := ParseNumber(test.text)
			if err != nil {
				t.Fatal(err)
			}
			got, err := n.In(mustUnit(test.unit))
			if err != nil {
				t.Fatal(err)
			}
			want := Number{Value: test.value, U: test.u, Nu: n.Nu, HasU: n.HasU, Unit: mustUnit(test.unit), HasUnit: true, Text: test.text}
			if diff := cmp.Diff(want, got); diff != "" {
				t.Error(diff)
			}
			back, err := got.In(n.Unit)
			if err != nil || back.Value != n.Value || back.U != n.U {
				t.Errorf("back it is %v(%v) %s: %v", back.Value, back.U, back.Unit, err)
			}
		})
	}
}

func TestUExceedsValue(t *testing.T) {
	for text, want := range map[string]bool{"1(2)": true, "-1 ± 0.5 nm": false, "-1 ± 1.5 nm": true, "2(2)": false, "0(1)": true, "0(0)": false, "0": false} {
		t.Run(text, func(t *testing.T) {
			n, err := ParseNumber(text)
			if err != nil || n.UExceedsValue() != want {
				t.Errorf("%v, %v", n.UExceedsValue(), err)
			}
		})
	}
}

func TestNumberInErrors(t *testing.T) {
	parsed := func(s string) Number { n, _ := ParseNumber(s); return n }
	for _, test := range []struct {
		name   string
		number Number
		unit   string
		want   string
	}{
		{"bare", parsed("10"), "nm", `found the bare number "10"; expected a quantity in nm; write its unit, as in "10 nm"`},
		{"bare without text", Number{Value: 2.5}, "1/nm", `found the bare number "2.5"; expected a quantity in 1/nm; write its unit, as in "2.5 1/nm"`},
		{"dimension", parsed("10 ns"), "nm", `found a quantity in ns (dimension T); expected one in nm (dimension L); correct the unit`},
		{"too large", parsed("1e300 km"), "fm", `found "1e300 km"; expected a number between 1e-307 and 1.7e308, or 0 in fm`},
		{"not finite", Number{Value: math.NaN()}, "1", `found "NaN"; expected a number between 1e-307 and 1.7e308, or 0 in 1`},
	} {
		t.Run(test.name, func(t *testing.T) {
			_, err := test.number.In(mustUnit(test.unit))
			if err == nil {
				t.Fatal("no error")
			}
			if diff := cmp.Diff(test.want, err.Error()); diff != "" {
				t.Error(diff)
			}
		})
	}
}

// A Number made by hand, or changed after it was parsed, converts by the shortest decimal of its value.
func TestNumberByHand(t *testing.T) {
	n, _ := ParseNumber("10.0(1) mm")
	n.Value, n.U = 0.1, 0.3
	for name, n := range map[string]Number{"changed": n, "made": {Value: 0.1, U: 0.3, HasU: true, Unit: mustUnit("mm"), HasUnit: true}} {
		t.Run(name, func(t *testing.T) {
			got, err := n.In(mustUnit("m"))
			if err != nil || got.Value != 0.0001 || got.U != 0.0003 {
				t.Errorf("got %v(%v): %v", got.Value, got.U, err)
			}
		})
	}
}

// One length, written in many ways, is one float64 in nm: that nearest to its exact value.
func TestOneQuantityOneNumber(t *testing.T) {
	prefixes := []struct {
		unit string
		exp  int // powers of ten to nm
	}{{"pm", -3}, {"Å", -1}, {"nm", 0}, {"µm", 3}, {"mm", 6}, {"cm", 7}, {"dm", 8}, {"m", 9}, {"km", 12}}
	rapid.Check(t, func(t *rapid.T) {
		digits := rapid.Int64Range(0, 1e15).Draw(t, "digits")
		uDigits := rapid.Int64Range(0, 999).Draw(t, "u")
		exp := rapid.IntRange(-20, 10).Draw(t, "exponent in nm")
		exact := new(big.Rat).SetInt64(digits)
		want, _ := exact.Mul(exact, ratPow10(exp)).Float64()
		exactU := new(big.Rat).SetInt64(uDigits)
		wantU, _ := exactU.Mul(exactU, ratPow10(exp)).Float64()

		p := rapid.SampledFrom(prefixes).Draw(t, "unit")
		value := decimal{digits: strconv.FormatInt(digits, 10), exp: exp - p.exp}
		u := decimal{digits: strconv.FormatInt(uDigits, 10), exp: exp - p.exp}
		var text string
		switch form := rapid.IntRange(0, 3).Draw(t, "form"); form {
		case 0: // 123(4)e-5
			text = value.digits + "(" + u.digits + ")e" + strconv.Itoa(value.exp)
		case 1: // 1.23(4)e-3
			places := rapid.IntRange(0, len(value.digits)).Draw(t, "places")
			at := len(value.digits) - places
			text = value.digits[:at] + "." + value.digits[at:] + "(" + u.digits + ")e" + strconv.Itoa(value.exp+places)
		case 2: // 123e-5 ± 4e-5
			text = value.digits + "e" + strconv.Itoa(value.exp) + " ± " + u.digits + "e" + strconv.Itoa(value.exp)
		case 3: // (123 +- 4)e-5
			text = "(" + value.digits + "+-" + u.digits + ")e" + strconv.Itoa(value.exp)
		}
		n, err := ParseNumber(text + " " + p.unit)
		if err != nil {
			t.Fatal(err)
		}
		got, err := n.In(mustUnit("nm"))
		if err != nil {
			t.Fatal(err)
		}
		if got.Value != want || got.U != wantU || !got.HasU {
			t.Fatalf("%s %s is %v(%v) nm, want %v(%v)", text, p.unit, got.Value, got.U, want, wantU)
		}
	})
}

func TestNumberString(t *testing.T) {
	for text, want := range map[string]string{"10.000(20) mm": "10.000(20) mm", "0.12398765 nm": "0.12399 nm", "1.003 ± 0.004 cm": "1.003(4) cm", "5 %": "5 %",
		// the second is the end gauge of JCGM 100:2008, H.1.6, from memory: 50.000 838 mm, u = 32 nm, 16 degrees of freedom
		"215(9.7) nm; nu 25.6": "215(10) nm; nu 25.6", "50000838(32) nm; nu = 16.000": "5.0000838(32)e7 nm; nu 16", "3(0) nm; nu 5": "3 nm"} {
		t.Run(text, func(t *testing.T) {
			n, err := ParseNumber(text)
			if err != nil || n.String() != want {
				t.Errorf("got %v, %v, want %s", n, err, want)
			}
		})
	}
}

func FuzzParseNumber(f *testing.F) {
	for _, seed := range []string{"10.00(2) mm", "1.003 ± 0.004 cm", "(1.2+-0.1)e3 1/s", "1.2(3)e-4 mol/L", "−3 °C", "5 %", "0,3", "1e999", "(", "0.(1)", "215(9.7) nm; nu 25.6", "1 ± -2", "1(2);nu=1e3"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, s string) {
		n, err := ParseNumber(s)
		if err != nil {
			return
		}
		if n.Nu < 0 || n.Nu != 0 && !n.HasU || math.IsInf(n.Nu, 0) {
			t.Fatalf("%q has %v degrees of freedom", s, n.Nu)
		}
		if math.IsNaN(n.Value) || math.IsInf(n.Value, 0) || n.U < 0 || math.IsInf(n.U, 0) || !n.HasU && n.U != 0 {
			t.Fatalf("%q is %v(%v)", s, n.Value, n.U)
		}
		same, err := n.In(n.Unit)
		if err != nil || same.Value != n.Value || same.U != n.U || same.Nu != n.Nu {
			t.Fatalf("%q in its own unit is %v(%v): %v", s, same.Value, same.U, err)
		}
		again, err := ParseNumber(n.Text)
		if err != nil || !again.Equal(n) {
			t.Fatalf("%q read again is %v: %v", n.Text, again, err)
		}
	})
}
