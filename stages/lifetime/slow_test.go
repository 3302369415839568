//go:build slow

package lifetime

import "testing"

// Bias and coverage over many decays, from few counts to many, at one, two and three terms, over many pulses, with scattered light.
func TestCoverageOfMany(t *testing.T) {
	for _, c := range []struct {
		name  string
		d     truth
		draws int
	}{
		{"one, 10,000 counts at the peak", truth{n: 4096, mu: 300, sigma: 8, tau: []float64{300}, amp: []float64{10000}, shift: 1.37, background: 5}, 2000},
		{"one, 100 counts at the peak", truth{n: 1024, mu: 100, sigma: 4, tau: []float64{100}, amp: []float64{100}, shift: -0.4, background: 1}, 3000},
		{"two, 10,000 counts at the peak", double, 2000},
		{"two over many pulses", truth{n: 2000, mu: 100, sigma: 4, tau: []float64{100, 700}, amp: []float64{3000, 1500}, shift: 1.5, background: 60, period: 2003.3}, 2000},
		{"two with scattered light", truth{n: 1024, mu: 100, sigma: 4, tau: []float64{40, 180}, amp: []float64{4000, 3000}, shift: 0.6, background: 5, scatter: 20000}, 2000},
		{"three, 50,000 counts at the peak", truth{n: 4096, mu: 300, sigma: 8, tau: []float64{30, 150, 700}, amp: []float64{20000, 20000, 10000}, shift: 1.37, background: 20}, 500},
	} {
		t.Run(c.name, func(t *testing.T) { coverage(t, c.d, c.draws) })
	}
}

// Responses and decays made of single photons.
func TestManyPhotons(t *testing.T) {
	manyPhotons(t, 200, 50000, 40)
	manyPhotons(t, 400, 50000, 1)
}
