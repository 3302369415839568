package relation

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"
)

func close1(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance*math.Max(1, math.Abs(want))) {
		t.Errorf("%s = %.12g, expected %.12g", what, got, want)
	}
}

// Closed forms of generalised least squares.
func TestCovarianceMean(t *testing.T) {
	// independent: weights 1/u², u² = 1/Σ(1/u²)
	m, err := CovarianceMean([]float64{1, 2}, []float64{1, 0, 0, 4})
	if err != nil {
		t.Fatal(err)
	}
	close1(t, "mean", m.Value, 1.2, 1e-15)
	close1(t, "variance", m.Variance, 0.8, 1e-15)
	a, _ := Agree([]float64{1, 2}, []float64{1, 0, 0, 4})
	close1(t, "χ²", a.Chi2, 0.2*0.2/1+0.8*0.8/4, 1e-14)

	// n equal numbers that share a part s: u² = own²/n + s²
	n := 12
	x, v := make([]float64, n), make([]float64, n*n)
	for i := range n {
		x[i] = 3 + 0.1*float64(i%3)
		for k := range n {
			v[i*n+k] = 0.04
		}
		v[i*n+i] += 0.25
	}
	if m, err = CovarianceMean(x, v); err != nil {
		t.Fatal(err)
	}
	close1(t, "variance of 12 that share a part", m.Variance, 0.25/12+0.04, 1e-13)
	for _, w := range m.Weights {
		close1(t, "weight", w, 1./12, 1e-12)
	}

	// two results that share a normalisation: the mean may lie outside both (Peelle, 1987; numbers as in D'Agostini, Nucl. Instrum.
	// Methods A 346 (1994) 306, from memory: 1.5 and 1.0 with 10 % each and 20 % in common give 0.88 with u 0.22)
	cov := []float64{0.15*0.15 + 0.3*0.3, 0.3 * 0.2, 0.3 * 0.2, 0.1*0.1 + 0.2*0.2}
	if m, err = CovarianceMean([]float64{1.5, 1.0}, cov); err != nil {
		t.Fatal(err)
	}
	close1(t, "mean of Peelle's numbers", math.Round(100*m.Value)/100, 0.88, 1e-12)
	close1(t, "u of Peelle's numbers", math.Round(100*math.Sqrt(m.Variance))/100, 0.22, 1e-12)
	if m.Negative != 1 {
		t.Errorf("%d negative weights, expected 1", m.Negative)
	}
	if _, err = CovarianceMean([]float64{1, 2}, []float64{1, 1, 1, 1}); !errors.Is(err, ErrSingularCovariance) {
		t.Errorf("a singular covariance: %v", err)
	}
}

// The mean of least variance has no greater variance than any other, and its variance is wᵀVw.
func TestNoMeanIsBetter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 6).Draw(t, "n")
		x, w := make([]float64, n), make([]float64, n)
		v := make([]float64, n*n)
		shared := make([]float64, n)
		for i := range n {
			x[i] = rapid.Float64Range(-5, 5).Draw(t, "x")
			w[i] = rapid.Float64Range(0.1, 3).Draw(t, "w")
			shared[i] = rapid.Float64Range(-1, 1).Draw(t, "shared")
		}
		for i := range n {
			for k := range n {
				v[i*n+k] = shared[i] * shared[k]
			}
			u := rapid.Float64Range(0.2, 2).Draw(t, "u")
			v[i*n+i] += u * u
		}
		best, err := CovarianceMean(x, v)
		if err != nil {
			t.Fatal(err)
		}
		if other := GivenMean(x, v, w); other.Variance < best.Variance*(1-1e-12) {
			t.Fatalf("weights %v give the variance %g, less than %g", w, other.Variance, best.Variance)
		}
		sum := 0.0
		for _, wi := range best.Weights {
			sum += wi
		}
		if math.Abs(sum-1) > 1e-9 {
			t.Fatalf("weights add up to %g", sum)
		}
	})
}
