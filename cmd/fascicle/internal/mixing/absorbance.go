package mixing

import "math"

// Molar absorption coefficients of a repeat unit in L/(mol·cm) at the maximum, and where it lies in nm.
const (
	violaneMolar, violanePeak   = 8000, 352
	ambrelleMolar, ambrellePeak = 4000, 512
)

// absorbanceNoise is the standard deviation of a photometer's reading.
const absorbanceNoise = 0.0003

func violaneBand(l float64) float64  { return bell(l, violanePeak, 21) }
func ambrelleBand(l float64) float64 { return bell(l, ambrellePeak, 27) + 0.08*bell(l, 345, 30) }

// absorbed is the decadic absorbance of the polymers of a row in 1/cm.
func (w *world) absorbed(r row, l float64) float64 {
	donor, acceptor := w.concentrations(r)
	return 1e-3 * (donor*violaneMolar*violaneBand(l) + acceptor*ambrelleMolar*ambrelleBand(l))
}

// extinction is what the row's cell takes away from a beam, as a decadic absorbance: what polymers absorb, and what turbid samples
// scatter, which falls with the square of the wavelength.
func (w *world) extinction(r row, l float64) float64 {
	length := w.real(cell) / 10 // cm
	a := w.absorbed(r, l) * length
	if r.mixing() {
		a -= math.Log10(w.sampleOf(r).clear/clearest) * length / platePath * (620 / l) * (620 / l)
	}
	return a
}

// baseline is what a cell with solvent shows.
func baseline(l float64) float64 { return 0.042 + 0.02*bell(l, 280, 25) }

// photometer gives the absorbances that a photometer reads, at the wavelengths given.
func (w *world) photometer(r row, at []float64) []float64 {
	rng := w.stream("absorbance of " + r.sample)
	a := make([]float64, len(at))
	for k, l := range at {
		a[k] = baseline(l) + absorbanceNoise*rng.NormFloat64()
		if !r.solvent() {
			a[k] += w.extinction(r, l)
		}
	}
	return a
}
