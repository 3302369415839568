package phase

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// scipy.optimize.curve_fit of SciPy 1.10.1 (xtol = ftol = gtol = 1e-15, p0 near the end) on these numbers, for
// a + (b − a)/(1 + exp(−(x − m1)/s1)) + (c − b)/(1 + exp(−(x − m2)/s2)): with sigma = 0.005 and absolute_sigma=True, and without sigma.
var (
	scipyX = []float64{0.20, 0.25, 0.30, 0.35, 0.40, 0.45, 0.50, 0.55, 0.60, 0.65, 0.70, 0.75, 0.80}
	scipyT = []float64{0.981, 0.978, 0.966, 0.902, 0.648, 0.311, 0.172, 0.128, 0.193, 0.482, 0.829, 0.944, 0.961}
)

func TestWindowAgainstSciPy(t *testing.T) {
	for _, c := range []struct {
		name                                         string
		u                                            []float64
		uOpens, uCloses, uMiddle, uWidth, uS1, uS2   float64
		covariance, uBefore, uInside, uAfter, chi2nu float64
	}{
		{"known u", same(0.005, 13), 0.00076744462, 0.00071085569, 0.00044552103, 0.0011809395, 0.0029718195, 0.0029917734, -1.5016555e-07,
			0.0031351914, 0.0051353552, 0.0042252186, 10.886007943657 / 6},
		{"unknown u", nil, 0.0010337268, 0.00095750301, 0.00060010453, 0.001590693, 0.0040029587, 0.0040298363, -2.7245063e-07,
			0.0042230162, 0.0069171821, 0.0056912528, 10.886007943657 / 6 * 0.005 * 0.005},
	} {
		t.Run(c.name, func(t *testing.T) {
			r, _, err := Analyse(scipyX, scipyT, c.u, SeriesOptions{}, nil)
			if err != nil {
				t.Fatal(err)
			}
			if len(r.Edges) != 2 || len(r.Windows) != 1 || !r.Edges[0].Turbid || r.Edges[1].Turbid || r.Nu != 6 {
				t.Fatalf("%d edges, %d windows, ν = %d", len(r.Edges), len(r.Windows), r.Nu)
			}
			w := r.Windows[0]
			for _, v := range []struct {
				name    string
				got     Number
				x, u, p float64 // p: relative tolerance of u
			}{
				{"opens", w.Opens, 0.4140242749, c.uOpens, 2e-5}, {"closes", w.Closes, 0.6572399976, c.uCloses, 2e-5},
				{"middle", w.Middle, (0.4140242749 + 0.6572399976) / 2, c.uMiddle, 2e-5}, {"width", w.Width, 0.6572399976 - 0.4140242749, c.uWidth, 2e-5},
				{"width of the first step", r.Edges[0].Width, 0.1288868617, c.uS1, 2e-5}, {"of the second", r.Edges[1].Width, 0.1104481416, c.uS2, 2e-5},
				{"level before", measured(r.Edges[0].Before, r.Edges[0].UBefore), 0.983405095, c.uBefore, 2e-5},
				{"level inside", measured(r.Edges[1].Before, r.Edges[1].UBefore), 0.1154407307, c.uInside, 2e-5},
				{"level behind", measured(r.Edges[1].After, r.Edges[1].UAfter), 0.9632409848, c.uAfter, 2e-5},
			} {
				if v.got.Bound != Measured {
					t.Errorf("%s is a bound: %+v", v.name, v.got)
				}
				near(t, v.name, v.got.X, v.x, 3e-9)
				near(t, "u of "+v.name, v.got.U, v.u, v.p*v.u)
			}
			near(t, "cov", w.Cov[0][1], c.covariance, 1e-4*math.Abs(c.covariance))
			near(t, "χ²/ν", r.Chi2/6, c.chi2nu, 1e-8*c.chi2nu)
		})
	}
}

