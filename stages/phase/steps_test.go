package phase

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

// The normal matrix against central differences of the model.
func TestJacobian(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		n := 12
		x := grid(0, 1, n)
		y, u := make([]float64, n), make([]float64, n)
		for i := range y {
			y[i], u[i] = rng.Float64(), 0.5+rng.Float64()
		}
		s, err := newSeries(x, y, u, nil, nil)
		if err != nil {
			t.Fatal(err)
		}
		f := newSteps(3)
		f.sharp[1], f.cut[1] = true, 6
		copy(f.theta, []float64{rng.Float64(), rng.Float64(), rng.Float64(), rng.Float64(), 0.2 + 0.1*rng.Float64(), math.Log(0.05 + 0.1*rng.Float64()), 0, 0, 0.7 + 0.1*rng.Float64(), math.Log(0.05 + 0.1*rng.Float64())})
		for p := range f.theta {
			if f.isFree(p) {
				f.free = append(f.free, p)
			}
		}
		w := newFitter(s, 3)
		m := len(f.free)
		jacobian := make([][]float64, n)
		for i := range jacobian {
			jacobian[i] = make([]float64, m)
		}
		const h = 1e-5
		for a, p := range f.free {
			was := f.theta[p]
			for _, sign := range []float64{1, -1} {
				f.theta[p] = was + sign*h
				f.prepare()
				for i := range n {
					jacobian[i][a] += sign * f.at(x[i], i) / (2 * h)
				}
			}
			f.theta[p] = was
		}
		w.normals(f)
		f.prepare()
		for a := range m {
			gradient := 0.0
			for i := range n {
				gradient += jacobian[i][a] * (y[i] - f.at(x[i], i)) / (u[i] * u[i])
			}
			if math.Abs(gradient-w.gradient[a]) > 1e-6 {
				t.Fatalf("gradient of %d: %g, want %g", f.free[a], w.gradient[a], gradient)
			}
			for b := 0; b <= a; b++ {
				want := 0.0
				for i := range n {
					want += jacobian[i][a] * jacobian[i][b] / (u[i] * u[i])
				}
				if math.Abs(want-w.normal[a*m+b]) > 1e-5 {
					t.Fatalf("normal matrix at %d, %d: %g, want %g", f.free[a], f.free[b], w.normal[a*m+b], want)
				}
			}
		}
	})
}

// By hand: χ² + p·ln n; n·ln(χ²/n) + 2q + 2q(q+1)/(n−q−1) with q = p + 1. Twelve points and four parameters leave the second 6 below the line.
func TestCriterion(t *testing.T) {
	if v, ok := criterion(7, 12, 4, true); !ok || math.Abs(v-(7+4*math.Log(12))) > 1e-12 {
		t.Errorf("known noise: %g, %v", v, ok)
	}
	if v, ok := criterion(3, 12, 4, false); !ok || math.Abs(v-(12*math.Log(0.25)+10+60./6)) > 1e-12 {
		t.Errorf("unknown noise: %g, %v", v, ok)
	}
	if _, ok := criterion(3, 6, 4, false); ok {
		t.Error("six points are too few for four parameters")
	}
	if _, ok := criterion(3, 3, 4, true); ok {
		t.Error("three points are too few for four parameters")
	}
}

// Quantiles from printed tables: χ² of one degree of freedom 3.841 (95 %) and 6.635 (99 %); Student's t 2.228 (ν = 10, 97.5 %).
func TestThreshold(t *testing.T) {
	near(t, "χ² at 95 %", threshold(1, 10, true, 0.975), 3.841, 5e-4)
	near(t, "χ² at 99 %", threshold(1, 10, true, 0.995), 6.635, 5e-4)
	near(t, "t²", threshold(20, 10, false, 0.975), 2.228*2.228*2, 5e-3)
	if !math.IsInf(threshold(0, 0, false, 0.975), 1) {
		t.Error("no degrees of freedom, but a limit")
	}
}

