//go:build slow

package mixing

import "testing"

// Twenty studies: own parts and shared parts of every stage are right, and 93 to 97 % of all values lie within twice their standard
// uncertainty of the truth.
func TestManyDraws(t *testing.T) {
	const seeds = 20
	tally := tallied(t, seeds)
	hold(t, &tally, seeds)
	if within, all := tally.Within(); float64(within) < 0.93*float64(all) || float64(within) > 0.97*float64(all) {
		t.Errorf("%d of %d values lie within 2u of the truth", within, all)
	}
}
