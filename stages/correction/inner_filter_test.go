package correction

import (
	"math"
	"strings"
	"testing"
)

const innerFilterStudy = `
constants: {cell: 5.00(5) mm, lamp: 405.0(5) nm}
graph:
  spectra:
    kind: read
    set: {files: "raw/<sample>.dat"}
  absorbances:
    kind: read
    set: {files: "raw/<sample>.txt"}
  corrected:
    kind: correct.inner-filter
    from: {emission: spectra, absorbance: absorbances}
    set: {SET}
`

func runInnerFilterStudy(t *testing.T, set, emission, absorbance string) *study {
	t.Helper()
	return runStudy(t, strings.Replace(innerFilterStudy, "SET", set, 1), "sample\ns\n", map[string]string{"s.dat": emission, "s.txt": absorbance})
}

func TestInnerFilterStudy(t *testing.T) {
	x := []float64{420, 430, 440, 450}
	ax := []float64{400, 410, 420, 430, 440, 450}
	a := []float64{0.1, 0.1, 0, 0.05, 0.1, 0.5}
	emission := curveFile("wavelength [nm] | signal [1/s] | u_signal [1/s] | temperature [K]", x, flat(x, 1000), flat(x, 10), flat(x, 293))
	absorbance := curveFile("wavelength [nm] | absorbance | u_absorbance", ax, a, flat(ax, 0.002))
	t.Run("centre", func(t *testing.T) {
		s := runInnerFilterStudy(t, "excitation: 400 nm", emission, absorbance)
		tab := s.table(t, "corrected", "corrected", "")
		y, u := column(t, tab, "signal", "1/s"), column(t, tab, "u_signal", "1/s")
		// A_ex 0.1; A_em 0.05 gives 1.1885022 (Lakowicz, eq. 2.6)
		if !near(y[1], 1188.5022, 1e-7) || !near(y[0], 1000*math.Pow(10, 0.05), 1e-12) || !near(y[3], 1000*math.Pow(10, 0.3), 1e-12) {
			t.Errorf("%v", y)
		}
		for i := range u {
			f := y[i] / 1000
			if want := math.Hypot(f*10, y[i]*math.Ln10/2*math.Sqrt2*0.002); !near(u[i], want, 1e-9) {
				t.Errorf("u %v, want %v", u[i], want)
			}
		}
		if got := column(t, tab, "temperature", "K"); !same(got, flat(x, 293), 0) {
			t.Errorf("what the file held beside: %v", got)
		}
		f := s.table(t, "corrected", "factor", "")
		if got := column(t, f, "factor", "1"); !near(got[1], 1.1885022, 1e-7) || !same(column(t, f, "at", "nm"), x, 0) || !near(column(t, f, "u_factor", "1")[1], got[1]*math.Ln10/2*math.Sqrt2*0.002, 1e-9) {
			t.Errorf("factor %v", got)
		}
		if fl := s.flags(t, "corrected", "corrected", ""); fl != "" {
			t.Errorf("flags %q", fl)
		}
	})
	t.Run("an absorbance of another cell", func(t *testing.T) {
		tab := runInnerFilterStudy(t, "excitation: 400 nm, path: cell, absorbance-path: 10 mm", emission, absorbance).table(t, "corrected", "corrected", "")
		y, part := column(t, tab, "signal", "1/s"), column(t, tab, "signal@constants.cell", "1/s")
		// A = 0.1 and 0.05 of 10 mm are half of that in 5 mm; u(path)/path = 1 %
		exponent := 0.15 / 4
		if want := 500 * (math.Pow(10, 1.01*exponent) - math.Pow(10, 0.99*exponent)); !near(y[1], 1000*math.Pow(10, exponent), 1e-12) || !near(part[1], want, 1e-9) {
			t.Errorf("%v, part %v", y, part)
		}
	})
	t.Run("an absorbance that ends within the emission", func(t *testing.T) {
		short := curveFile("wavelength [nm] | absorbance | u_absorbance", ax[:4], a[:4], flat(ax[:4], 0.002))
		s := runInnerFilterStudy(t, "excitation: 400 nm, path: cell, absorbance-path: 10 mm", emission, short)
		tab := s.table(t, "corrected", "corrected", "")
		if at := column(t, tab, "wavelength", "nm"); !same(at, x[:2], 0) || !same(column(t, s.table(t, "corrected", "factor", ""), "at", "nm"), x[:2], 0) || len(column(t, tab, "signal@constants.cell", "1/s")) != 2 {
			t.Errorf("%v, columns %v", at, tab.Names())
		}
		holds(t, s.flags(t, "corrected", "corrected", ""), "flag: 2 points beyond the range of the absorbance (400 to 430 nm) are left out")
	})
	t.Run("noise that all points share", func(t *testing.T) {
		x, ax := grid(450, 1, 100), grid(400, 1, 150)
		em := func(u float64) string {
			return curveFile("wavelength [nm] | signal [1/s] | u_signal [1/s]", x, flat(x, 1000), flat(x, u))
		}
		abs := func(u float64) string {
			return curveFile("wavelength [nm] | absorbance | u_absorbance", ax, flat(ax, 0.1), flat(ax, u))
		}
		for _, c := range []struct {
			name    string
			u, ua   float64
			set     string
			says, f string
		}{
			// u of the sum over 100 points: 1 %/√100 = 0.1 %, and ln 10/2·0.0005 = 0.058 %
			{"little", 10, 0.0005, "excitation: 400 nm", "", ""},
			// 0.23 % against hypot(1 %, 0.23 %)/√100
			{"some", 10, 0.002, "excitation: 400 nm", "note: the noise of the absorbance at the exciting wavelength moves all points together, by 0.23 %", ""},
			{"most in a sum", 5, 0.002, "excitation: 400 nm", "flag: the noise of the absorbance", "other noise is 0.55 % at the maximum, and 0.055 % of the sum"},
			{"most in a point", 1, 0.002, "excitation: 400 nm, effect: excitation", "flag: the noise of the absorbance", "other noise is 0.1 % at the maximum, and 0.01 % of the sum"},
		} {
			t.Run(c.name, func(t *testing.T) {
				s := runInnerFilterStudy(t, c.set, em(c.u), abs(c.ua))
				flags := s.flags(t, "corrected", "corrected", "")
				if c.says == "" && flags != "" {
					t.Errorf("flags %q", flags)
				}
				holds(t, flags, c.says, c.f)
				if got := column(t, s.table(t, "corrected", "factor", ""), "common", "1"); !near(got[7], math.Ln10/2*c.ua, 0.02) {
					t.Errorf("common %v", got[7])
				}
			})
		}
	})
	t.Run("bounds", func(t *testing.T) {
		bounded := curveFile("wavelength [nm] | signal [1/s] | signal_hi [1/s]", x, flat(x, 1000), flat(x, 2000))
		tab := runInnerFilterStudy(t, "excitation: 400 nm", bounded, absorbance).table(t, "corrected", "corrected", "")
		if hi := column(t, tab, "signal_hi", "1/s"); !near(hi[1], 2*1188.5022, 1e-7) {
			t.Errorf("%v", hi)
		}
	})
	t.Run("one effect alone", func(t *testing.T) {
		// the absorbance need not reach further than what is corrected for
		short := curveFile("wavelength [nm] | absorbance | u_absorbance", ax[:2], a[:2], flat(ax[:2], 0.002))
		y := column(t, runInnerFilterStudy(t, "excitation: 400 nm, effect: excitation, geometry: whole path", emission, short).table(t, "corrected", "corrected", ""), "signal", "1/s")
		if !near(y[3], 1119.5436, 1e-7) { // Parker's form at A = 0.1
			t.Errorf("%v", y)
		}
		y = column(t, runInnerFilterStudy(t, "excitation: 999 nm, effect: emission", emission, absorbance).table(t, "corrected", "corrected", ""), "signal", "1/s")
		if !near(y[2], 1000*math.Pow(10, 0.05), 1e-12) {
			t.Errorf("%v", y)
		}
	})
	t.Run("per length, an uncertain cell", func(t *testing.T) {
		per := strings.Replace(absorbance, "absorbance\t", "absorbance [1/cm]\t", 1)
		per = strings.Replace(per, "u_absorbance", "u_absorbance [1/cm]", 1)
		tab := runInnerFilterStudy(t, "excitation: 400 nm, path: cell", emission, per).table(t, "corrected", "corrected", "")
		y, part := column(t, tab, "signal", "1/s"), column(t, tab, "signal@constants.cell", "1/s")
		for i, em := range a[2:] {
			exponent := (0.1 + em) / 2 * 0.5
			want := 1000 * math.Pow(10, exponent)
			// ½[f(+u) − f(−u)], u(l)/l = 1 %
			if wantPart := 500 * (math.Pow(10, 1.01*exponent) - math.Pow(10, 0.99*exponent)); !near(y[i], want, 1e-12) || !near(part[i], wantPart, 1e-9) {
				t.Errorf("%v, part %v; want %v, %v", y[i], part[i], want, wantPart)
			}
		}
	})
	t.Run("a cell that is divided by, and multiplied with again", func(t *testing.T) {
		through := strings.Replace(strings.Replace(innerFilterStudy, "absorbance: absorbances}", "absorbance: attenuation}", 1), "SET", "excitation: 400 nm, path: cell", 1) +
			"  attenuation: {kind: correct.path, from: {curve: absorbances}, set: {path: cell}}\n"
		s := runStudy(t, through, "sample\ns\n", map[string]string{"s.dat": emission, "s.txt": absorbance})
		tab := s.table(t, "corrected", "corrected", "")
		if y := column(t, tab, "signal", "1/s"); !near(y[1], 1188.5022, 1e-7) {
			t.Errorf("%v", y)
		}
		// Both stages share the source. The part that the first one found, d/(1 − d²) with d = 1 %, meets the shifted cell 1 ± d of the
		// second: of the exponent e·d to first order -e·d³ is left.
		const d = 0.01
		for i, part := range column(t, tab, "signal@constants.cell", "1/s") {
			exponent := (0.1 + a[i+2]) / 2
			side := func(d float64) float64 { return 1000 * math.Pow(10, exponent*(1-d/(1-d*d))*(1+d)) }
			if want := (side(d) - side(-d)) / 2; !near(part, want, 1e-6) || math.Abs(part) > 1e-3*1000*math.Ln10*exponent*d {
				t.Errorf("part %v at point %d, want %v", part, i+1, want)
			}
		}
		if per := column(t, s.table(t, "attenuation", "per_length", ""), "absorbance@constants.cell", "1/cm"); len(per) == 0 || !near(per[0], -0.2*0.01, 1e-3) {
			t.Errorf("part before: %v", per)
		}
	})
	t.Run("an uncertain wavelength", func(t *testing.T) {
		sloped := curveFile("wavelength [nm] | absorbance | u_absorbance", ax, []float64{0.3, 0.1, 0, 0, 0, 0}, flat(ax, 0.002))
		tab := runInnerFilterStudy(t, "excitation: lamp, effect: excitation", emission, sloped).table(t, "corrected", "corrected", "")
		part := column(t, tab, "signal@constants.lamp", "1/s")
		// A falls by 0.02 for each nm: 0.2 ∓ 0.01 at 405.0 ± 0.5 nm
		if want := 500 * (math.Pow(10, 0.095) - math.Pow(10, 0.105)); !near(part[0], want, 1e-9) {
			t.Errorf("part %v, want %v", part[0], want)
		}
	})
	t.Run("an uncertain wavelength at the end of the absorbance", func(t *testing.T) {
		edge := curveFile("wavelength [nm] | absorbance | u_absorbance", []float64{405, 410, 450}, []float64{0.2, 0.1, 0}, flat(x[:3], 0.002))
		tab := runInnerFilterStudy(t, "excitation: lamp, effect: excitation", emission, edge).table(t, "corrected", "corrected", "")
		part := column(t, tab, "signal@constants.lamp", "1/s")
		if want := 500 * (math.Pow(10, 0.095) - math.Pow(10, 0.105)); len(part) == 0 || !near(part[0], want, 1e-9) {
			t.Errorf("part %v, want %v", part, want)
		}
	})
}

