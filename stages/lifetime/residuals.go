package lifetime

import "math"

// WeightedResiduals writes (n − m)/√m, or with weights 1/u² (n − m)/u, into dst.
func WeightedResiduals(dst, counts, means, weights []float64) {
	for k, n := range counts {
		if weights != nil {
			dst[k] = (n - means[k]) * math.Sqrt(weights[k])
			continue
		}
		dst[k] = (n - means[k]) / math.Sqrt(means[k])
	}
}

// Autocorrelation writes that of residuals at lags 0, 1, …, len(dst)−1 into dst,
//
//	C_j = [Σ_k r_k·r_{k+j}/(n − j)] / [Σ_k r_k²/n],
//
// which is 1 at lag 0 and, for residuals at random, scatters about 0 by 1/√(n − j).
//
// Source: Grinvald and Steinberg, Anal. Biochem. 59 (1974) 583 (from memory).
func Autocorrelation(dst, r []float64) {
	n := len(r)
	whole := dot(r, r) / float64(n)
	for j := range dst {
		dst[j] = dot(r[:n-j], r[j:]) / float64(n-j) / whole
	}
}
