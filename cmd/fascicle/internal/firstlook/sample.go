package firstlook

import (
	"math"

	"fascicle/cmd/fascicle/internal/scatter"
)

// salt says how the pair behaves in one of the two salts.
type salt struct {
	equivalence float64 // fraction of positive charge at which the complexes are largest
	window      float64 // half width of the range of droplets around it
	rg          float64 // nm, of a lone chain
	growth      float64 // how much larger a complex gets towards equivalence, as a factor less 1
	radius      float64 // nm, mean radius of the largest droplets
	level       float64 // 1/cm, flat scattering of the solvent
}

var salts = map[string]salt{
	"NaCl":  {equivalence: 0.50, window: 0.10, rg: 2.9, growth: 0.6, radius: 6.4, level: 0.0168},
	"CaCl2": {equivalence: 0.47, window: 0.09, rg: 2.5, growth: 0.5, radius: 5.3, level: 0.0175},
}

// particle is what floats in a sample: forward scattering I0 in 1/cm, radius of gyration Rg in nm, and the form factor that
// belongs to it (1 at q = 0, q in 1/nm).
type particle struct {
	i0, rg float64
	form   func(q float64) float64
}

// particleOf says what a mixture holds: chains in loose complexes, and droplets around charge equivalence.
func particleOf(r row) particle {
	s := salts[r.salt]
	d := math.Abs(r.fraction - s.equivalence)
	if d < s.window {
		droplets := schulz{mean: s.radius * (1 - 2*d), spread: 0.18}
		return particle{i0: 2.4 * (1 - 5*d), rg: droplets.radiusOfGyration(), form: droplets.formFactor}
	}
	near := math.Exp(-(d / 0.2) * (d / 0.2))
	rg := s.rg * (1 + s.growth*near)
	return particle{i0: 0.30 + 0.55*near, rg: rg, form: func(q float64) float64 { return scatter.Debye(q * q * rg * rg) }}
}

// background is what the beam sees without polymer, in 1/cm at q in 1/nm: the solvent's flat level, and the upturn of slits and
// capillary towards the beam stop.
func background(r row, q float64) float64 { return salts[r.salt].level + powerLaw(2.0e-6, 4, q) }
