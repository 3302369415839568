package firstlook

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
	// plateExposure is how much shorter the plate is measured: it scatters much more.
	plateExposure = 0.002
)

// stated is an uncertain number that the study file states, in the unit that it states it in.
type stated struct {
	source   string
	value, u float64
}

var (
	monitorRatio = stated{"constants.monitor_ratio", 1.004, 0.003} // share of the background in a sample's curve
	capillary    = stated{"constants.capillary", 1.480, 0.008}     // mm
	plate        = stated{"constants.plate", 1.000, 0.004}         // mm
	plateLevel   = stated{"constants.plate_level", 35.0, 0.3}      // 1/cm
)

// world is what the laboratory does not know: where the stated numbers really lie.
type world struct {
	seed  uint64
	draws map[string]float64 // (stated − true)/u, by source
}

func newWorld(seed uint64) *world {
	w := &world{seed, map[string]float64{}}
	rng := rand.New(rand.NewPCG(seed, 0x5ca1e))
	for _, s := range [...]stated{monitorRatio, capillary, plate, plateLevel} {
		w.draws[s.source] = rng.NormFloat64()
	}
	return w
}

// real is what a stated number really is.
func (w *world) real(s stated) float64 { return s.value - s.u*w.draws[s.source] }

// gain is what each day's detector reads for a scattering of 1 over the whole thickness.
var gain = map[string]float64{"d1": 612, "d2": 587}

// curve is one measured curve: q in 1/Å, i and its standard uncertainty u as the detector reads them.
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

// expected is the scattering without noise, in 1/cm at q in 1/nm.
func (w *world) expected(r row, q float64) float64 {
	switch {
	case r.plate():
		return w.real(plateLevel)
	case r.solvent():
		return background(r, q)
	}
	p := particleOf(r)
	return p.i0*p.form(q) + w.real(monitorRatio)*background(r, q)
}

// reading is what the detector makes of a scattering of 1/cm.
func (w *world) reading(r row) float64 {
	thickness := w.real(capillary)
	if r.plate() {
		thickness = w.real(plate)
	}
	return gain[r.day] * thickness / 10 // mm to cm
}

// simulate draws what a detector would count. Every sample has a random stream of its own, so that a row added to the sheet
// leaves the other curves as they are. Counts are in the thousands and more, where a Poisson distribution is as good as normal;
// u comes from the counts that were drawn, as it would from a real detector.
func (w *world) simulate(r row) curve {
	h := fnv.New64a()
	h.Write([]byte(r.sample))
	rng := rand.New(rand.NewPCG(w.seed, h.Sum64()))
	c := curve{q: grid(r.day), i: make([]float64, points), u: make([]float64, points)}
	for k, qA := range c.q {
		q := 10 * qA // 1/Å to 1/nm
		per := exposure * q * q
		switch {
		case r.solvent():
			per *= patience
		case r.plate():
			per *= plateExposure
		}
		mean := per * w.expected(r, q)
		counts := math.Max(1, math.Round(mean+math.Sqrt(mean)*rng.NormFloat64()))
		scale := w.reading(r) / per
		c.i[k], c.u[k] = scale*counts, scale*math.Sqrt(counts)
	}
	return c
}
