package correction

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"fascicle/pipeline/table"
)

const scaledStudy = `
graph:
  scans:
    kind: read
    set: {files: "raw/<sample>.dat"}
  factors:
    kind: read
    set: {files: "raw/factor_<day>.txt", form: row}
  axes:
    kind: read
    set: {files: "raw/axis_<day>.txt", form: row}
  scaled:
    kind: correct.scale
    from:
      curve: scans
      factor: {stage: factors, output: row, only: true}
      axis: {stage: axes, output: row, only: true}
    set: {inverse: false}
`

func TestScaleStudy(t *testing.T) {
	nan := math.NaN()
	x := []float64{400, 500, 600}
	files := map[string]string{
		"s.dat":         curveFile("wavelength [nm] | signal [1/s] | u_signal [1/s]", x, []float64{10, nan, -20}, []float64{1, 1, 2}),
		"factor_d1.txt": curveFile("factor [mol/L] | u_factor [mol/L]", []float64{0.5}, []float64{0.01}),
		"axis_d1.txt":   curveFile("offset [nm] | u_offset [nm] | scale | u_scale", []float64{-3}, []float64{0.2}, []float64{1.01}, []float64{0.001}),
	}
	s := runStudy(t, scaledStudy, "sample\ns\n", files)
	tab := s.table(t, "scaled", "corrected", "")
	unit := parsed("mol/L").Mul(parsed("1/s"))
	kept, by := inside(unit)
	want := func(v ...float64) []float64 { return Affine(v, v, 0, by) }
	if got := column(t, tab, "signal", kept.Code()); !same(got, want(5, nan, -10), 1e-12*by*10) {
		t.Errorf("signal %v", got)
	}
	if got := column(t, tab, "u_signal", kept.Code()); !same(got, want(0.5, 0.5, 1), 1e-12*by) {
		t.Errorf("u %v: the factor's own u is not the curve's", got)
	}
	if got := column(t, tab, "wavelength", "nm"); !same(got, []float64{401, 502, 603}, 1e-10) {
		t.Errorf("axis %v", got)
	}
	// linear, so each part is exactly derivative times u
	for _, c := range []struct {
		name string
		unit string
		want []float64
	}{
		{"signal@factors.row[day=d1]", kept.Code(), want(0.1, 0, -0.2)},
		{"wavelength@axes.row[day=d1].1", "nm", []float64{0.2, 0.2, 0.2}},
		{"wavelength@axes.row[day=d1].2", "nm", []float64{0.4, 0.5, 0.6}},
	} {
		if got := column(t, tab, c.name, c.unit); got == nil || !same(got, c.want, 1e-9*math.Abs(c.want[0])) {
			t.Errorf("%s: %v, want %v; columns %v", c.name, got, c.want, tab.Names())
		}
	}
}

func TestScaleOneAlone(t *testing.T) {
	x := []float64{400, 500, 600}
	files := map[string]string{
		"s.dat":         curveFile("wavelength [nm] | signal [1/s] | u_signal [1/s]", x, []float64{10, 5, -20}, []float64{1, 1, 2}),
		"factor_d1.txt": curveFile("factor | offset [1/s]", []float64{-2}, []float64{4}),
		"axis_d1.txt":   curveFile("offset [nm] | scale", []float64{-3}, []float64{1}),
	}
	noAxis := strings.Replace(scaledStudy, "      axis: {stage: axes, output: row, only: true}\n", "", 1)
	noFactor := strings.Replace(scaledStudy, "      factor: {stage: factors, output: row, only: true}\n", "", 1)
	for _, c := range []struct {
		name, study  string
		x, signal, u []float64
	}{
		{"factor with offset", noAxis, x, []float64{-16, -6, 44}, []float64{2, 2, 4}},
		{"factor with offset, inverse", strings.Replace(noAxis, "inverse: false", "inverse: true", 1), x, []float64{-3, -0.5, 12}, []float64{0.5, 0.5, 1}},
		{"axis", noFactor, []float64{397, 497, 597}, []float64{10, 5, -20}, []float64{1, 1, 2}},
		{"axis, inverse concerns the factor alone", strings.Replace(noFactor, "inverse: false", "inverse: true", 1), []float64{397, 497, 597}, []float64{10, 5, -20}, []float64{1, 1, 2}},
	} {
		t.Run(c.name, func(t *testing.T) {
			tab := runStudy(t, c.study, "sample\ns\n", files).table(t, "scaled", "corrected", "")
			if !same(column(t, tab, "signal", "1/s"), c.signal, 1e-12) || !same(column(t, tab, "u_signal", "1/s"), c.u, 1e-12) || !same(column(t, tab, "wavelength", "nm"), c.x, 1e-12) {
				t.Errorf("%v", tab.Columns)
			}
		})
	}
}

