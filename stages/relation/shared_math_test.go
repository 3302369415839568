package relation

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Parts of a factor are s·x: at the model's values they are s·model. Those of an addition stay as they are.
func TestLevelled(t *testing.T) {
	measured, model := []float64{9, 10, 12, 3}, []float64{10, 10, 10, 4}
	for i, got := range levelled([]float64{0.9, 1, 1.2, 0}, measured, model) {
		close1(t, "factor", got, []float64{1, 1, 1, 0}[i], 1e-15)
	}
	for i, got := range levelled([]float64{0.5, 0.5, 0.5, 0.5}, measured, model) {
		close1(t, "addition", got, []float64{0.5, 0.5, 0.5, 0.5}[i], 0)
	}
	if got := levelled([]float64{0.5, 0.7}, []float64{0, 1}, []float64{1, 1}); got[0] != 0.5 || got[1] != 0.7 {
		t.Errorf("a factor of zero: %v", got)
	}
}

// With V = diag(u²) + shared parts at the model, χ² follows its distribution: its mean is n − 2 (a line), whether a factor of 10 % is shared by all or
// an offset by half of the points, although neither weighs in the fit.
func TestWholeChi2BySimulation(t *testing.T) {
	rnd := rand.New(rand.NewPCG(4, 7))
	const n, sets, u = 12, 1500, 0.2
	x, vyy := make([]float64, n), make([]float64, n*n)
	for i := range n {
		x[i], vyy[i*n+i] = float64(i), u*u
	}
	sum, own := 0.0, 0.0
	for range sets {
		y, factor, offset, none := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
		f, o := 1+0.1*rnd.NormFloat64(), rnd.NormFloat64()
		for i := range n {
			if i%3 == 0 {
				offset[i] = 1
			}
			y[i] = (5+2*x[i])*f + offset[i]*o + u*rnd.NormFloat64()
			factor[i] = 0.1 * y[i]
		}
		p := &Points{X: x, Y: y, Vyy: vyy, Shared: []SharedPart{{none, factor}, {none, offset}}}
		fit, err := FitStraight(p)
		if err != nil {
			t.Fatal(err)
		}
		sum += p.wholeChi2(fit, false) / sets
		own += fit.Chi2 / sets
	}
	if se := math.Sqrt(2 * (n - 2) / float64(sets)); math.Abs(sum-(n-2)) > 4*se {
		t.Errorf("mean of χ² is %.3f(%.3f), expected %d", sum, se, n-2)
	}
	if own < 2*(n-2) {
		t.Errorf("χ² by own parts is %.2f: the test shows nothing", own)
	}
}

// An offset that the points in the middle share looks like a break, or two. Draws that have it claim a break in 5 % of straight lines, as they
// should (15 at most of 150: 0.3 % by chance); draws without it claim most.
func TestNoBreakFromWhatIsShared(t *testing.T) {
	rnd := rand.New(rand.NewPCG(8, 3))
	const n, sets, u, shared = 12, 150, 0.1, 0.5
	x, vyy, offset := make([]float64, n), make([]float64, n*n), make([]float64, n)
	for i := range n {
		if x[i], vyy[i*n+i] = float64(i), u*u; i >= 4 && i < 8 {
			offset[i] = shared
		}
	}
	claimed := [2]int{}
	for range sets {
		y, o := make([]float64, n), rnd.NormFloat64()
		for i := range n {
			y[i] = 3 + 0.5*x[i] + offset[i]*o + u*rnd.NormFloat64()
		}
		for k, parts := range [][]SharedPart{{{make([]float64, n), offset}}, nil} {
			p := &Points{X: x, Y: y, Vyy: vyy, Shared: parts}
			line, err := FitStraight(p)
			if err != nil {
				t.Fatal(err)
			}
			b, err := FitBreak(p, line, 100, rnd, func() error { return nil })
			if err != nil {
				t.Fatal(err)
			}
			if b.Chance <= unsupported {
				claimed[k]++
			}
		}
	}
	if claimed[0] > 15 {
		t.Errorf("%d of %d straight lines are claimed to break", claimed[0], sets)
	}
	if claimed[1] < 30 {
		t.Errorf("%d of %d without what is shared: the test shows nothing", claimed[1], sets)
	}
}
