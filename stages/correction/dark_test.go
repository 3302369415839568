package correction

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

const darkStudy = `
constants: {bias: 3.0(5)}
graph:
  scans:
    kind: read
    set: {files: "raw/<sample>_<dwell [s]>.dat"}
  shutter:
    kind: read
    set: {files: "raw/dark_<dwell [s]>.txt"}
  net:
    kind: correct.dark
    from: {curve: scans, dark: {stage: shutter, only: true}}
    set: {dwell: dwell}
`

func TestDarkStudy(t *testing.T) {
	x := []float64{400, 401, 402}
	scan := func(unit string) string {
		return curveFile("wavelength [nm] | signal"+unit+" | u_signal"+unit+" | temperature [K]", x, []float64{100, 200, 300}, []float64{3, 4, 12}, flat(x, 293))
	}
	dark := func(unit string) string {
		return curveFile("wavelength [nm] | level"+unit+" | u_level"+unit, x, []float64{40, 80, 120}, []float64{16, 12, 20}) // noise in quadrature: 3·4·5 and 5·12·13
	}
	for _, c := range []struct {
		name, unit, code, set string
		y, u                  []float64
		flag                  string
	}{
		// counts of 0.5 s against a dark scan of 2 s: a quarter of it
		{"counts", "", "1", "dwell", []float64{90, 180, 270}, []float64{5, 5, 13}, "multiplied by 0.25 (dwell 0.5 s against 2 s)"},
		{"counts, equal dwell", "", "1", "equal", []float64{60, 120, 180}, []float64{math.Hypot(3, 16), math.Hypot(4, 12), math.Hypot(12, 20)}, ""},
		{"rates", " [1/s]", "1/s", "dwell", []float64{60, 120, 180}, []float64{math.Hypot(3, 16), math.Hypot(4, 12), math.Hypot(12, 20)}, ""},
		{"volts", " [V]", parsed("V").Code(), "dwell", []float64{60, 120, 180}, []float64{math.Hypot(3, 16), math.Hypot(4, 12), math.Hypot(12, 20)}, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := runStudy(t, strings.Replace(darkStudy, "dwell: dwell", "dwell: "+c.set, 1), "sample\ns\n", map[string]string{"s_0.5.dat": scan(c.unit), "dark_2.txt": dark(c.unit)})
			tab := s.table(t, "net", "corrected", "")
			if y, u := column(t, tab, "signal", c.code), column(t, tab, "u_signal", c.code); !same(y, c.y, 1e-12) || !same(u, c.u, 1e-12) {
				t.Errorf("%v ± %v, want %v ± %v", y, u, c.y, c.u)
			}
			if got := column(t, tab, "temperature", "K"); !same(got, flat(x, 293), 0) {
				t.Errorf("what the file held beside: %v", got)
			}
			if fl := s.flags(t, "net", "corrected", ""); c.flag == "" && fl != "" || !strings.Contains(fl, c.flag) {
				t.Errorf("flags %q, want %q", fl, c.flag)
			}
		})
	}
}

func TestDarkRemarks(t *testing.T) {
	x := grid(400, 1, 40)
	r := rand.New(rand.NewPCG(5, 6))
	noisy := func(level float64) []float64 {
		return over(x, func(float64) float64 { return level + 3*r.NormFloat64() })
	}
	file := func(x, y []float64) string { return curveFile("wavelength [nm] | signal | u_signal", x, y, flat(x, 3)) }
	for _, c := range []struct {
		name, scan, dark string
		want             []string
		not              string
		rows             int
	}{
		{"dark above the scan", file(x, noisy(10)), file(x, noisy(60)), []string{"flag: the dark scan lies above the scan at"}, "", 40},
		{"nothing but dark", file(x, noisy(50)), file(x, noisy(50)), nil, "lies above", 40},
		{"shorter", file(x, noisy(500)), file(x[5:30], noisy(50)[5:30]), []string{"15 points beyond the range of the dark scan (405 to 429 nm)"}, "", 25},
		{"another axis", file(x, noisy(500)), file(over(x, func(v float64) float64 { return v - 0.5 }), noisy(50)), []string{"interpolated at 39 points"}, "", 39},
		{"u unknown", file(x, noisy(500)), curveFile("wavelength [nm] | signal", x, noisy(50)), []string{"uncertainty of the scan or of the dark scan is unknown"}, "", 40},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := runStudy(t, darkStudy, "sample\ns\n", map[string]string{"s_1.dat": c.scan, "dark_1.txt": c.dark})
			flags := s.flags(t, "net", "corrected", "")
			holds(t, flags, c.want...)
			if c.not != "" && strings.Contains(flags, c.not) {
				t.Errorf("flags %q", flags)
			}
			tab := s.table(t, "net", "corrected", "")
			if tab.Len() != c.rows {
				t.Errorf("%d rows, want %d", tab.Len(), c.rows)
			}
			if c.name == "u unknown" && !math.IsNaN(column(t, tab, "u_signal", "1")[3]) {
				t.Error("an uncertainty that is not known was given")
			}
		})
	}
}

