package firstlook

import (
	"fmt"
	"math"
	"testing"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"
)

func near(t *testing.T, got, want, relative float64) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)) {
		t.Errorf("got %.12g, want %.12g within %g of it", got, want, relative)
	}
}

func TestSphere(t *testing.T) {
	// SciPy values of the closed form; Lord Rayleigh, Proc. R. Soc. London A 84 (1911) 25.
	for _, c := range []struct{ x, want float64 }{
		{0, 1}, {0.1, 0.99800171344}, {1, 0.816323158569}, {3, 0.119492933842}, {6, 0.00703836454202}, {10, 0.000554135485972},
	} {
		t.Run(fmt.Sprint(c.x), func(t *testing.T) { near(t, sphere(c.x), c.want, 1e-10) })
	}
	// Zeros at tan x = x: 4.493409458, 7.725251837 (identity); the first side maximum 7.425423e-3 at 5.763459197.
	for _, zero := range []float64{4.493409458, 7.725251837} {
		if p := sphere(zero); p > 1e-18 {
			t.Errorf("P(%v) = %g, want 0", zero, p)
		}
	}
	near(t, sphere(5.763459197), 7.425423e-3, 1e-6)
	t.Run("series meets closed form", func(t *testing.T) {
		near(t, sphere(math.Nextafter(1e-2, 0)), sphere(1e-2), 1e-10)
	})
}

// The closed form of the mean over the distribution against the mean worked out by quadrature over gonum's gamma distribution.
func TestSchulzAgainstQuadrature(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := schulz{mean: rapid.Float64Range(1, 12).Draw(t, "mean"), spread: rapid.Float64Range(0.08, 0.4).Draw(t, "spread")}
		q := rapid.Float64Range(0.08, 3.5).Draw(t, "q")
		a := 1 / (s.spread * s.spread)
		radii := distuv.Gamma{Alpha: a, Beta: a / s.mean}
		six := distuv.Gamma{Alpha: a + 6, Beta: a / s.mean} // weighted with R⁶
		hi := six.Mean() + 12*six.StdDev()
		weight := func(r float64) float64 { return math.Pow(r, 6) * radii.Prob(r) }
		below := quad.Fixed(func(r float64) float64 { return weight(r) * sphere(q*r) }, 1e-9, hi, 600, nil, 0)
		all := quad.Fixed(weight, 1e-9, hi, 600, nil, 0)
		if got, want := s.formFactor(q), below/all; !(math.Abs(got-want) <= 1e-7*want+1e-12) {
			t.Fatalf("got %.10g, quadrature gives %.10g", got, want)
		}
		if !(math.Abs(s.moment(6)-all) <= 1e-7*all) {
			t.Fatalf("⟨R⁶⟩ = %.10g, quadrature gives %.10g", s.moment(6), all)
		}
	})
}

func TestSchulzLimits(t *testing.T) {
	narrow := schulz{mean: 5, spread: 1e-3}
	for _, q := range []float64{0.1, 0.3, 0.7} { // almost one size: a plain sphere
		near(t, narrow.formFactor(q), sphere(5*q), 1e-4)
	}
	near(t, narrow.radiusOfGyration(), 5*math.Sqrt(0.6), 1e-4) // Rg = √(3/5)·R, an identity
	broad := schulz{mean: 5, spread: 0.2}
	near(t, broad.formFactor(math.Nextafter(0.03, 0)), broad.formFactor(0.03), 1e-9) // series meets closed form
	// a = 25: ⟨R⁸⟩/⟨R⁶⟩ = mean²·(a+7)(a+6)/a², by hand
	near(t, broad.radiusOfGyration(), math.Sqrt(0.6*25*32*31/625), 1e-12)
}

// Every particle's Rg and I0 are the first two terms of its own curve, ln(I/I0) → −q²Rg²/3 (A. Guinier and G. Fournet, Small-Angle
// Scattering of X-rays, 1955, from memory).
func TestParticlesHaveTheirRg(t *testing.T) {
	for _, r := range rows(t) {
		if !r.mixture() {
			continue
		}
		p := particleOf(r)
		q := 0.02 / p.rg
		near(t, p.form(0), 1, 0)
		near(t, math.Sqrt(-3*math.Log(p.form(q)))/q, p.rg, 1e-4)
	}
}

func TestPowerLaw(t *testing.T) {
	near(t, powerLaw(2e-6, 4, 0.1), 0.02, 1e-12)
}
