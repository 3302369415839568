package mixing

import (
	"context"
	"math"
	"testing"

	"fascicle/cmd/fascicle/internal/invented"
	"fascicle/pipeline"
	"fascicle/stages"

	"gonum.org/v1/gonum/stat/distuv"
)

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
	for _, s := range Surprises(o) {
		t.Errorf("seed %d: not as planned: %s", seed, s)
	}
	values, err := o.ReadValues(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	return s.Truth, values
}

// tallied runs so many studies of one truth. Numbers of two sorts may be missing by chance, and are counted: those of the flat series
// in studies in which a break is claimed there, with 1 in 20 (p < 5 %), and edges of windows that are known to lie between limits, which
// hold at 95 %.
func tallied(t *testing.T, seeds int) (tally invented.Tally) {
	t.Helper()
	var claimed, limits, outside int
	for seed := range uint64(seeds) {
		truth, values := runSeed(t, seed+1)
		scores, missing := tally.Add(truth, values)
		limits += len(truth.Values) - len(scores) - len(missing)
		lost := false
		for _, m := range missing {
			switch {
			case m.Stage == "lifetime_break" && m.Series == flatSeries:
				lost = true
			case m.Stage == "windows":
				outside++
				limits++
			default:
				t.Errorf("seed %d: not found: %+v", seed+1, m)
			}
		}
		if lost {
			claimed++
		}
		for _, v := range values {
			if v.Stage == "lifetime_break" && v.Series == brokenSeries && v.Name == "at" && v.U != nil {
				t.Logf("seed %d: break at %.4f(%.4f)", seed+1, *v.Value, *v.U)
			}
		}
	}
	if most := mostByChance(seeds, 0.05); claimed > most {
		t.Errorf("a break is claimed in the flat series in %d of %d studies, more than the %d that may come by chance", claimed, seeds, most)
	}
	if most := mostByChance(limits, 0.05); outside > most {
		t.Errorf("%d of %d edges lie outside their limits, more than the %d that may by chance", outside, limits, most)
	}
	t.Logf("a break is claimed in the flat series in %d of %d studies; %d of %d edges lie outside their limits", claimed, seeds, outside, limits)
	return tally
}

// mostByChance is the number of events of probability p that n trials exceed in less than one of 200 cases.
func mostByChance(n int, p float64) int {
	most := 0
	for trials := (distuv.Binomial{N: float64(n), P: p}); trials.CDF(float64(most)) < 0.995; {
		most++
	}
	return most
}

// hold checks that means over the studies are what they are if own parts and shared parts are right: z = (x − truth − Σ part·draw)/own
// has the mean 0 and z² the mean 1. The limits are those that one of all numbers' means exceeds in one of a hundred tests (Bonferroni),
// by Student's t of the scatter between studies: values of one study may share noise, studies do not.
func hold(t *testing.T, tally *invented.Tally, seeds int) {
	t.Helper()
	spreads := tally.Spreads()
	limit := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(seeds - 1)}.Quantile(1 - 0.005/float64(2*len(spreads)))
	for _, s := range spreads {
		t.Logf("%-26s %-14s mean z %6.3f(%.3f), mean z² %6.3f(%.3f); without parts %.1f; Σ part²/own² %.1f", s.Stage, s.Name, s.Z, s.UZ, s.ZZ, s.UZZ, s.Bare, s.PartsToOwn)
		if s.Studies < seeds {
			continue // found in some of the studies alone: too few to judge
		}
		if math.Abs(s.Z) > limit*s.UZ {
			t.Errorf("%s %s: z has the mean %.3f, further from 0 than %.3f", s.Stage, s.Name, s.Z, limit*s.UZ)
		}
		if math.Abs(s.ZZ-1) > limit*s.UZZ {
			t.Errorf("%s %s: z² has the mean %.3f, further from 1 than %.3f", s.Stage, s.Name, s.ZZ, limit*s.UZZ)
		}
	}
	within, all := tally.Within()
	t.Logf("%d of %d values, %.2f %%, lie within 2u of the truth", within, all, 100*float64(within)/float64(all))
}

// Three studies: everything is found, but for what is broken on purpose, and nothing lies grossly off.
func TestDraws(t *testing.T) {
	const seeds = 3
	tally := tallied(t, seeds)
	hold(t, &tally, seeds)
	if within, all := tally.Within(); float64(within) < 0.93*float64(all) {
		t.Errorf("only %d of %d values lie within 2u of the truth", within, all)
	}
}
