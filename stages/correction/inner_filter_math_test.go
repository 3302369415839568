package correction

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

func TestInnerFilterFactor(t *testing.T) {
	for _, c := range []struct {
		name   string
		g      Geometry
		ex, em float64
		want   float64
		tol    float64
	}{
		// 10^((A_ex + A_em)/2): Lakowicz, Principles of Fluorescence Spectroscopy, 3rd ed., eq. 2.6 (equation number from memory)
		{"centre", Centre, 0.06, 0, 1.0715193, 5e-8},
		{"centre", Centre, 0.1, 0.05, 1.1885022, 5e-8},
		{"centre", Centre, 0.3, 0.1, 1.5848932, 5e-8},
		{"centre", Centre, 0.5, 0.5, 3.1622777, 5e-8},
		// ln 10·A/(1 − 10^−A), the primary effect with the whole path seen: Parker's form
		{"whole path", WholePath, 0.06, 0, 1.0706676, 5e-8},
		{"whole path", WholePath, 0.1, 0, 1.1195436, 5e-8},
		{"whole path", WholePath, 0.3, 0, 1.3848393, 5e-8},
		{"whole path", WholePath, 0.5, 0, 1.6837369, 5e-8},
		{"front face", FrontFace, 0.3, 0, 1.3848393, 5e-8},
		{"front face", FrontFace, 0.2, 0.3, 1.6837369, 5e-8},
		{"whole path and emission", WholePath, 0.1, 0.2, 1.1195436 * math.Pow(10, 0.1), 1e-7},
		{"thin", Centre, 0, 0, 1, 0}, {"thin", WholePath, 0, 0, 1, 0}, {"thin", FrontFace, 0, 0, 1, 0},
	} {
		if f, _, _ := InnerFilterFactor(c.g, c.ex, c.em); math.Abs(f-c.want) > c.tol {
			t.Errorf("%s, A %v and %v: %.8f, want %v", c.name, c.ex, c.em, f, c.want)
		}
	}
	// Kubista et al., Analyst 119 (1994) 417: a loss of about 8 % at A = 0.06; eq. 2.6 makes it 6.67 %
	if f, _, _ := InnerFilterFactor(Centre, 0.06, 0); math.Abs(1-1/f-0.0667) > 5e-5 {
		t.Errorf("loss at A = 0.06: %v", 1-1/f)
	}
}

// The closed forms are what Beer-Lambert's law gives when the emission of thin layers is summed through the cell.
func TestInnerFilterLayers(t *testing.T) {
	const layers = 20000
	for _, ex := range []float64{-0.05, 1e-4, 0.04, 0.3, 1.2, 3} {
		for _, em := range []float64{0, 0.02, 0.5, 2} {
			var whole, front, zone float64
			for k := range layers {
				x := (float64(k) + 0.5) / layers // depth, midpoint rule
				whole += math.Pow(10, -ex*x) * math.Pow(10, -em/2)
				front += math.Pow(10, -(ex+em)*x)
			}
			zone = math.Pow(10, -(ex+em)/2)
			for _, c := range []struct {
				g    Geometry
				seen float64 // of what a sample without absorption would show
			}{{WholePath, whole / layers}, {FrontFace, front / layers}, {Centre, zone}} {
				if f, _, _ := InnerFilterFactor(c.g, ex, em); !near(f*c.seen, 1, 1e-7) {
					t.Errorf("geometry %d, A %v and %v: %v times %v", c.g, ex, em, f, c.seen)
				}
			}
		}
	}
}

// Derivatives agree with differences; seen deeper, a sample needs less correction than at the centre alone: (σ/2)/sinh(σ/2) ≤ 1.
func TestInnerFilterDerivatives(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ex, em := rapid.Float64Range(-0.3, 3.5).Draw(t, "ex"), rapid.Float64Range(-0.3, 3.5).Draw(t, "em")
		centre, _, _ := InnerFilterFactor(Centre, ex, em)
		for _, g := range []Geometry{Centre, WholePath, FrontFace} {
			f, dEx, dEm := InnerFilterFactor(g, ex, em)
			const h = 1e-5
			ln := func(ex, em float64) float64 { f, _, _ := InnerFilterFactor(g, ex, em); return math.Log(f) }
			for _, d := range [][2]float64{{dEx, (ln(ex+h, em) - ln(ex-h, em)) / (2 * h)}, {dEm, (ln(ex, em+h) - ln(ex, em-h)) / (2 * h)}} {
				if math.Abs(d[0]-d[1]) > 1e-7 {
					t.Fatalf("geometry %d, A %v and %v: derivative %v, difference %v", g, ex, em, d[0], d[1])
				}
			}
			if f > centre*(1+1e-12) || ex >= 0 && em >= 0 && f < 1 {
				t.Fatalf("geometry %d, A %v and %v: factor %v, at the centre %v", g, ex, em, f, centre)
			}
		}
	})
}