// The width of a step on a logarithmic axis goes over into that on a linear one when it is narrow.
func TestWidthOf(t *testing.T) {
	near(t, "linear", widthOf(3, 0.1, false), 0.1*4.394449154672439, 1e-15) // 2·ln 9
	x90, x10 := math.Exp(1+0.2*math.Log(9)), math.Exp(1-0.2*math.Log(9))
	near(t, "logarithmic", widthOf(1, 0.2, true), x90-x10, 1e-13)
	near(t, "narrow", widthOf(1, 1e-6, true)/math.E, widthOf(1, 1e-6, false), 1e-15)
}

func TestTurbidity(t *testing.T) {
	near(t, "of an absorbance of 1 in 1 cm", Turbidity(0.1, 10), 2.302585093, 1e-9) // ln 10
	near(t, "in 2 mm", Turbidity(math.Exp(-1), 2), 5, 1e-12)
}

// A later call with the choices of an earlier one gives the same numbers on the same series, keeps its decisions on a shifted one, and moves
// smoothly: central differences with two strides agree.
func TestChoicesAreKept(t *testing.T) {
	for name, tr := range map[string]truth{"gradual": windowTruth, "steep": steepTruth, "single point": singleTruth,
		"half": {levels: []float64{0.98, 0.1}, middles: []float64{0.88}, s: []float64{0.02}}} {
		t.Run(name, func(t *testing.T) {
			x := grid(0.2, 0.9, 15)
			y, u := tr.draw(x, 0.005, rand.New(rand.NewPCG(4, 2)))
			base, c, err := Analyse(x, y, u, SeriesOptions{}, nil)
			if err != nil {
				t.Fatal(err)
			}
			numbers := func(scale, place float64) []float64 {
				x2, y2 := make([]float64, len(x)), make([]float64, len(x))
				for i := range x {
					x2[i], y2[i] = x[i], y[i]*(1+scale)
				}
				x2[5] += place
				r, c2, err := Analyse(x2, y2, u, SeriesOptions{}, c)
				if err != nil {
					t.Fatal(err)
				}
				if c2 != c || len(r.Edges) != len(base.Edges) || len(r.Windows) != len(base.Windows) {
					t.Fatal("other choices")
				}
				var out []float64
				for j, e := range r.Edges {
					if e.At.Bound != base.Edges[j].At.Bound {
						t.Fatalf("%q, was %q", e.At.Bound, base.Edges[j].At.Bound)
					}
					out = append(out, e.At.X)
					if e.At.Bound == Interval {
						out = append(out, e.At.Lo, e.At.Hi)
					}
				}
				for _, w := range r.Windows {
					out = append(out, w.Width.X)
				}
				return out
			}
			again := numbers(0, 0)
			k := 0
			for j, e := range base.Edges {
				near(t, fmt.Sprintf("edge %d again", j), again[k], e.At.X, 1e-7)
				k++
				if e.At.Bound == Interval {
					k += 2
				}
			}
			for _, axis := range []int{0, 1} {
				slope := func(h float64) []float64 {
					d := [2]float64{}
					d[axis] = h
					up := numbers(d[0], d[1])
					down := numbers(-d[0], -d[1])
					for i := range up {
						up[i] = (up[i] - down[i]) / (2 * h)
					}
					return up
				}
				a, b := slope(2e-3), slope(1e-3)
				for i := range a {
					if math.Abs(a[i]-b[i]) > 0.1*math.Abs(b[i])+2e-3 {
						t.Errorf("axis %d, number %d: slope %g with one stride, %g with half of it", axis, i, a[i], b[i])
					}
				}
			}
		})
	}
}

