package correction

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

const scaleStudy = `
graph:
  standards:
    kind: read
    set: {files: "raw/<sample>.dat"}
  factor:
    kind: calibrate.scale
    from: {standard: standards}
    set: {known: value, range: [400 nm, 500 nm]}
`

// plateau is a level with noise over wavelengths, with its uncertainty.
func plateau(seed uint64, level, u float64) string {
	r := rand.New(rand.NewPCG(seed, 7))
	x := grid(380, 2, 80)
	y := over(x, func(at float64) float64 {
		if at < 400 || at > 500 {
			return 0.1 * level // outside the range nothing counts
		}
		return level + u*r.NormFloat64()
	})
	return curveFile("wavelength [nm] | signal [1/s] | u_signal [1/s]", x, y, flat(x, u))
}

func TestCalibrateScaleStudy(t *testing.T) {
	sheet := "sample,value [1/cm]\nlow,0.5\nhigh,2\n"
	s := runStudy(t, scaleStudy, sheet, map[string]string{"low.dat": plateau(1, 100, 2), "high.dat": plateau(2, 400, 3)})
	f := s.table(t, "factor", "factor", "")
	// 1/cm over 1/s, in the units used inside: nm and s, 1 s/cm = 1e-7 s/nm. 200 s⁻¹ for each cm⁻¹; Σ K²/u²(L) with 51 readings each.
	if unit := f.Col("factor").Unit; unit != "s/nm" {
		t.Errorf("the factor is in %q", unit)
	}
	got, uGot := f.Floats("factor")[0]*1e7, f.Floats("u_factor")[0]*1e7
	u := got * got / math.Sqrt(51*(0.25/4+4/9.))
	if math.Abs(got-1./200) > 4*u || !near(uGot, u, 1e-9) {
		t.Errorf("factor %v ± %v, want %v ± %v", got, uGot, 1./200, u)
	}
	if n := f.Floats("points")[0]; n != 102 {
		t.Errorf("%v points, want 102", n)
	}
	if chi := f.Floats("chi2_nu")[0]; chi < 0.6 || chi > 1.5 {
		t.Errorf("χ²/ν = %v", chi)
	}
	if p := f.Floats("p")[0]; p < 1e-3 || p > 1 {
		t.Errorf("p = %v", p)
	}
	levels := s.table(t, "factor", "levels", "")
	if levels.Len() != 2 || !strings.Contains(strings.Join(levels.Col("item").Texts, " "), "low") || levels.Col("level").Unit != "1/s" {
		t.Errorf("levels: %v", levels)
	}
	if fl := s.flags(t, "factor", "factor", ""); fl != "" {
		t.Errorf("flags %q", fl)
	}
}