// Around the change to the series neither value nor derivative jumps.
func TestPathLossJoins(t *testing.T) {
	for _, s := range []float64{0.1, -0.1} {
		p1, d1 := pathLoss(s * (1 - 1e-9))
		p2, d2 := pathLoss(s * (1 + 1e-9))
		if !near(p1, p2, 1e-9) || !near(d1, d2, 1e-9) {
			t.Errorf("at σ = %v: %v and %v, derivatives %v and %v", s, p1, p2, d1, d2)
		}
	}
}

// A spectrum dimmed by an absorbance that is straight between its points comes back, whatever the geometry, effect and order of axes.
func TestCorrectInnerFilterRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ax := grid(300, 10, 41)
		a := make([]float64, len(ax))
		for i := range a {
			a[i] = rapid.Float64Range(0, 1.2).Draw(t, "absorbance")
		}
		straight := func(x float64) float64 {
			j := min(int((x-300)/10), len(ax)-2)
			return a[j] + (a[j+1]-a[j])*(x-ax[j])/10
		}
		o := InnerFilterOptions{Geometry: Geometry(rapid.IntRange(0, 2).Draw(t, "geometry")), Excitation: rapid.Bool().Draw(t, "excitation"),
			Emission: rapid.Bool().Draw(t, "emission"), Wavelength: rapid.Float64Range(300, 700).Draw(t, "exciting"), Length: rapid.Float64Range(0.1, 2).Draw(t, "length")}
		x := rapid.SliceOfN(rapid.Float64Range(300, 700), 1, 30).Draw(t, "x")
		y := make([]float64, len(x))
		for i := range x {
			var ex, em float64
			if o.Excitation {
				ex = o.Length * straight(o.Wavelength)
			}
			if o.Emission {
				em = o.Length * straight(x[i])
			}
			f, _, _ := InnerFilterFactor(o.Geometry, ex, em)
			y[i] = 5 / f
		}
		axis, values := append([]float64{}, ax...), append([]float64{}, a...)
		if rapid.Bool().Draw(t, "falling") {
			reverse(axis)
			reverse(values)
		}
		r, err := CorrectInnerFilter(x, y, flat(x, 1), axis, values, flat(axis, 0), o, nil)
		if err != nil {
			t.Fatal(err)
		}
		for i := range x {
			// a wavelength within 1e-6 of a step of a point counts as that point
			if !near(r.Y[i], 5, 1e-5) || !near(r.U[i], r.Factor[i], 1e-12) || r.UFactor[i] != 0 {
				t.Fatalf("%v nm: %v ± %v, factor %v", x[i], r.Y[i], r.U[i], r.Factor[i])
			}
		}
		again, err := CorrectInnerFilter(x, y, flat(x, 1), axis, values, flat(axis, 0), o, &r.Places)
		if err != nil || !same(again.Y, r.Y, 1e-12) {
			t.Fatalf("again: %v, %v", again.Y, err)
		}
	})
}

// u is the standard deviation over draws of emission and absorbance, also where one point of the absorbance serves both wavelengths.
func TestCorrectInnerFilterSpread(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 1))
	ax, a, ua := []float64{400, 410, 420, 430}, []float64{0.5, 0.3, 0.2, 0.1}, []float64{0.004, 0.006, 0.003, 0.005}
	x, y, u := []float64{405, 410, 412, 427}, []float64{100, 200, 300, 100}, []float64{0.5, 0.1, 2, 0.2}
	const draws = 8000
	for _, g := range []Geometry{Centre, WholePath, FrontFace} {
		o := InnerFilterOptions{Geometry: g, Excitation: true, Emission: true, Wavelength: 407, Length: 1}
		want, err := CorrectInnerFilter(x, y, u, ax, a, ua, o, nil)
		if err != nil {
			t.Fatal(err)
		}
		square := make([]float64, len(x))
		noisy := func(v, u []float64) []float64 {
			out := make([]float64, len(v))
			for i := range v {
				out[i] = v[i] + u[i]*r.NormFloat64()
			}
			return out
		}
		for range draws {
			got, err := CorrectInnerFilter(x, noisy(y, u), nil, ax, noisy(a, ua), nil, o, nil)
			if err != nil {
				t.Fatal(err)
			}
			for i := range x {
				square[i] += (got.Y[i] - want.Y[i]) * (got.Y[i] - want.Y[i]) / draws
			}
		}
		for i := range x { // the standard deviation of 8000 draws is known to 0.8 %
			if !near(math.Sqrt(square[i]), want.U[i], 0.035) {
				t.Errorf("geometry %d, %v nm: spread %v, u %v", g, x[i], math.Sqrt(square[i]), want.U[i])
			}
		}
	}
}

