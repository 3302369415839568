package demo

// Truth is what the simulated data were made from.
type Truth struct {
	Values []TrueValue `json:"values"`
	// Draws says for each shared source how far the value that the study states lies above the true one, in units of its
	// standard uncertainty: a number found is truth + Σ part·draw + its own noise. It is empty when
	// the study states no uncertain number.
	Draws map[string]float64 `json:"draws"`
}

// TrueValue is the number that a stage should find for a sample, in the program's units: Rg in nm, I0 in 1/cm.
type TrueValue struct {
	Sample string  `json:"sample"`
	Stage  string  `json:"stage"`
	Name   string  `json:"name"`
	Value  float64 `json:"value"`
}

// truthOf lists what the study's stages should find. The broken sample has no curve, and nothing can be found of it.
func truthOf(rows []row) Truth {
	t := Truth{Draws: map[string]float64{}}
	for _, r := range rows {
		if r.solvent() || r.sample == Broken {
			continue
		}
		p := particleOf(r)
		t.Values = append(t.Values,
			TrueValue{r.sample, "guinier", "Rg_1", p.rg},
			TrueValue{r.sample, "guinier", "I0_1", p.i0})
	}
	return t
}