func TestScaleBadInput(t *testing.T) {
	x := []float64{400, 500, 600}
	good := map[string]string{
		"s.dat":         curveFile("wavelength [nm] | signal [1/s]", x, []float64{10, 5, -20}),
		"factor_d1.txt": "factor\n2\n",
		"axis_d1.txt":   "offset [nm]\tscale\n-3\t1\n",
	}
	for _, c := range []struct {
		name, file, content string
		want                []string
	}{
		{"no factor", "factor_d1.txt", "factor\n-\n", []string{"port `factor`", "no value for `factor`"}},
		{"factor zero", "factor_d1.txt", "factor\n0\n", []string{"factor 0", "look at the standard"}},
		{"no such column", "factor_d1.txt", "level\n1\n", []string{"port `factor`", "needs the column factor"}},
		{"offset in another unit", "factor_d1.txt", "factor\toffset [V]\n1\t1\n", []string{"offset", "V", "1/s"}},
		{"axis turned round", "axis_d1.txt", "offset [nm]\tscale\n1000\t-1\n", []string{"scale -1", "above 0"}},
		{"axis flat", "axis_d1.txt", "offset [nm]\tscale\n1000\t0\n", []string{"scale 0", "above 0"}},
		{"axis in another unit", "axis_d1.txt", "offset [eV]\tscale\n1\t1\n", []string{"port `axis`", "eV", "nm"}},
		{"scale with a unit", "axis_d1.txt", "offset [nm]\tscale [nm]\n1\t1\n", []string{"pure number"}},
		{"points made one", "axis_d1.txt", "offset [nm]\tscale\n1e12\t1e-9\n", []string{"one"}},
		{"scale empty", "axis_d1.txt", "offset [nm]\tscale\n1\t-\n", []string{"no value for `scale`"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			files := map[string]string{}
			for k, v := range good {
				files[k] = v
			}
			files[c.file] = c.content
			runStudy(t, scaledStudy, "sample\ns\n", files).refused(t, "scaled", "", c.want...)
		})
	}
	t.Run("nothing to apply", func(t *testing.T) {
		text := strings.Replace(scaledStudy, "      factor: {stage: factors, output: row, only: true}\n      axis: {stage: axes, output: row, only: true}\n", "", 1)
		_, faults := loadStudy(t, text, "sample\ns\n", good)
		holds(t, faults, "nothing to apply")
	})
}

// The inverse undoes a calibration, for values, u and bounds, whatever the signs.
func TestScaleInverse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := rapid.Float64Range(0.01, 50).Draw(t, "factor")
		if rapid.Bool().Draw(t, "negative") {
			f = -f
		}
		offset := rapid.Float64Range(-5, 5).Draw(t, "offset")
		y := rapid.SliceOfN(rapid.Float64Range(-10, 10), 1, 20).Draw(t, "y")
		tab := &table.Table{}
		tab.AddFloat("x", "nm", grid(0, 1, len(y)))
		tab.AddFloat("y", "1/s", y)
		tab.AddFloat("u_y", "1/s", flat(y, 0.3))
		tab.AddFloat("y_lo", "1/s", over(y, func(v float64) float64 { return v - 1 }))
		tab.AddFloat("y_hi", "1/s", over(y, func(v float64) float64 { return v + 2 }))
		words := make([]string, len(y))
		for i := range words {
			words[i] = []string{"lower", "upper", "interval"}[i%3]
		}
		tab.AddText("y_bound", words)
		calibration := &table.Table{}
		calibration.AddFloat("factor", "V", []float64{f})
		calibration.AddFloat("offset", parsed("1/s").Mul(parsed("V")).Code(), []float64{offset})
		apply := func(in *table.Table, inverse bool) *table.Table {
			c, err := readCurve(in, "the curve")
			if err != nil {
				t.Fatal(err)
			}
			out := copyColumns(in)
			unit, _ := scaledUnit(parsed(c.value.Unit), parsed("V"), false)
			calibration.Col("offset").Unit = unit.Code()
			if inverse {
				calibration.Col("offset").Unit = c.value.Unit
			}
			if err := scaleValues(out, &c, calibration, inverse); err != nil {
				t.Fatal(err)
			}
			return out
		}
		there := apply(tab, false)
		for i := range y {
			if lo, v, hi := there.Floats("y_lo")[i], there.Floats("y")[i], there.Floats("y_hi")[i]; !(lo < v && v < hi) {
				t.Fatalf("bounds %v %v %v", lo, v, hi)
			}
			if want := words[i]; f < 0 && want != "interval" && there.Col("y_bound").Texts[i] == want {
				t.Fatalf("a factor of %v left the bound %s", f, want)
			}
		}
		back := apply(there, true)
		if back.Col("y").Unit != "1/s" {
			t.Fatalf("back in %q", back.Col("y").Unit)
		}
		for _, name := range []string{"y", "u_y", "y_lo", "y_hi"} {
			// offset − offset leaves what rounding of the greater of both leaves, divided by the factor
			tol := 1e-13 * (12 + math.Abs(offset)/math.Abs(f)*1e3)
			if got, want := back.Floats(name), tab.Floats(name); !same(got, want, tol) {
				t.Fatalf("%s: %v, want %v", name, got, want)
			}
		}
		for i, w := range back.Col("y_bound").Texts {
			if w != words[i] {
				t.Fatalf("bound %s, want %s", w, words[i])
			}
		}
	})
}

func BenchmarkTurn(b *testing.B) {
	tab := &table.Table{}
	x := grid(0, 1, 1000)
	tab.AddFloat("x", "nm", x)
	tab.AddFloat("y", "1", x)
	tab.AddFloat("u_y", "1", x)
	b.ReportAllocs()
	for b.Loop() {
		out := copyColumns(tab)
		turn(out, "y", "1/cm", 0, 0.1)
	}
}
