package spectra

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"fascicle/stages/internal/stats"
)

// openSpectrum reads a spectrum of the open data set, with a rising axis.
func openSpectrum(t *testing.T, name string) (x, y []float64) {
	t.Helper()
	dir := os.Getenv("FASCICLE_OPEN_DATA")
	if dir == "" {
		t.Skip("FASCICLE_OPEN_DATA is not set")
	}
	data, err := os.ReadFile(filepath.Join(dir, "spectra", name))
	if err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(string(data)) {
		var a, b float64
		if n, _ := fmt.Sscanf(line, "%g,%g", &a, &b); n == 2 {
			x, y = append(x, a), append(y, b)
		}
	}
	slices.Reverse(x)
	slices.Reverse(y)
	return x, y
}

// Rhodamine 6G in methanol (Edinburgh-Chemistry-Teaching, Data-driven-chemistry;
// CC BY 4.0), nine spectra of five concentrations, 1 nm apart: the maximum lies
// "near 528 nm" (the data set's note on the literature, from memory). The
// replicates of one concentration agree within their u, which is from the scatter
// alone, since the files give none.
func TestRhodamine6G(t *testing.T) {
	o := BandOptions{Degree: 4, Top: 0.8, Absorption: true}
	var w Workspace
	for sample, replicates := range map[string][]string{"A": {"A1", "A2", "A3"}, "C": {"C1"}, "D": {"D1"}, "E": {"E1"}, "F": {"F1", "F2", "F3"}} {
		var sum, weights, squares float64
		for _, name := range replicates {
			x, y := openSpectrum(t, "r6g_methanol_"+name+".csv")
			first, last := slices.Index(x, 430), slices.Index(x, 620)
			if first < 0 || last < 0 {
				t.Fatalf("%s: the scan does not hold 430 to 620 nm", name)
			}
			c := ChooseBand(x, y, nil, first, last, o, &w)
			m := MeasureBands(x, y, nil, c, nil, o, &w).N[Maximum]
			if c.State != TopFound || math.Abs(m.Value-528) > 1 {
				t.Errorf("%s: maximum %.3f(%.3f) nm (state %d), expected near 528", name, m.Value, m.U, c.State)
			}
			if !(m.U > 0 && m.U < 0.2) || math.IsInf(m.Nu, 0) {
				t.Errorf("%s: u %g nm with %g degrees of freedom", name, m.U, m.Nu)
			}
			wt := 1 / (m.U * m.U)
			sum, weights, squares = sum+wt*m.Value, weights+wt, squares+wt*m.Value*m.Value
		}
		chi2 := squares - sum*sum/weights
		if n := len(replicates); n > 1 {
			if p := stats.ChiSquareUpper(chi2, float64(n-1)); p < 0.01 {
				t.Errorf("%s: %d replicates differ by more than their u (p = %.2g)", sample, n, p)
			}
		}
	}
}
