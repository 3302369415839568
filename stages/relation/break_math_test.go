package relation

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func onward() error { return nil }

// broken gives y of two lines that meet.
func broken(x, at, level, before, after float64) float64 {
	if x > at {
		return level + after*(x-at)
	}
	return level + before*(x-at)
}

func fitBroken(t testing.TB, p *Points, draws int, seed uint64) *Break {
	t.Helper()
	line, err := FitStraight(p)
	if err != nil {
		t.Fatal(err)
	}
	b, err := FitBreak(p, line, draws, rand.New(rand.NewPCG(seed, 2)), onward)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// Points on two lines give them back, with exact and with uncertain x.
func TestBreakGivesLinesBack(t *testing.T) {
	for _, exact := range []bool{true, false} {
		var x, y, ux, uy []float64
		for i := range 9 {
			x = append(x, float64(i))
			y = append(y, broken(float64(i), 3.7, 2, -0.1, 1.5))
			ux, uy = append(ux, 0.02), append(uy, 0.05)
		}
		if exact {
			ux = nil
		}
		b := fitBroken(t, uncorrelated(x, y, ux, uy), 200, 1)
		for k, want := range []float64{3.7, -0.1, 1.5, 2} {
			close1(t, "parameter", b.P[k], want, 1e-9)
		}
		close1(t, "χ²", b.Chi2, 0, 1e-12)
		if b.Chance > 1./201+1e-12 || b.Relative || !b.Settled || !(b.Lo < 3.7 && b.Hi > 3.7) || b.Bend {
			t.Errorf("exact x %v: chance %g, relative %v, settled %v, interval %g to %g, bend %v", exact, b.Chance, b.Relative, b.Settled, b.Lo, b.Hi, b.Bend)
		}
	}
}

// The closed form against a fit at every place: χ² at t by ordinary weighted least squares with three columns.
func TestBreakAgainstProfile(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(5, 12).Draw(t, "n")
		rnd := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 3))
		x, y, uy := make([]float64, n), make([]float64, n), make([]float64, n)
		for i := range n {
			x[i] = float64(i) + 0.3*rnd.Float64()
			uy[i] = 0.1 + 0.2*rnd.Float64()
			y[i] = broken(x[i], 0.45*float64(n), 1, 0, 0.5*rnd.NormFloat64()) + uy[i]*rnd.NormFloat64()
		}
		p := uncorrelated(x, y, nil, uy)
		for i := range n {
			for k := range n {
				p.Vyy[i*n+k] += 0.05 * 0.05 * x[i] * x[k] // what they share
			}
		}
		line, err := FitStraight(p)
		if err != nil {
			t.Fatal(err)
		}
		b, err := FitBreak(p, line, 100, rand.New(rand.NewPCG(1, 2)), onward)
		if err != nil {
			t.Fatal(err)
		}
		h, _ := newHinges(line.X, line.s)
		const enough = 3.0
		lo, hi := h.within(line.e, b.Evidence-enough)
		first, last := math.Inf(1), math.Inf(-1)
		from, to := x[1], x[n-2]
		const steps = 300
		for k := range steps + 1 {
			at := from + (to-from)*float64(k)/steps
			r, ok := columnsAt(at, x, line.s, y)
			if !ok {
				t.Fatal("columns depend on each other")
			}
			if r.chi2 < b.Chi2-1e-9 {
				t.Fatalf("χ² = %.12g at %g, less than %.12g at %g", r.chi2, at, b.Chi2, b.P[0])
			}
			if r.chi2 <= b.Chi2+enough {
				first, last = min(first, at), max(last, at)
			}
		}
		if math.Abs(line.Chi2-b.Chi2-b.Evidence) > 1e-8*(1+line.Chi2) {
			t.Fatalf("evidence %g, but χ² %g and %g", b.Evidence, line.Chi2, b.Chi2)
		}
		step := (to - from) / steps * (1 + 1e-6)
		// further out than the grid's own end is right where χ² is at the limit: what lies below it there is narrower than a step
		sliver := func(at float64) bool {
			r, ok := columnsAt(at, x, line.s, y)
			return ok && math.Abs(r.chi2-b.Chi2-enough) < 1e-8
		}
		if math.IsNaN(lo) != (first == from) || !math.IsNaN(lo) && math.Abs(lo-first) > step && !(lo < first && sliver(lo)) {
			t.Fatalf("lower end %g, expected %g", lo, first)
		}
		if math.IsNaN(hi) != (last >= to-1e-9) || !math.IsNaN(hi) && math.Abs(hi-last) > step && !(hi > last && sliver(hi)) {
			t.Fatalf("upper end %g, expected %g", hi, last)
		}
	})
}

