package relation

import (
	"errors"
	"math"

	"fascicle/stages/internal/stats"
)

// ErrSingularCovariance says that some combination of the numbers has no uncertainty, so that no weights can be found.
var ErrSingularCovariance = errors.New("some combination of the numbers has no uncertainty")

// Mean is a weighted mean of numbers with a covariance.
type Mean struct {
	Value    float64
	Weights  []float64 // add up to 1
	Variance float64   // wᵀVw; NaN when the covariance is unknown
	Chi2     float64   // (x − mean)ᵀV⁻¹(x − mean)
	P        float64   // probability of a greater χ² with n − 1 degrees of freedom
	Birge    float64   // √(χ²/(n − 1))
	Tested   bool      // χ², P and Birge are known: n > 1 and V can be inverted
	Negative int       // weights below zero
}

// CovarianceMean is the mean of least variance of n numbers x with covariance v (n × n, row by row): w = V⁻¹1/1ᵀV⁻¹1, with variance
// 1/1ᵀV⁻¹1. Weights may be negative where numbers share much and differ in how much. The error is ErrSingularCovariance.
//
// Source: Aitken, Proc. R. Soc. Edinb. 55 (1936) 42 (from memory).
func CovarianceMean(x, v []float64) (Mean, error) {
	n := len(x)
	one := make([]float64, n)
	for i := range one {
		one[i] = 1
	}
	w, ok := solvePositive(v, one)
	if !ok {
		return Mean{}, ErrSingularCovariance
	}
	sum := 0.0
	for _, wi := range w {
		sum += wi
	}
	if !(sum > 0) {
		return Mean{}, ErrSingularCovariance
	}
	return GivenMean(x, v, w), nil
}

// EqualMean is the plain mean. v nil: the covariance is unknown.
func EqualMean(x, v []float64) Mean {
	w := make([]float64, len(x))
	for i := range w {
		w[i] = 1
	}
	return GivenMean(x, v, w)
}

// GivenMean is the mean with given weights, which need not add up to 1; its variance is wᵀVw whatever the weights come from.
func GivenMean(x, v, w []float64) Mean {
	n := len(x)
	m := Mean{Weights: make([]float64, n), Variance: math.NaN()}
	sum := 0.0
	for _, wi := range w {
		sum += wi
	}
	for i, wi := range w {
		m.Weights[i] = wi / sum
		m.Value += m.Weights[i] * x[i]
		if wi < 0 {
			m.Negative++
		}
	}
	if v == nil {
		return m
	}
	m.Variance = 0
	for i := range n {
		for k := range n {
			m.Variance += m.Weights[i] * v[i*n+k] * m.Weights[k]
		}
	}
	rest := make([]float64, n)
	for i := range rest {
		rest[i] = x[i] - m.Value
	}
	z, ok := solvePositive(v, rest)
	if !ok || n < 2 {
		return m
	}
	for i := range rest {
		m.Chi2 += rest[i] * z[i]
	}
	m.P = stats.ChiSquareUpper(m.Chi2, float64(n-1))
	m.Birge = math.Sqrt(m.Chi2 / float64(n-1))
	m.Tested = true
	return m
}

// solvePositive solves V·z = b for a symmetric positive definite V; ok is false when V is not positive definite within rounding.
func solvePositive(v, b []float64) (z []float64, ok bool) {
	f, ok := factorPositive(v, len(b))
	if !ok {
		return nil, false
	}
	z = make([]float64, len(b))
	f.solve(z, b)
	return z, true
}
