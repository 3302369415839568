package mixing

import (
	"hash/fnv"
	"math/rand/v2"
)

// seed of the demo. Another seed gives another study of the same polymers: other noise, other preparations, other draws of what
// the study states. In one study of five, a break is claimed in one of the five series that have none, as the level of 5 % lets expect;
// this is one of the others.
const seed = 20310312

// stated is an uncertain number that the study file states, in the unit that it states it in.
type stated struct {
	source   string
	value, u float64
}

var (
	cell            = stated{"constants.cell", 1.000, 0.003}           // mm
	capillary       = stated{"constants.capillary", 1.480, 0.008}      // mm
	monitorRatio    = stated{"constants.monitor_ratio", 1.004, 0.0015} // share of the background in a sample's curve
	carbonLevel     = stated{"constants.carbon_level", 35.0, 0.3}      // 1/cm
	stockViolane    = stated{"constants.stock.violane", 10.03, 0.06}   // mmol/L of repeat units
	stockAmbrelle   = stated{"constants.stock.ambrelle", 9.98, 0.05}   // mmol/L of repeat units
	spacingViolane  = stated{"constants.spacing.violane", 0.68, 0.01}  // nm for each charge
	spacingAmbrelle = stated{"constants.spacing.ambrelle", 0.55, 0.01}
	carbons         = map[string]stated{ // mm, by day
		"d1": {"constants.carbon.d1", 1.000, 0.004},
		"d2": {"constants.carbon.d2", 1.005, 0.004},
	}
	days = []string{"d1", "d2"}
)

// statements lists all that the study file states with an uncertainty.
func statements() []stated {
	return []stated{cell, capillary, monitorRatio, carbonLevel, stockViolane, stockAmbrelle, spacingViolane, spacingAmbrelle, carbons["d1"], carbons["d2"]}
}

// world is what the laboratory does not know: where the stated numbers really lie.
type world struct {
	seed  uint64
	draws map[string]float64 // (stated − true)/u, by source
	rows  []row

	samples map[string]sample     // by name, as they are asked for
	amounts map[string][2]float64 // likewise, concentrations
}

// newWorld draws where everything that study file and sheet state really lies.
func newWorld(seed uint64, rows []row) *world {
	w := &world{seed, map[string]float64{}, rows, map[string]sample{}, map[string][2]float64{}}
	rng := w.stream("what is stated")
	for _, s := range statements() {
		w.draws[s.source] = rng.NormFloat64()
	}
	for _, r := range rows {
		rng := w.stream("volumes of " + r.sample)
		for _, v := range r.volumes() {
			w.draws[v.source] = rng.NormFloat64()
		}
	}
	return w
}

// stream is a random stream of its own for each purpose, so that a row added to the sheet leaves all other data as they are.
func (w *world) stream(purpose string) *rand.Rand {
	h := fnv.New64a()
	h.Write([]byte(purpose))
	return rand.New(rand.NewPCG(w.seed, h.Sum64()))
}

// real is what a stated number really is.
func (w *world) real(s stated) float64 { return s.value - s.u*w.draws[s.source] }

// volumes lists the uncertain cells of a row.
func (r row) volumes() []stated {
	var all []stated
	for _, c := range []struct {
		column string
		volume
	}{{"v_donor", r.donor}, {"v_acceptor", r.acceptor}, {"v_total", r.total}} {
		if c.u > 0 {
			all = append(all, stated{"sheet." + c.column + "[" + r.sample + "]", c.value, c.u})
		}
	}
	return all
}

// concentrations of both polymers in mmol/L of repeat units, as they really are.
func (w *world) concentrations(r row) (donor, acceptor float64) {
	a, ok := w.amounts[r.sample]
	if !ok {
		a[0], a[1] = w.mixed(r)
		w.amounts[r.sample] = a
	}
	return a[0], a[1]
}

// mixed works out what was mixed.
func (w *world) mixed(r row) (donor, acceptor float64) {
	real := func(column string, v volume) float64 {
		return v.value - v.u*w.draws["sheet."+column+"["+r.sample+"]"]
	}
	if r.total.value == 0 {
		return 0, 0
	}
	total := real("v_total", r.total)
	return w.real(stockViolane) * real("v_donor", r.donor) / total, w.real(stockAmbrelle) * real("v_acceptor", r.acceptor) / total
}
