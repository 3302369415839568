package demo

import (
	"hash/fnv"
	"math"
	"math/rand/v2"
)

const (
	points = 400
	// seed of all noise. Another seed gives another study of the same truth.
	seed = 20310304
	// exposure ties scattering to counts: a point at q expects exposure·q²·I counts (q in 1/nm, I in 1/cm), since on a
	// logarithmic grid the ring of a detector that belongs to a point grows as q².
	exposure = 3.0e6
	// patience is how much longer a solvent is measured than a sample.
	patience = 4
	// monitorRatio is the share of the background in a sample's curve: what the monitor counted for a sample over what it counted
	// for the solvent. The study file states the same number.
	monitorRatio = 1.004
)

// curve is one measured curve: q in 1/Å, i and its standard uncertainty u in 1/cm.
type curve struct{ q, i, u []float64 }

// grids gives the first and last q in 1/Å of each day: on the second day the detector stood a little nearer.
var grids = map[string][2]float64{"d1": {0.0080, 0.350}, "d2": {0.0083, 0.348}}

// grid gives a day's q in 1/Å, with equal steps of its logarithm.
func grid(day string) []float64 {
	ends, q := grids[day], make([]float64, points)
	step := math.Log(ends[1]/ends[0]) / (points - 1)
	for k := range q {
		q[k] = ends[0] * math.Exp(step*float64(k))
	}
	return q
}

// expected is the curve without noise, in 1/cm at q in 1/nm.
func expected(r row, q float64) float64 {
	if r.solvent() {
		return background(r, q)
	}
	p := particleOf(r)
	return p.i0*p.form(q) + monitorRatio*background(r, q)
}

// simulate draws what a detector would count. Every sample has a random stream of its own, so that a row added to the sheet
// leaves the other curves as they are. Counts are in the thousands and more, where a Poisson distribution is as good as normal;
// u comes from the counts that were drawn, as it would from a real detector.
func simulate(r row, seed uint64) curve {
	h := fnv.New64a()
	h.Write([]byte(r.sample))
	rng := rand.New(rand.NewPCG(seed, h.Sum64()))
	c := curve{q: grid(r.day), i: make([]float64, points), u: make([]float64, points)}
	for k, qA := range c.q {
		q := 10 * qA // 1/Å to 1/nm
		per := exposure * q * q
		if r.solvent() {
			per *= patience
		}
		mean := per * expected(r, q)
		counts := math.Max(1, math.Round(mean+math.Sqrt(mean)*rng.NormFloat64()))
		c.i[k], c.u[k] = counts/per, math.Sqrt(counts)/per
	}
	return c
}
