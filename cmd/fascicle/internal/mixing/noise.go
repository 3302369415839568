package mixing

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/stat/distuv"
)

// counted draws how many of the expected counts a detector sees.
func counted(rng *rand.Rand, mean float64) float64 {
	if mean <= 0 {
		return 0
	}
	return distuv.Poisson{Lambda: mean, Src: rng}.Rand()
}

// wavelengths from first to last in nm.
func wavelengths(first, last, step float64) []float64 {
	x := make([]float64, 0, int((last-first)/step)+1)
	for l := first; l <= last; l += step {
		x = append(x, l)
	}
	return x
}

// bell is a Gaussian of height 1.
func bell(x, middle, sigma float64) float64 {
	z := (x - middle) / sigma
	return math.Exp(-z * z / 2)
}
