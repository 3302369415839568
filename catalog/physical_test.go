package catalog

import (
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

func number(t testing.TB, s string) Number {
	t.Helper()
	n, err := ParseNumber(s)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

func TestPhotonIn(t *testing.T) {
	// CODATA 2018 as SciPy 1.10.1 holds it: scipy.constants.value('electron volt-inverse meter relationship') is 806554.3937 and
	// value('inverse meter-electron volt relationship') 1.239841984e-06 (exact numbers, printed to 10 digits)
	for _, test := range []struct {
		text, unit  string
		value, u    float64
		digits      float64 // relative tolerance: the digits printed
		description string
	}{
		{"1 eV", "1/m", 8.065543937e5, 0, 1e-9, ""}, {"1 eV", "1/cm", 8065.543937, 0, 1e-9, ""}, {"1 1/m", "eV", 1.239841984e-6, 0, 1e-9, ""},
		{"1 eV", "nm", 1239.841984, 0, 1e-9, ""}, {"1239.841984 nm", "eV", 1, 0, 1e-9, ""}, {"1 eV", "J", 1.602176634e-19, 0, 1e-15, ""},
		{"500 nm", "1/cm", 20000, 0, 1e-15, "1/λ"}, {"20000 1/cm", "nm", 500, 0, 1e-15, "1/λ"}, {"1 Å", "keV", 12.39841984, 0, 1e-9, ""},
		{"500(2) nm", "1/cm", 20000, 80, 1e-15, "u/λ²"}, {"500(2) nm", "Å", 5000, 20, 1e-15, ""}, {"8.048(1) keV", "Å", 1.5405591257, 1.9142136e-4, 1e-7, "h·c/E and u·h·c/E² in Python"},
		{"-1 eV", "meV", -1000, 0, 1e-15, "a difference of energies"}, {"0 1/cm", "eV", 0, 0, 0, ""},
	} {
		t.Run(test.text+" in "+test.unit, func(t *testing.T) {
			got, err := number(t, test.text).PhotonIn(mustUnit(test.unit))
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(got.Value-test.value) > test.digits*math.Abs(test.value) || math.Abs(got.U-test.u) > math.Max(test.digits, 1e-15)*test.u || !got.Unit.Equal(mustUnit(test.unit)) {
				t.Errorf("got %v(%v), want %v(%v)", got.Value, got.U, test.value, test.u)
			}
		})
	}
}

func TestPhotonFaults(t *testing.T) {
	for _, test := range []struct{ text, unit, want string }{
		{"0 nm", "eV", `found "0 nm"; expected a wavelength, a photon's energy or a wavenumber above 0; correct the number`},
		{"-5 nm", "1/cm", `found "-5 nm"; expected a wavelength, a photon's energy or a wavenumber above 0; correct the number`},
		{"5 ns", "eV", `found a quantity in ns (dimension T); expected a wavelength, a photon's energy or a wavenumber, as in nm, eV or 1/cm; correct the unit`},
		{"5 nm", "Hz", `found a quantity in Hz (dimension T⁻¹); expected a wavelength, a photon's energy or a wavenumber, as in nm, eV or 1/cm; correct the unit`},
		{"500", "eV", `found a quantity in 1 (dimension 1); expected a wavelength, a photon's energy or a wavenumber, as in nm, eV or 1/cm; correct the unit`},
	} {
		t.Run(test.text+" in "+test.unit, func(t *testing.T) {
			_, err := number(t, test.text).PhotonIn(mustUnit(test.unit))
			if err == nil {
				t.Fatal("no error")
			}
			if diff := cmp.Diff(test.want, err.Error()); diff != "" {
				t.Error(diff)
			}
		})
	}
	// nm ↔ eV is no conversion of units: nobody gets it without asking
	if _, err := number(t, "500 nm").In(mustUnit("eV")); err == nil {
		t.Error("In takes nm to eV")
	}
}

// There and back is the same number, and the function for slices agrees with the one for numbers.
func TestPhotonThereAndBack(t *testing.T) {
	units := []string{"nm", "Å", "µm", "eV", "meV", "keV", "J", "1/cm", "1/m"}
	rapid.Check(t, func(t *rapid.T) {
		from, to := mustUnit(rapid.SampledFrom(units).Draw(t, "from")), mustUnit(rapid.SampledFrom(units).Draw(t, "to"))
		n := Number{Value: rapid.Float64Range(1e-3, 1e6).Draw(t, "value"), U: rapid.Float64Range(0, 1).Draw(t, "u"), Nu: 7, HasU: true, Unit: from, HasUnit: true}
		if n.U < 1e-6 {
			n.U = 0
		}
		m, err := n.PhotonIn(to)
		if err != nil {
			t.Fatal(err)
		}
		back, err := m.PhotonIn(from)
		if err != nil || back.Value != n.Value || math.Abs(back.U-n.U) > 1e-14*n.U || back.Nu != 7 {
			t.Fatalf("%v %s is %v %s and back %v: %v", n.Value, from, m.Value, to, back.Value, err)
		}
		factor, inverse, err := PhotonConversion(from, to)
		got := factor * n.Value
		if inverse {
			got = factor / n.Value
		}
		if err != nil || math.Abs(got-m.Value) > 4e-16*m.Value {
			t.Fatalf("%v, want %v: %v", got, m.Value, err)
		}
	})
}

func TestConcentrationIn(t *testing.T) {
	for _, test := range []struct {
		text, unit, molarMass string
		want                  float64
		u, nu                 float64
		source                string
	}{
		{"1 mg/mL", "µmol/L", "14.3 kg/mol", 1000 / 14.3, 0, 0, "c = ρ/M by hand"},
		{"58.44 g/L", "mol/L", "58.44 g/mol", 1, 0, 0, "c = ρ/M by hand"}, {"1 mol/L", "g/L", "58.44 Da", 58.44, 0, 0, "ρ = c·M by hand"},
		{"2 % w/v", "mM", "20 g/mol", 1000, 0, 0, "20 g/L over 20 g/mol"},
		{"10.0(3) g/L", "mol/L", "100.0(4.0) g/mol", 0.1, 0.005, 0, "3 % and 4 % make 5 % (3, 4, 5)"},
		{"10.0(3) g/L; nu 8", "mol/L", "100.0(3.0) g/mol; nu 8", 0.1, 0.1 * math.Sqrt(0.0018), 16, "two equal parts: ν = 2·8 (JCGM 100, G.2b)"},
		{"10.0(3) g/L; nu 8", "mol/L", "100 g/mol", 0.1, 0.003, 8, "one part"},
		{"0.0(3) g/L", "mol/L", "100(50) g/mol", 0, 0.003, 0, "a blank"},
		{"5 mM", "mol/L", "", 0.005, 0, 0, "needs no molar mass"}, {"5 mg/mL", "g/L", "", 5, 0, 0, "needs no molar mass"},
	} {
		t.Run(test.text+" in "+test.unit, func(t *testing.T) {
			var mass Number
			if test.molarMass != "" {
				mass = number(t, test.molarMass)
			}
			got, err := number(t, test.text).ConcentrationIn(mustUnit(test.unit), mass)
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(got.Value-test.want) > 3e-16*test.want || math.Abs(got.U-test.u) > 1e-15*test.u || math.Abs(got.Nu-test.nu) > 1e-13*test.nu || got.HasU != (test.u > 0) {
				t.Errorf("got %v(%v); nu %v, want %v(%v); nu %v: %s", got.Value, got.U, got.Nu, test.want, test.u, test.nu, test.source)
			}
		})
	}
}

func TestConcentrationFaults(t *testing.T) {
	for _, test := range []struct{ text, unit, molarMass, want string }{
		{"5 mg/mL", "mol/L", "", `found "5 mg/mL" without a molar mass; expected a molar mass, which a concentration in mol/L needs; give it, as in 14.30(2) kg/mol, or stay with mg/mL`},
		{"5 mM", "mg/mL", "", `found "5 mM" without a molar mass; expected a molar mass, which a concentration in mg/mL needs; give it, as in 14.30(2) kg/mol, or stay with mmol/L`},
		{"5 mM", "mg/mL", "14 kg", `found the molar mass "14 kg" in kg (dimension M); expected one in g/mol or kDa; correct the unit`},
		{"5 mM", "mg/mL", "0 kDa", `found the molar mass "0 kDa" for "5 mM"; expected a molar mass above 0; correct it`},
		{"5 mM", "mg/mL", "-3 kDa", `found the molar mass "-3 kDa" for "5 mM"; expected a molar mass above 0; correct it`},
		{"5 nm", "mg/mL", "3 kDa", `found a quantity in nm (dimension L); expected one in mg/mL (dimension L⁻³·M); correct the unit`},
	} {
		t.Run(test.text+" "+test.molarMass, func(t *testing.T) {
			var mass Number
			if test.molarMass != "" {
				mass = number(t, test.molarMass)
			}
			_, err := number(t, test.text).ConcentrationIn(mustUnit(test.unit), mass)
			if err == nil {
				t.Fatal("no error")
			}
			if diff := cmp.Diff(test.want, err.Error()); diff != "" {
				t.Error(diff)
			}
		})
	}
}

// Values of temperature take the offset of °C, differences and uncertainties do not.
func TestTemperatureDifferences(t *testing.T) {
	n, err := number(t, "25.0(5) °C; nu 9").In(mustUnit("K"))
	if err != nil || n.Value != 298.15 || n.U != 0.5 || n.Nu != 9 {
		t.Errorf("%+v, %v", n, err)
	}
	// a slope per °C is a slope per K (SI brochure, 2.3.1, from memory: the interval is the same)
	c, err := Convert(mustUnit("mV/°C"), mustUnit("mV/K"))
	if err != nil || c.Float(3) != 3 {
		t.Errorf("%v, %v", c.Float(3), err)
	}
}
