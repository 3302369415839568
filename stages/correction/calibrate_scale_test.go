package correction

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

// NIST StRD NoInt1 (from memory): y = 130 … 140 at x = 60 … 70, a straight line through zero; certified slope 2.07438016528926, standard
// deviation 0.0165289256198347, residual standard deviation 3.56753034006338, 10 degrees of freedom.
func TestScaleFactorNoInt1(t *testing.T) {
	var levels []Level
	var known []float64
	for i := range 11 {
		levels, known = append(levels, MeanLevel([]float64{130 + float64(i)}, nil, false)), append(known, 60+float64(i))
	}
	s, err := ScaleFactor(levels, known, nil)
	if err != nil {
		t.Fatal(err)
	}
	const slope, deviation, residual = 2.07438016528926, 0.0165289256198347, 3.56753034006338
	if !near(1/s.Factor, slope, 1e-14) || !near(s.U, deviation/(slope*slope), 1e-13) || s.Nu != 10 || s.N != 11 {
		t.Errorf("%+v", s)
	}
	// residual = (level − model)/s for single readings
	if d := levels[0].Value - slope*60; !near(s.Residual[0], d/residual, 1e-12) {
		t.Errorf("residual %v, want %v", s.Residual[0], d/residual)
	}
	if !math.IsNaN(s.Chi2Nu) {
		t.Errorf("χ²/ν %v of readings without u", s.Chi2Nu)
	}
}

// Potassium dichromate in perchloric acid, 10 mm: nominal absorbances at five concentrations (a reference-material supplier's table
// traceable to SRM 935a) against the apparent specific absorbances at the same five, NBS SP 260-54 (1977, from memory). Both tables agree
// within 0.5 %; a factor made of the first must be the mean of the second with the weights that the straight line has.
func TestScaleFactorDichromate(t *testing.T) {
	concentration := []float64{0.020, 0.040, 0.060, 0.080, 0.100} // g/L
	for _, c := range []struct {
		name                 string
		absorbance, specific []float64 // the latter in kg/(g·cm)
	}{
		{"235 nm", []float64{0.246, 0.493, 0.743, 0.994, 1.247}, []float64{12.243, 12.291, 12.340, 12.388, 12.436}},
		{"257 nm", []float64{0.286, 0.574, 0.865, 1.157, 1.452}, []float64{14.248, 14.308, 14.369, 14.430, 14.491}},
		{"313 nm", []float64{0.096, 0.193, 0.290, 0.387, 0.484}, []float64{4.797, 4.804, 4.811, 4.818, 4.825}},
		{"350 nm", []float64{0.214, 0.428, 0.643, 0.858, 1.071}, []float64{10.661, 10.674, 10.687, 10.701, 10.714}},
	} {
		t.Run(c.name, func(t *testing.T) {
			var levels []Level
			var up, down float64
			for i, a := range c.absorbance {
				levels = append(levels, MeanLevel([]float64{a}, []float64{0.001}, false))
				w := concentration[i] * concentration[i]
				up, down = up+w*c.specific[i], down+w
			}
			s, err := ScaleFactor(levels, concentration, nil)
			if err != nil {
				t.Fatal(err)
			}
			const density = 0.998 // kg/L of the solvent at 20 °C: the certificate counts by mass
			if got, want := density/s.Factor, up/down; !near(got, want, 0.005) {
				t.Errorf("specific absorbance %.3f, want %.3f within 0.5 %%", got, want)
			}
			// u(g) = 0.001/√Σc² (closed form for equal u)
			if want := 0.001 / math.Sqrt(down) * s.Factor * s.Factor; !near(s.U, want, 1e-9) {
				t.Errorf("u %v, want %v", s.U, want)
			}
		})
	}
}

func TestMeanLevel(t *testing.T) {
	for _, c := range []struct {
		name           string
		y, u           []float64
		plain          bool
		value, uc, chi float64
	}{
		// weights 1 and 1/4: (10 + 12/4)/(5/4) = 10.4, u² = 4/5; χ² = 0.16 + 0.64
		{"weighted", []float64{10, 12}, []float64{1, 2}, false, 10.4, math.Sqrt(0.8), 0.8},
		{"plain", []float64{10, 12}, []float64{1, 2}, true, 11, math.Sqrt(5) / 2, 1.25},
		{"u unknown", []float64{10, 12, 14}, nil, false, 12, math.NaN(), 8},
		{"one", []float64{5}, []float64{0.5}, false, 5, 0.5, 0},
		{"none", nil, nil, false, math.NaN(), math.NaN(), 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			l := MeanLevel(c.y, c.u, c.plain)
			if !near(l.Value, c.value, 1e-14) || !near(l.U, c.uc, 1e-14) || !near(l.Chi2, c.chi, 1e-12) {
				t.Errorf("%+v", l)
			}
		})
	}
}

