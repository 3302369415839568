package spectra

import (
	"math"
	"math/rand/v2"
	"testing"
)

func TestBandStates(t *testing.T) {
	x := axis(500, 620, 1)
	noise := func(seed uint64, sigma float64) func(float64) float64 {
		r := rand.New(rand.NewPCG(seed, 1))
		return func(float64) float64 { return sigma * r.NormFloat64() }
	}
	sum := func(f ...func(float64) float64) []float64 {
		return over(x, func(v float64) (s float64) {
			for _, g := range f {
				s += g(v)
			}
			return s
		})
	}
	clip := func(y []float64, at float64) []float64 {
		for i, v := range y {
			y[i] = min(v, at)
		}
		return y
	}
	round := func(y []float64, step float64) []float64 {
		for i, v := range y {
			y[i] = math.Round(v/step) * step
		}
		return y
	}
	big := func(x float64) float64 { return 900 * gauss(558, 14)(x) }
	for _, c := range []struct {
		name    string
		y       []float64
		want    TopState
		rounded bool
	}{
		{"a band", sum(big, noise(1, 3)), TopFound, false},
		{"noise alone", sum(noise(2, 3)), TopUnseen, false},
		{"nothing at all", make([]float64, len(x)), TopUnseen, false},
		{"negative", over(x, func(x float64) float64 { return -big(x) }), TopUnseen, false},
		{"rising to the end", sum(func(x float64) float64 { return 900 * gauss(660, 30)(x) }, noise(3, 1)), TopAtLong, false},
		{"falling from the start", sum(func(x float64) float64 { return 900 * gauss(470, 30)(x) }, noise(4, 1)), TopAtShort, false},
		{"clipped", clip(sum(big, noise(5, 3)), 700), TopFlat, false},
		{"clipped without noise", clip(sum(big), 800), TopFlat, false},
		{"clipped and rounded", round(clip(sum(big), 800), 10), TopFlat, false},
		{"rounded so that the top is flat", round(sum(big), 30), TopFound, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := ChooseBand(x, c.y, nil, 0, len(x)-1, BandOptions{Degree: 4, Top: 0.8}, &Workspace{})
			if got.State != c.want || got.Rounded != c.rounded {
				t.Errorf("state %d, rounded %v; want %d, %v", got.State, got.Rounded, c.want, c.rounded)
			}
		})
	}
	t.Run("too few points", func(t *testing.T) {
		y := sum(big)
		got := ChooseBand(x, y, nil, 56, 59, BandOptions{Degree: 4, Top: 0.8}, &Workspace{})
		if got.State != TopFew {
			t.Errorf("state %d, want %d", got.State, TopFew)
		}
		b := MeasureBands(x, y, nil, got, nil, BandOptions{Degree: 4, Top: 0.8}, &Workspace{})
		near(t, "area", b.N[Area].Value, y[56]/2+y[57]+y[58]+y[59]/2, 1e-14)
		if !math.IsNaN(b.N[Maximum].Value) {
			t.Errorf("a maximum at %g from four points and degree 4", b.N[Maximum].Value)
		}
	})
}

// Noise alone passes for a band about once in a hundred draws.
func TestNoiseIsNoBand(t *testing.T) {
	x := axis(400, 600, 1)
	y, u := make([]float64, len(x)), make([]float64, len(x))
	r := rand.New(rand.NewPCG(11, 3))
	var w Workspace
	seen := 0
	const draws = 2000
	for range draws {
		for i := range y {
			y[i], u[i] = r.NormFloat64(), 1
		}
		if c := ChooseBand(x, y, u, 0, len(x)-1, BandOptions{Degree: 4, Top: 0.8}, &w); c.State != TopUnseen && c.State != TopNone {
			seen++
		}
	}
	if seen > draws*3/100 {
		t.Errorf("%d of %d draws of noise alone passed for a band", seen, draws)
	}
}

