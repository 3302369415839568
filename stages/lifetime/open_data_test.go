package lifetime

import (
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// transients reads the time-resolved luminescence of a III–V sample at five powers: counts in channels of 0.25605 ns, without a response.
func transients(t *testing.T) (times []float64, counts [5][]float64) {
	t.Helper()
	dir := os.Getenv("FASCICLE_OPEN_DATA")
	if dir == "" {
		t.Skip("FASCICLE_OPEN_DATA is not set")
	}
	text, err := os.ReadFile(filepath.Join(dir, "decay", "trpl_sample1.csv"))
	if err != nil {
		t.Fatal(err)
	}
	row := 0
	for line := range strings.Lines(string(text)) {
		if row++; row <= 4 { // a head and three rows of parameters
			continue
		}
		for i, cell := range strings.Split(strings.TrimSpace(line), ",") {
			v, err := strconv.ParseFloat(cell, 64)
			if err != nil {
				t.Fatal(err)
			}
			if i == 0 {
				times = append(times, v)
			} else {
				counts[i-1] = append(counts[i-1], v)
			}
		}
	}
	return times, counts
}

// The weakest excitation. Published with the data: 6.06 ± 0.0265 ns, a single exponential (estimator and range are not told). The whole tail,
// from the highest channel on, gives the same u, and a lifetime that differs by no more than twice the uncertainty of a difference.
func TestTransient(t *testing.T) {
	times, counts := transients(t)
	axis, err := EvenAxis(times)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "channel", axis.Width, 0.25605, 1e-5)
	c := counts[0]
	if err := CheckCounts(c); err != nil {
		t.Fatal(err)
	}
	first, last := Recorded(c)
	rise := RiseOf(c, first, last)
	p := &Problem{Counts: c, First: rise.From, Last: last, Origin: rise.Half, Terms: 1, Background: Fixable{Hi: math.Inf(1)}, Scatter: Fixable{Fixed: true}}
	var w Workspace
	var s Solution
	if err := w.Fit(&s, p, nil); err != nil || s.Status != Converged {
		t.Fatal(err, s.Status)
	}
	tau := s.Numbers(p, axis.Width)[0]
	t.Logf("tau = %.4f ± %.4f ns", tau.Value, tau.U)
	if d := math.Abs(tau.Value - 6.06); d > 2*math.Hypot(tau.U, 0.0265) {
		t.Errorf("tau = %.4f ± %.4f ns, published 6.06 ± 0.0265 ns", tau.Value, tau.U)
	}
	near(t, "u", tau.U, 0.0265, 0.05)
}
