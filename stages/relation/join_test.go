package relation

import (
	"math"
	"testing"
)

// What is derived from a limit is no number: which side of it is open depends on the expression.
func TestJoinDerivesNothingFromLimits(t *testing.T) {
	points := []point{{"2", number(3, 0.1) + "alone ns 1\nu_alone ns 0.1\n"}, {"2", number(3, 0.1) + "tau_bound text lower\nalone ns 1\nu_alone ns 0.1\n"}}
	stage := "  relation:\n    kind: relation.join\n    from: {sample: samples, values: points}\n    set:\n      derive: {\"twice [ns]\": 2 * points.tau, \"other [ns]\": points.alone * place / place}\n"
	it, out := related(t, points, stage, "row")
	row := out["row"] // of the last sample
	if row == nil {
		t.Fatal(it.Message)
	}
	if !math.IsNaN(at(t, row, "twice", 0)) || !says(it, "twice has no value, because points.tau is only a limit (lower)") {
		t.Errorf("twice a limit: %g, said %v", at(t, row, "twice", 0), it.Flags)
	}
	if u := row.Col("twice").Unit; u != "ns" {
		t.Errorf("twice is in %s", u)
	}
	close1(t, "what reads no limit", at(t, row, "other", 0), 1, 1e-12)
	if row.Col("points.tau_bound") == nil || at(t, row, "points.tau", 0) != 3 {
		t.Errorf("the limit itself: %v", row.Names())
	}
	it, out = related(t, points[:1], stage, "row")
	close1(t, "twice a number", at(t, out["row"], "twice", 0), 6, 1e-12)
	if len(it.Flags) > 0 {
		t.Errorf("said %v", it.Flags)
	}
}