// The same on a logarithmic axis, one step: curve_fit on ln x with sigma = 0.01; u of x and of the width x90 − x10 by JCGM 100, 5.1.2 in NumPy.
func TestLogAxisAgainstSciPy(t *testing.T) {
	x := []float64{0.05, 0.08, 0.12, 0.2, 0.3, 0.45, 0.7, 1.0, 1.5}
	y := []float64{0.112, 0.118, 0.131, 0.19, 0.40, 0.71, 0.905, 0.952, 0.966}
	r, _, err := Analyse(x, y, same(0.01, 9), SeriesOptions{Log: true}, nil)
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Edges) != 1 || r.Edges[0].Turbid || r.Edges[0].At.Bound != Measured {
		t.Fatalf("%+v", r.Edges)
	}
	near(t, "edge", r.Edges[0].At.X, 0.3609469912, 2e-9)
	near(t, "its u", r.Edges[0].At.U, 0.0045088023, 1e-7)
	near(t, "width", r.Edges[0].Width.X, 0.4398640458, 3e-8)
	near(t, "its u", r.Edges[0].Width.U, 0.022259148, 5e-7)
	near(t, "χ²", r.Chi2, 0.6967056185, 1e-8)
	w := r.Windows[0]
	if w.Opens.Bound != Upper || w.Opens.X != 0.05 || w.Closes.X != r.Edges[0].At.X || w.Width.Bound != Lower || w.Middle.Bound != Upper {
		t.Errorf("%+v", w)
	}
	near(t, "least width", w.Width.X, 0.3609469912-0.05, 3e-9)
	near(t, "u of the least width", w.Width.U, 0.0045088023, 1e-7)
	near(t, "greatest middle", w.Middle.X, math.Sqrt(0.3609469912*0.05), 1e-8)
}

