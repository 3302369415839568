package catalog

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"fascicle/catalog/fault"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

func TestParseUnit(t *testing.T) {
	for _, group := range []struct {
		code, symbol string
		dim          Dimension
		spellings    []string
	}{
		{"1", "", Dimension{}, []string{"", "1", " ", "a.u.", "arb. units"}},
		{"1", "counts", Dimension{}, []string{"counts", "cts"}},
		{"1", "AU", Dimension{}, []string{"AU", "OD"}},
		{"nm", "nm", dLength, []string{"nm", " nm ", "nanometers", "Nanometres", "(nm)"}},
		{"Ao", "Å", dLength, []string{"Å", "\u212B", "A\u030A", "A°", "Ao", "Angstrom"}},
		{"um", "µm", dLength, []string{"um", "\u00B5m", "\u03BCm", "micron"}},
		{"mm", "mm", dLength, []string{"mm"}},
		{"cm", "cm", dLength, []string{"cm"}},
		{"m", "m", dLength, []string{"m"}},
		{"1/nm", "nm⁻¹", Dimension{dimLength: -1}, []string{"1/nm", "nm^-1", "nm-1", "nm⁻¹", "/nm", "nm^(-1)", "1 / nm", "nm**-1", "nm−1"}},
		{"1/Ao", "Å⁻¹", Dimension{dimLength: -1}, []string{"Å⁻¹", "A^-1", "1/Å", "1/A", "A⁻¹", "A-1", "Ao-1", "1/Ao"}},
		{"1/Ao2", "Å⁻²", Dimension{dimLength: -2}, []string{"Å^-2", "A^-2", "1/A2", "1/A^2"}},
		{"1/cm", "cm⁻¹", Dimension{dimLength: -1}, []string{"cm⁻¹", "cm^-1", "1/cm"}},
		{"1/cm2", "cm⁻²", Dimension{dimLength: -2}, []string{"1/cm2", "cm⁻²", "1/cm²"}},
		{"ps", "ps", dTime, []string{"ps"}}, {"ns", "ns", dTime, []string{"ns"}}, {"us", "µs", dTime, []string{"us", "µs"}},
		{"s", "s", dTime, []string{"s", "sec", "seconds"}}, {"min", "min", dTime, []string{"min"}}, {"h", "h", dTime, []string{"h", "hr"}},
		{"mmol/L", "mmol/L", dMolar, []string{"mM", "mmol/L", "mmol/l", "mmol L-1", "mmol·L⁻¹", "mmol L^-1"}},
		{"umol/L", "µmol/L", dMolar, []string{"uM", "µM", "μM", "umol/L", "µmol/l"}},
		{"mol/L", "mol/L", dMolar, []string{"M", "mol/L", "mol.L-1"}},
		{"mg/mL", "mg/mL", Dimension{dimLength: -3, dimMass: 1}, []string{"mg/mL", "mg/ml", "mg mL⁻¹"}},
		{"g/L", "g/L", Dimension{dimLength: -3, dimMass: 1}, []string{"g/L"}},
		{"g/mL", "g/mL", Dimension{dimLength: -3, dimMass: 1}, []string{"g/mL"}},
		{"%", "%", Dimension{}, []string{"%", "percent"}},
		{"%", "wt%", Dimension{}, []string{"wt%", "wt %"}},
		{"[ppth]", "‰", Dimension{}, []string{"‰"}},
		{"Cel", "°C", dTemperature, []string{"°C", "\u2103", "ºC", "degC", "deg C", "Cel"}},
		{"K", "K", dTemperature, []string{"K", "\u212A"}},
		{"eV", "eV", dEnergy, []string{"eV"}}, {"meV", "meV", dEnergy, []string{"meV"}}, {"J", "J", dEnergy, []string{"J"}},
		{"kJ/mol", "kJ/mol", dEnergy.plus(dAmount, -1), []string{"kJ/mol", "kJ mol^-1"}},
		{"L", "L", dVolume, []string{"L", "l"}}, {"mL", "mL", dVolume, []string{"mL", "ml"}}, {"uL", "µL", dVolume, []string{"µL", "uL", "ul"}},
		{"g/mol", "g/mol", dMolarMass, []string{"g/mol"}}, {"kg/mol", "kg/mol", dMolarMass, []string{"kg/mol"}},
		{"g/mol", "Da", dMolarMass, []string{"Da"}}, {"kg/mol", "kDa", dMolarMass, []string{"kDa"}},
		{"L/(mol.cm)", "L/(mol·cm)", Dimension{dimLength: 2, dimAmount: -1},
			[]string{"L/(mol.cm)", "L/mol/cm", "L mol-1 cm-1", "L·mol⁻¹·cm⁻¹", "M-1 cm-1 L0 1", "L/(mol cm)"}},
		{"W/(m2.sr.nm)", "W/(m²·sr·nm)", Dimension{dimLength: -1, dimMass: 1, dimTime: -3, dimAngle: -2},
			[]string{"W/(m2.sr.nm)", "W m-2 sr-1 nm-1", "W/(m²·sr·nm)", "W/(m^2*sr*nm)"}},
		{"mW", "mW", dPower, []string{"mW"}},
		{"rad", "rad", dAngle, []string{"rad"}}, {"deg", "°", dAngle, []string{"deg", "°"}}, {"sr", "sr", dSolidAngle, []string{"sr"}},
		{"Hz", "Hz", dFrequency, []string{"Hz"}}, {"1/s", "s⁻¹", dFrequency, []string{"1/s", "s-1"}},
		{"1/s", "cps", dFrequency, []string{"cps", "CPS"}}, {"1/s", "counts/s", dFrequency, []string{"counts/s", "cts/sec"}},
		{"10*3/s", "kcps", dFrequency, []string{"kcps"}}, {"10*3/s", "10³/s", dFrequency, []string{"10*3/s", "10^3/s", "10³/s"}},
		{"1/s", "s⁻¹", dFrequency, []string{"{counts}/s"}},
		{"mV", "mV", dVoltage, []string{"mV"}}, {"A", "A", dCurrent, []string{"A"}}, {"1/(A)", "1/(A)", Dimension{dimCurrent: -1}, []string{"1/(A)"}},
		{"1/(A)", "counts/(A)", Dimension{dimCurrent: -1}, []string{"counts/(A)"}}, {"1/Ao", "Å⁻¹", Dimension{dimLength: -1}, []string{"counts/A"}},
		{"V/A", "V/A", dResistance, []string{"V/A"}},
		{"Pa", "Pa", dPressure, []string{"Pa"}}, {"bar", "bar", dPressure, []string{"bar"}},
		{"mPa.s", "mPa·s", dPressure.plus(dTime, 1), []string{"mPa.s", "mPa·s", "mPa s"}},
		{"mL.mol/g2", "mL·mol/g²", Dimension{dimLength: 3, dimMass: -2, dimAmount: 1}, []string{"mL.mol/g2", "mL mol g-2", "mol mL/g^2"}},
		{"mS/cm", "mS/cm", dConductance.plus(dLength, -1), []string{"mS/cm"}},
		// spellings of laboratories beyond those above, in alphabetical order of their codes
		{"%", "wt%", Dimension{}, []string{"wt.%", "wt. %", "wt-%", "w%", "mass%", "mass %", "% w/w", "%w/w", "% (w/w)", "w/w %", "%(w/w)", "w/w%"}},
		{"%", "vol%", Dimension{}, []string{"vol%", "vol.%", "vol %", "% v/v", "v/v%", "% (v/v)"}},
		{"%", "mol%", Dimension{}, []string{"mol%", "mol %", "mol-%"}},
		{"1", "", Dimension{}, []string{"a. u.", "a.u", "au", "arb.u.", "arbitrary units", "r.u.", "rel. units", "dimensionless", "unitless", " a.u. "}},
		{"1", "AU", Dimension{}, []string{"O.D.", "O.D", "OD.", "A.U.", "Abs.", "abs", "absorbance"}},
		{"10*-3", "mAU", Dimension{}, []string{"mAU", "mOD"}},
		{"1", "counts", Dimension{}, []string{"cnts", "ct", "photons", "pulses"}},
		{"1/Ao", "Å⁻¹", Dimension{dimLength: -1}, []string{"Å^{-1}", "1/Ang", "Ang^-1", "Angstrom-1", "angstrom^(-1)", "1/Ångström", "Angstroem^-1"}},
		{"1/K", "K⁻¹", Dimension{dimTemperature: -1}, []string{"1/K", "K-1", "1/°C", "°C^-1"}},
		{"1/cm", "cm⁻¹", Dimension{dimLength: -1}, []string{"cm-1", "cm−1", "cm–1", "cm^{-1}", "1/cm", "/cm"}},
		{"1/min", "min⁻¹", dFrequency, []string{"1/min", "min-1", "min^-1"}},
		{"1/s", "counts/s", dFrequency, []string{"counts per second", "c/s", "cnts/s", "counts/sec"}},
		{"10*3/s", "kcounts/s", dFrequency, []string{"kcts/s", "kcounts/s"}},
		{"10*6/s", "Mcps", dFrequency, []string{"Mcps"}},
		{"Ao2", "Å²", Dimension{dimLength: 2}, []string{"Å^2", "Å²", "angstrom2"}},
		{"Cel", "°C", dTemperature, []string{"˚C", "degrees C", "degree Celsius", "deg. C", "° C", "degrees Celsius", "Celsius"}},
		{"K", "K", dTemperature, []string{"deg K", "Kelvin"}},
		{"K/min", "K/min", dTemperature.plus(dTime, -1), []string{"K/min", "°C/min", "deg C/min", "deg C per min"}},
		{"L/(mol.cm)", "L/(mol·cm)", Dimension{dimLength: 2, dimAmount: -1}, []string{"M⁻¹cm⁻¹", "M-1cm-1", "M^-1cm^-1", "1/(M cm)", "L per mol per cm"}},
		{"L/(mol.s)", "L/(mol·s)", Dimension{dimLength: 3, dimAmount: -1, dimTime: -1}, []string{"M⁻¹s⁻¹", "M-1 s-1", "1/(M·s)"}},
		{"fs", "fs", dTime, []string{"fs"}}, {"keV", "keV", dEnergy, []string{"keV"}}, {"mV", "mV", dVoltage, []string{"mV"}},
		{"g/dL", "g/dL", Dimension{dimLength: -3, dimMass: 1}, []string{"% w/v", "w/v%", "% (w/v)", "g/dL"}},
		{"g/cm3", "g/cm³", Dimension{dimLength: -3, dimMass: 1}, []string{"g/cm3", "g cm^-3", "g·cm⁻³"}},
		{"g/mL", "g/mL", Dimension{dimLength: -3, dimMass: 1}, []string{"g/cc", "g/ml"}},
		{"h", "h", dTime, []string{"hrs", "hours"}}, {"min", "min", dTime, []string{"mins", "minutes"}}, {"s", "s", dTime, []string{"secs"}},
		{"kg/m3", "kg/m³", Dimension{dimLength: -3, dimMass: 1}, []string{"kg/m3", "kg/m³", "kg m^-3"}},
		{"mg/mL", "mg/mL", Dimension{dimLength: -3, dimMass: 1}, []string{"mg per mL", "mg·mL⁻¹", "mg ml^-1"}},
		{"mg/L", "mg/L", Dimension{dimLength: -3, dimMass: 1}, []string{"mg/l"}}, {"ug/mL", "µg/mL", Dimension{dimLength: -3, dimMass: 1}, []string{"µg/ml", "ug/mL", "μg/mL"}},
		{"mL", "mL", dVolume, []string{"cc", "ccm"}}, {"mPa.s", "mPa·s", dPressure.plus(dTime, 1), []string{"mPas"}}, {"cP", "cP", dPressure.plus(dTime, 1), []string{"cP"}},
		{"mmol/L", "mmol/L", dMolar, []string{"millimolar", "mmol per L"}}, {"nmol/L", "nmol/L", dMolar, []string{"nM", "nmol/l", "nanomolar"}}, {"umol/L", "µmol/L", dMolar, []string{"micromolar"}},
		{"mol/dm3", "mol/dm³", dMolar, []string{"mol/dm3", "mol dm-3", "mol·dm⁻³"}}, {"mmol/kg", "mmol/kg", dAmount.plus(dMass, -1), []string{"mmol/kg"}},
		{"us", "µs", dTime, []string{"usec", "µsec"}}, {"ps", "ps", dTime, []string{"psec"}}, {"mdeg", "m°", dAngle, []string{"mdeg"}},
		{"[ppth]", "‰", Dimension{}, []string{"permille", "per mille", "ppth"}},
	} {
		for _, spelling := range group.spellings {
			t.Run(spelling, func(t *testing.T) {
				u, err := ParseUnit(spelling)
				if err != nil {
					t.Fatal(err)
				}
				if u.Dim() != group.dim {
					t.Errorf("dimension %v, want %v", u.Dim(), group.dim)
				}
				if spelling == "mol mL/g^2" { // the order of factors stays as written
					group.code, group.symbol = "mol.mL/g2", "mol·mL/g²"
				}
				if spelling == "M-1 cm-1 L0 1" {
					group.code, group.symbol = "L/(mol.cm)", "L/(mol·cm)"
				}
				if u.Code() != group.code || u.Symbol() != group.symbol {
					t.Errorf("code %q, symbol %q; want %q, %q", u.Code(), u.Symbol(), group.code, group.symbol)
				}
				first, err := ParseUnit(group.code)
				if err != nil || !u.Equal(first) {
					t.Errorf("not equal to its code %q (%v)", group.code, err)
				}
			})
		}
	}
}