// With uncertain x the fit is at rest: any small change of a parameter gives a greater χ² = rᵀS⁻¹r, sides kept.
func TestBreakWithUncertainXIsLeast(t *testing.T) {
	rnd := rand.New(rand.NewPCG(11, 4))
	for range 20 {
		n := 12
		x, y, ux, uy := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
		for i := range n {
			ux[i], uy[i] = 0.1, 0.2
			x[i] = float64(i) + ux[i]*rnd.NormFloat64()
			y[i] = broken(float64(i), 5.5, 1, 0.2, 2) + uy[i]*rnd.NormFloat64()
		}
		p := uncorrelated(x, y, ux, uy)
		b := fitBroken(t, p, 100, 1)
		if !b.Settled {
			t.Errorf("not settled")
			continue
		}
		sides := slices.Clone(b.B)
		chi2 := func(q []float64) float64 {
			sum := 0.0
			for i := range n {
				s := q[1]
				if sides[i] == b.P[2] {
					s = q[2]
				}
				r := y[i] - q[3] - s*(x[i]-q[0])
				sum += r * r / (uy[i]*uy[i] + s*s*ux[i]*ux[i])
			}
			return sum
		}
		close1(t, "χ²", chi2(b.P), b.Chi2, 1e-10)
		corner := slices.ContainsFunc(b.X, func(v float64) bool { return math.Abs(v-b.P[0]) < 1e-6 })
		for k := range b.P {
			for _, sign := range []float64{-1, 1} {
				q := slices.Clone(b.P)
				q[k] += sign * 1e-3 * math.Sqrt(b.Cov[k*4+k])
				if chi2(q) < b.Chi2-1e-9 && !corner {
					t.Errorf("parameter %d moved by %g gives χ² = %.12g, less than %.12g", k, sign, chi2(q), b.Chi2)
				}
			}
		}
	}
}

// simulateBreaks holds the test for a break to its level on straight lines, and its interval and standard uncertainties to their coverage where
// there is a break. What is expected follows from what 5 % and 95 % mean; tolerances are three standard deviations of the count. Intervals may
// hold more than they say, but not always.
func simulateBreaks(t *testing.T, sets, draws int, known bool, ux float64) {
	rnd := rand.New(rand.NewPCG(21, uint64(sets)))
	const n, uy = 11, 0.15
	truth := []float64{2.3, 0.4, -0.8, 4}
	x, y, uxs, uys := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range n {
		uxs[i], uys[i] = ux, uy
	}
	series := func(after float64) *Points {
		for i := range n {
			x[i] = 0.5*float64(i) + ux*rnd.NormFloat64()
			y[i] = broken(0.5*float64(i), truth[0], truth[3], truth[1], after) + uy*rnd.NormFloat64()
		}
		switch {
		case !known:
			return &Points{X: x, Y: y}
		case ux == 0:
			return uncorrelated(x, y, nil, uys)
		}
		return uncorrelated(x, y, uxs, uys)
	}
	reach := math.Sqrt(chi95)
	if !known {
		reach = 2.364624 // Student's t, 7 degrees of freedom, 97.5 % (Abramowitz and Stegun, table 26.10, from memory)
	}
	alarms, found, covers, settled := 0, 0, 0, 0
	var covered, banded [4]int
	sum, sum2 := 0.0, 0.0
	for k := range sets {
		seed := uint64(k)
		if fitBroken(t, series(truth[1]), draws, seed).Chance <= 0.05 {
			alarms++
		}
		b := fitBroken(t, series(truth[2]), draws, seed)
		if b.Chance > 0.05 {
			continue
		}
		found++
		if b.Settled {
			settled++
		}
		if !(b.Lo > truth[0]) && !(b.Hi < truth[0]) {
			covers++
		}
		scale := 1.0
		if !known {
			scale = b.Chi2 / float64(n-4)
		}
		for k, want := range truth {
			if math.Abs(b.P[k]-want) <= reach*max(b.U95[k], math.Sqrt(b.Cov[k*5]*scale)) {
				covered[k]++
			}
		}
		for k := range banded {
			i := (k + 1) * len(b.Along) / 5
			at := b.Along[i]
			if math.Abs(broken(at, b.P[0], b.P[3], b.P[1], b.P[2])-broken(at, truth[0], truth[3], truth[1], truth[2])) <= reach/math.Sqrt(chi95)*b.Far[i] {
				banded[k]++
			}
		}
		d := b.P[0] - truth[0]
		sum, sum2 = sum+d, sum2+d*d
	}
	if l := float64(alarms) / float64(sets); math.Abs(l-0.05) > 3*math.Sqrt(0.05*0.95/float64(sets)) {
		t.Errorf("%d breaks in %d straight lines", alarms, sets)
	}
	if found < sets*9/10 {
		t.Errorf("%d of %d breaks found", found, sets)
	}
	if settled < found*98/100 {
		t.Errorf("%d of %d fits came to rest", settled, found)
	}
	least := 0.95 - 3*math.Sqrt(0.95*0.05/float64(found))
	if c := float64(covers) / float64(found); c < least || c > 0.995 {
		t.Errorf("%d of %d intervals hold the break", covers, found)
	}
	for k, c := range covered {
		if float64(c)/float64(found) < least {
			t.Errorf("parameter %d: %d of %d within %.3f u", k, c, found, reach)
		}
	}
	for k, c := range banded {
		if float64(c)/float64(found) < least {
			t.Errorf("the band holds the lines %d of %d times at place %d", c, found, k)
		}
	}
	if m := sum / float64(found); math.Abs(m) > 3*math.Sqrt(sum2)/float64(found) {
		t.Errorf("the place of the break is %g off on the mean", m)
	}
	t.Logf("%d sets: %d alarms, %d found, %d at rest, %d intervals hold, within u %v, within the band %v", sets, alarms, found, settled, covers, covered, banded)
}