// What a series shows when its truth is known and nothing is noisy.
func TestSeries(t *testing.T) {
	lower, upper, interval := func(x float64) Number { return between(x, math.Inf(1), 0) }, func(x float64) Number { return between(math.Inf(-1), x, 0) },
		func(lo, hi float64) Number { return between(lo, hi, 0) }
	none := unknown()
	at := func(x float64) Number { return measured(x, 0) }
	type edge struct {
		turbid bool
		at     Number
	}
	for _, c := range []struct {
		name           string
		x, t           []float64
		opt            SeriesOptions
		edges          []edge
		opens, closes  Number
		width, middle  Number
		windows        int
		turbid, judged bool
	}{
		{name: "gradual", x: grid(0.2, 0.9, 15), t: nil, edges: []edge{{true, at(0.42)}, {false, at(0.66)}}, opens: at(0.42), closes: at(0.66), width: at(0.24), middle: at(0.54), windows: 1},
		{name: "steep", x: []float64{1, 2, 3, 4, 5, 6}, t: []float64{1, 1, 0.1, 0.1, 1, 1}, edges: []edge{{true, interval(2, 3)}, {false, interval(4, 5)}},
			opens: interval(2, 3), closes: interval(4, 5), width: interval(1, 3), middle: interval(3, 4), windows: 1},
		{name: "never turbid", x: grid(0, 1, 6), t: []float64{0.99, 0.98, 0.985, 0.99, 0.98, 0.99}, opens: none, closes: none, width: none, middle: none},
		{name: "turbid throughout", x: grid(0, 5, 6), t: []float64{0.2, 0.21, 0.2, 0.19, 0.2, 0.2}, opens: upper(0), closes: lower(5), width: lower(5), middle: none, windows: 1, turbid: true},
		{name: "still turbid at the last", x: grid(0, 5, 6), t: []float64{0.98, 0.98, 0.98, 0.1, 0.1, 0.1}, edges: []edge{{true, interval(2, 3)}},
			opens: interval(2, 3), closes: lower(5), width: lower(2), middle: lower(3.5), windows: 1},
		{name: "turbid at the first", x: grid(0, 5, 6), t: []float64{0.1, 0.1, 0.1, 0.98, 0.98, 0.98}, edges: []edge{{false, interval(2, 3)}},
			opens: upper(0), closes: interval(2, 3), width: lower(2), middle: upper(1.5), windows: 1},
		{name: "two windows", x: grid(0, 9, 10), t: []float64{1, 0.1, 0.1, 1, 1, 0.1, 0.1, 0.1, 1, 1},
			edges: []edge{{true, interval(0, 1)}, {false, interval(2, 3)}, {true, interval(4, 5)}, {false, interval(7, 8)}},
			opens: interval(0, 1), closes: interval(2, 3), width: interval(1, 3), middle: interval(1, 2), windows: 2},
		{name: "the window that is seen best", x: grid(0, 7, 8), t: []float64{0.1, 0.1, 1, 1, 0.1, 0.1, 1, 1},
			edges: []edge{{false, interval(1, 2)}, {true, interval(3, 4)}, {false, interval(5, 6)}},
			opens: interval(3, 4), closes: interval(5, 6), width: interval(1, 3), middle: interval(4, 5), windows: 2},
		{name: "two points", x: []float64{1, 2}, t: []float64{1, 0.1}, edges: []edge{{true, interval(1, 2)}}, opens: interval(1, 2), closes: lower(2), width: lower(0), middle: lower(1.5), windows: 1},
		{name: "two points alike", x: []float64{1, 2}, t: []float64{0.99, 0.98}, opens: none, closes: none, width: none, middle: none},
		// half of the way down lies at 0.79, or lower if the series goes on to fall: only its beginning is seen
		{name: "the end of the fall is not seen", x: grid(0, 5, 6), t: []float64{0.98, 0.98, 0.98, 0.98, 0.98, 0.6}, edges: []edge{{true, lower(4)}},
			opens: lower(4), closes: lower(5), width: none, middle: lower(4.5), windows: 1},
		// half of the way up lies below 0.7 whatever was before
		{name: "the beginning of the rise is not seen", x: grid(0, 5, 6), t: []float64{0.4, 0.98, 0.98, 0.98, 0.98, 0.98}, edges: []edge{{false, interval(0, 1)}},
			opens: upper(0), closes: interval(0, 1), width: lower(0), middle: upper(0.5), windows: 1},
		// a level of 0 or of 0.6 behind: half lies from 0.49 to 0.79, and 0.45 is below
		{name: "nearly the end", x: grid(0, 5, 6), t: []float64{0.98, 0.98, 0.98, 0.98, 0.7, 0.30}, edges: []edge{{true, interval(3, 5)}},
			opens: interval(3, 5), closes: lower(5), width: lower(0), middle: lower(4), windows: 1},
		// two wide steps so near that the turbid level between them is not reached: it may be anything down to 0, so half lies from 0.49 to 0.69
		{name: "a window that is only a dip", x: grid(0, 8, 9), t: []float64{0.98, 0.97, 0.90, 0.74, 0.44, 0.75, 0.91, 0.97, 0.98}, edges: []edge{{true, interval(2, 4)}, {false, interval(4, 6)}},
			opens: interval(2, 4), closes: interval(4, 6), width: interval(0, 4), middle: interval(3, 5), windows: 1},
		{name: "one edge asked for", x: grid(0, 5, 6), t: []float64{0.98, 0.98, 0.1, 0.1, 0.8, 0.8}, opt: SeriesOptions{Model: OneEdge}, edges: []edge{{true, interval(1, 2)}},
			opens: interval(1, 2), closes: lower(5), width: lower(3), middle: lower(3), windows: 1},
		{name: "a window asked for", x: grid(0, 8, 9), t: []float64{0.98, 0.1, 0.1, 0.8, 0.8, 0.1, 0.1, 0.98, 0.98}, opt: SeriesOptions{Model: OneWindow}, edges: []edge{{true, interval(0, 5)}, {false, interval(6, 7)}},
			opens: interval(0, 5), closes: interval(6, 7), width: interval(1, 7), middle: interval(3, 6), windows: 1}, // it may begin on either side of what is clear within
		{name: "logarithmic", x: []float64{0.1, 1, 10, 100}, t: []float64{1, 0.1, 0.1, 1}, opt: SeriesOptions{Log: true}, edges: []edge{{true, interval(0.1, 1)}, {false, interval(10, 100)}},
			opens: interval(0.1, 1), closes: interval(10, 100), width: interval(9, 99.9), middle: interval(1, 10), windows: 1},
		{name: "a dent is no clearing", x: grid(0, 6, 7), t: []float64{0.98, 0.1, 0.1, 0.3, 0.1, 0.98, 0.98}, edges: []edge{{true, interval(0, 1)}, {false, interval(4, 5)}},
			opens: interval(0, 1), closes: interval(4, 5), width: interval(3, 5), middle: interval(2, 3), windows: 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			y, u := c.t, same(0.005, len(c.x))
			if y == nil {
				y, _ = windowTruth.draw(c.x, 0.005, nil)
			}
			r, _, err := Analyse(c.x, y, u, c.opt, nil)
			if err != nil {
				t.Fatal(err)
			}
			if len(r.Edges) != len(c.edges) || len(r.Windows) != c.windows || r.Turbid != c.turbid {
				t.Fatalf("%d edges, %d windows, turbid: %v; want %d, %d, %v\n%+v", len(r.Edges), len(r.Windows), r.Turbid, len(c.edges), c.windows, c.turbid, r.Edges)
			}
			for j, e := range r.Edges {
				if e.Turbid != c.edges[j].turbid {
					t.Errorf("edge %d: turns turbid: %v", j, e.Turbid)
				}
				like(t, "edge", e.At, c.edges[j].at)
			}
			w := Window{Opens: none, Closes: none, Middle: none, Width: none}
			if b := r.Best(); b >= 0 {
				w = r.Windows[b]
			}
			like(t, "opens", w.Opens, c.opens)
			like(t, "closes", w.Closes, c.closes)
			like(t, "width", w.Width, c.width)
			like(t, "middle", w.Middle, c.middle)
		})
	}
}

