package mixing

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s: got %.12g, want %.12g within %g", what, got, want, within)
	}
}

// The closed form of a decay that is convolved with the response against its integral: the share that has come before t is
// ∫ f(s)·(1 − e^(−(t−s)/τ)) ds over the response f before t.
func TestDecayIsTheConvolution(t *testing.T) {
	for day, c := range counters {
		for _, tau := range []float64{0.27, 0.45, 1.1, 2.35} {
			for _, at := range []float64{c.rise - 0.1, c.rise, c.rise + 0.2, c.rise + 1, c.rise + 8} {
				want := 0.0
				for _, b := range c.pulse() {
					bell := distuv.Normal{Mu: c.rise + decayDelay + b[1], Sigma: b[2]}
					from, to := bell.Mu-9*bell.Sigma, math.Min(at, bell.Mu+9*bell.Sigma)
					if to <= from {
						continue
					}
					want += b[0] * quad.Fixed(func(s float64) float64 { return bell.Prob(s) * -math.Expm1(-(at-s)/tau) }, from, to, 400, nil, 0)
				}
				near(t, day+" "+form(tau, 2)+" "+form(at, 2), c.decayBefore(at, decayDelay, tau), want, 1e-9)
			}
		}
	}
}

func TestMeanLifetimes(t *testing.T) {
	for _, mean := range []float64{1.2, 1.55, 1.9, aloneLifetime} {
		e := acceptorTerms(mean)
		near(t, "mean", e[0].share*e[0].tau+e[1].share*e[1].tau, mean, 1e-12)
		near(t, "shares", e[0].share+e[1].share, 1, 1e-12)
	}
	near(t, "broken series, first", broken(0.15), 1.9, 1e-12)
	near(t, "broken series, at the break", broken(breakAt), 1.9, 1e-12)
	near(t, "broken series, last", broken(0.85), 1.2, 1e-12)
}

// What bands.go works out of a Gaussian, against closed forms: area σ·√(2π), and for a narrow one the mean of
// 1/λ^n: ⟨λ^−n⟩ = λ0^−n·(1 + n(n+1)/2·(σ/λ0)² + n(n+1)(n+2)(n+3)/8·(σ/λ0)⁴ + …).
func TestBandOfAGaussian(t *testing.T) {
	const middle, sigma = 500.0, 10.0
	b := band{func(l float64) float64 { return 3 * bell(l, middle, sigma) }, 420, 580}
	at, height := b.top()
	near(t, "place", at, middle, finely)
	near(t, "height", height, 3, 1e-6)
	near(t, "area", b.area(), 3*sigma*math.Sqrt(2*math.Pi), 1e-9*b.area())
	const r = sigma * sigma / middle / middle
	near(t, "centroid", b.centroid(), photon/middle*(1+r+3*r*r), 1e-6)
	near(t, "absorption", b.absorptionCentroid(), photon/middle*(1+6*r+45*r*r)/(1+3*r+15*r*r), 1e-6)
}

// Particles' Rg and I0 are the first two terms of what is scattered, ln(I/I0) → −q²Rg²/3 (Guinier and Fournet, Small-Angle Scattering
// of X-rays, 1955, from memory).
func TestParticlesHaveTheirRg(t *testing.T) {
	rows := sheet(t)
	w := newWorld(seed, rows)
	for _, r := range rows {
		if !r.mixing() && !r.alone() {
			continue
		}
		rg, i0 := w.particlesOf(r).guinier()
		q := 0.02 / rg
		blank := r
		blank.role = "solvent"
		got := math.Sqrt(-3*math.Log((w.scattered(r, q)-w.real(monitorRatio)*w.scattered(blank, q))/i0)) / q
		near(t, r.sample, got, rg, 1e-3*rg)
	}
}

// The scenario: what the series are like.
func TestScenario(t *testing.T) {
	rows := sheet(t)
	w := newWorld(seed, rows)
	least, most := 1.0, 0.0
	large, small := 0, 0
	for _, r := range rows {
		if !r.mixing() {
			continue
		}
		s := w.sampleOf(r)
		least, most = min(least, 1-s.left), max(most, 1-s.left)
		switch rg, _ := s.guinier(); {
		case rg > 18 && rg < 32:
			large++
		case rg > 2.5 && rg < 3.5:
			small++
		default:
			t.Errorf("%s: Rg %g nm", r.sample, rg)
		}
	}
	if least < 0.28 || least > 0.42 || most < 0.985 {
		t.Errorf("efficiencies from %g to %g", least, most)
	}
	if large < 15 || small < 15 {
		t.Errorf("%d samples with large structures, %d without", large, small)
	}
	n := natures["long NaCl"]
	c := natures["long CaCl2"]
	if c.closes-c.opens >= n.closes-n.opens {
		t.Error("calcium does not narrow the window")
	}
	near(t, "long NaCl, clears again", n.turbid(0.85), 0, 0.01)
	near(t, "long Na2SO4, still open", natures["long Na2SO4"].turbid(0.85), 1, 0.01)
	near(t, "short CaCl2, no window", natures["short CaCl2"].turbid(0.5), 0, 0)
}

// Independent preparations of one condition scatter by 4 %: over many worlds, what is left of the donor's light varies so. The standard
// deviation of 400 numbers is known to 1/√800 of itself; five of these are allowed.
func TestPreparationsScatter(t *testing.T) {
	rows := sheet(t)
	r := rows[0]
	var x []float64
	for s := range uint64(400) {
		x = append(x, newWorld(s, rows).sampleOf(r).left)
	}
	m, sd := stat.MeanStdDev(x, nil)
	near(t, "scatter", sd/m, preparation, 5*preparation/math.Sqrt(800))
	near(t, "mean", m/(1-natures[r.series()].efficiency(r.fraction)), 1, 5*preparation/math.Sqrt(400))
}

// Draws of a Poisson distribution have its mean and variance, within five standard errors.
func TestCountsArePoisson(t *testing.T) {
	w := newWorld(seed, nil)
	const n = 20000
	for _, mean := range []float64{0.5, 4, 300, 1e5} {
		rng := w.stream("test")
		x := make([]float64, n)
		for k := range x {
			x[k] = counted(rng, mean)
		}
		m, v := stat.MeanVariance(x, nil)
		near(t, "mean", m, mean, 5*math.Sqrt(mean/n))
		near(t, "variance", v, mean, 5*mean*math.Sqrt(2/float64(n)+1/(mean*n)))
	}
	if counted(w.stream("test"), 0) != 0 {
		t.Error("counts of nothing")
	}
}
