// Package scatter holds what simulators of scattering share: models written apart from the code that fits curves.
package scatter

import "math"

// Debye is the form factor of a Gaussian chain, D(x) = 2(e^−x + x − 1)/x² with x = (q·Rg)², 1 at x = 0.
// Source: P. Debye, Molecular-weight determination by light scattering, J. Phys. Colloid Chem. 51 (1947) 18 (from memory).
func Debye(x float64) float64 {
	if x < 1e-2 { // the closed form loses digits; the next term of the series is below 1e-17
		return 1 - x/3*(1-x/4*(1-x/5*(1-x/6*(1-x/7*(1-x/8)))))
	}
	return 2 * (math.Expm1(-x) + x) / (x * x)
}