// like compares numbers and bounds, not u.
func like(t *testing.T, what string, got, want Number) {
	t.Helper()
	near := func(a, b float64) bool {
		return math.Abs(a-b) < 1e-6*math.Max(1, math.Abs(b)) || math.IsNaN(a) && math.IsNaN(b)
	}
	if got.Bound != want.Bound || !near(got.X, want.X) || !near(got.Lo, want.Lo) || !near(got.Hi, want.Hi) {
		t.Errorf("%s: %+v, want %+v", what, got, want)
	}
}

// A single point within a step tells where its middle is, for a narrow range, but not how wide it is.
func TestSinglePointWithinAStep(t *testing.T) {
	x := grid(0.2, 0.9, 15)
	y, u := singleTruth.draw(x, 0.005, nil)
	r, _, err := Analyse(x, y, u, SeriesOptions{}, nil)
	if err != nil {
		t.Fatal(err)
	}
	e := r.Edges[0]
	if e.At.Bound != Interval || !(e.At.Lo > 0.39 && e.At.Lo < 0.405 && e.At.Hi > 0.405 && e.At.Hi < 0.42) {
		t.Errorf("middle %+v, want a narrow interval about 0.405", e.At)
	}
	if e.Width.Bound != Upper || e.Width.X < tenths*0.004 || e.Width.X > 0.1 {
		t.Errorf("width %+v, want a bound above %.3g", e.Width, tenths*0.004)
	}
	if c := r.Edges[1]; c.At.Bound != Measured || math.Abs(c.At.X-0.66) > 1e-6 || !(c.At.U > 0 && c.At.U < 0.002) {
		t.Errorf("the other edge %+v", c.At)
	}
}

// Bias and coverage over simulated series of known truth. For 120 series a fraction of 0.95 has a standard deviation of 0.02, and a mean of z one of 0.09.
func TestCoverage(t *testing.T) {
	const runs = 120
	for _, c := range []struct {
		name   string
		tr     truth
		places int
		u      float64
		known  bool
		within float64 // least fraction of |z| < 1.96 (or of t), or of intervals that hold the truth
		bounds bool    // both edges are intervals, nearly always
	}{
		{"gradual", windowTruth, 15, 0.005, true, 0.90, false},
		{"gradual, u unknown", windowTruth, 15, 0.005, false, 0.90, false},
		{"few points", truth{levels: windowTruth.levels, middles: windowTruth.middles, s: []float64{0.04, 0.03}}, 9, 0.005, true, 0.90, false},
		{"steep", steepTruth, 15, 0.005, true, 0.97, true},
		{"steep, u unknown", steepTruth, 15, 0.005, false, 0.97, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			rng := rand.New(rand.NewPCG(2031, 3))
			x := grid(0.2, 0.9, c.places)
			var in, fits, bounds, held [2]int
			var sum [2]float64
			for range runs {
				y, u := c.tr.draw(x, c.u, rng)
				if !c.known {
					u = nil
				}
				r, _, err := Analyse(x, y, u, SeriesOptions{}, nil)
				if err != nil {
					t.Fatal(err)
				}
				if len(r.Edges) != 2 {
					t.Fatalf("%d edges", len(r.Edges))
				}
				k := math.Sqrt(threshold(float64(r.Nu), r.Nu, c.known, 0.975)) // 1.96, or Student's
				for j, e := range r.Edges {
					m := c.tr.middles[j]
					if e.At.Bound == Measured {
						z := (e.At.X - m) / e.At.U
						fits[j]++
						sum[j] += z
						if math.Abs(z) < k {
							in[j]++
						}
						continue
					}
					bounds[j]++
					if lo, hi := e.At.limits(); lo <= m && m <= hi {
						held[j]++
					}
				}
			}
			for j := range in {
				if c.bounds {
					if bounds[j] < runs*97/100 || float64(held[j]) < c.within*float64(bounds[j]) {
						t.Errorf("edge %d: %d of %d are intervals, %d hold the truth", j, bounds[j], runs, held[j])
					}
					continue
				}
				if fits[j] != runs || float64(in[j]) < c.within*runs || in[j] == runs {
					t.Errorf("edge %d: %d of %d measured, %d within 95 %%", j, fits[j], runs, in[j])
				}
				if mean := sum[j] / runs; math.Abs(mean) > 0.3 {
					t.Errorf("edge %d: mean z %.2f", j, mean)
				}
			}
		})
	}
}

