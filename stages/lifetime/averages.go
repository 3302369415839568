package lifetime

// Shares writes a_i/Σa, the share of each component in the amplitude, into dst.
func Shares(dst, a []float64) {
	sum := 0.0
	for _, x := range a {
		sum += x
	}
	for i, x := range a {
		dst[i] = x / sum
	}
}

// IntensityShares writes a_i·τ_i/Σa·τ, the share of each component in the light, into dst.
func IntensityShares(dst, a, tau []float64) {
	sum := 0.0
	for i, x := range a {
		sum += x * tau[i]
	}
	for i, x := range a {
		dst[i] = x * tau[i] / sum
	}
}

// AmplitudeAverage is the lifetime averaged with the amplitudes as weights,
//
//	⟨τ⟩_a = Σ a_i·τ_i/Σ a_i,
//
// the area under the decay over its height. It is in proportion to the steady intensity at equal absorption, and so is the one that
// belongs in an efficiency of transfer or a quantum yield. Unless they are nil, its derivatives by a and τ are written into da and dtau.
//
// Source: Lakowicz, Principles of Fluorescence Spectroscopy, 3rd ed. (2006), ch. 4 (from memory).
func AmplitudeAverage(a, tau, da, dtau []float64) float64 {
	sum, first := 0.0, 0.0
	for i, x := range a {
		sum += x
		first += x * tau[i]
	}
	mean := first / sum
	for i := range da {
		da[i], dtau[i] = (tau[i]-mean)/sum, a[i]/sum
	}
	return mean
}

// IntensityAverage is the lifetime averaged with the light that each component gives as weights,
//
//	⟨τ⟩_f = Σ a_i·τ_i²/Σ a_i·τ_i,
//
// the mean time that light takes to come. It is the one that belongs in a rate of diffusion or of quenching by collisions met while
// excited, and is never below the amplitude average when all amplitudes are positive. Derivatives as in AmplitudeAverage.
//
// Source: Lakowicz, Principles of Fluorescence Spectroscopy, 3rd ed. (2006), ch. 4 (from memory).
func IntensityAverage(a, tau, da, dtau []float64) float64 {
	first, second := 0.0, 0.0
	for i, x := range a {
		first += x * tau[i]
		second += x * tau[i] * tau[i]
	}
	mean := second / first
	for i := range da {
		da[i], dtau[i] = tau[i]*(tau[i]-mean)/first, a[i]*(2*tau[i]-mean)/first
	}
	return mean
}