func TestDarkBadInput(t *testing.T) {
	x := grid(400, 1, 40)
	good := curveFile("wavelength [nm] | signal", x, flat(x, 5))
	for _, c := range []struct {
		name, scan, dark, shutter string
		want                      []string
	}{
		{"units", "s_1.dat", "dark_1.txt", strings.Replace(good, "signal", "signal [1/s]", 1), []string{"port `dark`", "found column signal in s⁻¹; expected no unit", "`columns"}},
		{"axes", "s_1.dat", "dark_1.txt", strings.Replace(good, "[nm]", "[eV]", 1), []string{"port `dark`", "found column wavelength in eV; expected nm"}},
		{"elsewhere", "s_1.dat", "dark_1.txt", curveFile("wavelength [nm] | signal", grid(900, 1, 5), grid(1, 1, 5)), []string{"no range of the axis in common", "400 to 439", "900 to 904"}},
		{"axis turns", "s_1.dat", "dark_1.txt", curveFile("wavelength [nm] | signal", []float64{400, 420, 410}, []float64{1, 1, 1}), []string{"the dark scan", "rise or fall strictly", "mend its file"}},
		{"dwell zero", "s_0.dat", "dark_1.txt", good, []string{"`dwell`", "more than 0 s"}},
		{"dark dwell zero", "s_1.dat", "dark_0.txt", good, []string{"`dwell`", "more than 0 s"}},
		{"nothing there", "s_1.dat", "dark_1.txt", curveFile("wavelength [nm] | signal", x, flat(x, math.NaN())), []string{"no point of the scan is left"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			runStudy(t, darkStudy, "sample\ns\n", map[string]string{c.scan: good, c.dark: c.shutter}).refused(t, "net", "sample=s", c.want...)
		})
	}
}

func TestDarkRatio(t *testing.T) {
	for _, c := range []struct {
		unit        string
		curve, dark float64
		want        float64
		err         error
	}{
		{"1", 0.5, 2, 0.25, nil}, {"", 3, 1, 3, nil}, {"1/s", 0.5, 2, 1, nil}, {"V", 0.5, 2, 1, nil},
		{"1", 0, 2, 0, ErrDwell}, {"1/s", 1, -1, 0, ErrDwell}, {"1", math.NaN(), 1, 0, ErrDwell}, {"1", 1, math.Inf(1), 0, ErrDwell},
	} {
		if got, err := DarkRatio(c.unit, c.curve, c.dark); got != c.want || !errors.Is(err, c.err) {
			t.Errorf("%+v: %v, %v", c, got, err)
		}
	}
}

