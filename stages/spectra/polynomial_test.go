package spectra

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func near(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > rel*math.Abs(want) {
		t.Errorf("%s = %.15g, want %.15g (relative tolerance %g)", what, got, want, rel)
	}
}

// Ten points of a skewed top with unequal uncertainties, against NumPy 1.24.2:
// numpy.polyfit(x − 527.5, y, 3, w=1/u, cov="unscaled") and, with equal weights,
// numpy.polyfit(x − 527.5, y, 3, cov=True); the maximum from numpy.roots of
// numpy.polyder, its u and those of the height by J·C·Jᵀ.
func TestLocalPolynomialAgainstNumPy(t *testing.T) {
	x := []float64{520, 522, 523.5, 525, 526, 528, 529, 531, 533.5, 535}
	y := []float64{81.2, 88.9, 93.1, 96.4, 98.3, 100.1, 99.7, 98.2, 93.9, 90.3}
	u := []float64{.5, .4, .5, .6, .3, .5, .4, .7, .5, .6}
	for _, c := range []struct {
		name                                                 string
		u                                                    []float64
		max, uMax, height, uHeight, chi2, slope2, bend2, cov float64
	}{
		{"weighted", u, 528.5859481764248, 0.16824851298337937, 99.83754839137649, 0.24256403719077238, 1.52902486137704, -0.443605694141627, -0.4821660600361416, 0.020103834728024114},
		{"equal", nil, 528.5971280478013, 0.08685270782969826, 99.77729270926186, 0.12989333486341353, 0.389318927685915, -0.43492565144265527, -0.478569591453164, 0.0038784046239069866},
	} {
		t.Run(c.name, func(t *testing.T) {
			var p localPolynomial
			if !p.fit(x, y, c.u, 0, 9, 3) {
				t.Fatal("not fitted")
			}
			at, ok := p.top(x)
			if !ok {
				t.Fatal("no maximum")
			}
			near(t, "maximum", at, c.max, 1e-12)
			d := p.at(at)
			near(t, "height", p.value(&d, 0), c.height, 1e-12)
			near(t, "chi2", p.chi2, c.chi2, 1e-9)
			two := p.at(529.5)
			near(t, "slope", p.value(&two, 1), c.slope2, 1e-10)
			near(t, "bend", p.value(&two, 2), c.bend2, 1e-10)
			gMax, gHeight := make([]float64, 10), make([]float64, 10)
			p.addGradient(gMax, -1/p.value(&d, 2), &d, 1)
			p.addGradient(gHeight, 1, &d, 0)
			var vMax, vHeight, cov float64
			for i := range gMax {
				v := p.chi2 / float64(p.dof())
				if c.u != nil {
					v = u[i] * u[i]
				}
				vMax, vHeight, cov = vMax+v*gMax[i]*gMax[i], vHeight+v*gHeight[i]*gHeight[i], cov+v*gMax[i]*gHeight[i]
			}
			near(t, "u(maximum)", math.Sqrt(vMax), c.uMax, 1e-9)
			near(t, "u(height)", math.Sqrt(vHeight), c.uHeight, 1e-9)
			near(t, "cov", cov, c.cov, 1e-8)
		})
	}
}

// Points on a polynomial give it back with its derivatives, at any degree.
func TestLocalPolynomialExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		degree := rapid.IntRange(0, maxDegree).Draw(t, "degree")
		n := degree + 1 + rapid.IntRange(0, 12).Draw(t, "more")
		a := rapid.SliceOfN(rapid.Float64Range(-3, 3), degree+1, degree+1).Draw(t, "a")
		value := func(x float64, m int) float64 {
			s := 0.0
			for k := len(a) - 1; k >= m; k-- {
				f := 1.0
				for j := range m {
					f *= float64(k - j)
				}
				s = s*x + f*a[k]
			}
			return s
		}
		x, y, u := make([]float64, n), make([]float64, n), make([]float64, n)
		for i := range x {
			x[i] = 500 + float64(i) + rapid.Float64Range(0, 0.9).Draw(t, "step")
			y[i], u[i] = value((x[i]-500)/float64(n), 0), rapid.Float64Range(0.1, 2).Draw(t, "u")
		}
		var p localPolynomial
		if !p.fit(x, y, u, 0, n-1, degree) {
			t.Fatal("not fitted")
		}
		at := 500 + float64(n)*rapid.Float64Range(0, 1).Draw(t, "at")
		d := p.at(at)
		for m, scale := 0, 1.0; m < 3; m++ {
			want := value((at-500)/float64(n), m) * scale
			// how ill-posed extrapolating within so few points is grows with the degree
			if got := p.value(&d, m); math.Abs(got-want) > 1e-6*(1+math.Abs(want)) {
				t.Fatalf("derivative %d at %g: %g, want %g", m, at, got, want)
			}
			scale /= float64(n)
		}
	})
}

func TestLocalPolynomialTooFew(t *testing.T) {
	var p localPolynomial
	if p.fit([]float64{1, 2, 3}, []float64{1, 2, 1}, nil, 0, 2, 3) {
		t.Error("three points gave a cubic")
	}
}

// A maximum at the first or the last point is none.
func TestLocalPolynomialNoTop(t *testing.T) {
	x := []float64{1, 2, 3, 4, 5, 6}
	for name, y := range map[string][]float64{"rising": {1, 2, 4, 7, 9, 12}, "falling": {9, 7, 4, 2, 1, 0}, "valley": {5, 3, 2, 2, 3, 5}} {
		var p localPolynomial
		p.fit(x, y, nil, 0, 5, 2)
		if at, ok := p.top(x); ok {
			t.Errorf("%s: a maximum at %g", name, at)
		}
	}
}
