//go:build slow

package relation

import (
	"math"
	"math/rand/v2"
	"testing"
)

func TestBreakBySimulationSlow(t *testing.T) {
	t.Run("u known", func(t *testing.T) { simulateBreaks(t, 1000, 299, true, 0) })
	t.Run("u not known", func(t *testing.T) { simulateBreaks(t, 1000, 299, false, 0) })
	t.Run("x uncertain", func(t *testing.T) { simulateBreaks(t, 1000, 299, true, 0.1) })
}

func TestLineBySimulationSlow(t *testing.T) { simulateLines(t, 40000) }

// The plain least squares slope is too small by 1/(1 + u²(x)/var(x)) where x is uncertain (Fuller, Measurement Error Models (Wiley, 1987),
// eq. 1.1.7, from memory); the fit with both uncertainties is not.
func TestNoAttenuationSlow(t *testing.T) {
	rnd := rand.New(rand.NewPCG(2, 9))
	const n, sets, ux, uy = 200, 400, 0.5, 0.5
	x, y, uxs, uys := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	plain, both := 0.0, 0.0
	for range sets {
		for i := range n {
			at := 4 * float64(i) / (n - 1)
			x[i], y[i] = at+ux*rnd.NormFloat64(), 2*at+uy*rnd.NormFloat64()
			uxs[i], uys[i] = ux, uy
		}
		f, err := FitStraight(uncorrelated(x, y, uxs, uys))
		if err != nil {
			t.Fatal(err)
		}
		g, err := FitStraight(uncorrelated(x, y, nil, uys))
		if err != nil {
			t.Fatal(err)
		}
		both, plain = both+f.P[1]/sets, plain+g.P[1]/sets
	}
	variance := 16. / 12 * (n + 1) / (n - 1)
	want := 2 * variance / (variance + ux*ux)
	if math.Abs(plain-want) > 0.01 || math.Abs(both-2) > 0.01 {
		t.Errorf("slopes %.4f and %.4f, expected %.4f and 2", plain, both, want)
	}
}
