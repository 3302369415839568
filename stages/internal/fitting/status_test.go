package fitting

import (
	"errors"
	"math"
	"strings"
	"testing"
)

func TestBadInput(t *testing.T) {
	x := []float64{0, 1, 2, 3, 4}
	y := []float64{9, 6, 4, 3, 2}
	with := func(i int, v float64) []float64 {
		c := append([]float64{}, y...)
		c[i] = v
		return c
	}
	ones := []float64{1, 1, 1, 1, 1}
	unit := func(i int, v float64) []float64 {
		c := append([]float64{}, ones...)
		c[i] = v
		return c
	}
	nan, inf := math.NaN(), math.Inf(1)
	start := []float64{8, 2, 0}
	bad := Functions{F: expModel(x).Values, J: func(jac, p []float64) { expModel(x).Jacobian(jac, p); jac[7] = nan }}
	for _, c := range []struct {
		name   string
		p      Problem
		start  []float64
		want   error
		status Status
		text   string // must be in the message
	}{
		{"NaN in y", Problem{Y: with(2, nan)}, start, ErrBadPoint, BadPoint, "point 3 is NaN"},
		{"infinite y", Problem{Y: with(0, inf)}, start, ErrBadPoint, BadPoint, "point 1 is +Inf"},
		{"zero u", Problem{Y: y, U: unit(1, 0)}, start, ErrBadUncertainty, BadUncertainty, "point 2 is 0"},
		{"negative u", Problem{Y: y, U: unit(1, -1)}, start, ErrBadUncertainty, BadUncertainty, "point 2 is -1"},
		{"NaN u", Problem{Y: y, U: unit(4, nan)}, start, ErrBadUncertainty, BadUncertainty, "point 5 is NaN"},
		{"infinite u, a zero weight", Problem{Y: y, U: unit(4, inf)}, start, ErrBadUncertainty, BadUncertainty, "leave the point out"},
		{"u so small that its weight is not finite", Problem{Y: y, U: unit(4, 1e-320)}, start, ErrBadUncertainty, BadUncertainty, "point 5"},
		{"fewer points than parameters", Problem{Y: y[:2], U: ones[:2]}, start, ErrTooFewPoints, TooFewPoints, "found 2 for 3 free parameters"},
		{"none to spare for the scatter", Problem{Y: y[:3]}, start, ErrTooFewPoints, TooFewPoints, "expected at least 4"},
		{"no points", Problem{}, start, ErrTooFewPoints, TooFewPoints, "found 0"},
		{"negative counts", Problem{Y: with(3, -1), Estimator: Poisson}, start, ErrBadPoint, BadPoint, "point 4 is -1: expected whole counts"},
		{"fractional counts", Problem{Y: with(3, 2.5), Estimator: Poisson}, start, ErrBadPoint, BadPoint, "point 4 is 2.5"},
		{"no counts", Problem{Y: make([]float64, 5), Estimator: Poisson}, start, ErrNoCounts, NoCounts, "all points are 0"},
		{"bounds crossed", Problem{Y: y, Parameters: Parameters{Names: []string{"a", "tau", "b"}, Lower: []float64{0, 5, 0}, Upper: []float64{1, 4, 1}}}, start,
			ErrBadBounds, BadBounds, "tau: bounds from 5 to 4"},
		{"bounds NaN", Problem{Y: y, Parameters: Parameters{Lower: []float64{0, nan, 0}}}, start, ErrBadBounds, BadBounds, "p2"},
		{"start NaN", Problem{Y: y}, []float64{nan, 1, 1}, ErrBadStart, BadStart, "p1 = NaN"},
		{"model not finite at the start", Problem{Y: y}, []float64{8, -1e-3, 0}, ErrBadStart, BadStart, "point 2: the model is +Inf"},
		{"mean negative under counts", Problem{Y: y, Estimator: Poisson}, []float64{8, 2, -2}, ErrBadStart, BadStart, "point 4: the model's mean is"},
		{"derivatives not finite", Problem{Y: y, Model: bad}, start, ErrBadJacobian, BadJacobian, "p2 = 2"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if c.p.Model == nil {
				c.p.Model = expModel(x[:len(c.p.Y)])
			}
			var r Result
			err := NewWorkspace().Fit(&r, &c.p, c.start)
			var e *Error
			if !errors.Is(err, c.want) || !errors.As(err, &e) || e.Status != c.status || r.Status != c.status || r.Err() != err {
				t.Fatalf("%v (status %v), want %v", err, r.Status, c.want)
			}
			if !strings.Contains(err.Error(), c.text) {
				t.Errorf("message %q lacks %q", err, c.text)
			}
			for _, v := range append(r.SD, r.Cov...) {
				if !math.IsNaN(v) {
					t.Errorf("a failed fit gives %g as an uncertainty", v)
				}
			}
			if r.Status.Minimum() {
				t.Error("said to be a minimum")
			}
		})
	}
}

