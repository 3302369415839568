package mixing

import (
	"math"

	"fascicle/cmd/fascicle/internal/scatter"
)

const (
	// exposure ties scattering to counts: a point at q expects exposure·q·I counts (q in 1/nm, I in 1/cm).
	exposure = 2e6
	// longer is how much longer a solvent is measured than a sample, and carbonExposure how much shorter the plate.
	longer, carbonExposure = 4, 0.005
	scatterPoints          = 240
)

// gain is what each day's detector reads for a scattering of 1 over the whole thickness.
var gain = map[string]float64{"d1": 612, "d2": 587}

// scatterGrid gives a day's q in 1/Å, with equal steps of its logarithm.
func scatterGrid(day string) []float64 {
	first, last := 0.00080, 0.300
	if day == "d2" {
		first, last = 0.00082, 0.295
	}
	q := make([]float64, scatterPoints)
	for k := range q {
		q[k] = first * math.Exp(math.Log(last/first)*float64(k)/(scatterPoints-1))
	}
	return q
}

// solventLevel is the flat scattering of a solvent in 1/cm.
var solventLevel = map[string]float64{"NaCl": 0.0168, "CaCl2": 0.0175, "Na2SO4": 0.0171}

// particlesOf says what scatters in a row beside its solvent.
func (w *world) particlesOf(r row) particles {
	switch {
	case r.mixing():
		return w.sampleOf(r).particles
	case r.donorOnly() && r.chain == "long":
		return particles{small: 0.25, rgSmall: 3.6}
	case r.donorOnly():
		return particles{small: 0.08, rgSmall: 1.7}
	}
	return particles{small: 0.13, rgSmall: 2.2} // ambrelle
}

// scattered is what the detector sees of a row, in 1/cm at q in 1/nm.
func (w *world) scattered(r row, q float64) float64 {
	if r.carbon() {
		return w.real(carbonLevel)
	}
	i := solventLevel[r.salt] + 4e-11*math.Pow(q, -4)
	if r.solvent() {
		return i
	}
	p := w.particlesOf(r)
	return w.real(monitorRatio)*i + p.small*scatter.Debye(q*q*p.rgSmall*p.rgSmall) + p.large*scatter.Debye(q*q*p.rgLarge*p.rgLarge)
}

// camera gives q in 1/Å, the readings of the detector and their standard uncertainty.
func (w *world) camera(r row) (q, i, u []float64) {
	rng := w.stream("scattering of " + r.sample)
	q, i, u = scatterGrid(r.day), make([]float64, scatterPoints), make([]float64, scatterPoints)
	thickness := w.real(capillary)
	if r.carbon() {
		thickness = w.real(carbons[r.day])
	}
	for k := range q {
		per := exposure * 10 * q[k]
		switch {
		case r.solvent():
			per *= longer
		case r.carbon():
			per *= carbonExposure
		}
		counts := math.Max(1, counted(rng, per*w.scattered(r, 10*q[k])))
		scale := gain[r.day] * thickness / 10 / per // mm to cm
		i[k], u[k] = scale*counts, scale*math.Sqrt(counts)
	}
	return q, i, u
}
