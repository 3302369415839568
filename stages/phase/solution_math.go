package phase

import (
	"errors"
	"math"
)

// CODATA 2018; e, k and N_A are exact since the SI of 2019.
const (
	elementaryCharge   = 1.602176634e-19  // C
	boltzmann          = 1.380649e-23     // J/K
	avogadro           = 6.02214076e23    // 1/mol
	vacuumPermittivity = 8.8541878128e-12 // F/m
	zeroCelsius        = 273.15           // K
)

// ErrNotLiquid says that a temperature is outside the range of the formula for water, 0 to 100 °C.
var ErrNotLiquid = errors.New("the permittivity of water is known from 0 to 100 °C alone")

// WaterPermittivity gives the static relative permittivity of water at
// atmospheric pressure and temperature T in K:
//
//	ε = 87.740 − 0.40008·t + 9.398·10⁻⁴·t² − 1.410·10⁻⁶·t³,  t = T − 273.15 K
//
// Source: Malmberg and Maryott, J. Res. Natl. Bur. Stand. 56 (1956) 1; its
// authors state an error of at most 0.05 (from memory). ErrNotLiquid outside
// 0 to 100 °C.
func WaterPermittivity(T float64) (float64, error) {
	t := T - zeroCelsius
	if !(t >= -1e-9 && t <= 100+1e-9) {
		return 0, ErrNotLiquid
	}
	return 87.740 + t*(-0.40008+t*(9.398e-4-t*1.410e-6)), nil
}

// waterPermittivityU is the standard uncertainty of an error that is 0.05 at most, as likely anywhere within (JCGM 100:2008, 4.3.7).
const waterPermittivityU = 0.05 / 1.7320508075688772

// Bjerrum gives the length in nm at which two elementary charges in a medium
// of relative permittivity eps have the energy kT:
//
//	l_B = e²/(4π·ε0·ε·k·T)
//
// Source: Bjerrum, Mat.-Fys. Medd. K. Dan. Vidensk. Selsk. 7 (1926) 9 (from
// memory). T in K; eps and T must be positive.
func Bjerrum(eps, T float64) float64 {
	return 1e9 * elementaryCharge * elementaryCharge / (4 * math.Pi * vacuumPermittivity * eps * boltzmann * T)
}

// Debye gives the screening length in nm of a solution of ionic strength I in
// mol/L:
//
//	1/κ = √(ε0·ε·k·T/(2·N_A·e²·I)) = 1/√(8π·l_B·N_A·I)
//
// It is +Inf when I is 0. Source: Debye and Hückel, Phys. Z. 24 (1923) 185
// (from memory); it holds for dilute solutions, up to some 0.1 mol/L of a 1:1
// salt (common practice, no source).
func Debye(I, eps, T float64) float64 {
	perVolume := avogadro * I * 1e-24 // 1/nm³ for I in mol/L
	return 1 / math.Sqrt(8*math.Pi*Bjerrum(eps, T)*perVolume)
}

// Manning gives the charge density parameter of a chain with contour length b
// in nm for each charge: ξ = l_B/b. Beyond 1 counter-ions of one charge
// condense until it is 1.
//
// Source: Manning, J. Chem. Phys. 51 (1969) 924 (from memory).
func Manning(bjerrum, b float64) float64 { return bjerrum / b }