// Counts where no curve of the basis is: no coefficients can explain them.
func TestImpossibleCounts(t *testing.T) {
	s := &Separable{Estimator: Poisson, Blocks: []Block{{Basis: table{{0}, {1}, {2}}, Y: []float64{4, 5, 6}, Linear: []string{"a"}, NonNegative: []bool{true}}}}
	var r Result
	err := NewWorkspace().FitSeparable(&r, s, nil)
	if !errors.Is(err, ErrBadStart) || !strings.Contains(err.Error(), "point 1: the model's mean is 0 there and 4 counts were found") {
		t.Errorf("%v", err)
	}
}

func TestStatuses(t *testing.T) {
	x := []float64{0, 1, 2, 3, 4, 5, 6, 7, 8, 9}
	y := []float64{10, 7.9, 6.3, 4.9, 3.8, 3.0, 2.2, 1.7, 1.2, 0.8}
	u := make([]float64, len(x))
	for i := range u {
		u[i] = 0.1 + 0.01*x[i]
	}
	names := []string{"a", "tau", "b"}
	open := math.Inf(1)
	w := NewWorkspace()
	var r Result

	// scipy.optimize.least_squares(method="lm") of a·exp(−x/τ), SciPy 1.10.1;
	// with b ≥ 0 its method "trf" ends there, too.
	t.Run("at bound", func(t *testing.T) {
		p := &Problem{Model: expModel(x), Y: y, U: u, Parameters: Parameters{Names: names, Lower: []float64{0, 0.1, 0}}}
		if err := w.Fit(&r, p, []float64{8, 3, 0.5}); err != nil {
			t.Fatal(err)
		}
		near(t, "a", r.P[0], 10.073729669965372, 1e-9)
		near(t, "tau", r.P[1], 4.068935476721327, 1e-9)
		near(t, "chi2", r.Objective, 7.170208341839695, 1e-12)
		near(t, "u(a)", r.SD[0], 0.08613794033216514, 1e-8)
		near(t, "u(tau)", r.SD[1], 0.07778607390484855, 1e-8)
		if r.Status != AtBound || r.P[2] != 0 || r.Bounds[2] != -1 || !math.IsNaN(r.SD[2]) || !math.IsNaN(r.Covariance(0, 2)) {
			t.Errorf("%v, b = %g ± %g, bounds %v", r.Status, r.P[2], r.SD[2], r.Bounds)
		}
		if err := r.Err(); !errors.Is(err, ErrAtBound) || !strings.Contains(err.Error(), "b = 0: its lower bound") {
			t.Errorf("%v", err)
		}
	})
	t.Run("at upper bound, from outside", func(t *testing.T) {
		p := &Problem{Model: expModel(x), Y: y, U: u, Parameters: Parameters{Names: names, Lower: []float64{0, 0, -open}, Upper: []float64{open, 3, open}}}
		if err := w.Fit(&r, p, []float64{8, 30, 0.5}); err != nil {
			t.Fatal(err)
		}
		if r.Status != AtBound || r.P[1] != 3 || r.Bounds[1] != 1 || !strings.Contains(r.Err().Error(), "tau = 3: its upper bound") {
			t.Errorf("%v, tau = %g, bounds %v, %v", r.Status, r.P[1], r.Bounds, r.Err())
		}
	})
	t.Run("a bound that is not pressed", func(t *testing.T) {
		p := &Problem{Model: expModel(x), Y: y, U: u, Parameters: Parameters{Upper: []float64{open, 4.5, open}}}
		if err := w.Fit(&r, p, []float64{8, 4.5, 0}); err != nil { // begins at it
			t.Fatal(err)
		}
		if r.Distance > w.Tolerance {
			t.Errorf("ended %g standard uncertainties from the minimum", r.Distance)
		}
	})
	t.Run("singular", func(t *testing.T) {
		// a and b only enter as a + b.
		model := Functions{
			F: func(f, p []float64) {
				for i, x := range x {
					f[i] = p[0] + p[1] + p[2]*x
				}
			},
			J: func(jac, p []float64) {
				n := len(x)
				for i, x := range x {
					jac[i], jac[n+i], jac[2*n+i] = 1, 1, x
				}
			},
		}
		p := &Problem{Model: model, Y: y, U: u, Parameters: Parameters{Names: []string{"a", "b", "slope"}}}
		if err := w.Fit(&r, p, []float64{1, 2, 3}); err != nil {
			t.Fatal(err)
		}
		if r.Status != Singular || !math.IsInf(r.Condition, 1) || !math.IsNaN(r.SD[0]) || !math.IsNaN(r.SD[1]) || math.IsNaN(r.SD[2]) {
			t.Errorf("%v, condition %g, sd %v", r.Status, r.Condition, r.SD)
		}
		d := r.Direction
		if math.Abs(math.Abs(d[0])-math.Sqrt(0.5)) > 1e-6 || math.Abs(d[0]+d[1]) > 1e-6 || math.Abs(d[2]) > 1e-6 {
			t.Errorf("direction %v", d)
		}
		if err := r.Err(); !errors.Is(err, ErrSingular) || !strings.Contains(err.Error(), ": a: it can be changed, alone or with others") {
			t.Errorf("%v", err)
		}
		// The slope is as well determined as in the line's own fit.
		var line Result
		if err := w.Fit(&line, &Problem{Model: lineModel(x), Y: y, U: u}, []float64{0, 0}); err != nil {
			t.Fatal(err)
		}
		near(t, "slope", r.P[2], line.P[1], 1e-10)
		near(t, "u(slope)", r.SD[2], line.SD[1], 1e-10)
	})
	t.Run("a curve of amplitude 0 leaves its shape open", func(t *testing.T) {
		two := sumOfCurves{x, 2, 2, decayShapes(0)}
		line := make([]float64, len(x))
		for i := range x {
			line[i] = math.Round(1e4 * math.Exp(-x[i]/4))
		}
		line[9] -= 300 // so that a second, slower one can only be negative
		s := &Separable{Estimator: Poisson, Parameters: Parameters{Names: []string{"k1", "k2"}},
			Blocks: []Block{{Basis: two, Y: line, Linear: []string{"a1", "a2"}, NonNegative: []bool{true, true}}}}
		if err := w.FitSeparable(&r, s, []float64{0.3, 0.02}); err != nil {
			t.Fatal(err)
		}
		none := 0 // which of the two it is may change with the start
		if r.C[1] == 0 {
			none = 1
		}
		if r.Status != AtBound || r.C[none] != 0 || !math.IsNaN(r.SD[none]) || math.IsNaN(r.SD[1-none]) {
			t.Errorf("%v: %v, %v ± %v", r.Status, r.P, r.C, r.SD)
		}
		if !strings.Contains(r.Err().Error(), r.Name(2+none)+" = 0: its lower bound") || !strings.Contains(r.Err().Error(), r.Name(none)+" is then not determined") {
			t.Errorf("%v", r.Err())
		}
	})
	t.Run("not converged", func(t *testing.T) {
		short := NewWorkspace()
		short.Iterations = 2
		err := short.Fit(&r, &Problem{Model: expModel(x), Y: y}, []float64{1, 50, 0})
		if !errors.Is(err, ErrNotConverged) || r.Status != NotConverged || r.Iterations != 2 || !math.IsNaN(r.SD[0]) {
			t.Errorf("%v, %v after %d", err, r.Status, r.Iterations)
		}
		if math.IsNaN(r.Objective) || len(r.P) != 3 {
			t.Errorf("the last point is not told: %v, %g", r.P, r.Objective)
		}
	})
	t.Run("stalled", func(t *testing.T) {
		s := &Separable{Parameters: Parameters{Lower: []float64{0.5}},
			Blocks: []Block{{Basis: backwards{expBasis{x}}, Y: y, Linear: []string{"a", "b"}}}}
		err := w.FitSeparable(&r, s, []float64{3})
		if !errors.Is(err, ErrStalled) || r.Status != Stalled || !strings.Contains(err.Error(), "derivatives are not those of its values") {
			t.Errorf("%v, %v", err, r.Status)
		}
	})
	t.Run("all fixed", func(t *testing.T) {
		p := &Problem{Model: expModel(x), Y: y, U: u, Parameters: Parameters{Fixed: []bool{true, true, true}}}
		if err := w.Fit(&r, p, []float64{10, 4, 0}); err != nil {
			t.Fatal(err)
		}
		if r.Status != Converged || r.DOF != 10 || r.SD[0] != 0 || r.P[1] != 4 {
			t.Errorf("%v, dof %d, %v ± %v", r.Status, r.DOF, r.P, r.SD)
		}
	})
	t.Run("names", func(t *testing.T) {
		for s := NotRun; s <= NoCounts; s++ {
			if s.String() == "" || strings.HasPrefix(s.String(), "status ") {
				t.Errorf("status %d has no name", s)
			}
			if s != Converged && (&Error{Status: s, Point: -1}).Error() == s.String() && s != NotRun {
				t.Errorf("status %v has no text of its own", s)
			}
		}
		if Status(200).Minimum() || Status(200).String() != "status 200" {
			t.Error("an unknown status")
		}
	})
}

