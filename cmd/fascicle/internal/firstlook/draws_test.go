package firstlook

import (
	"context"
	"math"
	"testing"

	"fascicle/cmd/fascicle/internal/invented"
	"fascicle/pipeline"
	"fascicle/stages"

	"gonum.org/v1/gonum/stat/distuv"
)

// seeds is how many studies of one truth the test of draws runs.
const seeds = 20

// Own parts and shared parts are both right: over 20 studies of one truth, each with noise of its own and with its own draws of all that
// the study states, z = (x − truth − Σ part·draw)/own has mean 0 and variance 1, by 99 % limits on means over the studies (values
// of one study may share noise; studies do not). Without the parts it has not, wherever parts are larger than own parts. A kind
// is held to this as soon as truth.json has a number of a stage of it.
func TestDraws(t *testing.T) {
	var tally invented.Tally
	for seed := uint64(1); seed <= seeds; seed++ {
		truth, values := runSeed(t, seed)
		if _, missing := tally.Add(truth, values); len(missing) > 0 {
			t.Fatalf("seed %d: not found: %v", seed, missing)
		}
	}
	limit := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: seeds - 1}.Quantile(0.995)
	for _, s := range tally.Spreads() {
		t.Logf("%s %s: mean z %.3f(%.3f), mean z² %.3f(%.3f); without parts %.1f; Σ part²/own² %.1f", s.Stage, s.Name, s.Z, s.UZ, s.ZZ, s.UZZ, s.Bare, s.PartsToOwn)
		if math.Abs(s.Z) > limit*s.UZ {
			t.Errorf("%s %s: z has the mean %.3f, further from 0 than %.3f", s.Stage, s.Name, s.Z, limit*s.UZ)
		}
		if math.Abs(s.ZZ-1) > limit*s.UZZ {
			t.Errorf("%s %s: z² has the mean %.3f, further from 1 than %.3f", s.Stage, s.Name, s.ZZ, limit*s.UZZ)
		}
		if s.PartsToOwn > 1 && math.Abs(s.Bare-1) <= limit*s.UZZ {
			t.Errorf("%s %s: z² has the mean %.3f without the parts, which make up %.1f times as much of u²: the test could not see them", s.Stage, s.Name, s.Bare, s.PartsToOwn)
		}
	}
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
