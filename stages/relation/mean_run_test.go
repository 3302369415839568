package relation

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"fascicle/pipeline"
	"fascicle/pipeline/table"
	"fascicle/stages/internal/stats"
)

// readings are n points about 10 with u as given ("" as number writes nothing of it).
func readings(seed uint64, n int, noise float64, u string) (points []point, x []float64) {
	rnd := rand.New(rand.NewPCG(seed, 1))
	for range n {
		x = append(x, 10+noise*rnd.NormFloat64())
		text := fmt.Sprintf("tau ns %.17g\n", x[len(x)-1])
		if u != "" {
			text += "u_tau ns " + u + "\n"
		}
		points = append(points, point{"0", text})
	}
	return points, x
}

func plainMean(x []float64) (mean, sd float64) {
	mean, sd = centre(x)
	n := float64(len(x))
	return mean, sd * math.Sqrt(n/(n-1))
}

// wholeU is √(own² + Σ part²) of a column.
func wholeU(t testing.TB, tab *table.Table, column string) float64 {
	t.Helper()
	uu := math.Pow(at(t, tab, "u_"+column, 0), 2)
	for _, c := range tab.Columns {
		if strings.HasPrefix(c.Name, column+"@") {
			uu += c.Floats[0] * c.Floats[0]
		}
	}
	return math.Sqrt(uu)
}

// A factor of 1.00(4) that all share leaves the mean where it is, and is in u: u² = own²/n + (0.04·mean)² (JCGM 100:2008, 5.2.2). Weights by the
// covariance pull the mean down, to mean·(Σ1/σ²…) as D'Agostini, Nucl. Instrum. Methods A 346 (1994) 306 (from memory), gives it:
// Σx/σ² / (Σ1/σ² + s²[Σx²/σ²·Σ1/σ² − (Σx/σ²)²]), and that is said.
func TestMeanOfASharedFactor(t *testing.T) {
	points, x := readings(5, 30, 0.5, "0.5")
	plain, _ := plainMean(x)
	it, mean := averaged(t, points, "column: tau * scale")
	if mean == nil {
		t.Fatal(it.Message)
	}
	close1(t, "mean", at(t, mean, "mean", 0), plain, 1e-12)
	close1(t, "own u", at(t, mean, "u_mean", 0), 0.5/math.Sqrt(30), 1e-12)
	close1(t, "part", at(t, mean, "mean@constants.scale", 0), 0.04*plain, 1e-9)
	// what all share moves no number against another, so that χ² is that of the own parts about the plain mean; V has the
	// part at the mean, and there it is the same for all
	chi2 := 0.0
	for _, v := range x {
		chi2 += (v - plain) * (v - plain) / 0.25
	}
	close1(t, "χ²", at(t, mean, "chi2", 0), chi2, 1e-6)
	close1(t, "p", at(t, mean, "chi2_p", 0), stats.ChiSquareUpper(chi2, 29), 1e-6)
	if len(it.Flags) > 0 {
		t.Errorf("said: %v", it.Flags)
	}

	it, mean = averaged(t, points, "column: tau * scale, weights: covariance")
	sx, sxx, s1, f := 0.0, 0.0, 0.0, 0.04*0.04
	for _, v := range x {
		sx, sxx, s1 = sx+v/0.25, sxx+v*v/0.25, s1+1/0.25
	}
	close1(t, "mean by the covariance", at(t, mean, "mean", 0), sx/(s1+f*(sxx*s1-sx*sx)), 1e-9)
	if got := at(t, mean, "mean", 0); got > plain-0.4 || !says(it, "a factor that points share pulls such a mean too low") {
		t.Errorf("mean %g, said: %v", got, it.Flags)
	}
	// an offset pulls nothing
	it, mean = averaged(t, points, "column: tau + offset, weights: covariance")
	if close1(t, "mean of an offset", at(t, mean, "mean", 0), plain+1, 1e-12); len(it.Flags) > 0 {
		t.Errorf("said: %v", it.Flags)
	}
}

