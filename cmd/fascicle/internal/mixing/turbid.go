package mixing

import "math"

// platePath is the height of liquid in a well, in cm, and plateNoise the standard deviation of a transmittance.
const platePath, plateNoise = 1.0, 0.005

// Along the ladder of salt at equivalence, long chains in sodium chloride clear at an ionic strength in mol/L.
const clearsAt, clearsWarm, clearsWidth = 0.42, 0.27, 0.15

// transmittance of a mixture at a wavelength in nm; turbidity falls with the square of the wavelength.
func (w *world) transmittance(r row, l float64) float64 {
	t := 0.0
	if r.mixing() {
		t = w.sampleOf(r).clear
	} else {
		at := clearsAt
		if r.warm {
			at = clearsWarm
		}
		t = 0.45 + (clearest-0.45)*step(math.Log(r.ionic), math.Log(at), clearsWidth)
	}
	return clearest * math.Pow(t/clearest, (620/l)*(620/l))
}

// plateReader gives the transmittances that a plate reader reads of a mixture.
func (w *world) plateReader(r row, at []float64) []float64 {
	rng := w.stream("well of " + r.sample)
	t := make([]float64, len(at))
	for k, l := range at {
		t[k] = w.transmittance(r, l) + plateNoise*rng.NormFloat64()
	}
	return t
}