// Whatever the series, what comes out is finite or said to be unknown, limits stand in order, and windows and edges agree.
func FuzzAnalyse(f *testing.F) {
	f.Add([]byte{250, 250, 20, 20, 250, 250}, byte(0), true, false)
	f.Add([]byte{250, 240, 120, 20, 130, 240, 255}, byte(3), false, true)
	f.Add([]byte{20, 250, 20, 250}, byte(1), true, true)
	f.Add([]byte{0, 0}, byte(2), false, false)
	f.Add([]byte{1, 255, 255, 128, 7, 90, 13, 200, 100, 31}, byte(0), true, false)
	f.Fuzz(func(t *testing.T, raw []byte, shape byte, known, log bool) {
		if len(raw) > 24 {
			raw = raw[:24]
		}
		x, y := make([]float64, len(raw)), make([]float64, len(raw))
		for i, b := range raw {
			x[i], y[i] = 1+float64(i*i%(int(shape)%7+3))+0.01*float64(i), float64(b)/255
		}
		var u []float64
		if known {
			u = same(0.002+0.02*float64(shape%5), len(raw))
		}
		r, c, err := Analyse(x, y, u, SeriesOptions{Log: log, Model: Model(shape % 3)}, nil)
		if err != nil {
			if len(raw) > 1 {
				t.Fatal(err)
			}
			return
		}
		for j, e := range r.Edges {
			lo, hi := e.At.limits()
			if e.At.Bound != Unknown && (math.IsNaN(lo) || math.IsNaN(hi) || lo > hi || math.IsNaN(e.At.X)) {
				t.Errorf("edge %d: %+v", j, e.At)
			}
			if j > 0 && e.Turbid == r.Edges[j-1].Turbid {
				t.Errorf("edge %d goes the same way as the one before", j)
			}
		}
		if (len(r.Edges)+2)/2 < len(r.Windows) || len(r.Edges) > 1 && len(r.Windows) == 0 {
			t.Errorf("%d windows of %d edges", len(r.Windows), len(r.Edges))
		}
		for _, w := range r.Windows {
			for _, n := range []Number{w.Opens, w.Closes, w.Middle, w.Width} {
				if n.Bound != Unknown && (math.IsNaN(n.X) || math.IsInf(n.X, 0) || n.U < 0) {
					t.Errorf("%+v", n)
				}
			}
		}
		if _, _, err := Analyse(x, y, u, SeriesOptions{Log: log, Model: Model(shape % 3)}, c); err != nil {
			t.Errorf("again: %v", err)
		}
	})
}

func BenchmarkAnalyse(b *testing.B) {
	for _, c := range []struct {
		name string
		tr   truth
		n    int
	}{{"gradual", windowTruth, 15}, {"steep", steepTruth, 15}, {"single", singleTruth, 15}, {"plate", windowTruth, 384}} {
		b.Run(c.name, func(b *testing.B) {
			x := grid(0.2, 0.9, c.n)
			y, u := c.tr.draw(x, 0.005, rand.New(rand.NewPCG(1, 1)))
			b.ReportAllocs()
			for range b.N {
				if _, _, err := Analyse(x, y, u, SeriesOptions{}, nil); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkAnalyseAgain(b *testing.B) {
	x := grid(0.2, 0.9, 15)
	y, u := windowTruth.draw(x, 0.005, rand.New(rand.NewPCG(1, 1)))
	_, c, err := Analyse(x, y, u, SeriesOptions{}, nil)
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for range b.N {
		if _, _, err := Analyse(x, y, u, SeriesOptions{}, c); err != nil {
			b.Fatal(err)
		}
	}
}

func TestFitAllocatesNothing(t *testing.T) {
	x := grid(0.2, 0.9, 15)
	y, u := windowTruth.draw(x, 0.005, rand.New(rand.NewPCG(1, 1)))
	s, err := newSeries(x, y, u, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	f := newSteps(2)
	start := []float64{0.9, 0.2, 0.9, 0.43, math.Log(0.03), 0.65, math.Log(0.03)}
	w := newFitter(s, 2)
	copy(f.theta, start)
	if !w.fit(f, fine) {
		t.Fatal("the fit does not come to rest")
	}
	if n := testing.AllocsPerRun(20, func() { copy(f.theta, start); w.fit(f, fine) }); n > 0 {
		t.Errorf("%g allocations", n)
	}
}
