package efficiency

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

func near(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > rel*math.Abs(want) {
		t.Errorf("%s = %.15g, want %.15g (relative tolerance %g)", what, got, want, rel)
	}
}

func plain(v, u float64) Known { return Known{Value: v, U: u, Nu: math.Inf(1)} }

// E = 1 − τ_DA/τ_D: 4.0 ns to 0.8 ns is 0.8 (identity). E = 0.45 of the melittin
// example, F_DA/F_D = 0.55 (Lakowicz, Principles of Fluorescence Spectroscopy,
// ch. 13, from memory). Concentrations: half the donor with a fifth of the light
// leaves two fifths.
func TestMeasureShare(t *testing.T) {
	for _, c := range []struct {
		name                  string
		f, f0, dilution, want float64
	}{
		{"lifetimes", 0.8, 4.0, 1, 0.8},
		{"melittin", 0.55, 1, 1, 0.45},
		{"half the concentration", 20, 100, 2, 0.6},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, choice := Measure(Donor{Signal: plain(c.f, c.f/100), Control: plain(c.f0, 0), Dilution: c.dilution, Confidence: 0.95}, nil)
			near(t, "E", s.Efficiency.Value, c.want, 1e-15)
			near(t, "u", s.Efficiency.U, c.f/100/c.f0*c.dilution, 1e-15)
			if choice.Below || !math.IsNaN(s.Limit) {
				t.Errorf("a limit %g where the light is seen", s.Limit)
			}
		})
	}
}

// A transfer in 0.25 ps against a donor that lives 0.5 ns leaves 1/(1 + 0.5/0.00025)
// of the light, E = 0.9995. Light at 2 % of noise cannot tell that from 1: it shows
// as a limit, with E beside it and never E = 1 ± 0 (common practice, no source).
// 1.644854 is the 95 % quantile of the normal distribution (Abramowitz and Stegun, table 26.5; digits from memory).
func TestCompleteTransferIsALimit(t *testing.T) {
	const left = 1 / (1 + 0.5/0.00025)
	near(t, "E", 1-left, 0.9995, 1e-6)
	r := rand.New(rand.NewPCG(2, 9))
	const u, draws = 0.02, 4000
	wrong, limits := 0, 0
	for range draws {
		f := left + u*r.NormFloat64()
		s, _ := Measure(Donor{Signal: plain(f, u), Control: plain(1, 0), Dilution: 1, Confidence: 0.95}, nil)
		if s.Efficiency.Value != 1-f || s.Efficiency.U != u {
			t.Fatalf("E = %v ± %v beside the limit, want %v ± %v", s.Efficiency.Value, s.Efficiency.U, 1-f, u)
		}
		if math.IsNaN(s.Limit) {
			if f < 1.64*u {
				t.Fatalf("no limit at F = %g u", f/u)
			}
			continue
		}
		limits++
		if want := 1 - math.Max(f, 0) - 1.644853627*u; math.Abs(s.Limit-want) > 1e-10 {
			t.Fatalf("limit %v, want %v", s.Limit, want)
		}
		if s.Limit >= 1-1e-9 {
			t.Fatalf("limit %v", s.Limit)
		}
		if 1-left < s.Limit {
			wrong++
		}
	}
	if limits < draws*9/10 {
		t.Errorf("a limit in %d of %d draws: most show nothing", limits, draws)
	}
	if wrong > 0 {
		t.Errorf("E lies below the limit in %d of %d draws, though max(F, 0) leaves none", wrong, draws)
	}
	// where there is light, a limit fails in one draw of twenty at most
	wrong = 0
	for range draws {
		const seen = 0.03
		f := seen + u*r.NormFloat64()
		s, _ := Measure(Donor{Signal: plain(f, u), Control: plain(1, 0), Dilution: 1, Confidence: 0.95}, nil)
		if s.Limit > 1-seen {
			wrong++
		}
	}
	if wrong > draws*6/100 {
		t.Errorf("the limit is wrong in %d of %d draws", wrong, draws)
	}
}