func TestBreakBySimulation(t *testing.T) {
	t.Run("u known", func(t *testing.T) { simulateBreaks(t, 80, 99, true, 0) })
	t.Run("u not known", func(t *testing.T) { simulateBreaks(t, 80, 99, false, 0) })
	t.Run("x uncertain", func(t *testing.T) { simulateBreaks(t, 80, 99, true, 0.1) })
}

// Points exactly on a line, or on two, without any uncertainty: rounding is no evidence.
func TestBreakWithinRounding(t *testing.T) {
	straight, bent := &Points{}, &Points{}
	for i := range 12 {
		x := 0.1 * float64(i)
		straight.X, straight.Y = append(straight.X, x), append(straight.Y, 0.3+0.7*x)
		bent.X, bent.Y = append(bent.X, x), append(bent.Y, broken(x, 0.43, 2, 0.1, -0.9))
	}
	if b := fitBroken(t, straight, 200, 1); b.Chance != 1 {
		t.Errorf("a line: chance %g", b.Chance)
	}
	b := fitBroken(t, bent, 200, 1)
	if b.Chance > 1./201+1e-12 || math.Abs(b.P[0]-0.43) > 1e-9 || b.Lo != b.P[0] || b.Hi != b.P[0] {
		t.Errorf("two lines: chance %g, at %g, %g to %g", b.Chance, b.P[0], b.Lo, b.Hi)
	}
}

// A break before the second point cannot be told from a first point that is off.
func TestBreakAtTheEdge(t *testing.T) {
	x := []float64{0, 1, 2, 3, 4, 5, 6, 7}
	y := []float64{5, 1, 2, 3, 4, 5, 6, 7}
	u := slices.Repeat([]float64{0.05}, len(x))
	b := fitBroken(t, uncorrelated(x, y, nil, u), 200, 1)
	if b.Edge != -1 || b.P[0] != 1 || !math.IsNaN(b.Lo) || b.Chance > 0.05 {
		t.Errorf("edge %d, at %g, from %g, chance %g", b.Edge, b.P[0], b.Lo, b.Chance)
	}
	slices.Reverse(y)
	if b = fitBroken(t, uncorrelated(x, y, nil, u), 200, 1); b.Edge != 1 || b.P[0] != 6 || !math.IsNaN(b.Hi) {
		t.Errorf("edge %d, at %g, to %g", b.Edge, b.P[0], b.Hi)
	}
}

