package correction

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"fascicle/pipeline/table"
)

const pathStudy = `
constants: {cell: 10.00(2) mm}
graph:
  scans:
    kind: read
    set: {files: "raw/<sample>.dat"}
  attenuation:
    kind: correct.path
    from: {curve: scans}
    set: {path: PATH}
`

func pathGraph(path string) string { return strings.ReplaceAll(pathStudy, "PATH", path) }

// Potassium dichromate at 60 mg/L in 10 mm cells: nominal absorbances (a reference-material supplier's table traceable to SRM 935a),
// divided by length and concentration, are the specific absorbances of NBS SP 260-54 (1977, from memory) within 0.5 %.
func TestPathDichromate(t *testing.T) {
	x := []float64{235, 257, 313, 350}
	a := []float64{0.743, 0.865, 0.290, 0.643}
	specific := []float64{12.340, 14.369, 4.811, 10.687} // kg/(g·cm)
	file := curveFile("wavelength [nm] | absorbance | u_absorbance", x, a, flat(x, 0.002))
	s := runStudy(t, pathGraph("cell"), "sample\ns\n", map[string]string{"s.dat": file})
	tab := s.table(t, "attenuation", "per_length", "")
	y, u, part := column(t, tab, "absorbance", "1/cm"), column(t, tab, "u_absorbance", "1/cm"), column(t, tab, "absorbance@constants.cell", "1/cm")
	for i := range x {
		if got := y[i] / 0.060 * 0.998; !near(got, specific[i], 0.005) { // 0.998 kg/L of solvent
			t.Errorf("%v nm: %.3f, want %.3f within 0.5 %%", x[i], got, specific[i])
		}
		if !near(y[i], a[i], 1e-15) || !near(u[i], 0.002, 1e-15) {
			t.Errorf("%v ± %v, want %v ± 0.002", y[i], u[i], a[i])
		}
		// ½[A/(l+u) − A/(l−u)] = −A·u/(l² − u²) (JCGM 100:2008, 5.1.4)
		if want := -a[i] * 0.002 / (1 - 0.002*0.002); !near(part[i], want, 1e-12) {
			t.Errorf("part of the cell %v, want %v", part[i], want)
		}
	}
	if got := column(t, tab, "wavelength", "nm"); got[2] != 313 {
		t.Errorf("axis %v", got)
	}
}

// A decadic absorbance of 1 in 1 cm is a turbidity τ = ln 10·A/l = 2.302585093 cm⁻¹ (definition); ln 10 is not applied here.
func TestPathKeepsDecadic(t *testing.T) {
	file := curveFile("wavelength [nm] | absorbance", []float64{500, 501}, []float64{1, 0.5})
	s := runStudy(t, pathGraph("1 cm"), "sample\ns\n", map[string]string{"s.dat": file})
	y := column(t, s.table(t, "attenuation", "per_length", ""), "absorbance", "1/cm")
	if tau := math.Ln10 * y[0]; !near(tau, 2.302585093, 1e-9) {
		t.Errorf("τ = %v", tau)
	}
}

// What else the file held stays as it is, nulls stay null, bounds move along.
func TestPathColumns(t *testing.T) {
	nan := math.NaN()
	file := curveFile("wavelength [nm] | absorbance | u_absorbance | absorbance_lo | transmittance",
		[]float64{500, 501, 502}, []float64{1, nan, 0.2}, []float64{0.01, 0.01, nan}, []float64{0.9, nan, 0.1}, []float64{0.1, 0.2, 0.6})
	s := runStudy(t, pathGraph("2 mm"), "sample\ns\n", map[string]string{"s.dat": file})
	tab := s.table(t, "attenuation", "per_length", "")
	for _, c := range []struct {
		name, unit string
		want       []float64
	}{
		{"absorbance", "1/cm", []float64{5, nan, 1}},
		{"u_absorbance", "1/cm", []float64{0.05, 0.05, nan}},
		{"absorbance_lo", "1/cm", []float64{4.5, nan, 0.5}},
		{"transmittance", "1", []float64{0.1, 0.2, 0.6}},
	} {
		if got := column(t, tab, c.name, c.unit); !same(got, c.want, 1e-14) {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}

func TestPathBadInput(t *testing.T) {
	good := curveFile("wavelength [nm] | absorbance", []float64{500, 501}, []float64{1, 0.5})
	t.Run("settings", func(t *testing.T) {
		for path, words := range map[string][]string{
			"0 mm": {"study.yaml:", "more than 0 mm"}, "-1 mm": {"study.yaml:", "more than 0 mm"}, "10": {"without a unit"}, "10 s": {"path", "mm"},
		} {
			if _, faults := loadStudy(t, pathGraph(path), "sample\ns\n", map[string]string{"s.dat": good}); faults == "" {
				t.Errorf("path %s was taken", path)
			} else {
				holds(t, faults, words...)
			}
		}
	})
	t.Run("from the sheet", func(t *testing.T) {
		for cell, words := range map[string][]string{"0": {"`path`", "more than 0 mm"}, "-2": {"`path`", "more than 0 mm"}, "": {"`path`", "empty"}} {
			s := runStudy(t, pathGraph("length"), "sample,length [mm]\ns,"+cell+"\n", map[string]string{"s.dat": good})
			s.refused(t, "attenuation", "", words...)
		}
	})
	t.Run("per length already", func(t *testing.T) {
		s := runStudy(t, pathGraph("1 cm"), "sample\ns\n", map[string]string{"s.dat": strings.Replace(good, "absorbance", "absorbance [1/cm]", 1)})
		s.refused(t, "attenuation", "", "cm⁻¹", "per length already", "take this stage out")
	})
	t.Run("twice, seen before any file is read", func(t *testing.T) {
		text := strings.Replace(pathGraph("1 cm"), `"raw/<sample>.dat"}`, `"raw/<sample>.dat", columns: {wavelength: nm, absorbance: "1"}}`, 1) +
			"  again: {kind: correct.path, from: {curve: attenuation}, set: {path: 1 cm}}\n"
		_, faults := loadStudy(t, text, "sample\ns\n", map[string]string{"s.dat": good})
		holds(t, faults, "stage again", "cm⁻¹", "per length already", "take this stage out")
	})
}

// y·l of what comes out is what went in, and u follows, whatever the unit of the length.
func TestPathRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := rapid.Float64Range(0.01, 100).Draw(t, "length/mm")
		y := rapid.SliceOfN(rapid.Float64Range(-5, 5), 1, 20).Draw(t, "y")
		tab := &table.Table{}
		tab.AddFloat("x", "nm", grid(0, 1, len(y)))
		tab.AddFloat("y", "1", y)
		tab.AddFloat("u_y", "1", flat(y, 0.1))
		kept, factor, err := perLength(parsed("1"))
		if err != nil || kept.Code() != "1/cm" {
			t.Fatal(kept.Code(), err)
		}
		out := copyColumns(tab)
		turn(out, "y", kept.Code(), 0, factor/l)
		for i := range y {
			if got := out.Floats("y")[i] * l / 10; math.Abs(got-y[i]) > 1e-14*math.Abs(y[i]) {
				t.Fatalf("%v · %v mm gives %v", out.Floats("y")[i], l, got)
			}
			if u := out.Floats("u_y")[i]; !near(u, 0.1*10/l, 1e-14) {
				t.Fatalf("u %v", u)
			}
		}
		if tab.Floats("u_y")[0] != 0.1 || fmt.Sprint(tab.Floats("y")) != fmt.Sprint(y) {
			t.Fatal("the input was changed")
		}
	})
}
