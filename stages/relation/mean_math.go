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
	Negative int       // weights below zero
}

// CovarianceMean is the mean of least variance of n numbers x with covariance v (n × n, row by row): w = V⁻¹1/1ᵀV⁻¹1, with variance
// 1/1ᵀV⁻¹1. Weights may be negative where numbers share much and differ in how much; where what they share is a factor, taken at each
// number as it was measured, the mean lies too low, and may lie below all numbers. The error is ErrSingularCovariance.
//
// Source: Aitken, Proc. R. Soc. Edinb. 55 (1936) 42; too low: D'Agostini, Nucl. Instrum. Methods A 346 (1994) 306 (both from memory).
func CovarianceMean(x, v []float64) (Mean, error) {
	w, ok := solvePositive(v, ones(len(x)))
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
func EqualMean(x, v []float64) Mean { return GivenMean(x, v, ones(len(x))) }

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
	if v != nil {
		m.Variance = quadratic(m.Weights, v)
	}
	return m
}

// Apart tells how far a mean lies from another of the same numbers, in units of the uncertainty of the difference: √((Δw)ᵀVΔw).
func (m Mean) Apart(other Mean, v []float64) float64 {
	d := make([]float64, len(m.Weights))
	for i := range d {
		d[i] = m.Weights[i] - other.Weights[i]
	}
	if u := math.Sqrt(quadratic(d, v)); u > 0 {
		return math.Abs(m.Value-other.Value) / u
	}
	return 0
}

// quadratic is wᵀVw.
func quadratic(w, v []float64) float64 {
	n := len(w)
	sum := 0.0
	for i := range n {
		sum += w[i] * dot(v[i*n:i*n+n], w)
	}
	return max(0, sum)
}

// Agreement says how well numbers agree with each other.
type Agreement struct {
	Chi2  float64 // the least (x − m)ᵀV⁻¹(x − m) of any m
	P     float64 // probability of a greater χ² with n − 1 degrees of freedom
	Birge float64 // √(χ²/(n − 1))
}

// Agree tests whether n numbers with covariance v agree. χ² is taken about the m at which it is least, whatever mean is given: about
// another it is not distributed as χ². ok is false when n < 2 or V cannot be inverted.
//
// Source: Aitken, Proc. R. Soc. Edinb. 55 (1936) 42; ratio: Birge, Phys. Rev. 40 (1932) 207 (both from memory).
func Agree(x, v []float64) (a Agreement, ok bool) {
	n := len(x)
	if n < 2 {
		return a, false
	}
	f, ok := factorPositive(v, n)
	if !ok {
		return a, false
	}
	g, ok := f.fit([][]float64{ones(n)}, x)
	if !ok {
		return a, false
	}
	nu := float64(n - 1)
	return Agreement{Chi2: g.chi2, P: stats.ChiSquareUpper(g.chi2, nu), Birge: math.Sqrt(g.chi2 / nu)}, true
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