func TestCorrectInnerFilterMissing(t *testing.T) {
	nan := math.NaN()
	ax, a := []float64{400, 410, 420, 430, 440}, []float64{0.5, 3.6, 0.2, nan, 0.1}
	ua := []float64{0.01, 0.01, nan, 0.01, -1}
	x, y, u := []float64{400, 410, 420, 425, 440, nan, 400}, []float64{1, 1, 1, 1, 1, 1, nan}, flat(make([]float64, 7), 0.1)
	r, err := CorrectInnerFilter(x, y, u, ax, a, ua, InnerFilterOptions{Emission: true, Length: 1}, nil)
	if err != nil {
		t.Fatal(err)
	}
	f := func(a float64) float64 { return math.Pow(10, a/2) }
	if !same(r.Y, []float64{f(0.5), nan, f(0.2), nan, f(0.1), nan, nan}, 1e-12) || r.Dark != 1 || r.Missing != 3 {
		t.Errorf("%v, %d too dark, %d missing", r.Y, r.Dark, r.Missing)
	}
	// unknown or negative u of the absorbance makes u unknown, not the value
	if math.IsNaN(r.U[0]) || !math.IsNaN(r.U[2]) || !math.IsNaN(r.U[4]) {
		t.Errorf("u %v", r.U)
	}
	if !math.IsNaN(r.Em[1]) && !math.IsNaN(r.Em[3]) {
		t.Errorf("absorbances %v where there is no result", r.Em)
	}
	// where there is no emission, no absorbance is needed
	if r, err := CorrectInnerFilter([]float64{400, 900}, []float64{1, nan}, nil, ax, a, ua, InnerFilterOptions{Emission: true, Length: 1}, nil); err != nil || r.Missing != 1 || math.IsNaN(r.Y[0]) {
		t.Errorf("no emission beyond the absorbance: %+v, %v", r.Y, err)
	}
	for name, us := range map[string][2][]float64{"emission": {nil, ua}, "absorbance": {u, nil}} {
		if r, err := CorrectInnerFilter(x, y, us[0], ax, a, us[1], InnerFilterOptions{Emission: true, Length: 1}, nil); err != nil || r.U != nil {
			t.Errorf("u of %s unknown: %v, %v", name, r.U, err)
		}
	}
}

// Points beyond the absorbance's range have no result; the rest is as without them.
func TestCorrectInnerFilterOutside(t *testing.T) {
	ax, a := []float64{400, 410, 420, 430}, []float64{0.5, 0.3, 0.2, 0.1}
	o := InnerFilterOptions{Excitation: true, Emission: true, Wavelength: 407, Length: 1}
	x := []float64{380, 390, 410, 425, 431}
	r, err := CorrectInnerFilter(x, flat(x, 5), flat(x, 1), ax, a, flat(ax, 0.01), o, nil)
	if err != nil || r.Outside != 3 || r.Missing != 0 || r.Places.First != 2 || r.Places.Last != 3 {
		t.Fatalf("%+v, %v", r, err)
	}
	in, err := CorrectInnerFilter(x[2:4], flat(x[2:4], 5), flat(x[2:4], 1), ax, a, flat(ax, 0.01), o, nil)
	nan := math.NaN()
	if err != nil || !same(r.Y, []float64{nan, nan, in.Y[0], in.Y[1], nan}, 0) || !same(r.U[2:4], in.U, 0) || !math.IsNaN(r.U[0]) || !math.IsNaN(r.Common[4]) {
		t.Errorf("%v ± %v, within %v ± %v; %v", r.Y, r.U, in.Y, in.U, err)
	}
	again, err := CorrectInnerFilter(x, flat(x, 5), flat(x, 1), ax, a, flat(ax, 0.01), o, &r.Places)
	if err != nil || !same(again.Y, r.Y, 0) || again.Places.First != 2 || again.Places.Last != 3 {
		t.Errorf("again: %+v, %v", again, err)
	}
}

