package fitting

import (
	"math"
	"testing"
)

// near fails unless got is want to within a relative tol (absolute below 1e-300).
func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol*math.Abs(want)+1e-300) {
		t.Errorf("%s = %.12g, want %.12g within %g", what, got, want, tol)
	}
}

// printed fails unless got rounds to want, which is given with so many decimals.
func printed(t *testing.T, what string, got, want float64, decimals int) {
	t.Helper()
	if !(math.Abs(got-want) <= 0.5000001*math.Pow10(-decimals)) {
		t.Errorf("%s = %.12g, want %.*f", what, got, decimals, want)
	}
}

// lineModel is p0 + p1·x.
func lineModel(x []float64) Model {
	n := len(x)
	return Functions{
		F: func(f, p []float64) {
			for i, x := range x {
				f[i] = p[0] + p[1]*x
			}
		},
		J: func(jac, p []float64) {
			for i, x := range x {
				jac[i], jac[n+i] = 1, x
			}
		},
	}
}

// expModel is p0·exp(−x/p1) + p2.
func expModel(x []float64) Model {
	n := len(x)
	return Functions{
		F: func(f, p []float64) {
			for i, x := range x {
				f[i] = p[0]*math.Exp(-x/p[1]) + p[2]
			}
		},
		J: func(jac, p []float64) {
			for i, x := range x {
				e := math.Exp(-x / p[1])
				jac[i], jac[n+i], jac[2*n+i] = e, p[0]*e*x/(p[1]*p[1]), 1
			}
		},
	}
}

// expBasis is exp(−x/a0) and 1.
type expBasis struct{ x []float64 }

func (b expBasis) Curves(phi, a []float64) {
	for i, x := range b.x {
		phi[i], phi[len(b.x)+i] = math.Exp(-x/a[0]), 1
	}
}

func (b expBasis) Jacobian(jac, a, c []float64) {
	for i, x := range b.x {
		jac[i] = c[0] * math.Exp(-x/a[0]) * x / (a[0] * a[0])
	}
}

// Thermometer calibration, JCGM 100:2008, H.3 (the data from memory; they
// reproduce what is printed there, to the digits given here): y = y1 + y2·
// (t − 20 °C), u unknown.
func TestThermometer(t *testing.T) {
	x := []float64{1.521, 2.012, 2.512, 3.003, 3.507, 3.999, 4.513, 5.002, 5.503, 6.010, 6.511}
	y := []float64{-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160}
	var r Result
	if err := NewWorkspace().Fit(&r, &Problem{Model: lineModel(x), Y: y}, []float64{5, 5}); err != nil {
		t.Fatal(err)
	}
	printed(t, "y1", r.P[0], -0.171204, 6)
	printed(t, "y2", r.P[1], 0.0021827, 7)
	printed(t, "u(y1)", r.SD[0], 0.002878, 6)
	printed(t, "u(y2)", r.SD[1], 0.00066794, 8)
	printed(t, "r", r.Covariance(0, 1)/(r.SD[0]*r.SD[1]), -0.930430, 6)
	printed(t, "s", math.Sqrt(r.Objective/float64(r.DOF)), 0.0034976, 7)
	if !r.Scaled || r.DOF != 9 || r.Status != Converged || r.Err() != nil {
		t.Errorf("scaled %v, dof %d, %v, %v", r.Scaled, r.DOF, r.Status, r.Err())
	}
}

// A weighted mean and a weighted line have closed forms; with known u their
// covariance is not scaled by χ²/ν, with relative u it is.
func TestWeightedLine(t *testing.T) {
	x := []float64{1, 2, 3, 5, 8, 13}
	y := []float64{2.1, 3.7, 6.5, 9.4, 17.6, 25.2}
	u := []float64{0.1, 0.2, 0.2, 0.3, 0.5, 0.4}
	var sw, sx, sy, sxx, sxy float64
	for i := range x {
		w := 1 / (u[i] * u[i])
		sw, sx, sy, sxx, sxy = sw+w, sx+w*x[i], sy+w*y[i], sxx+w*x[i]*x[i], sxy+w*x[i]*y[i]
	}
	det := sw*sxx - sx*sx
	var r, scaled Result
	w := NewWorkspace()
	if err := w.Fit(&r, &Problem{Model: lineModel(x), Y: y, U: u}, []float64{0, 0}); err != nil {
		t.Fatal(err)
	}
	near(t, "intercept", r.P[0], (sxx*sy-sx*sxy)/det, 1e-12)
	near(t, "slope", r.P[1], (sw*sxy-sx*sy)/det, 1e-12)
	near(t, "var intercept", r.Covariance(0, 0), sxx/det, 1e-12)
	near(t, "var slope", r.Covariance(1, 1), sw/det, 1e-12)
	near(t, "cov", r.Covariance(0, 1), -sx/det, 1e-12)
	if r.Scaled {
		t.Error("scaled although u is known")
	}
	if err := w.Fit(&scaled, &Problem{Model: lineModel(x), Y: y, U: u, Relative: true}, []float64{0, 0}); err != nil {
		t.Fatal(err)
	}
	near(t, "scaled variance", scaled.Covariance(0, 0), sxx/det*r.Objective/4, 1e-12)
	if !scaled.Scaled {
		t.Error("not scaled although u is relative")
	}
}