// Detection from u of few degrees of freedom, from blanks, and what the control brings.
// t(0.95; 4) = 2.131847 (Abramowitz and Stegun, table 26.10; more digits from memory).
func TestDetection(t *testing.T) {
	blanks := []float64{0.9, 1.1, 1.0, 1.3, 0.7} // mean 1, standard deviation √0.05
	base := Donor{Signal: plain(3, 0.1), Control: plain(50, 0), Dilution: 1, Confidence: 0.95}
	for _, c := range []struct {
		name   string
		change func(d *Donor)
		want   float64
		r      float64
		u      float64 // own; 0: the signal's
	}{
		{"u alone", func(*Donor) {}, 1.6448536 * 0.1 / 50, 3. / 50, 0},
		{"few degrees of freedom", func(d *Donor) { d.Signal.Nu = 4 }, 2.131847 * 0.1 / 50, 3. / 50, 0},
		// what blanks differ by is the sample's, too; 1.9792746 is scipy.stats.t.ppf(0.95, 0.07**2/(0.06**2/4))
		{"blanks", func(d *Donor) { d.Blanks = blanks }, 1.9792746 * math.Sqrt(0.1*0.1+0.05*1.2) / 50, 2. / 50, math.Sqrt(0.1*0.1 + 0.05*1.2)},
		{"blanks' own noise", func(d *Donor) { d.Blanks, d.BlankVariance = blanks, 0.06 }, 2.131847 * math.Sqrt(0.05*1.2) / 50, 2. / 50, 0},
		{"part of it", func(d *Donor) { d.Blanks, d.BlankVariance = blanks, 0.04 }, 2.131847 * math.Sqrt(0.05*1.2) / 50, 2. / 50, math.Sqrt(0.1*0.1 + 0.01*1.2)},
		{"not known", func(d *Donor) { d.Blanks, d.BlankVariance = blanks, math.NaN() }, 1.9792746 * math.Sqrt(0.1*0.1+0.05*1.2) / 50, 2. / 50, math.Sqrt(0.1*0.1 + 0.05*1.2)},
		{"one blank", func(d *Donor) { d.Blanks = blanks[:1] }, 1.6448536 * 0.1 / 50, 2.1 / 50, 0},
		{"blanks that agree", func(d *Donor) { d.Blanks = []float64{1, 1, 1} }, 1.6448536 * 0.1 / 50, 2. / 50, 0},
		{"a control with u", func(d *Donor) { d.Control.U = 5 }, 1.6448536 * 0.1 / 50, 3. / 50, 0},
		{"shared sources", func(d *Donor) { d.Parts, d.ControlParts = []float64{0.2, 0}, []float64{5, -1} }, 1.6448536 * math.Hypot(0.1, 0.2) / 50, 3. / 50, 0},
		{"dilution", func(d *Donor) { d.Dilution = 2 }, 1.6448536 * 0.1 / 50 * 2, 6. / 50, 0},
		{"other confidence", func(d *Donor) { d.Confidence = 0.975 }, 1.959964 * 0.1 / 50, 3. / 50, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := base
			c.change(&d)
			s, _ := Measure(d, nil)
			near(t, "detection", s.Detection, c.want, 1e-6)
			near(t, "residual", s.Residual.Value, c.r, 1e-14)
			if c.u == 0 {
				c.u = 0.1
			}
			near(t, "own u", s.Residual.U, c.u/50*d.Dilution, 1e-14)
		})
	}
}