// Counts of a detector with a dark rate, scaled and subtracted, divided by their dwell, are what the rates of the same scans give.
func TestDarkCountsAndRatesAgree(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 20).Draw(t, "points")
		own, dark := rapid.Float64Range(0.1, 10).Draw(t, "dwell"), rapid.Float64Range(0.1, 10).Draw(t, "dark dwell")
		x := grid(0, 1, n)
		y := rapid.SliceOfN(rapid.Float64Range(0, 1000), n, n).Draw(t, "counts")
		b := rapid.SliceOfN(rapid.Float64Range(0, 1000), n, n).Draw(t, "dark counts")
		per := func(v []float64, dwell float64) []float64 { return Affine(make([]float64, n), v, 0, 1/dwell) }
		r, err := DarkRatio("1", own, dark)
		if err != nil {
			t.Fatal(err)
		}
		counts, err := Subtract(x, y, y, x, b, b, r)
		if err != nil {
			t.Fatal(err)
		}
		rates, err := Subtract(x, per(y, own), per(y, own), x, per(b, dark), per(b, dark), 1)
		if err != nil {
			t.Fatal(err)
		}
		if !same(per(counts.Y, own), rates.Y, 1e-9) || !same(per(counts.U, own), rates.U, 1e-9) {
			t.Fatalf("%v\n%v", per(counts.Y, own), rates.Y)
		}
	})
}

func TestMostly(t *testing.T) {
	// 20 tosses: P(19 or more) = 2.0e-5 (binomial, closed form), P(18 or more) = 2.0e-4; four standard deviations lie between 18 and 19
	for _, c := range []struct {
		k, n int
		want bool
	}{{9, 9, false}, {10, 10, false}, {18, 20, false}, {19, 20, true}, {10, 20, false}, {0, 20, false}, {600, 1000, true}, {550, 1000, false}} {
		if got := Mostly(c.k, c.n); got != c.want {
			t.Errorf("%d of %d: %v", c.k, c.n, got)
		}
	}
}

// Shifted calls take the same points, and move smoothly with the axis, also beyond the end of the background.
func TestSubtractAgain(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 15).Draw(t, "points")
		bx := make([]float64, n)
		at := 0.0
		for i := range bx {
			bx[i] = at
			at += rapid.Float64Range(0.5, 2).Draw(t, "step")
		}
		slope, level := rapid.Float64Range(-3, 3).Draw(t, "slope"), rapid.Float64Range(-3, 3).Draw(t, "level")
		by := over(bx, func(x float64) float64 { return level + slope*x })
		falls := rapid.Bool().Draw(t, "falls")
		if falls {
			reverse(bx)
			reverse(by)
		}
		x := []float64{bx[0], bx[n-1], (bx[0] + bx[1]) / 2, bx[n/2], -1e9}
		y := flat(x, 7)
		first, err := Subtract(x, y, nil, bx, by, nil, 2)
		if err != nil {
			t.Fatal(err)
		}
		if again := first.Again(x, y, bx, by, 2); !same(again.Y, first.Y, 1e-12) {
			t.Fatalf("%v, again %v", first.Y, again.Y)
		}
		d := rapid.Float64Range(-0.2, 0.2).Draw(t, "shift")
		again := first.Again(over(x, func(v float64) float64 { return v + d }), y, bx, by, 2)
		for i := range x {
			if math.IsNaN(first.Y[i]) != math.IsNaN(again.Y[i]) || math.Abs(again.Y[i]-first.Y[i]+2*slope*d) > 1e-5 {
				t.Fatalf("x %v shifted by %v: %v, was %v, slope %v", x[i], d, again.Y[i], first.Y[i], slope)
			}
		}
	})
}

// A point upon a kink of the background, shifted, is taken on the side that it went to.
func TestSubtractAgainKink(t *testing.T) {
	bx, by := []float64{0, 1, 2}, []float64{0, 0, 10}
	for _, falls := range []bool{false, true} {
		if falls {
			reverse(bx)
			reverse(by)
		}
		r, err := Subtract([]float64{1}, []float64{0}, nil, bx, by, nil, 1)
		if err != nil {
			t.Fatal(err)
		}
		for x, want := range map[float64]float64{0.9: 0, 1: 0, 1.1: -1} {
			if got := r.Again([]float64{x}, []float64{0}, bx, by, 1).Y[0]; math.Abs(got-want) > 1e-12 {
				t.Errorf("falls %v, at %v: %v, want %v", falls, x, got, want)
			}
		}
	}
}

func reverse(v []float64) {
	for i, j := 0, len(v)-1; i < j; i, j = i+1, j-1 {
		v[i], v[j] = v[j], v[i]
	}
}