// Neither the order of the points nor the unit of the axis matters, and an axis that runs the other way shows the window the other way round.
func TestSymmetries(t *testing.T) {
	for seed := range uint64(25) {
		rng := rand.New(rand.NewPCG(seed, 5))
		tr := truth{levels: []float64{0.98, 0.1, 0.97}, middles: []float64{0.3 + 0.2*rng.Float64(), 0.6 + 0.2*rng.Float64()}, s: []float64{0.02 + 0.02*rng.Float64(), 0.02 + 0.02*rng.Float64()}}
		x := grid(0.1, 1, 19)
		y, u := tr.draw(x, 0.005, rng)
		r, _, err := Analyse(x, y, u, SeriesOptions{}, nil)
		if err != nil {
			t.Fatal(err)
		}
		check := func(what string, f func(float64) float64, scale float64, turn bool) {
			order := rng.Perm(len(x))
			x2, y2 := make([]float64, len(x)), make([]float64, len(x))
			for k, i := range order {
				x2[k], y2[k] = f(x[i]), y[i]
			}
			r2, _, err := Analyse(x2, y2, u, SeriesOptions{}, nil)
			if err != nil {
				t.Fatal(err)
			}
			edges := slices.Clone(r.Edges)
			if turn {
				slices.Reverse(edges)
			}
			if len(r2.Edges) != len(edges) {
				t.Fatalf("%s: %d edges, %d before", what, len(r2.Edges), len(edges))
			}
			for j, e := range edges {
				g := r2.Edges[j]
				if g.Turbid != (e.Turbid != turn) || g.At.Bound != e.At.Bound || math.Abs(g.At.X-f(e.At.X)) > 1e-6*scale || math.Abs(g.At.U-e.At.U*scale) > 1e-5*scale*e.At.U {
					t.Fatalf("%s: %+v, was %+v", what, g.At, e.At)
				}
			}
		}
		check("order", func(x float64) float64 { return x }, 1, false)
		check("unit", func(x float64) float64 { return 1000*x + 300 }, 1000, false)
		check("turned round", func(x float64) float64 { return 2 - x }, 1, true)
	}
}

// A logarithmic axis is a linear one of its logarithm.
func TestLogAxis(t *testing.T) {
	tr := truth{levels: []float64{0.95, 0.2, 0.96}, middles: []float64{0.03, 0.4}, s: []float64{0.25, 0.3}, log: true}
	x := make([]float64, 16)
	z := grid(math.Log(0.005), math.Log(2), 16)
	for i := range x {
		x[i] = math.Exp(z[i])
	}
	y, u := tr.draw(x, 0.01, rand.New(rand.NewPCG(9, 9)))
	a, _, err := Analyse(x, y, u, SeriesOptions{Log: true}, nil)
	if err != nil {
		t.Fatal(err)
	}
	b, _, err := Analyse(z, y, u, SeriesOptions{}, nil)
	if err != nil {
		t.Fatal(err)
	}
	for j := range b.Edges {
		near(t, "edge", math.Log(a.Edges[j].At.X), b.Edges[j].At.X, 1e-9)
		near(t, "its relative u", a.Edges[j].At.U/a.Edges[j].At.X, b.Edges[j].At.U, 1e-9)
		if math.Abs(a.Edges[j].At.X-tr.middles[j]) > 4*a.Edges[j].At.U {
			t.Errorf("edge at %g ± %g, truth %g", a.Edges[j].At.X, a.Edges[j].At.U, tr.middles[j])
		}
	}
	near(t, "middle", a.Windows[0].Middle.X, math.Sqrt(a.Edges[0].At.X*a.Edges[1].At.X), 1e-12)
	near(t, "its u", a.Windows[0].Middle.U/a.Windows[0].Middle.X, b.Windows[0].Middle.U, 1e-9)
	// the covariance of four numbers that follow from two has rank two, and its diagonal is u²
	c := a.Windows[0].Cov
	near(t, "width from opens and closes", c[3][3], c[0][0]+c[1][1]-2*c[0][1], 1e-12)
	for i, n := range []Number{a.Windows[0].Opens, a.Windows[0].Closes, a.Windows[0].Middle, a.Windows[0].Width} {
		near(t, "u²", c[i][i], n.U*n.U, 1e-14)
	}
}
