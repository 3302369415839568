package fitting

import (
	"math"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// A second fit of the same size allocates nothing, so no iteration does.
func TestNoAllocation(t *testing.T) {
	decay, _ := decayProblem(512, []float64{30, 120}, []float64{4e4, 6e4, 300, 2}, 1.3, 1)
	start := []float64{20, 150, 0}
	x := halves(20)
	plain := &Problem{Model: expModel(x), Y: counts20, U: nil, Parameters: Parameters{Lower: []float64{0, 0, 0}}}
	begin := []float64{30, 1, 1}
	w := NewWorkspace()
	var r Result
	for name, fit := range map[string]func(){
		"decay": func() { w.FitSeparable(&r, decay, start) },
		"plain": func() { w.Fit(&r, plain, begin) },
	} {
		fit()
		// A parameter at its bound puts that into words: a few allocations.
		most := 0.0
		if r.Status != Converged {
			most = 10
		}
		if n := testing.AllocsPerRun(5, fit); n > most {
			t.Errorf("%s (%v, %d steps): %g allocations a fit", name, r.Status, r.Iterations, n)
		}
	}
}

// The same problem gives the same bits, in a new workspace and in one that has
// done other work.
func TestDeterministic(t *testing.T) {
	p, _ := decayProblem(512, []float64{30, 120}, []float64{4e4, 6e4, 300, 2}, 1.3, 1)
	start := []float64{20, 150, 0}
	var a, b, other Result
	used := NewWorkspace()
	if err := used.Fit(&other, &Problem{Model: expModel(halves(20)), Y: counts20, Estimator: Poisson}, []float64{30, 1, 1}); err != nil {
		t.Fatal(err)
	}
	if err := NewWorkspace().FitSeparable(&a, p, start); err != nil {
		t.Fatal(err)
	}
	if err := used.FitSeparable(&b, p, start); err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(a, b, cmp.AllowUnexported(Result{})); d != "" {
		t.Error(d)
	}
}

func TestJacobianError(t *testing.T) {
	x := halves(20)
	if e := JacobianError(expModel(x), 20, []float64{30, 2, 1}); !(e < 1e-8) {
		t.Errorf("%g for a right Jacobian", e)
	}
	wrong := Functions{F: expModel(x).Values, J: func(jac, p []float64) { expModel(x).Jacobian(jac, p); jac[25] *= 1.01 }}
	if e := JacobianError(wrong, 20, []float64{30, 2, 1}); !(e > 1e-3) {
		t.Errorf("%g for a wrong Jacobian", e)
	}
	d := newDecayBasis(300, 2)
	if e := BasisError(d, 300, []float64{20, 70, 0.4}, []float64{3, 2, 1, 0.5}); !(e < 1e-6) {
		t.Errorf("%g for the decay's", e)
	}
	for name, f := range nistModels {
		n := map[string]int{"ENSO": 9, "Gauss1": 8, "Gauss2": 8, "Gauss3": 8, "Hahn1": 7, "Kirby2": 5, "Lanczos1": 6, "Lanczos2": 6, "Lanczos3": 6,
			"MGH09": 4, "MGH17": 5, "Rat43": 4, "Roszman1": 4, "Thurber": 7, "BoxBOD": 2, "DanWood": 2, "Misra1a": 2, "Misra1b": 2, "Misra1c": 2, "Misra1d": 2}[name]
		if n == 0 {
			n = 3
		}
		p, points := make([]float64, n), make([][]float64, 12)
		for j := range p {
			p[j] = 1.1 + 0.3*float64(j)
		}
		for i := range points {
			points[i] = []float64{0.5 + 0.2*float64(i), 0.3 + 0.1*float64(i)}
		}
		if e := JacobianError(overPoints(f, points, n), len(points), p); !(e < 1e-6) {
			t.Errorf("%s: derivatives off by %g", name, e)
		}
	}
}

// drawCurve draws points of a decaying exponential with noise.
func drawCurve(t *rapid.T) (x, y, u []float64) {
	n := rapid.IntRange(8, 30).Draw(t, "n")
	a, tau, b := rapid.Float64Range(5, 50).Draw(t, "a"), rapid.Float64Range(0.2, 0.6).Draw(t, "tau"), rapid.Float64Range(-3, 3).Draw(t, "b")
	for i := range n {
		s := rapid.Float64Range(0.05, 0.3).Draw(t, "u")
		at := float64(i) / float64(n-1)
		x, u = append(x, at), append(u, s)
		y = append(y, a*math.Exp(-at/tau)+b+s*rapid.Float64Range(-1.5, 1.5).Draw(t, "noise"))
	}
	return x, y, u
}

// What must hold of any fit: order of points, units of y and x, and the place
// of the start do not matter; no parameter beyond its bounds; nothing near the
// minimum lies lower; the covariance is positive.
func TestFitProperties(t *testing.T) {
	w := NewWorkspace()
	rapid.Check(t, func(t *rapid.T) {
		x, y, u := drawCurve(t)
		var r, other Result
		fit := func(r *Result, x, y, u []float64, start []float64) {
			if err := w.Fit(r, &Problem{Model: expModel(x), Y: y, U: u, Parameters: Parameters{Lower: []float64{math.Inf(-1), 1e-3, math.Inf(-1)}}}, start); err != nil {
				t.Fatal(err)
			}
		}
		start := []float64{20, 0.4, 0}
		fit(&r, x, y, u, start)
		if r.Status != Converged {
			t.Fatalf("%v", r.Err())
		}
		agree := func(what string, p []float64, scale [3]float64) {
			for j := range p {
				if math.Abs(p[j]/scale[j]-r.P[j]) > 1e-5*r.SD[j] {
					t.Fatalf("%s: %v, %v", what, p, r.P)
				}
				if math.Abs(other.SD[j]/scale[j]-r.SD[j]) > 1e-5*r.SD[j] {
					t.Fatalf("%s: uncertainties %v, %v", what, other.SD, r.SD)
				}
			}
		}
		rx, ry, ru := slices.Clone(x), slices.Clone(y), slices.Clone(u)
		slices.Reverse(rx)
		slices.Reverse(ry)
		slices.Reverse(ru)
		fit(&other, rx, ry, ru, start)
		agree("reversed", other.P, [3]float64{1, 1, 1})
		for i := range x {
			rx[i], ry[i], ru[i] = x[i]*1e3, y[i]*1e-4, u[i]*1e-4
		}
		if err := w.Fit(&other, &Problem{Model: expModel(rx), Y: ry, U: ru}, []float64{20e-4, 400, 0}); err != nil {
			t.Fatal(err)
		}
		agree("other units", other.P, [3]float64{1e-4, 1e3, 1e-4})
		fit(&other, x, y, u, []float64{35, 0.25, 2})
		agree("another start", other.P, [3]float64{1, 1, 1})

		f := make([]float64, len(x))
		value := func(p []float64) (v float64) {
			expModel(x).Values(f, p)
			for i := range f {
				v += (y[i] - f[i]) * (y[i] - f[i]) / (u[i] * u[i])
			}
			return v
		}
		for j := range r.P {
			for _, h := range []float64{-0.01, 0.01} {
				p := slices.Clone(r.P)
				p[j] += h * r.SD[j]
				if value(p) < r.Objective {
					t.Fatalf("moving %s by %g standard uncertainties goes down", r.Name(j), h)
				}
			}
			for k := range j {
				if c := r.Covariance(j, k); c*c >= r.Covariance(j, j)*r.Covariance(k, k) || c != r.Covariance(k, j) {
					t.Fatalf("covariance %v", r.Cov)
				}
			}
		}
	})
}

// With any bounds the result lies within them, and no allowed small move of
// one parameter goes down. (With bounds that hold the amplitude to a thousandth
// of what the points show, τ next to nothing and the residuals all, fits may
// run out of iterations, and say so: such bounds are not drawn.)
func TestBoundedProperties(t *testing.T) {
	w := NewWorkspace()
	rapid.Check(t, func(t *rapid.T) {
		x, y, u := drawCurve(t)
		lower := []float64{rapid.Float64Range(1, 60).Draw(t, "lower a"), rapid.Float64Range(0.01, 1).Draw(t, "lower tau"), rapid.Float64Range(-5, 5).Draw(t, "lower b")}
		upper := []float64{lower[0] + rapid.Float64Range(0, 20).Draw(t, "width"), lower[1] + rapid.Float64Range(0, 1).Draw(t, "width"),
			lower[2] + rapid.Float64Range(0, 3).Draw(t, "width")}
		var r Result
		p := &Problem{Model: expModel(x), Y: y, U: u, Parameters: Parameters{Lower: lower, Upper: upper}}
		if err := w.Fit(&r, p, []float64{20, 0.4, 0}); err != nil {
			t.Fatal(err)
		}
		f := make([]float64, len(x))
		for j, v := range r.P {
			at := v == lower[j] || v == upper[j]
			if v < lower[j] || v > upper[j] || at != (r.Bounds[j] != 0) || at && !math.IsNaN(r.SD[j]) || !at && math.IsNaN(r.SD[j]) && len(r.Direction) == 0 {
				t.Fatalf("%s = %g ± %g in %g … %g, bound %d", r.Name(j), v, r.SD[j], lower[j], upper[j], r.Bounds[j])
			}
			for _, h := range []float64{-1e-4, 1e-4} {
				q := slices.Clone(r.P)
				q[j] = min(max(q[j]+h*math.Abs(v), lower[j]), upper[j])
				p.Model.Values(f, q)
				sum := 0.0
				for i := range f {
					sum += (y[i] - f[i]) * (y[i] - f[i]) / (u[i] * u[i])
				}
				if sum < r.Objective*(1-1e-12) {
					t.Fatalf("moving %s from %g to %g lowers χ² from %g to %g (%v)", r.Name(j), v, q[j], r.Objective, sum, r.Status)
				}
			}
		}
	})
}

// Whatever a model says, a fit ends, and a minimum it claims has finite
// numbers.
func TestWildModels(t *testing.T) {
	w := NewWorkspace()
	w.Iterations = 40
	wild := rapid.SampledFrom([]float64{0, 1, -1, 1e-300, 1e300, -1e300, 5e-324, math.Inf(1), math.NaN(), 3, 0.1, 1e-160, 1e160})
	rapid.Check(t, func(t *rapid.T) {
		n, q := rapid.IntRange(2, 5).Draw(t, "n"), rapid.IntRange(1, 3).Draw(t, "q")
		values := rapid.SliceOfN(wild, 7, 7).Draw(t, "values")
		slopes := rapid.SliceOfN(wild, 11, 11).Draw(t, "slopes")
		calls := 0
		model := Functions{
			F: func(f, p []float64) {
				for i := range f {
					f[i] = values[(i+calls)%7]
					if rapid.IntRange(0, 3).Draw(t, "real") > 0 {
						f[i] = p[0] + 1/p[q-1]
					}
				}
				calls++
			},
			J: func(jac, p []float64) {
				for i := range jac {
					jac[i] = slopes[(i+calls)%11]
				}
			},
		}
		y := make([]float64, n)
		for i := range y {
			y[i] = float64(rapid.IntRange(0, 5).Draw(t, "y"))
		}
		start := rapid.SliceOfN(rapid.SampledFrom([]float64{0, 1, -1, 1e-200, 1e200}), q, q).Draw(t, "start")
		var r Result
		err := w.Fit(&r, &Problem{Model: model, Y: y, Estimator: rapid.SampledFrom([]Estimator{LeastSquares, Poisson}).Draw(t, "estimator")}, start)
		if err == nil != r.Status.Minimum() {
			t.Fatalf("%v with status %v", err, r.Status)
		}
		if err == nil {
			for _, v := range append(r.P, r.Objective) {
				if math.IsNaN(v) || math.IsInf(v, 0) {
					t.Fatalf("%v with %v, %g", r.Status, r.P, r.Objective)
				}
			}
		}
	})
}
