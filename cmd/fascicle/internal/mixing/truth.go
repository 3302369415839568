package mixing

// truth lists what the study's stages should find. What the broken files hide is left out.
func (w *world) truth() Truth {
	t := truths{w: w}
	for _, day := range days {
		t.series("day="+day, "absolute_scale", "factor", 1/gain[day])
	}
	for _, r := range w.rows {
		if r.mixing() || r.alone() {
			t.scattering(r)
			t.absorption(r)
			t.emission(r)
			t.decays(r)
		}
	}
	t.windows()
	t.breaks()
	t.series("all", "violane_molar", "mean", violaneMolar)
	t.series("all", "ambrelle_molar", "mean", ambrelleMolar)
	return Truth{Values: t.values, Draws: w.draws, Reads: map[string]string{
		"donor_alone": "area", "donor_alone_lifetimes": "tau_amplitude", "acceptor_alone_lifetimes": "tau_amplitude",
	}}
}

type truths struct {
	w      *world
	values []TrueValue
}

func (t *truths) sample(r row, stage, name string, value float64) {
	t.values = append(t.values, TrueValue{Sample: r.sample, Stage: stage, Name: name, Value: value})
}

func (t *truths) series(series, stage, name string, value float64) {
	t.values = append(t.values, TrueValue{Series: series, Stage: stage, Name: name, Value: value})
}

func (t *truths) scattering(r row) {
	if r.sample == emptyFile {
		return
	}
	rg, i0 := t.w.particlesOf(r).guinier()
	t.sample(r, "guinier", "Rg_1", rg)
	t.sample(r, "guinier", "I0_1", i0)
	if r.mixing() {
		donor, acceptor := t.w.concentrations(r)
		t.sample(r, "by_sample", "per_mass", i0/(1e-3*(donor*violaneMass+acceptor*ambrelleMass)))
	}
}

func (t *truths) absorption(r row) {
	donor, acceptor := t.w.concentrations(r)
	if r.donorOnly() {
		t.uptake(r, "donor_uptake", band{violaneBand, 280, 420}, 1e-3*donor*violaneMolar)
	}
	if r.acceptorOnly() {
		t.uptake(r, "acceptor_uptake", band{ambrelleBand, 430, 600}, 1e-3*acceptor*ambrelleMolar)
	}
}

// uptake lists what is true of an absorption band. Widths of bands are left out here and below: the kind reads them from lines or
// parabolas through the few points of each flank, which makes emission bands 0.2 nm too wide here, and its u does not know that.
func (t *truths) uptake(r row, stage string, b band, height float64) {
	at, _ := b.top()
	t.sample(r, stage, "height", height)
	t.sample(r, stage, "maximum", at)
	t.sample(r, stage, "centroid", b.absorptionCentroid())
}

func (t *truths) emission(r row) {
	if r.sample == wrongSolvent { // no absorbance, and so no inner filter
		return
	}
	unit := 1.0 // what is found for a count: itself on the first day, counts/s on the second
	if r.day == "d2" {
		unit = 1 / dwell(r.day)
	}
	at := func(ex, first, last float64) band {
		return band{func(l float64) float64 { return unit * t.w.emitted(r, ex, l) }, first, last}
	}
	if blue := at(350, 366, 500); r.donorOnly() {
		t.sample(r, "donor_alone", "area", blue.area())
		t.sample(r, "donor_alone", "centroid", blue.centroid())
		top, height := blue.top()
		t.sample(r, "donor_alone", "height", height)
		t.sample(r, "donor_alone", "maximum", top)
	} else if r.mixing() {
		t.sample(r, "donor_left", "area", blue.area())
		left := t.w.sampleOf(r).left
		t.sample(r, "quenched", "E", 1-left)
		t.sample(r, "quenched", "residual", left)
	}
	if r.donorOnly() || r.sample == saturated {
		return
	}
	first, second := at(520, 552, 614), at(520, 616, 668)
	top, height := first.top()
	_, other := second.top()
	t.sample(r, "bands", "maximum", top)
	t.sample(r, "bands", "height", height)
	t.sample(r, "bands", "centroid", first.centroid())
	t.sample(r, "bands", "area", first.area())
	t.sample(r, "bands", "height_ratio", height/other)
	t.sample(r, "bands", "area_ratio", first.area()/second.area())
}

func (t *truths) decays(r row) {
	if d, ok := t.w.decayOf(r, "donor"); ok {
		stage := "donor_lifetimes"
		if r.donorOnly() {
			stage = "donor_alone_lifetimes"
		}
		t.decay(r, stage, d)
		t.sample(r, stage, "scatter", d.scatter)
		if r.mixing() {
			t.sample(r, "shortened", "E", 1-d.terms[0].tau/donorLifetime)
		}
	}
	if d, ok := t.w.decayOf(r, "acceptor"); ok && r.sample != noResponse {
		stage := "acceptor_lifetimes"
		if r.acceptorOnly() {
			stage = "acceptor_alone_lifetimes"
		} else {
			t.sample(r, "by_sample", "tau_change", t.w.sampleOf(r).tau-aloneLifetime)
		}
		t.decay(r, stage, d)
		t.sample(r, stage, "tau_2", d.terms[1].tau)
		t.sample(r, stage, "share_1", d.terms[0].share)
	}
}

// decay lists what all decays have.
func (t *truths) decay(r row, stage string, d decay) {
	amplitude, intensity := 0.0, 0.0
	for _, e := range d.terms {
		amplitude += e.share * e.tau
		intensity += e.share * e.tau * e.tau
	}
	t.sample(r, stage, "tau_1", d.terms[0].tau)
	t.sample(r, stage, "tau_amplitude", amplitude)
	t.sample(r, stage, "tau_intensity", intensity/amplitude)
	t.sample(r, stage, "shift", decayDelay)
	t.sample(r, stage, "background", decayBackground)
}

// windows lists the edges of the windows; middle and width are made of these.
func (t *truths) windows() {
	for _, salt := range []string{"NaCl", "CaCl2", "Na2SO4"} {
		for _, chain := range []string{"long", "short"} {
			n, name := natures[chain+" "+salt], "chain="+chain+",salt="+salt
			if n.opens == 0 {
				continue
			}
			t.series(name, "windows", "opens", n.opens)
			if n.closes < 1 {
				t.series(name, "windows", "closes", n.closes)
			}
		}
	}
	t.series("temperature=25", "salt_edges", "closes", clearsAt)
	t.series("temperature=45", "salt_edges", "closes", clearsWarm)
}

// The series whose lifetime breaks, and the one in which it is flat.
const brokenSeries, flatSeries = "chain=long,salt=CaCl2", "chain=short,salt=NaCl"

// breaks lists what is true of both; the lines of the others are of no interest.
func (t *truths) breaks() {
	t.series(brokenSeries, "lifetime_break", "at", breakAt)
	t.series(brokenSeries, "lifetime_break", "level", flatLifetime-aloneLifetime)
	t.series(brokenSeries, "lifetime_break", "before", 0)
	t.series(brokenSeries, "lifetime_break", "after", -brokenFall)
	t.series(flatSeries, "lifetime_break", "intercept", flatLifetime-aloneLifetime)
	t.series(flatSeries, "lifetime_break", "slope", 0)
}

// Molar masses of a repeat unit in g/mol, as the study states them.
const violaneMass, ambrelleMass = 312.4, 268.3