// A caller's bug panics, with the package's name before the reason.
func TestPanics(t *testing.T) {
	for name, f := range map[string]func(){
		"u": func() {
			NewWorkspace().Fit(new(Result), &Problem{Model: lineModel(nil), Y: []float64{1}, U: []float64{1, 2}}, nil)
		},
		"bounds": func() {
			NewWorkspace().Fit(new(Result), &Problem{Parameters: Parameters{Lower: []float64{1}}}, []float64{1, 2})
		},
		"names": func() {
			NewWorkspace().FitSeparable(new(Result), &Separable{Blocks: []Block{{Basis: table{}, Linear: []string{"a"}, NonNegative: []bool{true, false}}}}, nil)
		},
		"uses": func() {
			NewWorkspace().FitSeparable(new(Result), &Separable{Blocks: []Block{{Basis: table{}, Uses: []int{1}}}}, []float64{1})
		},
		"counts": func() { PoissonDeviance([]float64{1}, nil) },
	} {
		t.Run(name, func(t *testing.T) {
			defer func() {
				if s, ok := recover().(string); !ok || !strings.HasPrefix(s, "fitting: ") {
					t.Errorf("recovered %q", s)
				}
			}()
			f()
		})
	}
}

// backwards is a basis whose derivatives have the wrong sign.
type backwards struct{ Basis }

func (b backwards) Jacobian(jac, a, c []float64) {
	b.Basis.Jacobian(jac, a, c)
	for i := range jac {
		jac[i] = -jac[i]
	}
}