func TestInnerFilterRemarks(t *testing.T) {
	x := []float64{420, 430, 440}
	ax := []float64{400, 410, 420, 430, 440}
	emission := curveFile("wavelength [nm] | signal [1/s] | u_signal [1/s]", x, flat(x, 1000), flat(x, 10))
	dim := curveFile("wavelength [nm] | signal [1/s] | u_signal [1/s]", x, []float64{1000, 1000, 50}, flat(x, 10))
	for _, c := range []struct {
		name, set string
		a         []float64
		u         bool
		want      []string
		not       string
	}{
		{"thin", "excitation: 400 nm", []float64{0.1, 0.1, 0.1, 0, 0}, true, nil, "flag"},
		{"over the limit", "excitation: 400 nm", []float64{0.6, 1, 0.2, 0.05, 0.3}, true, []string{"flag: the absorbances at both wavelengths sum up to more than the limit of 0.7 at 2 points, to 0.9 at 440 nm, where 2.82 times", "dilute the sample"}, ""},
		{"over the limit where there is no light", "excitation: 400 nm, limit: 0.11", []float64{0.1, 0, 0.001, 0, 0.1}, true, nil, "limit"},
		{"another limit", "excitation: 400 nm, limit: 0.2", []float64{0.15, 0.1, 0.1, 0, 0}, true, []string{"limit of 0.2 at 1 points"}, ""},
		{"negative", "excitation: 400 nm", []float64{-0.1, 0, 0, -0.03, 0}, true, []string{"exciting wavelength is negative (-0.1)", "negative at 1 emitted wavelengths, down to -0.03"}, ""},
		{"too dark to measure", "excitation: 400 nm", []float64{0.1, 0, 0, 3.6, 0}, true, []string{"1 points at which the absorbance is above 3.5"}, ""},
		{"missing", "excitation: 400 nm", []float64{0.1, 0, 0, math.NaN(), 0}, true, []string{"note: 1 points without a number"}, ""},
		{"u unknown", "excitation: 400 nm", []float64{0.1, 0, 0, 0, 0}, false, []string{"note: the uncertainty of the absorbance is unknown"}, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			absorbance := curveFile("wavelength [nm] | absorbance | u_absorbance", ax, c.a, flat(ax, 0.001))
			if !c.u {
				absorbance = curveFile("wavelength [nm] | absorbance", ax, c.a)
			}
			light := emission
			if strings.Contains(c.name, "no light") {
				light = dim
			}
			s := runInnerFilterStudy(t, c.set, light, absorbance)
			flags := s.flags(t, "corrected", "corrected", "")
			holds(t, flags, c.want...)
			if c.not != "" && strings.Contains(flags, c.not) {
				t.Errorf("flags %q", flags)
			}
			tab := s.table(t, "corrected", "corrected", "")
			if u := column(t, tab, "u_signal", "1/s"); math.IsNaN(u[0]) == c.u {
				t.Errorf("u %v", u)
			}
		})
	}
}