// χ² is taken about the mean at which it is least, whatever the weights are: with equal ones, of numbers with u 0.1 and 2, it is that of
// the weighted mean.
func TestMeanAgreement(t *testing.T) {
	points := []point{{"0", number(10, 0.1)}, {"0", number(10.1, 0.1)}, {"0", number(14, 2)}}
	w := []float64{100, 100, 0.25}
	best := (1000 + 1010 + 3.5) / 200.25
	chi2 := 0.0
	for i, x := range []float64{10, 10.1, 14} {
		chi2 += w[i] * (x - best) * (x - best)
	}
	for weights, want := range map[string]float64{"own": best, "equal": 34.1 / 3, "covariance": best} {
		it, mean := averaged(t, points, "column: tau, weights: "+weights)
		close1(t, "mean, "+weights, at(t, mean, "mean", 0), want, 1e-12)
		close1(t, "χ², "+weights, at(t, mean, "chi2", 0), chi2, 1e-12)
		if len(it.Flags) > 0 {
			t.Errorf("%s: said %v", weights, it.Flags)
		}
	}
	same, _ := readings(5, 30, 0.05, "0.5")
	if it, _ := averaged(t, same, "column: tau"); !says(it, "the points scatter less") || it.Flags[0].Level != string(pipeline.Note) {
		t.Errorf("said: %v", it.Flags)
	}
	wide, _ := readings(5, 30, 5, "0.5")
	if it, _ := averaged(t, wide, "column: tau"); !says(it, "the points scatter 9") && !says(it, "the points scatter 1") {
		t.Errorf("said: %v", it.Flags)
	}
}

// Repeats of which no u is known give s/√n with n − 1 degrees of freedom (JCGM 100:2008, 4.2.3); so do exact numbers.
func TestMeanFromScatter(t *testing.T) {
	for _, u := range []string{"", "0"} {
		points, x := readings(7, 5, 0.5, u)
		plain, s := plainMean(x)
		it, mean := averaged(t, points, "column: tau")
		close1(t, "mean", at(t, mean, "mean", 0), plain, 1e-14)
		close1(t, "u", at(t, mean, "u_mean", 0), s/math.Sqrt(5), 1e-12)
		close1(t, "ν", at(t, mean, "nu_mean", 0), 4, 0)
		if !says(it, "that of their scatter") || says(it, "is not known, because") {
			t.Errorf("said: %v", it.Flags)
		}
	}
	points, _ := readings(7, 1, 0.5, "")
	if it, mean := averaged(t, points, "column: tau"); !mean.Col("u_mean").IsNull(0) || !says(it, "is not known") {
		t.Errorf("u of one reading: said %v", it.Flags)
	}
}

// Limits and intervals are no numbers to average.
func TestMeanLeavesLimitsOut(t *testing.T) {
	points, _ := readings(9, 4, 0.1, "0.1")
	_, without := averaged(t, points, "column: tau")
	limits := append(points, point{"0", number(100, 0.1) + "tau_bound text lower\n"}, point{"0", number(50, 0.1) + "tau_bound text interval\ntau_lo ns 40\ntau_hi ns 60\n"}, point{"0", "tau ns null\nu_tau ns null\n"})
	it, with := averaged(t, limits, "column: tau")
	for _, c := range []string{"mean", "u_mean", "samples"} {
		close1(t, c, at(t, with, c, 0), at(t, without, c, 0), 1e-14)
	}
	if !says(it, "2 of 7 points are only limits or intervals") || !says(it, "1 of 7 points have no number") {
		t.Errorf("said: %v", it.Flags)
	}
	if it, _ = averaged(t, limits[4:], "column: 2 * tau"); it.State != pipeline.Failed || !strings.Contains(it.Message, "none of the 3 points has a plain number") {
		t.Errorf("limits alone: %s %s", it.State, it.Message)
	}
}

// Cells of the sheet are sources that each move one point: they weigh as own parts do. Where none has any, u is that of the scatter, and of
// what they share.
func TestMeanOfSources(t *testing.T) {
	points := []point{{"1.0 ± 0.1", "tau ns 1\nu_tau ns 0\n"}, {"1.4 ± 0.2", "tau ns 1\nu_tau ns 0\n"}}
	it, mean := averaged(t, points, "column: place")
	close1(t, "mean", at(t, mean, "mean", 0), (1.0/0.01+1.4/0.04)/(1/0.01+1/0.04), 1e-9)
	close1(t, "u", wholeU(t, mean, "mean"), 1/math.Sqrt(1/0.01+1/0.04), 1e-9)
	if !says(it, "they weigh by those") {
		t.Errorf("said: %v", it.Flags)
	}
	exact, x := readings(9, 4, 0.1, "0")
	plain, s := plainMean(x)
	it, mean = averaged(t, exact, "column: tau * scale")
	close1(t, "mean", at(t, mean, "mean", 0), plain, 1e-12)
	if close1(t, "u", wholeU(t, mean, "mean"), math.Hypot(s/2, 0.04*plain), 1e-9); !says(it, "no point has an uncertainty of its own") {
		t.Errorf("said: %v", it.Flags)
	}
}
