package stats

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// NormalUpper is P(Z > z) of the standard normal distribution, accurate in the
// far tail.
func NormalUpper(z float64) float64 { return 0.5 * math.Erfc(z/math.Sqrt2) }

// StudentUpper is P(T > t) of Student's distribution with nu degrees of
// freedom, nu > 0; nu = +Inf is the normal distribution.
//
// For t > 0: P = ½·I_x(nu/2, 1/2) with x = nu/(nu+t²), I the regularised
// incomplete beta function. It panics when nu is not positive.
func StudentUpper(t, nu float64) float64 {
	if !(nu > 0) {
		panic("stats: degrees of freedom must be positive")
	}
	switch {
	case math.IsNaN(t):
		return math.NaN()
	case math.IsInf(nu, 1) || nu > 1e7:
		return NormalUpper(t)
	case t < 0:
		return 1 - StudentUpper(-t, nu)
	}
	return 0.5 * mathext.RegIncBeta(nu/2, 0.5, nu/(nu+t*t))
}

// ChiSquareUpper is P(X > x) of the chi-square distribution with nu degrees of
// freedom, nu > 0: the regularised upper incomplete gamma function
// Q(nu/2, x/2). It panics when nu is not positive.
func ChiSquareUpper(x, nu float64) float64 {
	if !(nu > 0) {
		panic("stats: degrees of freedom must be positive")
	}
	if x <= 0 {
		return 1
	}
	return mathext.GammaIncRegComp(nu/2, x/2)
}