// Counts with u² = counts: the weighted mean is the harmonic one, which is low by about one count; the plain mean is taken.
func TestWeightsFollow(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	counts, rate := make([]float64, 400), make([]float64, 400)
	uCounts, uRate := make([]float64, 400), make([]float64, 400)
	for i := range counts {
		counts[i] = math.Round(100 + 10*r.NormFloat64())
		uCounts[i] = math.Sqrt(counts[i])
		uRate[i] = 1 + float64(i%7)
		rate[i] = 100 + uRate[i]*r.NormFloat64()
	}
	if !WeightsFollow(counts, uCounts) {
		t.Error("the weights of counts follow their noise, which was not seen")
	}
	if WeightsFollow(rate, uRate) {
		t.Error("weights that know nothing of the noise were taken to follow it")
	}
	w, p := MeanLevel(counts, uCounts, false), MeanLevel(counts, uCounts, true)
	if d := p.Value - w.Value; d < 0.8 || d > 1.2 {
		t.Errorf("the weighted mean of counts is low by %v, want about 1", d)
	}
	if WeightsFollow([]float64{5}, []float64{1}) || WeightsFollow(counts, nil) {
		t.Error("nothing to follow")
	}
}

func TestScaleFactor(t *testing.T) {
	level := func(v, u float64) Level { return Level{Value: v, U: u, N: 1} }
	t.Run("one standard", func(t *testing.T) {
		s, err := ScaleFactor([]Level{level(4, 0.1)}, []float64{2}, nil)
		if err != nil || s.Factor != 0.5 || !near(s.U, 0.5*0.025, 1e-14) || !math.IsInf(s.Nu, 1) || !math.IsNaN(s.BetweenP) || s.Weak >= 0 {
			t.Errorf("%+v, %v", s, err)
		}
	})
	t.Run("two that disagree", func(t *testing.T) {
		// g = (4/0.01 + 6/0.01)/(2/0.01) = 5, χ² = 2·(1/0.1)² = 200
		s, err := ScaleFactor([]Level{level(4, 0.1), level(6, 0.1)}, []float64{1, 1}, nil)
		if err != nil || !near(s.Factor, 0.2, 1e-14) || !near(s.Chi2Nu, 200, 1e-12) || !(s.BetweenP < 1e-40) || !near(s.Residual[1], 10, 1e-12) {
			t.Errorf("%+v, %v", s, err)
		}
	})
	t.Run("two that known values of 3 % may explain", func(t *testing.T) {
		// levels 98 and 102 of the same known value, u = 0.1: about the mean 100 each variance is 0.01 + 3² = 9.01, χ² = 2·4/9.01,
		// and its upper tail with one degree of freedom erfc(√(χ²/2))
		s, err := ScaleFactor([]Level{level(98, 0.1), level(102, 0.1)}, []float64{1, 1}, nil)
		if err != nil || !near(s.AllowedP, math.Erfc(math.Sqrt(4/9.01)), 1e-10) || !(s.BetweenP < 1e-40) {
			t.Errorf("%+v, %v", s, err)
		}
	})
	t.Run("u unknown, standards apart", func(t *testing.T) {
		a, b := MeanLevel([]float64{0.99, 1.01, 1, 1}, nil, false), MeanLevel([]float64{1.99, 2.01, 2, 2}, nil, false)
		s, err := ScaleFactor([]Level{a, b}, []float64{1, 1}, nil)
		if err != nil || !s.Between || s.Nu != 1 || !near(s.Factor, 1/1.5, 1e-14) {
			t.Fatalf("%+v, %v", s, err)
		}
		// two means 1 and 2: their mean has u = 0.5
		if !near(s.U, 0.5/(1.5*1.5), 1e-12) {
			t.Errorf("u %v", s.U)
		}
		no := false
		if s, _ = ScaleFactor([]Level{a, b}, []float64{1, 1}, &no); s.Between || s.Nu != 7 {
			t.Errorf("what an earlier call found was not kept: %+v", s)
		}
	})
	t.Run("a weak standard", func(t *testing.T) {
		s, err := ScaleFactor([]Level{level(4, 0.1), level(0.25, 0.1)}, []float64{4, 0.25}, nil)
		if err != nil || s.Weak != 1 {
			t.Errorf("%+v, %v", s, err)
		}
	})
	for _, c := range []struct {
		name   string
		levels []Level
		known  []float64
		want   error
	}{
		{"none", nil, nil, ErrNoReading},
		{"no reading", []Level{{Value: math.NaN(), U: math.NaN()}}, []float64{1}, ErrNoReading},
		{"zero", []Level{level(0, 1)}, []float64{1}, ErrZeroStandard},
		{"known zero", []Level{level(1, 1)}, []float64{0}, ErrKnown},
		{"known missing", []Level{level(1, 1)}, []float64{math.NaN()}, ErrKnown},
		{"cancelling", []Level{level(1, 1), level(-1, 1)}, []float64{1, 1}, ErrZeroStandard},
	} {
		t.Run(c.name, func(t *testing.T) {
			if _, err := ScaleFactor(c.levels, c.known, nil); !errors.Is(err, c.want) {
				t.Errorf("%v, want %v", err, c.want)
			}
		})
	}
}