// The maximum of the likelihood of one mean is the average, with variance
// mean/N; counts may be 0.
func TestPoissonMean(t *testing.T) {
	y := []float64{0, 3, 1, 0, 2, 5, 1}
	model := Functions{
		F: func(f, p []float64) {
			for i := range f {
				f[i] = p[0]
			}
		},
		J: func(jac, p []float64) {
			for i := range jac {
				jac[i] = 1
			}
		},
	}
	var r Result
	if err := NewWorkspace().Fit(&r, &Problem{Model: model, Estimator: Poisson, Y: y}, []float64{9}); err != nil {
		t.Fatal(err)
	}
	near(t, "mean", r.P[0], 12.0/7, 1e-9)
	near(t, "variance", r.Covariance(0, 0), 12.0/49, 1e-8)
	if r.Scaled {
		t.Error("a Poisson covariance is not to be scaled")
	}
}

// Points that the model meets exactly: no scatter, and no trouble.
func TestPerfectFit(t *testing.T) {
	x := []float64{1, 2, 3, 4}
	for _, c := range []struct {
		name string
		y    []float64
		want [2]float64
	}{{"a line", []float64{3, 5, 7, 9}, [2]float64{1, 2}}, {"all zero", []float64{0, 0, 0, 0}, [2]float64{0, 0}}} {
		t.Run(c.name, func(t *testing.T) {
			var r Result
			if err := NewWorkspace().Fit(&r, &Problem{Model: lineModel(x), Y: c.y}, []float64{7, -4}); err != nil {
				t.Fatal(err)
			}
			for j, want := range c.want {
				if math.Abs(r.P[j]-want) > 1e-13 || !(r.SD[j] < 1e-13) {
					t.Errorf("%g ± %g, want %g", r.P[j], r.SD[j], want)
				}
			}
			if !(r.Distance <= 1e3) || r.Status != Converged {
				t.Errorf("%v, distance %g", r.Status, r.Distance)
			}
		})
	}
}

// counts20 are 20 counts, drawn once.
var counts20 = []float64{48, 41, 29, 31, 24, 15, 16, 12, 9, 7, 8, 3, 4, 5, 2, 3, 1, 0, 2, 1}

func halves(n int) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = float64(i) / 2
	}
	return x
}

// Numbers from SciPy 1.10.1: scipy.optimize.root of the score of a·exp(−t/τ)+b
// from scipy.optimize.minimize(method="Nelder-Mead") of the deviance; standard
// uncertainties from numpy.linalg.inv of the expected information.
func TestPoissonExponential(t *testing.T) {
	x := halves(20)
	want := []float64{49.432233349637755, 2.4753236833263816, -0.22562725321326477}
	sd := []float64{4.394334456289833, 0.3352851716790516, 0.9452816041999178}
	var plain, varpro Result
	w := NewWorkspace()
	if err := w.Fit(&plain, &Problem{Model: expModel(x), Estimator: Poisson, Y: counts20}, []float64{30, 1, 1}); err != nil {
		t.Fatal(err)
	}
	s := &Separable{Estimator: Poisson, Blocks: []Block{{Basis: expBasis{x}, Y: counts20, Linear: []string{"a", "b"}}}}
	if err := w.FitSeparable(&varpro, s, []float64{1}); err != nil {
		t.Fatal(err)
	}
	for i, j := range []int{1, 2, 0} { // where the basis has τ first
		near(t, "plain "+plain.Name(j), plain.P[j], want[j], 1e-7)
		near(t, "plain u", plain.SD[j], sd[j], 1e-7)
		if i == 0 {
			near(t, "varpro tau", varpro.P[0], want[1], 1e-7)
		}
	}
	near(t, "varpro a", varpro.C[0], want[0], 1e-7)
	near(t, "varpro b", varpro.C[1], want[2], 1e-7)
	for i, j := range []int{1, 0, 2} {
		near(t, "varpro u", varpro.SD[i], sd[j], 1e-7)
	}
	near(t, "covariance", varpro.Covariance(0, 1), -0.8581351370913836, 1e-7)
	near(t, "deviance", varpro.Objective, 8.497421613856385, 1e-12)
	near(t, "plain deviance", plain.Objective, 8.497421613856385, 1e-12)
}

// The same with a background that must not be negative: it ends at 0, is said
// to, and the others are those of a fit without it (SciPy 1.10.1, as above).
func TestPoissonBackgroundAtBound(t *testing.T) {
	x := halves(20)
	s := &Separable{Estimator: Poisson, Parameters: Parameters{Names: []string{"tau"}},
		Blocks: []Block{{Basis: expBasis{x}, Y: counts20, Linear: []string{"a", "background"}, NonNegative: []bool{true, true}}}}
	var r Result
	if err := NewWorkspace().FitSeparable(&r, s, []float64{1}); err != nil {
		t.Fatal(err)
	}
	if r.Status != AtBound || r.Bounds[2] != -1 || r.C[1] != 0 || !math.IsNaN(r.SD[2]) {
		t.Errorf("%v, bounds %v, background %g ± %g", r.Status, r.Bounds, r.C[1], r.SD[2])
	}
	t.Log(r.Err())
	near(t, "tau", r.P[0], 2.409015548562376, 1e-7)
	near(t, "a", r.C[0], 49.70200765542451, 1e-7)
	near(t, "u(tau)", r.SD[0], 0.17618450981273934, 1e-7)
	near(t, "u(a)", r.SD[1], 4.317618780190094, 1e-7)
	near(t, "deviance", r.Objective, 8.561183395605866, 1e-12)
}
