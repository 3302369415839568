package correction

import (
	"math"
	"slices"
	"strings"
	"testing"

	"fascicle/pipeline/table"
)

const subtractStudy = `
graph:
  curves:
    kind: read
    set: {files: "raw/<sample>.dat", columns: {q: 1/nm, I: 1/cm, u_I: 1/cm, T: K}}
  solvents:
    kind: read
    set: {files: "raw/<solvent>.txt"}
  factors:
    kind: read
    set: {files: "raw/<day>.csv", form: row}
  net:
    kind: correct.subtract
    from: {curve: curves, background: {stage: solvents, only: true}, factor: {stage: factors, output: row, only: true}}
    set: {scale: 0.5, range: [0.2 1/nm, 0.4 1/nm]}
`

func subtractFiles() map[string]string {
	x := []float64{0.1, 0.2, 0.3, 0.4, 0.5}
	return map[string]string{
		"s.dat": curveFile("q [1/nm] | I [1/cm] | u_I [1/cm] | T [K]", x, []float64{10, 9, 8, 7, 6}, flat(x, 3), flat(x, 293)),
		"w.txt": curveFile("q [1/nm] | I [1/cm] | u_I [1/cm]", x, []float64{1, 2, 3, 4, 5}, flat(x, 4)),
		"d.csv": curveFile("factor | u_factor", []float64{2}, []float64{0.1}),
	}
}

func TestSubtractStudy(t *testing.T) {
	s := runStudy(t, subtractStudy, "sample\ns\n", subtractFiles())
	tab := s.table(t, "net", "corrected", "")
	for _, c := range []struct {
		name, unit string
		want       []float64
	}{
		{"q", "1/nm", []float64{0.2, 0.3, 0.4}},
		{"I", "1/cm", []float64{7, 5, 3}},
		{"u_I", "1/cm", []float64{5, 5, 5}},
		{"T", "K", []float64{293, 293, 293}},                           // what the file held beside stays
		{"I@factors.row[day=d]", "1/cm", []float64{-0.1, -0.15, -0.2}}, // −scale·background·u(factor): linear, so exact
	} {
		if got := column(t, tab, c.name, c.unit); !same(got, c.want, 1e-12) {
			t.Errorf("%s: %v, want %v; columns %v", c.name, got, c.want, tab.Names())
		}
	}
}

// A background without u makes that of the difference unknown, although the study's columns promise one.
func TestSubtractStudyUnknownU(t *testing.T) {
	files := subtractFiles()
	files["w.txt"] = curveFile("q [1/nm] | I [1/cm]", []float64{0.1, 0.3, 0.5}, []float64{1, 3, 5})
	s := runStudy(t, subtractStudy, "sample\ns\n", files)
	tab := s.table(t, "net", "corrected", "")
	if got := column(t, tab, "I", "1/cm"); !same(got, []float64{7, 5, 3}, 1e-12) {
		t.Errorf("I: %v", got)
	}
	if u := column(t, tab, "u_I", "1/cm"); !slices.ContainsFunc(u, math.IsNaN) {
		t.Errorf("u: %v", u)
	}
	holds(t, s.flags(t, "net", "corrected", ""), "uncertainty of the curve or of the background is unknown", "the background was interpolated at 2 points")
}

// Bounds of a value move with it.
func TestSubtractStudyBounds(t *testing.T) {
	files := subtractFiles()
	x := []float64{0.2, 0.3, 0.4}
	files["s.dat"] = curveFile("q [1/nm] | I [1/cm] | I_lo [1/cm] | I_hi [1/cm]", x, []float64{9, 8, 7}, []float64{8, math.NaN(), 6}, []float64{11, 10, 9})
	text := strings.Replace(subtractStudy, ", columns: {q: 1/nm, I: 1/cm, u_I: 1/cm, T: K}", "", 1)
	tab := runStudy(t, text, "sample\ns\n", files).table(t, "net", "corrected", "")
	if lo, hi := column(t, tab, "I_lo", "1/cm"), column(t, tab, "I_hi", "1/cm"); !same(lo, []float64{6, math.NaN(), 2}, 1e-12) || !same(hi, []float64{9, 7, 5}, 1e-12) {
		t.Errorf("%v to %v", lo, hi)
	}
}

func TestSubtractStudyBadInput(t *testing.T) {
	for _, c := range []struct {
		name, file, old, new string
		want                 []string
	}{
		{"another unit", "w.txt", "I [1/cm]", "I", []string{"port `background`", "found column I in no unit; expected cm⁻¹"}},
		{"no factor", "d.csv", "2\t", "-\t", []string{"port `factor`", "no value"}},
		{"turning", "w.txt", "0.5\t", "0.35\t", []string{"the background cannot be taken off", "axis must rise or fall"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			files := subtractFiles()
			files[c.file] = strings.Replace(files[c.file], c.old, c.new, 1)
			runStudy(t, subtractStudy, "sample\ns\n", files).refused(t, "net", "", c.want...)
		})
	}
	t.Run("nothing in the range", func(t *testing.T) {
		text := strings.Replace(subtractStudy, "[0.2 1/nm, 0.4 1/nm]", "[2 1/nm, 3 1/nm]", 1)
		runStudy(t, text, "sample\ns\n", subtractFiles()).refused(t, "net", "", "no point of the curve is left", "from 0.1 to 0.5 1/nm")
	})
	t.Run("range in another unit", func(t *testing.T) {
		text := strings.Replace(subtractStudy, "[0.2 1/nm, 0.4 1/nm]", "[2 nm, 3 nm]", 1)
		runStudy(t, text, "sample\ns\n", subtractFiles()).refused(t, "net", "", "setting `range` is in nm")
	})
}

func TestCut(t *testing.T) {
	tab := &table.Table{}
	tab.AddFloatValid("x", "nm", []float64{1, 2, 3, 4}, []bool{true, false, true, true})
	tab.AddInt("n", "1", []int64{1, 2, 3, 4})
	tab.AddText("w", []string{"a", "b", "c", "d"})
	got := cut(tab, 1, 2)
	if err := got.Check(); err != nil || got.Len() != 2 || !got.Columns[0].IsNull(0) || got.Col("n").Ints[1] != 3 || got.Col("w").Texts[0] != "b" {
		t.Errorf("%+v, %v", got, err)
	}
	if tab.Len() != 4 {
		t.Error("the input was changed")
	}
}
