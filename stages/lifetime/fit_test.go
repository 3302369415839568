package lifetime

import (
	"math"
	"math/rand/v2"
	"testing"

	"fascicle/stages/internal/fitting"

	"pgregory.net/rapid"
)

var double = truth{n: 4096, mu: 300, sigma: 8, tau: []float64{80, 320}, amp: []float64{6900, 4600}, shift: 1.37, background: 5}

// Expected counts in place of counts give the truth back: the model is the closed form of an exponential through a Gaussian response, and the
// response is sampled, so that what is left is the error of the spline.
func TestFitWithoutNoise(t *testing.T) {
	for _, c := range []struct {
		name  string
		truth truth
		set   func(p *Problem)
	}{
		{"one", truth{n: 1024, mu: 100, sigma: 4, tau: []float64{150}, amp: []float64{1000}, shift: -2.6, background: 3}, nil},
		{"one, far shorter than the response", truth{n: 1024, mu: 100, sigma: 12, tau: []float64{5}, amp: []float64{1000}, shift: 0.4, background: 3}, nil},
		{"two", double, nil},
		{"three", truth{n: 4096, mu: 300, sigma: 8, tau: []float64{20, 120, 600}, amp: []float64{9000, 5000, 2000}, shift: 0.25, background: 2}, nil},
		{"one over many pulses", truth{n: 1000, mu: 100, sigma: 4, tau: []float64{700}, amp: []float64{1000}, shift: 1.5, background: 3, period: 1010.7}, nil},
		{"two over many pulses", truth{n: 2000, mu: 100, sigma: 4, tau: []float64{100, 1100}, amp: []float64{3000, 1000}, shift: 1.5, background: 0.5, period: 2003.3}, nil},
		{"one with scattered light", truth{n: 1024, mu: 100, sigma: 4, tau: []float64{150}, amp: []float64{1000}, shift: 0.6, background: 3, scatter: 20000}, nil},
		{"one with a rise", truth{n: 2048, mu: 100, sigma: 4, tau: []float64{30, 250}, amp: []float64{-2000, 3000}, shift: 0.6, background: 3}, func(p *Problem) { p.FreeAmplitudes = true }},
		{"two, one fixed", truth{n: 2048, mu: 100, sigma: 4, tau: []float64{60, 250}, amp: []float64{2000, 3000}, shift: 0.6, background: 3}, func(p *Problem) { p.FixedTau = []float64{60, math.NaN()} }},
		{"two, the longer fixed", truth{n: 2048, mu: 100, sigma: 4, tau: []float64{60, 250}, amp: []float64{2000, 3000}, shift: 0.6, background: 3}, func(p *Problem) { p.FixedTau = []float64{250, math.NaN()} }},
		{"two over a range", double, func(p *Problem) { p.First, p.Last = 290, 3000 }},
		{"two, shift and background fixed", double, func(p *Problem) {
			p.Shift, p.Background = Fixable{Fixed: true, Value: 1.37}, Fixable{Fixed: true, Value: 5}
		}},
		{"one with a fixed share of scattered light", truth{n: 1024, mu: 100, sigma: 4, tau: []float64{150}, amp: []float64{1000}, shift: 0.6, background: 3, scatter: 15000}, func(p *Problem) {
			p.Scatter, p.ScatterShare = Fixable{Fixed: true}, 0.1
		}},
		{"two by least squares", double, func(p *Problem) {
			p.Weights = make([]float64, len(p.Counts))
			for k, n := range p.Counts {
				p.Weights[k] = 1 / n
			}
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := c.truth.problem(c.truth.means())
			if c.set != nil {
				c.set(p)
			}
			var w Workspace
			var s Solution
			if err := w.Fit(&s, p, nil); err != nil || s.Status != Converged {
				t.Fatal(err, s.Status)
			}
			var order [MaxTerms]int
			s.Order(order[:p.Terms])
			for rank, i := range order[:p.Terms] {
				near(t, numbered("tau_", rank), s.Tau[i], c.truth.tau[rank], 2e-4)
				near(t, numbered("a_", rank), s.Amp[i], c.truth.amp[rank], 5e-4)
			}
			if math.Abs(s.Shift-c.truth.shift) > 2e-3 {
				t.Errorf("shift %g, want %g", s.Shift, c.truth.shift)
			}
			near(t, "background", s.Background, c.truth.background, 2e-3)
			if c.truth.scatter > 0 {
				near(t, "scattered light", s.Scatter, c.truth.scatter, 2e-3)
			}
		})
	}
}

