package demo

import (
	"maps"
	"slices"
)

// Truth is what the simulated data were made from.
type Truth struct {
	Values []TrueValue `json:"values"`
	// Draws says for each shared source how far the value that the study states lies above the true one, in units of its
	// standard uncertainty: a number found is truth + Σ part·draw + its own noise. Sources
	// that are numbers found by another stage (STAGE[ITEM]) have their truth among the values.
	Draws map[string]float64 `json:"draws"`
}

// TrueValue is the number that a stage should find for a sample or a series, in the program's units: Rg in nm, I0 in 1/cm.
type TrueValue struct {
	Sample string  `json:"sample,omitempty"`
	Series string  `json:"series,omitempty"`
	Stage  string  `json:"stage"`
	Name   string  `json:"name"`
	Value  float64 `json:"value"`
}

// truthOf lists what the study's stages should find. The broken sample has no curve, and nothing can be found of it.
func truthOf(rows []row, w *world) Truth {
	t := Truth{Draws: w.draws}
	for _, r := range rows {
		if !r.mixture() || r.sample == Broken {
			continue
		}
		p := particleOf(r)
		t.Values = append(t.Values,
			TrueValue{Sample: r.sample, Stage: "guinier", Name: "Rg_1", Value: p.rg},
			TrueValue{Sample: r.sample, Stage: "guinier", Name: "I0_1", Value: p.i0})
	}
	for _, day := range slices.Sorted(maps.Keys(gain)) {
		t.Values = append(t.Values, TrueValue{Series: "day=" + day, Stage: "day_scale", Name: "factor", Value: 1 / gain[day]})
	}
	return t
}
