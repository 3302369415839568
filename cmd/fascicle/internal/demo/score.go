package demo

import (
	"cmp"
	"maps"
	"math"
	"slices"

	"fascicle/pipeline"
)

// Score is how far a number found lies from its truth, Z = (x − truth − Σ part·draw)/own: standard normal if own and parts
// are right.
type Score struct {
	TrueValue
	Found, Z float64
}

// Scores holds what a run found against the truth, in the order of the truth. Missing lists what was not found, or was found
// without a usable own uncertainty or part.
func (t Truth) Scores(values []pipeline.Value) (scores []Score, missing []TrueValue) {
	found := make(map[TrueValue]pipeline.Value, len(values))
	for _, v := range values {
		found[TrueValue{Sample: v.Sample, Stage: v.Stage, Name: v.Name}] = v
	}
	for _, want := range t.Values {
		v, ok := found[TrueValue{Sample: want.Sample, Stage: want.Stage, Name: want.Name}]
		if !ok || v.Value == nil || v.Own == nil || !(*v.Own > 0) {
			missing = append(missing, want)
			continue
		}
		x := *v.Value - want.Value
		for _, source := range slices.Sorted(maps.Keys(v.Parts)) { // in order: the sum must not depend on the map's
			x -= v.Parts[source] * t.Draws[source]
		}
		scores = append(scores, Score{TrueValue: want, Found: *v.Value, Z: x / *v.Own})
	}
	return scores, missing
}

// Largest gives the score that lies farthest from its truth.
func Largest(scores []Score) Score {
	return slices.MaxFunc(scores, func(a, b Score) int { return cmp.Compare(math.Abs(a.Z), math.Abs(b.Z)) })
}