// A band that is cut by its range or clipped gives bounds on the right side of the truth.
func TestBandsBounds(t *testing.T) {
	x := axis(480, 640, 0.5)
	band := func(x float64) float64 { return 900 * gauss(558, 14)(x) }
	o := BandOptions{Degree: 4, Top: 0.8}
	cut := func(lo, hi int) Bands {
		y := over(x, band)
		var w Workspace
		c := ChooseBand(x, y, nil, lo, hi, o, &w)
		return MeasureBands(x, y, nil, c, nil, o, &w)
	}
	t.Run("at the end", func(t *testing.T) {
		for _, c := range []struct {
			lo, hi int
			bound  Bound
			at     float64
		}{{0, 130, Lower, 545}, {180, 320, Upper, 570}} {
			b := cut(c.lo, c.hi)
			n := b.N[Maximum]
			if n.Bound != c.bound || n.Value != c.at || n.U != 0 {
				t.Errorf("maximum %+v, want %d %g", n, c.bound, c.at)
			}
			if (n.Bound == Lower) != (558 > n.Value) {
				t.Errorf("the true maximum, 558 nm, is beyond the bound %+v", n)
			}
			if h := b.N[Height]; h.Bound != Lower || !(h.Value < 900) {
				t.Errorf("height %+v", h)
			}
			if !math.IsNaN(b.N[Width].Value) || !math.IsNaN(b.N[Onset].Value) {
				t.Error("width or onset of a band that is cut at its top")
			}
		}
	})
	t.Run("clipped", func(t *testing.T) {
		y := over(x, func(x float64) float64 { return min(700, band(x)) })
		b, c := all(x, y, nil, o, nil)
		if c.State != TopFlat {
			t.Fatalf("state %d", c.State)
		}
		m := b.N[Maximum]
		if m.Bound != Interval || !math.IsNaN(m.Value) || !(m.Lo < 558 && m.Hi > 558) {
			t.Errorf("maximum %+v", m)
		}
		if h := b.N[Height]; h.Bound != Lower || math.Abs(h.Value-700) > 1e-9 {
			t.Errorf("height %+v", h)
		}
		if a := b.N[Area]; a.Bound != Lower || !(a.Value < 900*14*math.Sqrt(2*math.Pi)) {
			t.Errorf("area %+v", a)
		}
		if w := b.N[Width]; w.Bound != Upper || !(w.Value > 28*math.Sqrt(2*math.Ln2)) {
			t.Errorf("width %+v", w)
		}
		if !math.IsNaN(b.N[Centroid].Value) || !math.IsNaN(b.N[Onset].Value) {
			t.Error("centroid or onset of a clipped band")
		}
	})
	t.Run("ratio", func(t *testing.T) {
		long := axis(480, 760, 0.5)
		other := func(x float64) float64 { return 500 * gauss(690, 14)(x) }
		for _, c := range []struct {
			name         string
			clip1, clip2 float64
			bound        Bound
		}{{"first clipped", 700, 900, Lower}, {"second clipped", 900.1, 400, Upper}} {
			y := over(long, func(x float64) float64 { return min(c.clip1, band(x)) + min(c.clip2, other(x)) })
			var w Workspace
			first, second := ChooseBand(long, y, nil, 0, 280, o, &w), ChooseBand(long, y, nil, 281, len(long)-1, o, &w)
			b := MeasureBands(long, y, nil, first, &second, o, &w)
			for _, k := range []int{HeightRatio, AreaRatio} {
				r := b.N[k]
				if r.Bound != c.bound || (r.Bound == Lower) != (r.Value < 1.8) {
					t.Errorf("%s: %s %+v, the truth is 1.8", c.name, bandNames[k], r)
				}
			}
		}
	})
}

// A second maximum beyond the half height is told of.
func TestBandRisesAgain(t *testing.T) {
	x := axis(480, 640, 1)
	y := over(x, func(x float64) float64 { return 900*gauss(530, 8)(x) + 700*gauss(580, 8)(x) })
	c := ChooseBand(x, y, nil, 0, len(x)-1, BandOptions{Degree: 4, Top: 0.8}, &Workspace{})
	if !(c.Again > 560 && c.Again < 580) {
		t.Errorf("rises again at %g, want between 560 and 580 nm", c.Again)
	}
	one := ChooseBand(x, over(x, gauss(560, 10)), nil, 0, len(x)-1, BandOptions{Degree: 4, Top: 0.8}, &Workspace{})
	if !math.IsNaN(one.Again) {
		t.Errorf("a single band rises again at %g", one.Again)
	}
}

// A range too short for any band is the caller's bug.
func TestChooseBandPanics(t *testing.T) {
	defer func() {
		if recover() == nil {
			t.Error("no panic on a range of two points")
		}
	}()
	ChooseBand([]float64{1, 2, 3}, []float64{1, 2, 3}, nil, 0, 1, BandOptions{Degree: 2, Top: 0.8}, &Workspace{})
}

func BenchmarkBands(b *testing.B) {
	x := axis(400, 700, 0.5)
	y := over(x, twoBands)
	u := over(x, func(float64) float64 { return 1 })
	o := BandOptions{Degree: 4, Top: 0.8}
	var w Workspace
	b.ReportAllocs()
	for b.Loop() {
		c := ChooseBand(x, y, u, 0, len(x)-1, o, &w)
		MeasureBands(x, y, u, c, nil, o, &w)
	}
}