func TestParseUnitFaults(t *testing.T) {
	for _, test := range []struct{ text, want string }{
		{"mmoll", `found unknown unit "mmoll"; did you mean "mmol/L"?`},
		{"nM/foo", `found unknown unit "nM/foo"`},
		{"L/mol.cm", `found unit "L/mol.cm"; expected one reading; write what stands below the line in brackets, as in L/(mol.cm)`},
		{"mm/", `found unit "mm/"; expected a unit at its end`},
		{"/", `found unit "/"; expected a unit at its end`},
		{"nm^", `found unit "nm^"; expected a whole number as power; write it as in cm^-1 or cm-1`},
		{"nm^x", `found unit "nm^x"; expected a whole number as power; write it as in cm^-1 or cm-1`},
		{"100 nm", `found unit "100 nm"; expected no number but 1 or a power of ten (10^3) in a unit`},
		{"10 nm", `found unit "10 nm"; expected no number but 1 or a power of ten (10^3) in a unit`},
		{"m99", `found unit "m99"; expected powers between -24 and 24`},
		{"10*99", `found unit "10*99"; expected a power of ten between -30 and 30`},
		{"(nm", `found unit "(nm"; expected a closing bracket`},
		{"nm)", `found unit "nm)"; expected a unit such as nm, 1/nm, mmol/L or L/(mol.cm); remove ")" or what is wrong before it`},
		{"{counts", `found unit "{counts"; expected a closing }`},
		{"[ppm", `found unit "[ppm"; expected a unit such as nm, 1/nm, mmol/L or L/(mol.cm); remove "[" or what is wrong before it`},
		{"nm^{-1", `found unit "nm^{-1"; expected a whole number as power; write it as in cm^-1 or cm-1`},
		{"L/mol-1cm", `found unit "L/mol-1cm"; expected a unit such as nm, 1/nm, mmol/L or L/(mol.cm); remove "c" or what is wrong before it`},
		{"nmcm", `found unknown unit "nmcm"; did you mean "1/cm"?`}, {"-", `found unit "-"; expected a unit such as nm, 1/nm, mmol/L or L/(mol.cm); remove "-" or what is wrong before it`},
		{"mmin", `found unknown unit "mmin"; did you mean "min"?`},
		{strings.Repeat("(", 20), `found unit "(((((((((((((((((((("; expected at most 8 brackets within each other`},
		{strings.Repeat("m.", 150), `found unit "m.m.m.m.m.m.m.m.m.m.…"; expected a unit of at most 200 characters`},
	} {
		t.Run(test.text, func(t *testing.T) {
			_, err := ParseUnit(test.text)
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

func TestUnitAlgebra(t *testing.T) {
	unit := func(s string) Unit { return mustUnit(s) }
	for _, test := range []struct {
		name      string
		got       Unit
		want      string
		code      string
		dimension string
	}{
		{"amount", unit("mmol/L").Mul(unit("L")), "mmol", "mmol", "N"},
		{"quotient cancels", unit("nm").Div(unit("nm")), "1", "1", "1"},
		{"quotient of prefixes", unit("mm").Div(unit("m")), "[ppth]", "mm/m", "1"},
		{"reciprocal", unit("nm").Recip(), "1/nm", "1/nm", "L⁻¹"},
		{"power", unit("cm").Pow(-2), "1/cm2", "1/cm2", "L⁻²"},
		{"zeroth power", unit("cm").Pow(0), "1", "1", "1"},
		{"first power keeps Celsius", unit("°C").Pow(1), "Cel", "Cel", "Θ"},
		{"product of Celsius is of a difference", unit("J").Div(unit("°C")), "J/K", "J/K", "L²·M·T⁻²·Θ⁻¹"},
		{"Celsius times one", unit("°C").Mul(Unit{}), "K", "K", "Θ"},
		{"molar mass times amount concentration", unit("mmol/L").Mul(unit("g/mol")), "mg/L", "mmol.g/(L.mol)", "L⁻³·M"},
	} {
		t.Run(test.name, func(t *testing.T) {
			if !test.got.Equal(unit(test.want)) {
				t.Errorf("%v is not equal to %s", test.got, test.want)
			}
			if test.got.Code() != test.code || test.got.Dim().String() != test.dimension {
				t.Errorf("code %q, dimension %v; want %q, %q", test.got.Code(), test.got.Dim(), test.code, test.dimension)
			}
		})
	}
}

func TestUnitEqual(t *testing.T) {
	for _, test := range []struct {
		a, b string
		want bool
	}{
		{"M", "mol/L", true}, {"uL", "mm3", true}, {"mL", "cm3", true}, {"kcps", "1/ms", true}, {"Da", "g/mol", true},
		{"counts", "1", true}, {"", "1", true}, {"J", "N.m", true}, {"W", "V.A", true}, {"Pa", "N/m2", true}, {"sr", "rad2", true},
		{"%", "1", false}, {"°C", "K", false}, {"deg", "1", false}, {"rad", "1", false}, {"kcps", "cps", false}, {"nm", "1/nm", false},
	} {
		t.Run(test.a+" "+test.b, func(t *testing.T) {
			if got := mustUnit(test.a).Equal(mustUnit(test.b)); got != test.want {
				t.Errorf("Equal is %v", got)
			}
		})
	}
	if !mustUnit("counts").IsOne() || mustUnit("%").IsOne() || mustUnit("rad").IsOne() || !(Unit{}).IsOne() {
		t.Error("IsOne is wrong about counts, %, rad or the zero unit")
	}
}

func TestPowersOutOfRange(t *testing.T) {
	for name, u := range map[string]Unit{
		"power": mustUnit("J").Pow(120), "huge power": mustUnit("nm").Pow(1 << 40), "product": mustUnit("nm").Pow(100).Mul(mustUnit("nm").Pow(100)),
		"passed on": mustUnit("J").Pow(120).Div(mustUnit("J").Pow(119)),
	} {
		t.Run(name, func(t *testing.T) {
			if _, err := Convert(u, u); err == nil {
				t.Error("converts to itself")
			}
			if u.Equal(u.Mul(Unit{})) || u.Code() != "out of range" || u.Symbol() != "out of range" {
				t.Error("taken for a unit")
			}
		})
	}
}

// everyUnit lists every name with every prefix that it takes.
func everyUnit() []string {
	var all []string
	for name, a := range atoms {
		all = append(all, name)
		for _, pre := range prefixes {
			if strings.Contains(a.prefixes, pre.letter) {
				all = append(all, pre.letter+name)
			}
		}
	}
	slices.Sort(all)
	return all
}

// Every name with every prefix is that atom with that prefix: no prefixed name is another unit's name.
func TestNamesDoNotCollide(t *testing.T) {
	seen := map[string]bool{}
	for _, name := range everyUnit() {
		if seen[name] {
			t.Errorf("%s means two units", name)
		}
		seen[name] = true
		if _, err := ParseUnit(name); err != nil {
			t.Error(err)
		}
	}
	for spelling, name := range spellings {
		if _, ok := atoms[name]; !ok {
			t.Errorf("%s stands for %s, which is no unit", spelling, name)
		}
		if seen[spelling] {
			t.Errorf("the spelling %s of %s is another unit's name", spelling, name)
		}
	}
	for _, code := range common {
		if _, err := ParseUnit(code); err != nil {
			t.Error(err)
		}
	}
}

func drawUnit(t *rapid.T, label string) Unit {
	var u Unit
	for range rapid.IntRange(0, 3).Draw(t, label+" factors") {
		u = u.Mul(mustUnit(rapid.SampledFrom(everyUnit()).Draw(t, label)).Pow(rapid.IntRange(-3, 3).Draw(t, label+" power")))
	}
	return u
}

func TestUnitProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		u, v := drawUnit(t, "u"), drawUnit(t, "v")
		for _, text := range []string{u.Code(), u.Symbol()} {
			back, err := ParseUnit(text)
			if err != nil || !back.Equal(u) {
				t.Fatalf("%q does not read back as %s: %s %v", text, u.Code(), back.Code(), err)
			}
			if text == u.Code() && back.Code() != text {
				t.Fatalf("the code %q of the code %q", back.Code(), text)
			}
		}
		if !u.Mul(v).Equal(v.Mul(u)) || !u.Mul(v).Div(v).Equal(u) || !u.Recip().Recip().Equal(u) || !u.Pow(2).Equal(u.Mul(u)) {
			t.Fatalf("the algebra of %s and %s does not hold", u, v)
		}
		if got := Canonical(u.Dim(), rapid.Bool().Draw(t, "axis")); got.Dim() != u.Dim() {
			t.Fatalf("canonical unit %s of %s", got, u)
		}
	})
}

func TestCanonical(t *testing.T) {
	for _, test := range []struct {
		unit string
		axis bool
		want string
	}{
		{"Å", false, "nm"}, {"1/Å", true, "1/nm"}, {"1/Å", false, "1/cm"}, {"1/Å2", true, "1/cm2"}, {"s", false, "ns"}, {"kcps", false, "1/s"},
		{"J", false, "eV"}, {"mM", false, "mol/L"}, {"g/L", false, "mg/mL"}, {"°C", false, "K"}, {"deg", false, "rad"}, {"µL", false, "mL"},
		{"kDa", false, "g/mol"}, {"µm2", false, "nm2"}, {"m2/mol", false, "L/(mol.cm)"}, {"cm3/g", false, "mL/g"}, {"%", false, "1"},
		{"1/M", false, "L/mol"}, {"1/(M.s)", false, "L/(mol.s)"}, {"cm3.mol/g2", false, "mL.mol/g2"},
		{"kg/m", false, "g/nm"}, {"V", false, "nm2.g/(s3.A)"},
	} {
		t.Run(test.unit, func(t *testing.T) {
			if got := Canonical(mustUnit(test.unit).Dim(), test.axis); got.Code() != test.want {
				t.Errorf("got %s, want %s", got, test.want)
			}
		})
	}
}

func FuzzParseUnit(f *testing.F) {
	for _, seed := range []string{"nm", "W/(m2.sr.nm)", "Å⁻¹", "10*3/s", "{counts}/s", "1/(A)", "[ppm]", "m^(-2)", "wt %", "a/b.c"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, s string) {
		u, err := ParseUnit(s)
		if err != nil {
			return
		}
		for _, text := range []string{u.Code(), u.Symbol()} {
			if len(text) > longestUnit {
				continue
			}
			if back, err := ParseUnit(text); err != nil || !back.Equal(u) {
				t.Fatalf("%q is %q, which does not read back: %v", s, text, err)
			}
		}
	})
}