// Each sample has a blank of its own: with four blanks measured, E scatters by s_B·√(1 + 1/4), and u says so.
func TestBlanksScatterIsInU(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 9))
	const draws, sd = 4000, 5.
	squares, said := 0.0, 0.0
	for range draws {
		d := Donor{Signal: plain(80+sd*r.NormFloat64(), 0.1), Control: plain(100, 0.1), Dilution: 1, Confidence: 0.95}
		for range 4 {
			d.Blanks = append(d.Blanks, 30+sd*r.NormFloat64())
		}
		s, _ := Measure(d, nil)
		e := s.Efficiency
		squares += (e.Value - 0.5) * (e.Value - 0.5) / draws
		said += e.U * e.U / draws
		if !(e.Nu >= 3 && e.Nu < 3.5) {
			t.Fatalf("degrees of freedom %g, want those of four blanks", e.Nu)
		}
	}
	near(t, "scatter of E", math.Sqrt(squares), sd/100*math.Sqrt(1.25), 0.04)
	near(t, "u", math.Sqrt(said), sd/100*math.Sqrt(1.25), 0.04)
}

// A signal far above zero is above detection, whatever the control's u: there r·u(F0) does not matter (Currie's limit is that at no light).
func TestDetectionIsThatAtNoLight(t *testing.T) {
	s, c := Measure(Donor{Signal: plain(50, 0.1), Control: plain(100, 60), Dilution: 1, Confidence: 0.95}, nil)
	near(t, "detection", s.Detection, 1.6448536*0.1/100, 1e-6)
	if c.Below || !math.IsNaN(s.Limit) {
		t.Errorf("a limit %g for a signal of 500 u", s.Limit)
	}
	near(t, "u of the control", c.Control, 60, 1e-14)
}

func TestUnknownUncertaintyGivesNoLimit(t *testing.T) {
	for _, u := range []float64{0, math.NaN()} {
		s, choice := Measure(Donor{Signal: plain(-0.1, u), Control: plain(1, 0), Dilution: 1, Confidence: 0.95}, nil)
		if choice.Below || !math.IsNaN(s.Limit) {
			t.Errorf("u = %g: limit %g", u, s.Limit)
		}
		near(t, "E", s.Efficiency.Value, 1.1, 1e-15)
	}
}

// What was decided once stays, and the numbers then move smoothly: a quarter of u across zero or detection.
func TestChoicesAreKept(t *testing.T) {
	at := func(f float64, c *ShareChoice) (Share, ShareChoice) {
		return Measure(Donor{Signal: plain(f, 0.02), Control: plain(1, 0), Dilution: 1, Confidence: 0.95}, c)
	}
	for _, f := range []float64{0.0001, -0.0001, 0.0328} {
		s, c := at(f, nil)
		up, cu := at(f+0.005, &c)
		down, cd := at(f-0.005, &c)
		if cu != c || cd != c || !c.Below {
			t.Fatalf("choices %+v, %+v, %+v", c, cu, cd)
		}
		if d := up.Limit + down.Limit - 2*s.Limit; math.Abs(d) > 1e-12 {
			t.Errorf("F = %g: the limit bends by %g", f, d)
		}
	}
}

// A bounded quotient holds every quotient of what its two numbers may be, and its ends are taken on.
func TestBoundsHold(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		known := func(name string, low float64) Known {
			a, b := rapid.Float64Range(low, 10).Draw(t, name), rapid.Float64Range(low, 10).Draw(t, name+"'")
			k := Known{Value: a, U: 0.1, Nu: math.Inf(1), Bound: Bound(rapid.IntRange(0, 3).Draw(t, name+" bound")), Lo: min(a, b), Hi: max(a, b)}
			return k
		}
		f, f0 := known("F", -10), known("F0", 0.1)
		within := func(name string, k Known, low float64) float64 {
			lo, hi := k.ends()
			return rapid.Float64Range(max(lo, low), min(hi, 1000)).Draw(t, name)
		}
		x, y := within("f", f, -1000), within("f0", f0, 1e-3)
		s, choice := Measure(Donor{Signal: f, Control: f0, Dilution: 1, Confidence: 0.95}, nil)
		r, e := x/y, 1-x/y
		slack := 1e-9 * (1 + math.Abs(r))
		inside := func(k Known, v float64) bool {
			switch k.Bound {
			case Plain:
				return math.Abs(v-k.Value) <= slack
			case Lower:
				return v >= k.Value-slack
			case Upper:
				return v <= k.Value+slack
			case Interval:
				return v >= k.Lo-slack && v <= k.Hi+slack
			}
			return true
		}
		if !inside(s.Residual, r) || !inside(s.Efficiency, e) {
			t.Fatalf("F %+v, F0 %+v: %g/%g = %g is not in %+v, or %g not in %+v", f, f0, x, y, r, s.Residual, e, s.Efficiency)
		}
		if s.Residual.Bound == Upper && choice.Below && s.Limit > s.Efficiency.Value+slack {
			t.Fatalf("limit %g above the bound %+v", s.Limit, s.Efficiency)
		}
	})
}

