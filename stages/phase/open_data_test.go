package phase

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"
)

// Labels (0: one phase, 1: condensate) of poly-aspartate and poly-lysine with NaCl, Leurs et al., ChemRxiv 2024-frnj3, Zenodo 16949697:
// turbidity/AspLys_NaCl_start.csv. Along the salt at fixed polymers the condensate dissolves between two of the salt concentrations that
// were tried, read off the labels by eye. Labels have no noise that is known, and a label of 1 stands for a transmittance of 0.
func TestPeptideLabels(t *testing.T) {
	dir := os.Getenv("FASCICLE_OPEN_DATA")
	if dir == "" {
		t.Skip("FASCICLE_OPEN_DATA is not set")
	}
	f, err := os.Open(filepath.Join(dir, "turbidity", "AspLys_NaCl_start.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	inf := math.Inf(1)
	for _, c := range []struct {
		asp, lys string
		edges    int
		lo, hi   float64 // of the salt in mmol/L at which it clears; +Inf: beyond the last
	}{
		{"2.4", "1.6", 1, 600, 1000}, {"1.2", "0.8", 1, 600, 1000}, {"0.6", "0.4", 0, 1000, inf}, {"0.3", "0.2", 0, 1000, inf},
		{"1.0", "1.0", 1, 500, 1000}, {"0.5", "0.5", 1, 1000, 1500}, {"0.25", "0.25", 1, 1000, 1500}, {"0.125", "0.125", 1, 1000, 1500},
		{"0.0625", "0.0625", 0, math.NaN(), math.NaN()}, // never turbid at the concentrations tried
	} {
		for _, log := range []bool{false, true} {
			t.Run(c.asp+" and "+c.lys, func(t *testing.T) {
				var x, y []float64
				for _, r := range rows[1:] {
					if r[0] != c.asp || r[1] != c.lys {
						continue
					}
					salt, err1 := strconv.ParseFloat(r[2], 64)
					label, err2 := strconv.ParseFloat(r[3], 64)
					if err1 != nil || err2 != nil {
						t.Fatal(err1, err2)
					}
					x, y = append(x, salt), append(y, 1-label)
				}
				r, _, err := Analyse(x, y, nil, SeriesOptions{Log: log}, nil)
				if err != nil {
					t.Fatal(err)
				}
				if len(r.Edges) != c.edges {
					t.Fatalf("%d edges of %v over %v", len(r.Edges), y, x)
				}
				if math.IsNaN(c.lo) {
					if len(r.Windows) != 0 {
						t.Errorf("a window: %+v", r.Windows)
					}
					return
				}
				lo, hi := r.Windows[0].Closes.limits()
				if math.Abs(lo-c.lo) > 1e-9*c.lo || hi != c.hi && math.Abs(hi-c.hi) > 1e-9*c.hi {
					t.Errorf("clears from %g to %g, want %g to %g", lo, hi, c.lo, c.hi)
				}
				if want := map[bool]Bound{true: Lower, false: Interval}[math.IsInf(c.hi, 1)]; r.Windows[0].Closes.Bound != want {
					t.Errorf("bound %q, want %q", r.Windows[0].Closes.Bound, want)
				}
				if r.Windows[0].Opens.Bound != Upper {
					t.Errorf("turbid from the first, but it opens %+v", r.Windows[0].Opens)
				}
			})
		}
	}
}