// A tail needs no response.
func TestFitTail(t *testing.T) {
	for _, period := range []float64{0, 900} {
		counts := make([]float64, 800)
		for k := range counts {
			for j := 0; j < 100; j++ {
				at := float64(k) + float64(j)*period
				counts[k] += 500*math.Exp(-at/60) + 200*math.Exp(-at/300)
				if period == 0 {
					break
				}
			}
			counts[k] += 7
		}
		p := &Problem{Counts: counts, First: 40, Last: 799, Origin: 0, Terms: 2, Period: period, Background: Fixable{Hi: math.Inf(1)}, Scatter: Fixable{Fixed: true}}
		var w Workspace
		var s Solution
		if err := w.Fit(&s, p, nil); err != nil || s.Status != Converged {
			t.Fatal(err, s.Status)
		}
		var order [2]int
		s.Order(order[:])
		i, j := order[0], order[1]
		near(t, "tau_1", s.Tau[i], 60, 1e-6)
		near(t, "tau_2", s.Tau[j], 300, 1e-6)
		near(t, "a_1", s.Amp[i], 500, 1e-6)
		near(t, "a_2", s.Amp[j], 200, 1e-6)
		near(t, "background", s.Background, 7, 1e-6)
	}
}

// tailOf sets up a single exponential over k channels of a window of 12.5 ns, without background.
func tailOf(counts []float64) *Problem {
	return &Problem{Counts: counts, Last: len(counts) - 1, Terms: 1, Background: Fixable{Fixed: true}, Scatter: Fixable{Fixed: true}}
}

// The least possible uncertainty of the lifetime of a single exponential, √N·u(τ)/τ, of 4 ns in a window of 12.5 ns cut into k channels: computed
// from the closed form of Köllner and Wolfrum, Chem. Phys. Lett. 200 (1992) 199 (F-value, from memory).
func TestCramerRao(t *testing.T) {
	for _, c := range []struct {
		k    int
		want float64
	}{{8, 1.389471}, {64, 1.373105}, {256, 1.372864}, {1024, 1.372849}} {
		counts := make([]float64, c.k)
		width, n := 12.5/float64(c.k), 0.0
		for k := range counts {
			counts[k] = 1e4 * math.Exp(-float64(k)*width/4)
			n += counts[k]
		}
		var w Workspace
		var s Solution
		p := tailOf(counts)
		if err := w.Fit(&s, p, nil); err != nil || s.Status != Converged {
			t.Fatal(err, s.Status)
		}
		list := s.Numbers(p, width)
		near(t, "tau", list[0].Value, 4, 1e-7)
		near(t, "√N·u/τ", math.Sqrt(n)*list[0].U/list[0].Value, c.want, 1e-6)
	}
}

// The likelihood of a single exponential over a window knows the counts by their sum and mean channel alone: with τ = 4 ns, 12.5 ns and
// 256 channels the mean of the truncated exponential is at channel 70.656254649 (counted from 1), as computed from the closed form of
// Hall and Selinger, J. Phys. Chem. 85 (1981) 2941 (from memory). So counts of any shape with that mean give 4 ns.
func TestMeanOfTruncatedExponential(t *testing.T) {
	const mean = 70.656254649
	counts := make([]float64, 256)
	total, first := 0.0, 0.0
	for k := range counts { // a triangle, whose mean is 1/3 of the window
		counts[k] = 256 - float64(k)
		total += counts[k]
		first += counts[k] * float64(k+1)
	}
	// counts added in channel 20 draw the mean to its place: (first + 20·x)/(total + x) = mean
	counts[19] += (first - mean*total) / (mean - 20)
	var w Workspace
	var s Solution
	if err := w.Fit(&s, tailOf(counts), nil); err != nil || s.Status != Converged {
		t.Fatal(err, s.Status)
	}
	near(t, "tau", s.Tau[0]*12.5/256, 4, 1e-8)
}

