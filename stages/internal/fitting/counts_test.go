package fitting

import (
	"math"
	"math/rand/v2"
	"strconv"
	"testing"
)

// Baker and Cousins, Nucl. Instrum. Methods 221 (1984) 437 (formula from
// memory): 2·[(4−5+5·ln(5/4)) + 1 + (3.5−3+3·ln(3/3.5))].
func TestPoissonDeviance(t *testing.T) {
	printed(t, "deviance", PoissonDeviance([]float64{5, 0, 3}, []float64{4, 1, 3.5}), 2.3065314, 7)
	inf, nan := math.Inf(1), math.NaN()
	for _, c := range []struct {
		n, m, want float64
	}{{0, 0, 0}, {3, 3, 0}, {0, 2, 4}, {1, 0, inf}, {0, -1, nan}, {1, nan, nan}, {nan, 1, nan}, {-1, 1, nan}} {
		got := PoissonDeviance([]float64{c.n}, []float64{c.m})
		if got != c.want && !(math.IsNaN(got) && math.IsNaN(c.want)) {
			t.Errorf("n %g, m %g: %g, want %g", c.n, c.m, got, c.want)
		}
	}
}

// The moments of a channel's deviance: about 0.47 at a mean of 0.1 and 1.15 at
// 1 (as is known of the deviance at few counts), and here the sums over n done
// by math.Lgamma, term by term.
func TestExpectedDeviance(t *testing.T) {
	for _, c := range []struct{ m, about float64 }{{0.1, 0.47}, {1, 1.15}} {
		got, _ := ExpectedDeviance([]float64{c.m})
		if math.Abs(got-c.about) > 0.006 {
			t.Errorf("at %g: %.4f, known to be about %g", c.m, got, c.about)
		}
	}
	for _, m := range []float64{1e-6, 1e-3, 0.1, 0.5, 1, 3, 10, 50, 99.9, 100.1, 130, 400, 5000} {
		t.Run(strconv.FormatFloat(m, 'g', -1, 64), func(t *testing.T) {
			var first, second float64
			width := 14*math.Sqrt(m) + 30
			for n := math.Max(0, math.Floor(m-width)); n <= m+width; n++ {
				lg, _ := math.Lgamma(n + 1)
				p := math.Exp(n*math.Log(m) - m - lg)
				d := 2 * (m - n)
				if n > 0 {
					d += 2 * n * math.Log(n/m)
				}
				first += p * d
				second += p * d * d
			}
			mean, variance := ExpectedDeviance([]float64{m})
			near(t, "mean", mean, first, 1e-7)
			near(t, "variance", variance, second-first*first, 1e-5)
		})
	}
	mean, variance := ExpectedDeviance([]float64{0.1, 1, 0, -1, math.NaN()})
	a, va := ExpectedDeviance([]float64{0.1})
	b, vb := ExpectedDeviance([]float64{1})
	near(t, "sum of means", mean, a+b, 1e-15)
	near(t, "sum of variances", variance, va+vb, 1e-15)
}

// histogram is the counts in k channels of a decay τ that is seen over T:
// p0·(exp(−t_i/τ) − exp(−t_{i+1}/τ)), τ = p1.
func histogram(k int, window float64) Model {
	h := window / float64(k)
	return Functions{
		F: func(f, p []float64) {
			for i := range f {
				f[i] = p[0] * (math.Exp(-float64(i)*h/p[1]) - math.Exp(-float64(i+1)*h/p[1]))
			}
		},
		J: func(jac, p []float64) {
			tau := p[1]
			for i := range k {
				t0, t1 := float64(i)*h, float64(i+1)*h
				e0, e1 := math.Exp(-t0/tau), math.Exp(-t1/tau)
				jac[i], jac[k+i] = e0-e1, p[0]*(t0*e0-t1*e1)/(tau*tau)
			}
		},
	}
}

// expectedCounts are a model's values, rounded to whole counts.
func expectedCounts(m Model, n int, p []float64) (y []float64, total float64) {
	y = make([]float64, n)
	m.Values(y, p)
	for i, v := range y {
		y[i] = math.Round(v)
		total += y[i]
	}
	return y, total
}

// The Cramér–Rao bound √N·σ_τ/τ of a decay of 4 ns in a window of 12.5 ns, cut
// into k channels (the F-value of Köllner and Wolfrum, Chem. Phys. Lett. 200
// (1992) 199, from memory; digits computed apart from this code).
func TestCramerRao(t *testing.T) {
	for _, c := range []struct {
		k    int
		want float64
	}{{2, 1.690902}, {8, 1.389471}, {64, 1.373105}, {256, 1.372864}, {1024, 1.372849}} {
		m := histogram(c.k, 12.5)
		y, total := expectedCounts(m, c.k, []float64{1e12, 4})
		var r Result
		if err := NewWorkspace().Fit(&r, &Problem{Model: m, Estimator: Poisson, Y: y}, []float64{5e11, 2.5}); err != nil {
			t.Fatalf("%d channels: %v", c.k, err)
		}
		near(t, "tau", r.P[1], 4, 1e-8)
		near(t, strconv.Itoa(c.k)+" channels: √N·σ/τ", math.Sqrt(total)*r.SD[1]/r.P[1], c.want, 1e-6)
	}
}

