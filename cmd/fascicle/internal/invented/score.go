package invented

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
		found[TrueValue{Sample: v.Sample, Series: v.Series, Stage: v.Stage, Name: v.Name}] = v
	}
	draws := t.draws(found)
	for _, want := range t.Values {
		v, ok := found[want.key()]
		if !ok || v.Value == nil || v.Own == nil || !(*v.Own > 0) || v.U == nil {
			missing = append(missing, want)
			continue
		}
		x := *v.Value - want.Value
		lost := false
		for _, source := range slices.Sorted(maps.Keys(v.Parts)) { // in order: the sum must not depend on the map's
			draw, known := draws[source]
			lost = lost || !known
			x -= v.Parts[source] * draw
		}
		if lost {
			missing = append(missing, want)
			continue
		}
		scores = append(scores, Score{TrueValue: want, Found: *v.Value, Z: x / *v.Own})
	}
	return scores, missing
}

func (v TrueValue) key() TrueValue {
	v.Value = 0
	return v
}

// draws adds to the stated sources those that are single numbers found by a stage: how far each was found from its truth, in units
// of its own part, once what it inherits is taken off.
func (t Truth) draws(found map[TrueValue]pipeline.Value) map[string]float64 {
	draws := maps.Clone(t.Draws)
	if draws == nil {
		draws = map[string]float64{}
	}
	for _, want := range t.Values {
		v, ok := found[want.key()]
		if want.Sample != "" || !ok || v.Value == nil || v.Own == nil || !(*v.Own > 0) {
			continue
		}
		x := *v.Value - want.Value
		for _, source := range slices.Sorted(maps.Keys(v.Parts)) {
			x -= v.Parts[source] * t.Draws[source]
		}
		draws[want.Stage+"["+v.Item+"]"] = x / *v.Own
	}
	return draws
}

// Largest gives the score that lies farthest from its truth.
func Largest(scores []Score) Score {
	return slices.MaxFunc(scores, func(a, b Score) int { return cmp.Compare(math.Abs(a.Z), math.Abs(b.Z)) })
}