// The slope of the deviance by all parameters, against differences.
func TestSlope(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 3).Draw(t, "terms")
		d := truth{n: 300, mu: 40, sigma: 3, shift: 0.3, background: 2, scatter: 300, period: rapid.SampledFrom([]float64{0, 320}).Draw(t, "period")}
		for i := range n {
			d.tau = append(d.tau, 10*math.Pow(3, float64(i)))
			d.amp = append(d.amp, 100)
		}
		r := rand.New(rand.NewPCG(1, rapid.Uint64().Draw(t, "seed")))
		p := d.problem(d.draw(r, d.means()))
		share := rapid.Bool().Draw(t, "share")
		if share {
			p.Scatter, p.ScatterShare = Fixable{Fixed: true}, 0.07
		}
		if rapid.Bool().Draw(t, "least squares") {
			p.Weights = make([]float64, len(p.Counts))
			for k, c := range p.Counts {
				p.Weights[k] = 1 / (c + 1)
			}
		}
		var w Workspace
		w.prepare(len(p.Counts), p.columns())
		var x, g vector
		var m matrix
		for i := range n {
			x[i] = math.Log(d.tau[i] * 1.1)
			x[p.ampAt()+i] = 90
		}
		x[p.shiftAt()], x[p.backgroundAt()], x[p.scatterAt()] = 0.1, 2.5, 200
		if share {
			x[p.scatterAt()] = 0
		}
		w.evaluate(p, &x)
		w.normal(p, &x, &m, &g)
		for i := range p.size() {
			if share && i == p.scatterAt() {
				continue
			}
			h := 1e-5 * math.Max(0.1, math.Abs(x[i]))
			y := x
			y[i] += h
			up := w.evaluate(p, &y)
			y[i] = x[i] - h
			slope := -(up - w.evaluate(p, &y)) / (4 * h)
			if math.Abs(slope-g[i]) > 1e-5*math.Abs(slope)+1e-5*math.Sqrt(m[i][i]) {
				t.Fatalf("parameter %d of %d: slope %.8g, by differences %.8g", i, p.size(), g[i], slope)
			}
		}
	})
}

// The step of the active set obeys the conditions of Karush, Kuhn and Tucker.
func TestBoxStep(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 7).Draw(t, "n")
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 2))
		var m matrix
		var g, lo, hi, s vector
		var free [maxPar]bool
		for range n + 3 {
			var row vector
			for i := range n {
				row[i] = r.NormFloat64()
			}
			for i := range n {
				for j := range n {
					m[i][j] += row[i] * row[j]
				}
			}
		}
		for i := range n {
			g[i] = 3 * r.NormFloat64()
			lo[i], hi[i], free[i] = -r.Float64(), r.Float64(), true
			if r.IntN(4) == 0 {
				lo[i] = 0
			}
			if r.IntN(4) == 0 {
				hi[i] = math.Inf(1)
			}
		}
		boxStep(&s, &g, &m, 0, &lo, &hi, &free, n)
		bad := 0
		for i := range n {
			slope := g[i]
			for j := range n {
				slope -= m[i][j] * s[j]
			}
			switch {
			case s[i] < lo[i] || s[i] > hi[i]:
				t.Fatalf("step %g outside %g to %g", s[i], lo[i], hi[i])
			case s[i] > lo[i] && s[i] < hi[i] && math.Abs(slope) > 1e-8, s[i] == lo[i] && slope > 1e-8, s[i] == hi[i] && slope < -1e-8:
				bad++
			}
		}
		// the loop lets each parameter go once: it may end one short of the minimum, never uphill
		gain := 2*dotN(&s, &g, n) - quadratic(&s, &m, n)
		if bad > 1 || gain < 0 {
			t.Fatalf("%d parameters have a slope left, gain %g", bad, gain)
		}
	})
}

// From the search's start the fit ends where a fit from the truth does, or lower: within half a unit of the deviance, which no counts could
// tell from equal.
func TestSearchFindsTheMinimum(t *testing.T) {
	r := rand.New(rand.NewPCG(77, 1))
	u := func(a, b float64) float64 { return a + (b-a)*r.Float64() }
	var w Workspace
	var found, near Solution
	for _, c := range []struct{ terms, decays int }{{1, 40}, {2, 40}, {3, 10}} {
		for range c.decays {
			d := truth{n: 1024, mu: 100, background: u(0.5, 20)}
			d.sigma = u(1.5, 15)
			d.shift = u(-2, 2) * d.sigma
			tau, height := u(0.5, 10)*d.sigma, math.Exp(u(4, 9.5))
			if c.terms == 3 {
				height = 5000
			}
			for range c.terms {
				d.tau, d.amp = append(d.tau, tau), append(d.amp, height*u(0.2, 1))
				tau *= u(2.5, 8)
			}
			p := d.problem(d.draw(r, d.means()))
			if err := w.Fit(&found, p, nil); err != nil {
				t.Fatal(err)
			}
			var start vector
			for i := range d.tau {
				start[i], start[p.ampAt()+i] = math.Log(d.tau[i]), d.amp[i]
			}
			start[p.shiftAt()], start[p.backgroundAt()] = d.shift, d.background
			w.fit(&near, p, &start, 0)
			if found.Status == NotConverged {
				t.Errorf("%+v: not converged", d)
			}
			if found.Objective > near.Objective+0.5 {
				t.Errorf("%+v: deviance %.6f (τ %v), from the truth %.6f (τ %v)", d, found.Objective, found.Tau, near.Objective, near.Tau)
			}
		}
	}
}

