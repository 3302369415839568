package mixing

import "math"

// preparation is the relative standard deviation by which independent preparations of one condition differ: in size, in forward
// scattering and in the donor light that is left.
const preparation = 0.04

// nature says how one series behaves along the fraction of positive charge.
type nature struct {
	opens, closes   float64 // the turbid window; opens 0: none, closes 1: still open at the last ratio
	clearer         float64 // transmittance lost in the middle of the window
	large           float64 // 1/cm, forward scattering of the larger structures in the middle of the window
	least           float64 // efficiency of transfer at the lowest fraction
	most            float64 // and at the highest
	tau             func(f float64) float64
	opening, ending float64 // width parameter of the window's edges
}

// flat, falling and broken are the ways in which the acceptor's mean lifetime in ns goes along the ratio.
func flat(float64) float64      { return flatLifetime }
func falling(f float64) float64 { return flatLifetime - (f - 0.15) }
func broken(f float64) float64  { return flatLifetime - brokenFall*math.Max(0, f-breakAt) }

// flatLifetime in ns is where all series begin, brokenFall the slope behind the break: down to 1.2 ns at the last ratio.
const flatLifetime, brokenFall = 1.9, 0.7 / (0.85 - breakAt)

// breakAt is the fraction at which the lifetime begins to fall in the series of long chains in calcium chloride.
const breakAt = 0.58

var natures = map[string]nature{
	"long NaCl":    {opens: 0.34, closes: 0.67, clearer: 0.40, large: 80, least: 0.40, most: 0.990, tau: falling, opening: 0.030, ending: 0.030},
	"long CaCl2":   {opens: 0.40, closes: 0.60, clearer: 0.38, large: 60, least: 0.35, most: 0.970, tau: broken, opening: 0.015, ending: 0.015},
	"long Na2SO4":  {opens: 0.30, closes: 1, clearer: 0.42, large: 90, least: 0.45, most: 0.995, tau: falling, opening: 0.030, ending: 0.030},
	"short NaCl":   {opens: 0.39, closes: 0.62, clearer: 0.30, large: 40, least: 0.36, most: 0.950, tau: flat, opening: 0.020, ending: 0.040},
	"short CaCl2":  {least: 0.35, most: 0.930, tau: falling},
	"short Na2SO4": {opens: 0.36, closes: 0.65, clearer: 0.34, large: 50, least: 0.42, most: 0.985, tau: falling, opening: 0.045, ending: 0.040},
}

// step rises from 0 to 1 at m, from a tenth to nine tenths within 4.39 s.
func step(x, m, s float64) float64 { return 1 / (1 + math.Exp(-(x-m)/s)) }

// turbid says how far inside the window a fraction lies, 0 to 1.
func (n nature) turbid(f float64) float64 {
	switch {
	case n.opens == 0:
		return 0
	case n.closes == 1:
		return step(f, n.opens, n.opening)
	}
	return step(f, n.opens, n.opening) - step(f, n.closes, n.ending)
}

// efficiency of transfer without the scatter of preparations: what is left of the donor's light falls exponentially from the first
// to the last fraction.
func (n nature) efficiency(f float64) float64 {
	t := (f - 0.15) / 0.7
	return 1 - (1-n.least)*math.Pow((1-n.most)/(1-n.least), t)
}

// particles are what a sample holds: chains, and larger structures among them.
type particles struct {
	small, large     float64 // forward scattering in 1/cm
	rgSmall, rgLarge float64 // nm
}

// fewest is how far inside the window a mixture lies before larger structures last until they are measured.
const fewest = 0.1

// sample is all that is true of one mixture.
type sample struct {
	particles
	left  float64 // share of the donor's light that is left, and of its lifetime
	tau   float64 // mean lifetime of the acceptor in ns, weighted by amplitude
	order float64 // amplitude of the acceptor's 0-0 band over that of 0-1
	shift float64 // nm, by which the acceptor's bands lie to the red
	clear float64 // transmittance at 620 nm
}

// sampleOf says what a mixture is.
func (w *world) sampleOf(r row) sample {
	s, ok := w.samples[r.sample]
	if !ok {
		s = w.prepared(r)
		w.samples[r.sample] = s
	}
	return s
}

// prepared makes a mixture. Every preparation has its own deviations, so that independent ones of one condition differ.
func (w *world) prepared(r row) sample {
	n, f := natures[r.series()], r.fraction
	rng := w.stream("preparation of " + r.sample)
	vary := func() float64 { return 1 + preparation*rng.NormFloat64() }
	inside := n.turbid(f)
	p := particles{
		small: 0.35 * vary(), rgSmall: 3.0 * vary(),
		large: n.large * inside * vary(), rgLarge: 25 * (0.85 + 0.15*inside) * vary(),
	}
	if inside < fewest {
		p.large = 0
	}
	return sample{
		particles: p,
		left:      (1 - n.efficiency(f)) * vary(),
		tau:       n.tau(f),
		order:     0.80 * (1 + 0.25*(f-0.15)/0.7),
		shift:     3 * (f - 0.15) / 0.7,
		clear:     clearest - n.clearer*inside,
	}
}

// clearest is the transmittance of a sample without larger structures.
const clearest = 0.985

// guinier is the radius of gyration and the forward scattering of all particles together: ln I = ln ΣI − q²·(Σ I·Rg²/ΣI)/3 + ….
func (p particles) guinier() (rg, i0 float64) {
	i0 = p.small + p.large
	return math.Sqrt((p.small*p.rgSmall*p.rgSmall + p.large*p.rgLarge*p.rgLarge) / i0), i0
}
