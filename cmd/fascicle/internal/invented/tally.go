package invented

import (
	"cmp"
	"maps"
	"math"
	"slices"

	"fascicle/pipeline"

	"gonum.org/v1/gonum/stat"
)

// Tally gathers the scores of several studies of one truth, each with noise of its own and with its own draws of all that the study
// states.
type Tally struct {
	studies map[Named][]sums
	all     int
	within  int
}

// Named is a number of a stage, over all samples.
type Named struct{ Stage, Name string }

// sums of one study: means over its samples.
type sums struct{ z, zz, bare, ratio float64 }

// Spread is what the scores of a number have come out as: means over the studies of each study's mean, with the standard errors of
// the studies' scatter. If own parts and parts are right, z has the mean 0 and z² the mean 1. Values of one study may share noise;
// studies do not.
type Spread struct {
	Named
	Studies    int
	Z, UZ      float64 // mean z
	ZZ, UZZ    float64 // mean z²
	Bare       float64 // mean of ((x − truth)/own)², without the parts
	PartsToOwn float64 // mean of Σ part²/own²
}

// Add takes a study's scores.
func (t *Tally) Add(truth Truth, values []pipeline.Value) (scores []Score, missing []TrueValue) {
	scores, missing = truth.Scores(values)
	found := byKey(values)
	one, n := map[Named]sums{}, map[Named]float64{}
	for _, s := range scores {
		v := found[s.key()]
		parts := 0.0
		for _, source := range slices.Sorted(maps.Keys(v.Parts)) {
			parts += v.Parts[source] * v.Parts[source]
		}
		bare := (*v.Value - s.Value) / *v.Own
		k := Named{s.Stage, s.Name}
		a := one[k]
		one[k] = sums{a.z + s.Z, a.zz + s.Z*s.Z, a.bare + bare*bare, a.ratio + parts/(*v.Own**v.Own)}
		n[k]++
		t.all++
		if math.Abs(*v.Value-s.Value) <= 2**v.U {
			t.within++
		}
	}
	if t.studies == nil {
		t.studies = map[Named][]sums{}
	}
	for k, a := range one {
		t.studies[k] = append(t.studies[k], sums{a.z / n[k], a.zz / n[k], a.bare / n[k], a.ratio / n[k]})
	}
	return scores, missing
}

// Within gives how many of all values lie within twice their whole standard uncertainty of the truth.
func (t *Tally) Within() (within, all int) { return t.within, t.all }

// Spreads gives each number's spread, sorted by stage and name.
func (t *Tally) Spreads() []Spread {
	var all []Spread
	for k, studies := range t.studies {
		column := func(f func(sums) float64) (mean, u float64) {
			x := make([]float64, len(studies))
			for i := range studies {
				x[i] = f(studies[i])
			}
			m, s := stat.MeanStdDev(x, nil)
			return m, s / math.Sqrt(float64(len(x)))
		}
		s := Spread{Named: k, Studies: len(studies)}
		s.Z, s.UZ = column(func(a sums) float64 { return a.z })
		s.ZZ, s.UZZ = column(func(a sums) float64 { return a.zz })
		s.Bare, _ = column(func(a sums) float64 { return a.bare })
		s.PartsToOwn, _ = column(func(a sums) float64 { return a.ratio })
		all = append(all, s)
	}
	slices.SortFunc(all, func(a, b Spread) int { return cmp.Or(cmp.Compare(a.Stage, b.Stage), cmp.Compare(a.Name, b.Name)) })
	return all
}
