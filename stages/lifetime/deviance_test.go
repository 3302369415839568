package lifetime

import (
	"math"
	"math/rand/v2"
	"testing"
)

// n = (5, 0, 3), m = (4, 1, 3.5): 2.3065314, by hand from the formula of Baker and Cousins (1984).
func TestDeviance(t *testing.T) {
	near(t, "deviance", Deviance([]float64{5, 0, 3}, []float64{4, 1, 3.5}), 2.3065314, 1e-7)
	if d := Deviance([]float64{1}, []float64{0}); !math.IsInf(d, 1) {
		t.Errorf("a count where none can be: %g, want +Inf", d)
	}
}

// What a channel contributes at a mean of 0.1 counts, and of 1 (both to two places); the limits 2m·ln(1/m) for small means (only n = 0 and 1
// occur: 2m·(1 − 1 − ln m) to first order) and 1 + 1/(6m) for large ones (the variance-stabilised series of the likelihood ratio, Williams,
// Biometrika 63 (1976) 33, from memory).
func TestExpectedDeviance(t *testing.T) {
	at := func(m float64) (mean, variance float64) { return ExpectedDeviance([]float64{m}) }
	for _, c := range []struct{ m, want, rel float64 }{{0.1, 0.47, 0.005 / 0.47}, {1, 1.15, 0.005 / 1.15}, {30, 1 + 1./180, 3e-4}, {1e4, 1 + 1/6e4, 1e-7}, {1e-5, 2e-5 * math.Log(1e5), 1e-3}} {
		mean, _ := at(c.m)
		near(t, "expectation", mean, c.want, c.rel)
	}
	if mean, variance := at(0); mean != 0 || variance != 0 {
		t.Errorf("at a mean of 0: %g and %g, want 0", mean, variance)
	}
}

// The table and the series against the sums that they stand for.
func TestExpectedDevianceTable(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	for range 300 {
		m := math.Exp(-16 + 22*r.Float64())
		mean, variance := ExpectedDeviance([]float64{m})
		wantMean, wantVariance := expectedDeviance(m)
		rel := 1e-5
		if m > math.Exp(tableTo) {
			rel = 1e-4 // of the series
		}
		if math.Abs(mean/wantMean-1) > rel || math.Abs(variance/wantVariance-1) > 30*rel {
			t.Errorf("m = %g: %g and %g, by summation %g and %g", m, mean, variance, wantMean, wantVariance)
		}
	}
}

// Drawn counts have that deviance.
func TestExpectedDevianceOfDraws(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	for _, m := range []float64{0.05, 0.4, 2, 12, 80} {
		means := make([]float64, 40000)
		counts := make([]float64, len(means))
		for k := range means {
			means[k], counts[k] = m, poisson(r, m)
		}
		mean, variance := ExpectedDeviance(means)
		if z := (Deviance(counts, means) - mean) / math.Sqrt(variance); math.Abs(z) > 4 {
			t.Errorf("m = %g: the deviance of draws lies %.1f standard deviations off", m, z)
		}
	}
}
