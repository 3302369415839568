//go:build slow

package phase

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Coverage where numbers and intervals are mixed: 99 % intervals must hold the truth in 97 % at least, numbers with 95 % in 91 %, though which of
// the two a series gives depends on its noise; a bound on a width must not be below it in more than 3 %.
func TestCoverageOfMixedSeries(t *testing.T) {
	const runs = 200
	for _, c := range []struct {
		name  string
		tr    truth
		u     float64
		known bool
		n     int
	}{
		{"single point", singleTruth, 0.005, true, 15},
		{"single point, u unknown", singleTruth, 0.005, false, 15},
		{"noisy", windowTruth, 0.04, true, 15},
		{"noisy and dense", windowTruth, 0.03, true, 40},
		{"between", truth{levels: windowTruth.levels, middles: []float64{0.405, 0.66}, s: []float64{0.008, 0.012}}, 0.005, true, 15},
		{"four edges", truth{levels: []float64{0.98, 0.1, 0.9, 0.2, 0.97}, middles: []float64{0.3, 0.45, 0.6, 0.8}, s: []float64{0.02, 0.02, 0.02, 0.02}}, 0.01, true, 29},
	} {
		t.Run(c.name, func(t *testing.T) {
			rng := rand.New(rand.NewPCG(7, 7))
			x := grid(0.2, 0.9, c.n)
			var measured, in, bounds, held, widths, low int
			for range runs {
				y, u := c.tr.draw(x, c.u, rng)
				if !c.known {
					u = nil
				}
				r, _, err := Analyse(x, y, u, SeriesOptions{}, nil)
				if err != nil {
					t.Fatal(err)
				}
				if len(r.Edges) != len(c.tr.middles) {
					t.Fatalf("%d edges", len(r.Edges))
				}
				k := math.Sqrt(threshold(float64(r.Nu), r.Nu, c.known, 0.975))
				for j, e := range r.Edges {
					m := c.tr.middles[j]
					if e.At.Bound == Measured {
						measured++
						if math.Abs(e.At.X-m) < k*e.At.U {
							in++
						}
					} else {
						bounds++
						if lo, hi := e.At.limits(); lo <= m && m <= hi {
							held++
						}
					}
					if e.Width.Bound == Upper {
						widths++
						if e.Width.X < tenths*c.tr.s[j] {
							low++
						}
					}
				}
			}
			t.Logf("measured %d, within %d; bounds %d, holding %d; widths bounded %d, too low %d", measured, in, bounds, held, widths, low)
			if measured > 50 && float64(in) < 0.91*float64(measured) || float64(held) < 0.97*float64(bounds) || float64(low) > 0.03*float64(widths)+3 {
				t.Errorf("measured %d, within %d; bounds %d, holding %d; widths bounded %d, too low %d", measured, in, bounds, held, widths, low)
			}
		})
	}
}