// The likelihood's τ is the one whose mean channel is the counts' (Hall and
// Selinger, J. Phys. Chem. 85 (1981) 2941, formula from memory): 4 ns, 12.5 ns
// in 256 channels, has 70.656254649, counted from 1.
func TestMeanChannel(t *testing.T) {
	m := histogram(256, 12.5)
	y, total := expectedCounts(m, 256, []float64{1e13, 4})
	mean := 0.0
	for i, v := range y {
		mean += float64(i+1) * v / total
	}
	near(t, "mean channel", mean, 70.656254649, 1e-9)
	// Few counts with nearly that mean: the fitted curve must have it, too.
	rng := rand.New(rand.NewPCG(5, 5))
	total, mean = 0, 0
	for i, v := range y {
		y[i] = poissonDraw(rng, v/1e10)
		total += y[i]
		mean += float64(i+1) * y[i]
	}
	var r Result
	if err := NewWorkspace().Fit(&r, &Problem{Model: m, Estimator: Poisson, Y: y}, []float64{2000, 3}); err != nil {
		t.Fatal(err)
	}
	fitted, area := 0.0, 0.0
	for i, v := range r.F {
		fitted += float64(i+1) * v
		area += v
	}
	near(t, "fitted counts", area, total, 1e-8)
	near(t, "fitted mean channel", fitted/area, mean/total, 1e-9)
}

// At 0.1 counts a channel the estimates and their uncertainties must still be
// right: pulls over many draws have mean 0 and variance 1, and the deviance
// agrees with its expectation, where a χ² table would be off by half.
func TestFewCounts(t *testing.T) {
	const channels, draws = 4096, 60
	truth := []float64{450, 900, 0.02}
	x := make([]float64, channels)
	for i := range x {
		x[i] = float64(i)
	}
	s := &Separable{Estimator: Poisson, Parameters: Parameters{Names: []string{"tau"}, Lower: []float64{1}, Upper: []float64{1e5}},
		Blocks: []Block{{Basis: expBasis{x}, Y: make([]float64, channels), Linear: []string{"a", "b"}, NonNegative: []bool{true, true}}}}
	rng := rand.New(rand.NewPCG(11, 2))
	w := NewWorkspace()
	var r Result
	var sum, squares, devs float64
	for range draws {
		for i := range x {
			s.Blocks[0].Y[i] = poissonDraw(rng, truth[0]/truth[1]*math.Exp(-x[i]/truth[1])+truth[2])
		}
		if err := w.FitSeparable(&r, s, []float64{400}); err != nil {
			t.Fatal(err)
		}
		z := math.Log(r.P[0]/truth[1]) / (r.SD[0] / r.P[0])
		sum += z
		squares += z * z
		mean, variance := ExpectedDeviance(r.F)
		devs += (r.Objective - mean + 3) / math.Sqrt(variance)
		if r.Objective > 0.9*channels {
			t.Errorf("deviance %.0f for %d channels: this was to be a case of few counts", r.Objective, channels)
		}
	}
	t.Logf("%d fits: mean pull %.2f, variance %.2f; mean of (deviance − expected)/σ %.2f; last deviance %.0f in %d channels", draws,
		sum/draws, squares/draws, devs/draws, r.Objective, channels)
	if math.Abs(sum/draws) > 4/math.Sqrt(draws) || math.Abs(squares/draws-1) > 4*math.Sqrt(2.0/draws) || math.Abs(devs/draws) > 4/math.Sqrt(draws) {
		t.Error("pulls or deviances are off by more than four standard errors")
	}
}

func TestChangeIsDeviance(t *testing.T) {
	n := []float64{0, 0, 1, 5, 1000, 7, 2}
	a := []float64{0.5, 0, 2, 5, 900, 7.0001, 30}
	b := []float64{0, 0.1, 2.05, 5.2, 1010, 7, 1e-3}
	near(t, "change", change(n, a, b, 0), deviance(n, b, 0)-deviance(n, a, 0), 1e-13)
	// Near by: against the second-order series, which is exact to 1e-13 here.
	d := []float64{1e-7, 1e-7, 1e-7, 1e-7, 1e-7, 1e-7, 1e-7}
	want := 0.0
	for i := range n {
		b[i] = a[i] + d[i]
		d[i] = b[i] - a[i]
		want += 2 * d[i]
		if n[i] > 0 {
			want -= 2 * n[i] * (d[i]/a[i] - d[i]*d[i]/(2*a[i]*a[i]))
		}
	}
	near(t, "small change", change(n, a, b, 0), want, 1e-11)
}