// Common is the standard deviation that points have together over draws of the absorbance at the exciting wavelength alone.
func TestCorrectInnerFilterCommon(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 3))
	ax, a := []float64{400, 410, 500, 510, 520}, []float64{0.5, 0.3, 0.2, 0.1, 0.1}
	ua := []float64{0.004, 0.006, 0.003, 0.005, 0.002}
	x := []float64{503, 515}
	const draws = 8000
	for _, g := range []Geometry{Centre, WholePath, FrontFace} {
		o := InnerFilterOptions{Geometry: g, Excitation: true, Emission: true, Wavelength: 407, Length: 0.7}
		want, err := CorrectInnerFilter(x, flat(x, 1), flat(x, 0), ax, a, ua, o, nil)
		if err != nil {
			t.Fatal(err)
		}
		var square [2]float64
		for range draws {
			b := append([]float64{}, a...)
			b[0], b[1] = b[0]+ua[0]*r.NormFloat64(), b[1]+ua[1]*r.NormFloat64()
			got, err := CorrectInnerFilter(x, flat(x, 1), nil, ax, b, nil, o, nil)
			if err != nil {
				t.Fatal(err)
			}
			for i := range square {
				d := math.Log(got.Y[i] / want.Y[i])
				square[i] += d * d / draws
			}
		}
		for i, s := range square {
			if !near(math.Sqrt(s), want.Common[i], 0.035) || !(want.Common[i] < want.UFactor[i]/want.Factor[i]) {
				t.Errorf("geometry %d, %v nm: spread %v, common u %v", g, x[i], math.Sqrt(s), want.Common[i])
			}
		}
		o.Excitation = false
		if r, err := CorrectInnerFilter(x, flat(x, 1), flat(x, 0), ax, a, ua, o, nil); err != nil || r.Common != nil {
			t.Errorf("nothing is common without the exciting light: %v, %v", r.Common, err)
		}
	}
}

func TestCorrectInnerFilterErrors(t *testing.T) {
	both := InnerFilterOptions{Excitation: true, Emission: true, Wavelength: 410, Length: 1}
	at := func(nm float64) InnerFilterOptions { o := both; o.Wavelength = nm; return o }
	ax, a := []float64{400, 410, 420}, []float64{0.1, 0.2, 0.3}
	for _, c := range []struct {
		name     string
		x, ax, a []float64
		o        InnerFilterOptions
		want     error
	}{
		{"emission beyond", []float64{421, 422}, ax, a, both, ErrNoAbsorbance},
		{"emission before and beyond", []float64{399, 421}, ax, a, both, ErrNoAbsorbance},
		{"excitation beyond", []float64{410}, ax, a, at(390), ErrNoAbsorbance},
		{"no excitation", []float64{410}, ax, a, at(math.NaN()), ErrNoAbsorbance},
		{"none at the excitation", []float64{410}, ax, []float64{0.1, math.NaN(), 0.1}, both, ErrNoAbsorbance},
		{"too dark", []float64{400}, ax, []float64{0.1, 3.51, 0.1}, both, ErrTooDark},
		{"axis turns", []float64{410}, []float64{400, 420, 410}, a, both, ErrAbsorbanceAxis},
		{"axis repeats", []float64{410}, []float64{400, 400, 410}, a, both, ErrAbsorbanceAxis},
		{"axis missing", []float64{410}, []float64{400, math.NaN(), 410}, a, both, ErrAbsorbanceAxis},
		{"one point", []float64{400}, []float64{400}, []float64{1}, both, ErrAbsorbanceAxis},
		{"empty", []float64{400}, nil, nil, both, ErrAbsorbanceAxis},
	} {
		t.Run(c.name, func(t *testing.T) {
			if _, err := CorrectInnerFilter(c.x, flat(c.x, 1), nil, c.ax, c.a, nil, c.o, nil); !errors.Is(err, c.want) {
				t.Errorf("%v, want %v", err, c.want)
			}
		})
	}
}

func BenchmarkCorrectInnerFilter(b *testing.B) {
	ax, x := grid(300, 1, 501), grid(350.3, 0.8, 500)
	a := over(ax, func(x float64) float64 { return 0.5 * math.Exp(-(x-400)*(x-400)/800) })
	ua, y := flat(ax, 0.001), flat(x, 100)
	for _, c := range []struct {
		name string
		g    Geometry
	}{{"centre", Centre}, {"whole path", WholePath}, {"front face", FrontFace}} {
		b.Run(c.name, func(b *testing.B) {
			o := InnerFilterOptions{Geometry: c.g, Excitation: true, Emission: true, Wavelength: 380, Length: 1}
			b.ReportAllocs()
			for b.Loop() {
				if _, err := CorrectInnerFilter(x, y, y, ax, a, ua, o, nil); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
