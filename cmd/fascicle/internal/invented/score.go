package invented

import (
	"cmp"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"fascicle/pipeline"
)

// Score is how far a number found lies from its truth, Z = (x − truth − Σ part·draw)/own: standard normal if own and parts
// are right.
type Score struct {
	TrueValue
	Found, Z float64
}

// Scores holds what a run found against the truth, in the order of the truth. Missing lists what was not found, or was found
// without a usable own uncertainty or part, or between bounds that do not hold the truth. A number found to lie between bounds
// that do hold it has no score, and is not missing.
func (t Truth) Scores(values []pipeline.Value) (scores []Score, missing []TrueValue) {
	found := byKey(values)
	draws := t.draws(found)
	for _, want := range t.Values {
		v, ok := found[want.key()]
		switch {
		case ok && v.Bound != "":
			if !holds(v, want.Value) {
				missing = append(missing, want)
			}
			continue
		case !ok || v.Value == nil || v.Own == nil || !(*v.Own > 0) || v.U == nil:
			missing = append(missing, want)
			continue
		}
		shift, known := moved(v.Parts, draws)
		if !known {
			missing = append(missing, want)
			continue
		}
		scores = append(scores, Score{TrueValue: want, Found: *v.Value, Z: (*v.Value - want.Value - shift) / *v.Own})
	}
	return scores, missing
}

func byKey(values []pipeline.Value) map[TrueValue]pipeline.Value {
	found := make(map[TrueValue]pipeline.Value, len(values))
	for _, v := range values {
		found[TrueValue{Sample: v.Sample, Series: v.Series, Stage: v.Stage, Name: v.Name}] = v
	}
	return found
}

func (v TrueValue) key() TrueValue {
	v.Value = 0
	return v
}

// holds tells whether bounds that were found agree with the truth. A bound with an uncertainty may be off by three of it.
func holds(v pipeline.Value, truth float64) bool {
	slack := 0.0
	if v.U != nil {
		slack = 3 * *v.U
	}
	switch v.Bound {
	case "lower":
		return v.Value != nil && *v.Value-slack <= truth
	case "upper":
		return v.Value != nil && *v.Value+slack >= truth
	}
	return v.Lo != nil && v.Hi != nil && *v.Lo-slack <= truth && truth <= *v.Hi+slack
}

// moved is Σ part·draw; known is false where the draw of a source is not known. The parts of the several sources of one item, which
// serves others with one number, lie along the row of that number in the Cholesky factor of its item (design of sources: column
// order), whose last element is positive: their sum along the draws is √Σ part² times the draw of that number, with the sign of the last.
func moved(parts, draws map[string]float64) (sum float64, known bool) {
	type several struct {
		squares, last float64
		order         int
	}
	items := map[string]several{}
	for _, source := range slices.Sorted(maps.Keys(parts)) { // in order: the sum must not depend on the map's
		part := parts[source]
		if draw, ok := draws[source]; ok {
			sum += part * draw
			continue
		}
		item, order := numbered(source)
		if _, ok := draws[item]; !ok || order == 0 {
			return 0, false
		}
		s := items[item]
		s.squares += part * part
		if order > s.order && math.Abs(part) > 1e-6*math.Sqrt(s.squares) {
			s.order, s.last = order, part
		}
		items[item] = s
	}
	for _, item := range slices.Sorted(maps.Keys(items)) {
		sum += math.Copysign(math.Sqrt(items[item].squares), items[item].last) * draws[item]
	}
	return sum, true
}

// numbered parts STAGE[ITEM].2 into STAGE[ITEM] and 2; 0: the source has no number.
func numbered(source string) (item string, order int) {
	i := strings.LastIndex(source, "].")
	if i < 0 {
		return source, 0
	}
	order, err := strconv.Atoi(source[i+2:])
	if err != nil {
		return source, 0
	}
	return source[:i+1], order
}

// draws adds to the stated sources those that are numbers found by a stage: how far each was found from its truth, in units
// of its own part, once what it inherits is taken off.
func (t Truth) draws(found map[TrueValue]pipeline.Value) map[string]float64 {
	draws := maps.Clone(t.Draws)
	if draws == nil {
		draws = map[string]float64{}
	}
	for _, want := range t.Values {
		v, ok := found[want.key()]
		name, several := t.Reads[want.Stage]
		if !ok || v.Value == nil || v.Own == nil || !(*v.Own > 0) || several && name != want.Name || !several && want.Sample != "" {
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
