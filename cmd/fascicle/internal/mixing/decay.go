package mixing

import (
	"math"
)

// What is true of the decays: mono-exponential ones of the donor, whose chains pass their energy on before they emit, and ones of
// the acceptor with two lifetimes, whose shares make up the mean.
const (
	donorLifetime   = 1.10  // ns, alone
	aloneLifetime   = 1.92  // ns, mean of the acceptor alone
	shortLifetime   = 0.45  // ns
	longLifetime    = 2.35  // ns
	decayDelay      = 0.015 // ns, by which decays come later than the response
	scatterShare    = 0.08  // of the light in the donor's band
	decayBackground = 4.0   // counts a channel
	leastLeft       = 0.25  // below it, the donor's light is too weak for a decay
	pulsePeriod     = 50.0  // ns
)

// counter says how a day's photon counter counts.
type counter struct {
	width    float64 // ns, of a channel
	channels int
	rise     float64 // ns, where the pulse comes
	sigma    float64 // ns, of the pulse
}

var counters = map[string]counter{
	"d1": {0.025, 800, 1.6, 0.045},
	"d2": {0.0244, 840, 1.9, 0.055},
}

// pulse is the response as a sum of two bells, the second one a late shoulder: share, delay and standard deviation.
func (c counter) pulse() [2][3]float64 {
	return [2][3]float64{{0.9, 0, c.sigma}, {0.1, 0.11, 2.2 * c.sigma}}
}

// normal is the distribution function of the normal distribution.
func normal(z float64) float64 { return math.Erfc(-z/math.Sqrt2) / 2 }

// pulseBefore is the share of the response before time t, the pulse coming at rise + delay.
func (c counter) pulseBefore(t, delay float64) (p float64) {
	for _, b := range c.pulse() {
		p += b[0] * normal((t-c.rise-delay-b[1])/b[2])
	}
	return p
}

// decayBefore is the share of an exponential decay of lifetime tau, convolved with the response, that has come before time t:
// for a bell at m of width σ, Φ(z) − e^(σ²/2τ² − (t−m)/τ)·Φ(z − σ/τ), z = (t − m)/σ (the exponentially modified Gaussian, common
// knowledge, no source).
func (c counter) decayBefore(t, delay, tau float64) (p float64) {
	for _, b := range c.pulse() {
		m, s := c.rise+delay+b[1], b[2]
		z := (t - m) / s
		p += b[0] * (normal(z) - math.Exp(s*s/(2*tau*tau)-(t-m)/tau)*normal(z-s/tau))
	}
	return p
}

// exponential is one term of a decay: amplitude (share) and lifetime in ns.
type exponential struct{ share, tau float64 }

// acceptorTerms are the two terms that have a mean lifetime, weighted by amplitude.
func acceptorTerms(mean float64) []exponential {
	short := (longLifetime - mean) / (longLifetime - shortLifetime)
	return []exponential{{short, shortLifetime}, {1 - short, longLifetime}}
}

// band of a decay, and what is true of it.
type decay struct {
	terms   []exponential
	scatter float64
	photons float64
}

// decayOf says what a row's decay in a band is; false: there is none.
func (w *world) decayOf(r row, band string) (decay, bool) {
	switch {
	case band == "donor" && r.donorOnly():
		return decay{[]exponential{{1, donorLifetime}}, scatterShare, 4e5}, true
	case band == "donor" && r.mixing():
		left := w.sampleOf(r).left
		return decay{[]exponential{{1, donorLifetime * left}}, scatterShare, 3e5}, left >= leastLeft
	case band == "acceptor" && r.acceptorOnly():
		return decay{acceptorTerms(aloneLifetime), 0, 8e5}, true
	case band == "acceptor" && r.mixing():
		return decay{acceptorTerms(w.sampleOf(r).tau), 0, 8e5}, true
	}
	return decay{}, false
}

// photonCounter gives the counts of a decay. What is left of pulses before comes in again at the beginning of the window.
func (w *world) photonCounter(r row, band string, d decay) []float64 {
	c := counters[r.day]
	rng := w.stream(band + " decay of " + r.sample)
	light := 0.0 // Σ share·tau, to which the light of each term goes
	for _, e := range d.terms {
		light += e.share * e.tau
	}
	before := func(t float64) float64 {
		p := 0.0
		for _, e := range d.terms {
			p += e.share * e.tau / light * (c.decayBefore(t, decayDelay, e.tau) + c.decayBefore(t+pulsePeriod, decayDelay, e.tau))
		}
		return d.photons * ((1-d.scatter)*p + d.scatter*c.pulseBefore(t, decayDelay))
	}
	counts := make([]float64, c.channels)
	last := before(0)
	for k := range counts {
		next := before(float64(k+1) * c.width)
		counts[k] = counted(rng, next-last+decayBackground)
		last = next
	}
	return counts
}

// responsePhotons is how many counts a response has.
const responsePhotons = 2e7

// responseCounter gives the counts of a response.
func (w *world) responseCounter(day, band string) []float64 {
	c := counters[day]
	rng := w.stream("response of " + day + " " + band)
	counts := make([]float64, c.channels)
	for k := range counts {
		t := float64(k) * c.width
		counts[k] = counted(rng, responsePhotons*(c.pulseBefore(t+c.width, 0)-c.pulseBefore(t, 0))+1)
	}
	return counts
}
