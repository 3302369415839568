package firstlook

import (
	"maps"
	"slices"

	"fascicle/cmd/fascicle/internal/invented"
)

// What invented studies share.
type (
	Truth     = invented.Truth
	TrueValue = invented.TrueValue
	Score     = invented.Score
	File      = invented.File
)

// ErrNotEmpty is returned when there is already something in the folder that a study is to be written to.
var ErrNotEmpty = invented.ErrNotEmpty

// Largest gives the score that lies farthest from its truth.
func Largest(scores []Score) Score { return invented.Largest(scores) }

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