// Other units of readings and known values change the factor by their ratio, its relative u not at all, and no verdict.
func TestScaleFactorUnits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 6).Draw(t, "standards")
		a, b := rapid.Float64Range(0.01, 100).Draw(t, "unit of readings"), rapid.Float64Range(0.01, 100).Draw(t, "unit of known")
		sure := rapid.Bool().Draw(t, "u known")
		var levels, scaled []Level
		var known, scaledKnown []float64
		for range n {
			k := rapid.Float64Range(0.5, 5).Draw(t, "known")
			var y, u, ys, us []float64
			for range rapid.IntRange(1, 8).Draw(t, "readings") {
				v, uv := 3*k*rapid.Float64Range(0.9, 1.1).Draw(t, "reading"), rapid.Float64Range(0.01, 0.1).Draw(t, "u")
				y, u, ys, us = append(y, v), append(u, uv), append(ys, a*v), append(us, a*uv)
			}
			if !sure {
				u, us = nil, nil
			}
			levels, scaled = append(levels, MeanLevel(y, u, false)), append(scaled, MeanLevel(ys, us, false))
			known, scaledKnown = append(known, k), append(scaledKnown, b*k)
		}
		x, err := ScaleFactor(levels, known, nil)
		z, err2 := ScaleFactor(scaled, scaledKnown, nil)
		if err != nil || err2 != nil {
			t.Fatal(err, err2)
		}
		if !near(z.Factor, x.Factor*b/a, 1e-12) || z.N != x.N || !near(z.Nu, x.Nu, 0) && !math.IsInf(x.Nu, 1) {
			t.Fatalf("%+v\n%+v", x, z)
		}
		// u from a scatter that is nothing but rounding is no number to compare
		if sure && !near(z.U, x.U*b/a, 1e-10) {
			t.Fatalf("u %v, want %v", z.U, x.U*b/a)
		}
	})
}

// u is the standard deviation of the factor over many draws of readings.
func TestScaleFactorSpread(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	known := []float64{1, 2, 5}
	const draws = 4000
	var sum, square, u2 float64
	for range draws {
		var levels []Level
		for _, k := range known {
			y, u := make([]float64, 4), make([]float64, 4)
			for i := range y {
				u[i] = 0.02 * float64(1+i)
				y[i] = 2*k + u[i]*r.NormFloat64()
			}
			levels = append(levels, MeanLevel(y, u, false))
		}
		s, err := ScaleFactor(levels, known, nil)
		if err != nil {
			t.Fatal(err)
		}
		sum, square, u2 = sum+s.Factor, square+(s.Factor-0.5)*(s.Factor-0.5), u2+s.U*s.U
	}
	// the standard deviation of 4000 draws is known to 1.1 %, the mean to u/63
	if !near(math.Sqrt(square/draws), math.Sqrt(u2/draws), 0.04) || math.Abs(sum/draws-0.5) > 4*math.Sqrt(u2)/draws {
		t.Errorf("spread %v, u %v, mean %v", math.Sqrt(square/draws), math.Sqrt(u2/draws), sum/draws)
	}
}

func TestClipped(t *testing.T) {
	x := grid(0, 1, 60)
	peak := over(x, func(x float64) float64 { return 1000 * math.Exp(-(x-30)*(x-30)/200) })
	round := func(y []float64, step float64) []float64 {
		return over(y, func(v float64) float64 { return math.Round(v/step) * step })
	}
	clip := over(peak, func(v float64) float64 { return min(v, 900.5) })
	noisy := over(x, func(x float64) float64 { return 500 + 20*math.Sin(17*x*x) })
	for _, c := range []struct {
		name     string
		y        []float64
		first, n int
	}{
		{"a peak", peak, 0, 0},
		{"clipped", clip, 26, 9},
		{"clipped below zero", over(clip, func(v float64) float64 { return -v }), 26, 9},
		{"coarse digits", round(peak, 10), 0, 0},
		{"fine digits, flat top", round(over(grid(0, 1, 400), func(x float64) float64 { return math.Exp(-(x - 200) * (x - 200) / 20000) }), 1e-4), 0, 0},
		{"noise", noisy, 0, 0},
		{"constant", flat(x, 7), 0, 0},
		{"short", []float64{1, 2, 5, 5, 5, 5, 2, 1}, 0, 0},
		{"empty", nil, 0, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			first, n := Clipped(c.y)
			if n != c.n || n > 0 && first != c.first {
				t.Errorf("found %d from %d, want %d from %d", n, first, c.n, c.first)
			}
		})
	}
}

func BenchmarkScaleFactor(b *testing.B) {
	y, u := make([]float64, 2000), make([]float64, 2000)
	for i := range y {
		y[i], u[i] = 100+float64(i%13), 2+float64(i%5)
	}
	b.ReportAllocs()
	for b.Loop() {
		l := MeanLevel(y, u, WeightsFollow(y, u))
		if _, err := ScaleFactor([]Level{l, l}, []float64{1, 1}, nil); err != nil {
			b.Fatal(err)
		}
	}
}