// The search finds by how much a decay comes late or early from where it rises, also by several widths of the response.
func TestSearchFindsTheShift(t *testing.T) {
	r := rand.New(rand.NewPCG(78, 1))
	for _, shift := range []float64{-35, -12, 0.3, 20, 40} {
		d := truth{n: 1024, mu: 100, sigma: 4, tau: []float64{80}, amp: []float64{500}, shift: shift, background: 3}
		p := d.problem(d.draw(r, d.means()))
		var w Workspace
		w.search(p)
		if got := w.find.starts[0].start[p.shiftAt()]; math.Abs(got-shift) > 3 {
			t.Errorf("shift %g: the search begins at %g", shift, got)
		}
	}
}

// A fit from its own solution gives the same, and what moves with a number that it is given moves smoothly: halves of a step have half the
// effect.
func TestFitAgainIsSmooth(t *testing.T) {
	d := truth{n: 1000, mu: 100, sigma: 4, tau: []float64{80, 500}, amp: []float64{1500, 1000}, shift: 1.5, background: 3, period: 1010.7}
	r := rand.New(rand.NewPCG(9, 1))
	p := d.problem(d.draw(r, d.means()))
	var w Workspace
	var first, s Solution
	if err := w.Fit(&first, p, nil); err != nil {
		t.Fatal(err)
	}
	base := first.Numbers(p, 1)
	at := func(period float64) []Number {
		q := *p
		q.Period = period
		if err := w.Fit(&s, &q, &first); err != nil || s.Status != Converged {
			t.Fatal(err, s.Status)
		}
		return s.Numbers(&q, 1)
	}
	same := at(p.Period)
	small, large := at(p.Period+0.05), at(p.Period+0.1)
	for i, x := range base {
		if x.U == 0 {
			continue
		}
		if math.Abs(same[i].Value-x.Value) > 1e-5*x.U {
			t.Errorf("%s: %.10g, from its own solution %.10g", x.Name, x.Value, same[i].Value)
		}
		a, b := small[i].Value-x.Value, large[i].Value-x.Value
		if math.Abs(b-2*a) > 1e-3*math.Abs(b)+1e-5*x.U {
			t.Errorf("%s moves by %g and by %g", x.Name, a, b)
		}
	}
}

// z-scores over drawn decays: no bias, and the spread that u says, for all numbers. Bounds are four standard errors of mean and variance.
func coverage(t *testing.T, d truth, draws int) {
	t.Helper()
	r := rand.New(rand.NewPCG(20, 24))
	means := d.means()
	p := d.problem(nil)
	var truthOf Solution
	for i := range d.tau {
		truthOf.Tau[i], truthOf.Amp[i] = d.tau[i], d.amp[i]
	}
	truthOf.Shift, truthOf.Background, truthOf.Scatter = d.shift, d.background, d.scatter
	want := truthOf.Numbers(p, 1)
	sum, square := make([]float64, len(want)), make([]float64, len(want))
	fit, deviance := 0.0, 0.0
	var w Workspace
	var s Solution
	for range draws {
		p.Counts = d.draw(r, means)
		p.Last = len(p.Counts) - 1
		if err := w.Fit(&s, p, nil); err != nil || s.Status != Converged {
			t.Fatal(err, s.Status)
		}
		for i, x := range s.Numbers(p, 1) {
			if x.U == 0 || math.IsNaN(x.U) {
				continue
			}
			z := (x.Value - want[i].Value) / x.U
			sum[i] += z
			square[i] += z * z
		}
		e, v := fitting.ExpectedDeviance(w.mean)
		z := (s.Objective - e + float64(s.Free)) / math.Sqrt(v)
		fit += z
		deviance += z * z
	}
	n := float64(draws)
	report := func(name string, sum, square float64) {
		mean, spread := sum/n, square/n
		if math.Abs(mean) > 4/math.Sqrt(n) || math.Abs(spread-1) > 4*math.Sqrt(2/n) {
			t.Errorf("%s: z of mean %.3f ± %.3f and mean square %.3f ± %.3f over %d decays, want 0 and 1", name, mean, 1/math.Sqrt(n), spread, math.Sqrt(2/n), draws)
		}
	}
	for i, x := range want {
		if square[i] != 0 {
			report(x.Name, sum[i], square[i])
		}
	}
	report("deviance", fit, deviance)
}

