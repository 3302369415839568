package mixing

import "math"

// finely is the step in nm at which true spectra are integrated and searched.
const finely = 0.02

// photon is hc in eV·nm (CODATA 2018, exact constants).
const photon = 1239.841984

// integral of f from first to last, by the trapezoidal rule.
func integral(f func(float64) float64, first, last float64) float64 {
	n := int(math.Round((last - first) / finely))
	sum := (f(first) + f(last)) / 2
	for k := 1; k < n; k++ {
		sum += f(first + float64(k)*finely)
	}
	return sum * finely
}

// band is what is true of a band between two wavelengths in nm.
type band struct {
	shine       func(float64) float64
	first, last float64
}

func (b band) area() float64 { return integral(b.shine, b.first, b.last) }

// centroid over the energy in eV of an emission, whose density over the energy is that over the wavelength times dλ/dE: the energy's
// mean over the wavelength.
func (b band) centroid() float64 {
	return integral(func(l float64) float64 { return photon / l * b.shine(l) }, b.first, b.last) / b.area()
}

// absorptionCentroid in eV, of values that are no densities: ∫ E·A dE/∫ A dE with dE = −hc/λ² dλ.
func (b band) absorptionCentroid() float64 {
	return integral(func(l float64) float64 { return photon / (l * l * l) * b.shine(l) }, b.first, b.last) /
		integral(func(l float64) float64 { return b.shine(l) / (l * l) }, b.first, b.last)
}

// top gives the place and the height of the maximum.
func (b band) top() (at, height float64) {
	for l := b.first; l <= b.last; l += finely {
		if y := b.shine(l); y > height {
			at, height = l, y
		}
	}
	return at, height
}