// Which bound becomes which.
func TestBoundsTurnOver(t *testing.T) {
	upper, lower := Known{Value: 2, U: 0.1, Bound: Upper}, Known{Value: 2, U: 0.1, Bound: Lower}
	interval := Known{Value: math.NaN(), U: math.NaN(), Bound: Interval, Lo: 1, Hi: 2}
	for _, c := range []struct {
		name  string
		f, f0 Known
		r, e  Bound
		value float64 // of E
	}{
		{"signal at most", upper, plain(4, 0), Upper, Lower, 0.5},
		{"signal at least", lower, plain(4, 0), Lower, Upper, 0.5},
		{"control at least", plain(1, 0.1), lower, Upper, Lower, 0.5},
		{"control at most", plain(1, 0.1), upper, Lower, Upper, 0.5},
		{"negative signal, control at least", plain(-1, 0.1), lower, Lower, Upper, 1.5},
		{"at most over at least", upper, lower, Upper, Lower, 0},
		{"at least over at most", lower, upper, Lower, Upper, 0},
		{"at most over at most", upper, upper, Nothing, Nothing, math.NaN()},
		{"interval", interval, plain(4, 0), Interval, Interval, math.NaN()},
		{"interval over at least", interval, lower, Upper, Lower, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, _ := Measure(Donor{Signal: c.f, Control: c.f0, Dilution: 1, Confidence: 0.95}, nil)
			if s.Residual.Bound != c.r || s.Efficiency.Bound != c.e {
				t.Errorf("bounds %d and %d, want %d and %d", s.Residual.Bound, s.Efficiency.Bound, c.r, c.e)
			}
			if got := s.Efficiency.Value; math.Abs(got-c.value) > 1e-15 || math.IsNaN(got) != math.IsNaN(c.value) {
				t.Errorf("E %g, want %g", got, c.value)
			}
		})
	}
	s, _ := Measure(Donor{Signal: interval, Control: plain(4, 0), Dilution: 1, Confidence: 0.95}, nil)
	if e := s.Efficiency; e.Lo != 0.5 || e.Hi != 0.75 {
		t.Errorf("E from %g to %g, want 0.5 to 0.75", e.Lo, e.Hi)
	}
}

func TestMeasurePanics(t *testing.T) {
	good := Donor{Signal: plain(1, 0.1), Control: plain(2, 0), Dilution: 1, Confidence: 0.95}
	for name, change := range map[string]func(d *Donor){
		"no control":      func(d *Donor) { d.Control.Value = 0 },
		"control is NaN":  func(d *Donor) { d.Control.Value = math.NaN() },
		"dilution":        func(d *Donor) { d.Dilution = 0 },
		"full confidence": func(d *Donor) { d.Confidence = 1 },
	} {
		t.Run(name, func(t *testing.T) {
			defer func() {
				if recover() == nil {
					t.Error("no panic")
				}
			}()
			d := good
			change(&d)
			Measure(d, nil)
		})
	}
}

func BenchmarkMeasure(b *testing.B) {
	d := Donor{Signal: plain(0.5, 1), Control: plain(100, 0), Blanks: []float64{0.1, 0.2, -0.1}, Dilution: 1.02, Confidence: 0.95}
	b.ReportAllocs()
	for b.Loop() {
		Measure(d, nil)
	}
}