func TestInnerFilterBadInput(t *testing.T) {
	x := []float64{420, 430, 440}
	emission := curveFile("wavelength [nm] | signal [1/s]", x, flat(x, 1000))
	ax := []float64{400, 410, 420, 430, 440}
	absorbance := curveFile("wavelength [nm] | absorbance", ax, flat(ax, 0.1))
	per := strings.Replace(absorbance, "absorbance", "absorbance [1/cm]", 1)
	for _, c := range []struct {
		name, set, emission, absorbance string
		want                            []string
	}{
		{"absorbance ends too early", "excitation: 400 nm", emission, curveFile("wavelength [nm] | absorbance", ax[:2], flat(ax[:2], 0.1)), []string{"no absorbance at any point of the emission, between 420 and 440", "400 to 410 nm", "measure the absorbance"}},
		{"the emission's cell alone", "excitation: 400 nm, path: 5 mm", emission, absorbance, []string{"a pure number, that of its own cell", "add `absorbance-path`"}},
		{"the absorbance's cell alone", "excitation: 400 nm, absorbance-path: 5 mm", emission, absorbance, []string{"add `path`"}},
		{"per length and of a cell", "excitation: 400 nm, path: 5 mm, absorbance-path: 5 mm", emission, per, []string{"belongs to no cell", "take `absorbance-path` out"}},
		{"excitation outside", "excitation: 390 nm", emission, absorbance, []string{"exciting wavelength, 390", "400 to 440 nm"}},
		{"too dark", "excitation: 400 nm", emission, curveFile("wavelength [nm] | absorbance", ax, flat(ax, 3.7)), []string{"3.7 at the exciting wavelength, 400", "at most 3.5", "dilute the sample"}},
		{"per length without a length", "excitation: 400 nm", emission, per, []string{"cm⁻¹, per length", "add `path`"}},
		{"no absorbance at all", "excitation: 400 nm", emission, strings.Replace(absorbance, "absorbance", "absorbance [V]", 1), []string{"the absorbance is in V", "a pure number, or 1/cm"}},
		{"not over wavelengths", "excitation: 400 nm", strings.Replace(emission, "[nm]", "[eV]", 1), absorbance, []string{"in eV", "expected nm"}},
		{"absorbance over time", "excitation: 400 nm", emission, strings.Replace(absorbance, "[nm]", "[s]", 1), []string{"in s", "expected nm"}},
		{"all dark", "excitation: 400 nm", emission, curveFile("wavelength [nm] | absorbance", ax, []float64{1, 1, 4, 4, 4}), []string{"no point of the emission is left", "at 3 the absorbance is above 3.5"}},
		{"axis turns", "excitation: 400 nm", emission, curveFile("wavelength [nm] | absorbance", []float64{400, 440, 420}, []float64{1, 1, 1}), []string{"rise or fall strictly", "point 3"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			runInnerFilterStudy(t, c.set, c.emission, c.absorbance).refused(t, "corrected", "", c.want...)
		})
	}
	t.Run("per length without a length, seen before any file is read", func(t *testing.T) {
		text := strings.Replace(innerFilterStudy, `"raw/<sample>.txt"}`, `"raw/<sample>.txt", columns: {wavelength: nm, absorbance: 1/cm}}`, 1)
		_, faults := loadStudy(t, strings.Replace(text, "SET", "excitation: 400 nm", 1), "sample\ns\n", map[string]string{"s.dat": emission, "s.txt": per})
		holds(t, faults, "stage corrected", "per length, and no length is set", "add `path`")
	})
	t.Run("settings", func(t *testing.T) {
		for set, words := range map[string][]string{
			"geometry: centre":                       {"excitation"},
			"excitation: 400":                        {"without a unit"},
			"excitation: 400 nm, geometry: side":     {"side", "centre"},
			"excitation: 400 nm, limit: 0":           {"limit"},
			"excitation: 400 nm, path: 0 mm":         {"path"},
			"excitation: 400 nm, effect: everything": {"effect", "both"},
		} {
			_, faults := loadStudy(t, strings.Replace(innerFilterStudy, "SET", set, 1), "sample\ns\n", map[string]string{"s.dat": emission, "s.txt": absorbance})
			if faults == "" {
				t.Errorf("%s was taken", set)
			}
			holds(t, faults, words...)
		}
	})
}