// A background that is not there, or hardly: it ends at 0 in many draws, and the lifetimes must not be surer for it. The spread of z may be
// below 1, for the truth lies at the edge.
func TestCoverageAtTheEdge(t *testing.T) {
	for _, background := range []float64{0, 4} {
		d := truth{n: 500, mu: 25, sigma: 1.2, tau: []float64{25, 175}, amp: []float64{3000, 1500}, shift: 0.4, background: background, period: 501}
		r := rand.New(rand.NewPCG(41, 24))
		means := d.means()
		p := d.problem(means)
		var w Workspace
		var s Solution
		atZero, square := 0, 0.0
		const draws = 200
		for range draws {
			p.Counts = d.draw(r, means)
			if err := w.Fit(&s, p, nil); err != nil || s.Status != Converged {
				t.Fatal(err, s.Status)
			}
			if s.side[p.backgroundAt()] == AtLower {
				atZero++
			}
			x := s.Numbers(p, 1)[1]
			z := (x.Value - d.tau[1]) / x.U
			square += z * z
		}
		if atZero < draws/20 {
			t.Errorf("background %g: only %d of %d ended at 0", background, atZero, draws)
		}
		if square /= draws; square > 1+4*math.Sqrt(2./draws) || square < 0.3 {
			t.Errorf("background %g: mean square of z is %.3f", background, square)
		}
	}
}

// The second moment and the limit against sums.
func TestBeyondZero(t *testing.T) {
	for _, c := range []struct{ g, c float64 }{{0, 2}, {-0.3, 2}, {-5, 2}, {-40, 2}, {-3, 0}, {-24.9, 1}, {-25.1, 1}} {
		sum, square, step := 0.0, 0.0, 1e-3/math.Sqrt(1+c.g*c.g)
		for b := step / 2; b < 40/math.Sqrt(1+c.g*c.g); b += step {
			p := math.Exp(c.g*b - c.c*b*b/2)
			sum += p
			square += p * b * b
		}
		near(t, "mean square", beyondZero(c.g, c.c), square/sum, 3e-4)
		below := 0.0
		for b, limit := step/2, upperLimit(c.g, c.c); b < limit; b += step {
			below += math.Exp(c.g*b - c.c*b*b/2)
		}
		near(t, "share below the limit", below/sum, 0.95, 3e-4)
	}
	if a, b := beyondZero(0, 0), upperLimit(0, 0); a != 0 || b != 0 {
		t.Errorf("no density: %g and %g", a, b)
	}
}

func TestCoverage(t *testing.T) {
	coverage(t, truth{n: 512, mu: 60, sigma: 4, tau: []float64{30, 120}, amp: []float64{2000, 1500}, shift: 0.8, background: 3}, 150)
}

func TestNothingIsAllocated(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	p := double.problem(double.draw(r, double.means()))
	var w Workspace
	var s Solution
	if n := testing.AllocsPerRun(3, func() {
		if err := w.Fit(&s, p, nil); err != nil {
			t.Fatal(err)
		}
	}); n != 0 {
		t.Errorf("%v allocations a fit", n)
	}
}

func BenchmarkFit(b *testing.B) {
	for _, c := range []struct {
		name string
		d    truth
	}{
		{"one", truth{n: 4096, mu: 300, sigma: 8, tau: []float64{300}, amp: []float64{10000}, shift: 1.37, background: 5}},
		{"two", double},
		{"three", truth{n: 4096, mu: 300, sigma: 8, tau: []float64{40, 150, 600}, amp: []float64{5000, 4000, 3000}, shift: 1.37, background: 5}},
	} {
		b.Run(c.name, func(b *testing.B) {
			r := rand.New(rand.NewPCG(1, 1))
			p := c.d.problem(c.d.draw(r, c.d.means()))
			var w Workspace
			var s Solution
			b.ReportAllocs()
			for b.Loop() {
				if err := w.Fit(&s, p, nil); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(s.Iterations), "iterations")
		})
	}
}