// The known value's uncertainty reaches the factor as a part of its source, and from there the curves that the factor scales, whose own u
// does not have it; the noise of the standard reaches them as a source of its own.
func TestCalibrateScaleParts(t *testing.T) {
	text := `
constants: {certified: {low: 0.50(1) 1/cm, high: 2.00(2) 1/cm}}
graph:
  standards:
    kind: read
    set: {files: "raw/<sample>.dat"}
  factor:
    kind: calibrate.scale
    from: {standard: standards}
    set: {known: "certified[sample]", range: [400 nm, 500 nm]}
  absolute:
    kind: correct.scale
    from: {curve: standards, factor: {stage: factor, only: true}}
`
	s := runStudy(t, text, "sample\nlow\nhigh\n", map[string]string{"low.dat": plateau(1, 100, 2), "high.dat": plateau(2, 400, 3)})
	f := s.table(t, "factor", "factor", "")
	levels := s.table(t, "factor", "levels", "")
	// factor = Σ w·K²/Σ w·K·L, w = 1/u²(L)
	factor := func(known map[string]float64) float64 {
		var kk, kl float64
		for i, item := range levels.Col("item").Texts {
			k, l, u := known[item], levels.Floats("level")[i], levels.Floats("u_level")[i]
			kk, kl = kk+k*k/(u*u), kl+k*l/(u*u)
		}
		return kk / kl * 1e-7 // s/cm in s/nm
	}
	at := func(low, high float64) float64 {
		return factor(map[string]float64{"sample=low": low, "sample=high": high})
	}
	if got := f.Floats("factor")[0]; !near(got, at(0.5, 2), 1e-9) {
		t.Errorf("factor %v, want %v", got, at(0.5, 2))
	}
	for name, want := range map[string]float64{
		"factor@constants.certified.low":  (at(0.51, 2) - at(0.49, 2)) / 2,
		"factor@constants.certified.high": (at(0.5, 2.02) - at(0.5, 1.98)) / 2,
	} {
		if got := f.Floats(name); len(got) != 1 || !near(got[0], want, 1e-6) {
			t.Errorf("%s: %v, want %v; columns %v", name, got, want, f.Names())
		}
	}
	a := s.table(t, "absolute", "corrected", "sample=high")
	curve := s.table(t, "standards", "items", "sample=high")
	for i, y := range curve.Floats("signal") {
		if got := column(t, a, "signal", "1/cm")[i]; !near(got, y*f.Floats("factor")[0]*1e7, 1e-12) {
			t.Fatalf("scaled %v", got)
		}
		if got, want := a.Floats("u_signal")[i], 3*f.Floats("factor")[0]*1e7; !near(got, want, 1e-12) {
			t.Fatalf("own u %v, want %v", got, want)
		}
		if got, want := column(t, a, "signal@constants.certified.high", "1/cm")[i], y*f.Floats("factor@constants.certified.high")[0]*1e7; !near(got, want, 1e-9) {
			t.Fatalf("part of the known value %v, want %v", got, want)
		}
		if got, want := column(t, a, "signal@factor[all]", "1/cm"), y*f.Floats("u_factor")[0]*1e7; len(got) == 0 || !near(got[i], want, 1e-9) {
			t.Fatalf("part of the standards' noise %v, want %v; columns %v", got, want, a.Names())
		}
	}
}

func TestCalibrateScaleStudyRemarks(t *testing.T) {
	x := grid(400, 1, 60)
	sheet := "sample,value [1/cm]\nlow,0.5\nhigh,2\n"
	without := func(y []float64) string { return curveFile("wavelength [nm] | signal", x, y) }
	wave := over(x, func(x float64) float64 { return 100 + math.Sin(13*x) })
	for _, c := range []struct {
		name      string
		low, high string
		want      []string
	}{
		{"standards disagree", plateau(1, 100, 2), plateau(2, 480, 3), []string{"flag: the standards disagree by more than the noise of their readings (p < 1e-12, χ²/ν", "more than known values uncertain by 3 %"}},
		{"standards disagree, as known values may", plateau(1, 100, 2), plateau(2, 410, 3), []string{"note: the standards disagree by more than the noise of their readings (p", "known values count as exact"}},
		{"u unknown", without(wave), without(over(wave, func(y float64) float64 { return 4 * y })), []string{"u is from the scatter, with 119 degrees of freedom"}},
		{"u unknown, apart", without(wave), without(over(wave, func(y float64) float64 { return 5 * y })), []string{"F test", "with 1 degrees of freedom"}},
		{"constant", without(flat(x, 100)), without(flat(x, 400)), []string{"equal to the last digit"}},
		{"sloped", plateau(1, 100, 2), curveFile("wavelength [nm] | signal [1/s] | u_signal [1/s]", x, over(x, func(x float64) float64 { return 400 + 0.5*(x-430) }), flat(x, 3)),
			[]string{"sample=high is not level over the range"}},
		{"other sign", plateau(1, 100, 2), plateau(2, -400, 3), []string{"of the other sign"}},
		{"too noisy", plateau(1, 100, 2), strings.ReplaceAll(plateau(2, 400, 3), "\t3\n", "\t1\n"), []string{"scatter more than their uncertainties say"}},
		{"some without u", plateau(1, 100, 2), strings.Replace(plateau(2, 400, 3), "\t3\n420", "\t-\n420", 1), []string{"note: sample=high: 1 of 51 readings have no uncertainty"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := runStudy(t, scaleStudy, sheet, map[string]string{"low.dat": c.low, "high.dat": c.high})
			holds(t, s.flags(t, "factor", "factor", ""), c.want...)
			f := s.table(t, "factor", "factor", "")
			switch c.name {
			case "constant":
				if f.Col("u_factor") != nil {
					t.Error("an uncertainty that is not known was given")
				}
			case "u unknown":
				if nu := f.Floats("nu_factor"); len(nu) != 1 || nu[0] != 119 {
					t.Errorf("nu %v", nu)
				}
			}
		})
	}
}