// Whatever the points: an error that is known, or a fit whose numbers are numbers and in order.
func TestBreakOfAnyPoints(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 9).Draw(t, "n")
		p := &Points{X: make([]float64, n), Y: make([]float64, n)}
		coarse := rapid.IntRange(0, 8)
		for i := range n {
			p.X[i], p.Y[i] = float64(coarse.Draw(t, "x")), float64(coarse.Draw(t, "y"))
		}
		if rapid.Bool().Draw(t, "known") {
			u := rapid.SampledFrom([]float64{0, 1e-6, 0.1, 3})
			p.Vyy = make([]float64, n*n)
			if rapid.Bool().Draw(t, "uncertain x") {
				p.Vxx, p.Vxy = make([]float64, n*n), make([]float64, n*n)
			}
			share := u.Draw(t, "shared")
			for i := range n {
				uy := u.Draw(t, "u(y)")
				for k := range n {
					p.Vyy[i*n+k] = share * share
				}
				p.Vyy[i*n+i] += uy * uy
				if p.Vxx != nil {
					ux := u.Draw(t, "u(x)")
					p.Vxx[i*n+i] = ux * ux
				}
			}
		}
		line, err := FitStraight(p)
		known := []error{ErrFewPoints, ErrNoSpread, ErrSingularCovariance, ErrFewPlaces}
		if err != nil {
			if !slices.ContainsFunc(known, func(k error) bool { return errors.Is(err, k) }) {
				t.Fatal(err)
			}
			return
		}
		for k, v := range line.P {
			if !finite(v) || !(line.Cov[k*3] >= 0) {
				t.Fatalf("line %v, covariance %v", line.P, line.Cov)
			}
		}
		b, err := FitBreak(p, line, 100, rand.New(rand.NewPCG(1, 2)), onward)
		if err != nil {
			if !slices.ContainsFunc(known, func(k error) bool { return errors.Is(err, k) }) {
				t.Fatal(err)
			}
			return
		}
		for k, v := range b.P {
			if !finite(v) || b.D != nil && !(b.Cov[k*5] >= 0) || math.IsNaN(b.U95[k]) {
				t.Fatalf("break %v, covariance %v, u %v", b.P, b.Cov, b.U95)
			}
		}
		if !(b.Chance > 0 && b.Chance <= 1) || b.Lo > b.P[0]+1e-9 || b.Hi < b.P[0]-1e-9 {
			t.Fatalf("chance %g, at %g, %g to %g", b.Chance, b.P[0], b.Lo, b.Hi)
		}
	})
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

func TestRanked(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.SliceOfN(rapid.Float64Range(-3, 3), 1, 30).Draw(t, "v")
		for i := range v {
			v[i] = math.Round(2*v[i]) / 2 // with ties
		}
		k := rapid.IntRange(0, len(v)-1).Draw(t, "k")
		sorted := slices.Clone(v)
		slices.Sort(sorted)
		if got := ranked(v, k); got != sorted[k] {
			t.Fatalf("got %g, expected %g", got, sorted[k])
		}
	})
}

func TestBreakErrors(t *testing.T) {
	four := &Points{X: []float64{1, 2, 3, 4}, Y: []float64{1, 2, 3, 5}}
	line, err := FitStraight(four)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := FitBreak(four, line, 100, rand.New(rand.NewPCG(1, 1)), onward); !errors.Is(err, ErrFewPoints) {
		t.Errorf("four points: %v", err)
	}
	three := &Points{X: []float64{1, 1, 2, 2, 3, 3}, Y: []float64{1, 2, 3, 5, 2, 1}}
	if line, err = FitStraight(three); err != nil {
		t.Fatal(err)
	}
	if _, err := FitBreak(three, line, 100, rand.New(rand.NewPCG(1, 1)), onward); !errors.Is(err, ErrFewPlaces) {
		t.Errorf("three places: %v", err)
	}
	six := &Points{X: []float64{1, 2, 3, 4, 5, 6}, Y: []float64{1, 2, 3, 5, 2, 1}}
	if line, err = FitStraight(six); err != nil {
		t.Fatal(err)
	}
	stopped := errors.New("stopped")
	if _, err := FitBreak(six, line, 100, rand.New(rand.NewPCG(1, 1)), func() error { return stopped }); !errors.Is(err, stopped) {
		t.Errorf("stopped: %v", err)
	}
}

func BenchmarkBreak(b *testing.B) {
	p := many(20, true)
	for i := range p.Y {
		p.Y[i] += broken(float64(i), 8, 0, 0, 1)
	}
	b.ReportAllocs()
	for b.Loop() {
		fitBroken(b, p, 1000, 1)
	}
}
