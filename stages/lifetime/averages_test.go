package lifetime

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// a = (0.7, 0.3), τ = (1, 4): by the definitions 1.9, 5.5/1.9 = 2.8947368 and the shares 0.7/1.9, 1.2/1.9.
func TestAverages(t *testing.T) {
	a, tau := []float64{0.7, 0.3}, []float64{1, 4}
	near(t, "amplitude average", AmplitudeAverage(a, tau, nil, nil), 1.9, 1e-14)
	near(t, "intensity average", IntensityAverage(a, tau, nil, nil), 2.8947368421, 1e-10)
	var share [2]float64
	IntensityShares(share[:], a, tau)
	near(t, "first share of the light", share[0], 0.3684211, 1e-6)
	near(t, "second share of the light", share[1], 0.6315789, 1e-6)
	Shares(share[:], a)
	near(t, "first share of the amplitude", share[0], 0.7, 1e-14)
}

// Derivatives against differences; the order of the two averages; neither depends on the scale of the amplitudes.
func TestAveragesProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 4).Draw(t, "terms")
		a := rapid.SliceOfN(rapid.Float64Range(0.1, 10), n, n).Draw(t, "a")
		tau := rapid.SliceOfN(rapid.Float64Range(0.01, 50), n, n).Draw(t, "tau")
		da, dtau := make([]float64, n), make([]float64, n)
		for name, f := range map[string]func(a, tau, da, dtau []float64) float64{"amplitude": AmplitudeAverage, "intensity": IntensityAverage} {
			mean := f(a, tau, da, dtau)
			for i := range n {
				for _, c := range []struct {
					x []float64
					d float64
				}{{a, da[i]}, {tau, dtau[i]}} {
					x := c.x[i]
					h := 1e-5 * x
					c.x[i] = x + h
					up := f(a, tau, nil, nil)
					c.x[i] = x - h
					down := f(a, tau, nil, nil)
					c.x[i] = x
					if d := (up - down) / (2 * h); math.Abs(d-c.d) > 1e-6*(math.Abs(d)+mean/x) {
						t.Fatalf("%s, term %d: derivative %g, by differences %g", name, i, c.d, d)
					}
				}
			}
			for i := range a {
				a[i] *= 7
			}
			if again := f(a, tau, nil, nil); math.Abs(again/mean-1) > 1e-12 {
				t.Fatalf("%s average goes from %g to %g with the scale of the amplitudes", name, mean, again)
			}
		}
		if x, y := AmplitudeAverage(a, tau, nil, nil), IntensityAverage(a, tau, nil, nil); x > y*(1+1e-12) {
			t.Fatalf("amplitude average %g above intensity average %g", x, y)
		}
	})
}