// Counts with u² = counts: their weighted mean would be low by one count, 1 % here, and ten times its u.
func TestCalibrateScaleCounts(t *testing.T) {
	r := rand.New(rand.NewPCG(21, 22))
	x := grid(400, 0.1, 900)
	y := over(x, func(float64) float64 { return math.Round(100 + 10*r.NormFloat64()) })
	file := curveFile("wavelength [nm] | counts | u_counts", x, y, over(y, math.Sqrt))
	s := runStudy(t, scaleStudy, "sample,value [1/cm]\na,1\n", map[string]string{"a.dat": file})
	mean := 0.0
	for _, v := range y {
		mean += v / float64(len(y))
	}
	f := s.table(t, "factor", "factor", "")
	if got := column(t, f, "factor", "1/cm"); !near(got[0], 1/mean, 1e-12) {
		t.Errorf("factor %v, want %v", got, 1/mean)
	}
	if got, want := column(t, f, "u_factor", "1/cm")[0], math.Sqrt(mean/900)/mean/mean; !near(got, want, 1e-9) {
		t.Errorf("u %v, want %v", got, want)
	}
	holds(t, s.flags(t, "factor", "factor", ""), "note: sample=a: the uncertainties follow the readings")
}

func TestCalibrateScaleStudyErrors(t *testing.T) {
	x := grid(400, 1, 60)
	good := plateau(1, 100, 2)
	for _, c := range []struct {
		name, sheet, high string
		want              []string
	}{
		{"saturated", "", curveFile("wavelength [nm] | signal [1/s]", x, over(x, func(x float64) float64 { return min(996.7057, 1100-0.3*(x-420)*(x-420)+2*math.Sin(13*x)) })),
			[]string{"sample=high", "996.7057", "saturated", "measure with less light"}},
		{"zero", "", plateau(2, 0.1, 3), []string{"sample=high", "cannot be told from zero", "leave this standard out"}},
		{"exactly zero", "", curveFile("wavelength [nm] | signal [1/s] | u_signal [1/s]", x, flat(x, 0), flat(x, 1)), []string{"sample=high", "cannot be told from zero", "found 0"}},
		{"known zero", "sample,value [1/cm]\nlow,1\nhigh,0\n", plateau(2, 400, 3), []string{"sample=high", "setting `known`", "other than zero", "a blank"}},
		{"out of range", "", curveFile("wavelength [nm] | signal [1/s]", grid(600, 1, 20), flat(grid(600, 1, 20), 3)), []string{"no reading", "400 to 500 nm", "600 to 619"}},
		{"another unit", "", strings.Replace(plateau(2, 400, 3), "[1/s]", "[V]", 2), []string{"one factor needs standards in one unit"}},
		{"another axis", "", strings.Replace(plateau(2, 400, 3), "[nm]", "[s]", 1), []string{"setting `range` is in nm"}},
		{"no value", "", "wavelength [nm]\n400\n401\n", []string{"the port needs the column its value"}},
		{"known empty", "sample,value [1/cm]\nlow,1\nhigh,\n", plateau(2, 400, 3), []string{"setting `known`"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			sheet := c.sheet
			if sheet == "" {
				sheet = "sample,value [1/cm]\nlow,0.5\nhigh,2\n"
			}
			s := runStudy(t, scaleStudy, sheet, map[string]string{"low.dat": good, "high.dat": c.high})
			s.refused(t, "factor", "", c.want...)
		})
	}
}
