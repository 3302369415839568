package demo

import (
	"context"
	"math"
	"slices"
	"testing"

	"fascicle/pipeline"
	"fascicle/stages"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// seeds is how many studies of one truth the test of draws runs.
const seeds = 20

// Own parts and shared parts are both right: over 20 studies of one truth, each with noise of its own and with its own draws of all that
// the study states, z = (x − truth − Σ part·draw)/own has mean 0 and variance 1, by 99 % limits on means over the studies (values
// of one study may share noise; studies do not). Without the parts it has not, wherever parts are larger than own parts. A kind
// is held to this as soon as truth.json has a number of a stage of it.
func TestDraws(t *testing.T) {
	type key struct{ stage, name string }
	type sums struct{ z, zz, bare, ratio float64 }
	perStudy := map[key][]sums{}
	for seed := uint64(1); seed <= seeds; seed++ {
		truth, values := runSeed(t, seed)
		scores, missing := truth.Scores(values)
		if len(missing) > 0 {
			t.Fatalf("seed %d: not found: %v", seed, missing)
		}
		one, n := map[key]sums{}, map[key]float64{}
		for _, s := range scores {
			k := key{s.Stage, s.Name}
			a := one[k]
			v := valueOf(values, s.TrueValue)
			parts := 0.0
			for _, p := range v.Parts {
				parts += p * p
			}
			bare := (*v.Value - s.Value) / *v.Own
			a.z, a.zz, a.bare, a.ratio = a.z+s.Z, a.zz+s.Z*s.Z, a.bare+bare*bare, a.ratio+parts/(*v.Own**v.Own)
			one[k] = a
			n[k]++
		}
		for k, a := range one {
			perStudy[k] = append(perStudy[k], sums{a.z / n[k], a.zz / n[k], a.bare / n[k], a.ratio / n[k]})
		}
	}
	limit := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: seeds - 1}.Quantile(0.995)
	for k, all := range perStudy {
		column := func(f func(sums) float64) (mean, u float64) {
			x := make([]float64, len(all))
			for i := range all {
				x[i] = f(all[i])
			}
			m, s := stat.MeanStdDev(x, nil)
			return m, s / math.Sqrt(float64(len(x)))
		}
		z, uz := column(func(a sums) float64 { return a.z })
		zz, uzz := column(func(a sums) float64 { return a.zz })
		bare, _ := column(func(a sums) float64 { return a.bare })
		ratio, _ := column(func(a sums) float64 { return a.ratio })
		t.Logf("%s %s: mean z %.3f(%.3f), mean z² %.3f(%.3f); without parts %.1f; Σ part²/own² %.1f", k.stage, k.name, z, uz, zz, uzz, bare, ratio)
		if math.Abs(z) > limit*uz {
			t.Errorf("%s %s: z has the mean %.3f, further from 0 than %.3f", k.stage, k.name, z, limit*uz)
		}
		if math.Abs(zz-1) > limit*uzz {
			t.Errorf("%s %s: z² has the mean %.3f, further from 1 than %.3f", k.stage, k.name, zz, limit*uzz)
		}
		if ratio > 1 && math.Abs(bare-1) <= limit*uzz {
			t.Errorf("%s %s: z² has the mean %.3f without the parts, which make up %.1f times as much of u²: the test could not see them", k.stage, k.name, bare, ratio)
		}
	}
}

func valueOf(values []pipeline.Value, want TrueValue) *pipeline.Value {
	return &values[slices.IndexFunc(values, func(v pipeline.Value) bool {
		return v.Sample == want.Sample && v.Series == want.Series && v.Stage == want.Stage && v.Name == want.Name
	})]
}

// runSeed simulates and runs the study of one seed.
func runSeed(t *testing.T, seed uint64) (Truth, []pipeline.Value) {
	t.Helper()
	s, err := simulated(seed)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	if err := s.Write(context.Background(), dir); err != nil {
		t.Fatal(err)
	}
	p, faults := pipeline.Load(dir, stages.Kinds())
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	o, err := pipeline.Run(context.Background(), p, pipeline.Options{})
	if err != nil {
		t.Fatal(err)
	}
	values, err := o.ReadValues(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	return s.Truth, values
}
