//go:build slow

package mixing

import "testing"

// Twenty studies: own parts and shared parts of every stage are right, and 93 to 97 % of all values lie within twice their standard
// uncertainty of the truth. A break is claimed where there is none in at most 4 of 20 studies: with 1 in 20 by chance, 5 or more come
// with a probability of 0.3 %.
func TestManyDraws(t *testing.T) {
	const seeds = 20
	tally, claimed := tallied(t, seeds)
	if claimed > 4 {
		t.Errorf("a break is claimed in the flat series in %d of %d studies", claimed, seeds)
	}
	hold(t, &tally, seeds)
	if within, all := tally.Within(); float64(within) < 0.93*float64(all) || float64(within) > 0.97*float64(all) {
		t.Errorf("%d of %d values lie within 2u of the truth", within, all)
	}
}
