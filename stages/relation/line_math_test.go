package relation

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

// uncorrelated makes points of which every coordinate has an uncertainty of its own.
func uncorrelated(x, y, ux, uy []float64) *Points {
	n := len(x)
	p := &Points{X: x, Y: y, Vyy: make([]float64, n*n)}
	if ux != nil {
		p.Vxx, p.Vxy = make([]float64, n*n), make([]float64, n*n)
	}
	for i := range n {
		p.Vyy[i*n+i] = uy[i] * uy[i]
		if ux != nil {
			p.Vxx[i*n+i] = ux[i] * ux[i]
		}
	}
	return p
}

func roots(w []float64) []float64 {
	u := make([]float64, len(w))
	for i, v := range w {
		u[i] = 1 / math.Sqrt(v)
	}
	return u
}

// Pearson's data with York's weights: York, Can. J. Phys. 44 (1966) 1079, table II; the line and its standard uncertainties as in York et
// al., Am. J. Phys. 72 (2004) 367, table II (all from memory): −0.480533407(57985), 5.47991022(294971). χ² = 11.8663531941 by NumPy,
// with York's own iteration.
func pearson() *Points {
	return uncorrelated([]float64{0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4}, []float64{5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5},
		roots([]float64{1000, 1000, 500, 800, 200, 80, 60, 20, 1.8, 1.0}), roots([]float64{1, 1.8, 4, 8, 20, 20, 70, 70, 100, 500}))
}

func TestYorkOnPearson(t *testing.T) {
	f, err := FitStraight(pearson())
	if err != nil {
		t.Fatal(err)
	}
	close1(t, "slope", f.P[1], -0.480533407, 1e-9)
	close1(t, "intercept", f.P[0], 5.47991022, 1e-9)
	close1(t, "u of slope", math.Sqrt(f.Cov[3]), 0.057985009, 1e-8)
	close1(t, "u of intercept", math.Sqrt(f.Cov[0]), 0.294970735, 1e-8)
	close1(t, "χ²", f.Chi2, 11.86635319406144, 1e-10)
}

// sharing makes six points whose coordinates are correlated within a point and between points: own parts with correlations, a source that moves
// all x alike and y in proportion, and one that moves all y.
func sharing() *Points {
	p := &Points{X: []float64{0.1, 1.2, 1.9, 3.1, 4.2, 4.8}, Y: []float64{1.1, 2.9, 4.6, 7.4, 9.1, 10.9}}
	ux, uy := []float64{0.05, 0.06, 0.04, 0.08, 0.05, 0.07}, []float64{0.1, 0.2, 0.15, 0.1, 0.25, 0.2}
	rho := []float64{0.5, -0.3, 0, 0.2, 0.6, -0.5}
	n := 6
	p.Vxx, p.Vxy, p.Vyy = make([]float64, n*n), make([]float64, n*n), make([]float64, n*n)
	for i := range n {
		for k := range n {
			p.Vxx[i*n+k] = 0.03 * 0.03
			p.Vxy[i*n+k] = 0.03 * 0.04 * p.Y[k]
			p.Vyy[i*n+k] = 0.04*p.Y[i]*0.04*p.Y[k] + 0.12*0.12
		}
		p.Vxx[i*n+i] += ux[i] * ux[i]
		p.Vxy[i*n+i] += rho[i] * ux[i] * uy[i]
		p.Vyy[i*n+i] += uy[i] * uy[i]
	}
	return p
}

// With the full covariance: scipy.optimize.minimize_scalar (SciPy 1.10.1, tol 1e-14) over rᵀS(b)⁻¹r, which agrees within 1e-7 with
// scipy.optimize.minimize (BFGS) over slope, intercept and all true x of (z − z*)ᵀV⁻¹(z − z*); covariance (A*ᵀS⁻¹A*)⁻¹ by NumPy 1.24.2.
// With exact x: (AᵀV⁻¹A)⁻¹AᵀV⁻¹y by NumPy.
func TestFullCovarianceAgainstSciPy(t *testing.T) {
	p := sharing()
	f, err := FitStraight(p)
	if err != nil {
		t.Fatal(err)
	}
	close1(t, "slope", f.P[1], 2.0175756978934625, 1e-8)
	close1(t, "intercept", f.P[0], 0.8530367867016071, 2e-8)
	close1(t, "χ²", f.Chi2, 7.764796406735712, 1e-12)
	for k, want := range []float64{0.02419191, -0.00485305, -0.00485305, 0.008131} {
		if math.Abs(f.Cov[k]-want) > 6e-9 {
			t.Errorf("covariance %d is %.9f, expected %.8f", k, f.Cov[k], want)
		}
	}

	p.Vxx, p.Vxy = nil, nil
	if f, err = FitStraight(p); err != nil {
		t.Fatal(err)
	}
	close1(t, "slope, exact x", f.P[1], 2.0433805376052168, 1e-12)
	close1(t, "intercept, exact x", f.P[0], 0.7956995538478244, 1e-12)
	close1(t, "χ², exact x", f.Chi2, 11.232597352265596, 1e-12)
	for k, want := range []float64{0.02384750312065777, 5.4856152606543773e-05, 5.4856152606543773e-05, 0.008098443174698332} {
		close1(t, "covariance, exact x", f.Cov[k], want, 1e-14)
	}
}

// Equal uncertainties of x and y in a fixed ratio: the closed form of Deming's line (Deming, Statistical Adjustment of Data, 1943, from
// memory), and u of x and y exchanged gives the inverse line whatever the uncertainties.
func TestLineProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(3, 9).Draw(t, "n")
		rnd := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		slope := rapid.Float64Range(-20, 20).Filter(func(b float64) bool { return math.Abs(b) > 0.05 }).Draw(t, "slope")
		x, y, ux, uy := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
		for i := range n {
			ux[i], uy[i] = 0.05, 0.05*math.Abs(slope)
			x[i] = float64(i) + ux[i]*rnd.NormFloat64()
			y[i] = 3 + slope*float64(i) + uy[i]*rnd.NormFloat64()
		}
		f, err := FitStraight(uncorrelated(x, y, ux, uy))
		if err != nil {
			t.Fatal(err)
		}
		mx, _ := centre(x)
		my, _ := centre(y)
		sxx, sxy, syy := 0.0, 0.0, 0.0
		for i := range n {
			sxx += (x[i] - mx) * (x[i] - mx)
			sxy += (x[i] - mx) * (y[i] - my)
			syy += (y[i] - my) * (y[i] - my)
		}
		d := slope * slope
		want := (syy - d*sxx + math.Sqrt((syy-d*sxx)*(syy-d*sxx)+4*d*sxy*sxy)) / (2 * sxy)
		if math.Abs(f.P[1]-want) > 1e-9*math.Abs(want) {
			t.Fatalf("slope %.15g, expected %.15g", f.P[1], want)
		}

		// any uncertainties
		for i := range n {
			ux[i], uy[i] = ux[i]*(0.5+rnd.Float64()), uy[i]*(0.5+rnd.Float64())
		}
		f, err = FitStraight(uncorrelated(x, y, ux, uy))
		if err != nil {
			t.Fatal(err)
		}
		g, err := FitStraight(uncorrelated(y, x, uy, ux))
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(f.P[1]*g.P[1]-1) > 1e-8 || math.Abs(f.Chi2-g.Chi2) > 1e-8*(1+f.Chi2) {
			t.Fatalf("slopes %g and %g of exchanged axes, χ² %g and %g", f.P[1], g.P[1], f.Chi2, g.Chi2)
		}
	})
}

// D·V·Dᵀ is the covariance, and where the residuals are zero D is the derivative itself.
func TestDerivatives(t *testing.T) {
	p := sharing()
	f, err := FitStraight(p)
	if err != nil {
		t.Fatal(err)
	}
	n := len(p.X)
	s := p.residualCovariance(f.B)
	for a := range 2 {
		for b := range 2 {
			sum := 0.0
			for i := range n {
				for k := range n {
					sum += f.D[a][i] * s[i*n+k] * f.D[b][k]
				}
			}
			close1(t, "D·S·Dᵀ", sum, f.Cov[a*2+b], 1e-12)
		}
	}
	for i := range n {
		p.Y[i] = 1.3 + 2.1*p.X[i] // on a line
	}
	if f, err = FitStraight(p); err != nil {
		t.Fatal(err)
	}
	const h = 1e-5
	for i := range n {
		for _, at := range []struct {
			z *float64
			d func(k int) float64
		}{{&p.Y[i], func(k int) float64 { return f.D[k][i] }}, {&p.X[i], func(k int) float64 { return -f.B[i] * f.D[k][i] }}} {
			old := *at.z
			*at.z = old + h
			up, _ := FitStraight(p)
			*at.z = old - h
			down, _ := FitStraight(p)
			*at.z = old
			for k := range 2 {
				if got := (up.P[k] - down.P[k]) / (2 * h); math.Abs(got-at.d(k)) > 1e-7 {
					t.Errorf("derivative of parameter %d at point %d is %g, expected %g", k, i, at.d(k), got)
				}
			}
		}
	}
}

// simulateLines holds the uncertainties of slope and intercept to their coverage, and χ² to its mean, for points whose coordinates are correlated in a
// point and share two sources: 95 % within 1.96 u, 4 for 6 points less 2, within three standard deviations. The terms of second order in u
// are small here: u of the slope is 5 % of it.
func simulateLines(t *testing.T, sets int) {
	rnd := rand.New(rand.NewPCG(31, uint64(sets)))
	p := sharing()
	n := len(p.X)
	truth := []float64{0.8, 2}
	v := make([]float64, 4*n*n)
	for i := range n {
		p.X[i] = 0.8 * float64(i)
		for k := range n {
			v[i*2*n+k], v[(n+i)*2*n+n+k] = p.Vxx[i*n+k], p.Vyy[i*n+k]
			v[i*2*n+n+k], v[(n+k)*2*n+i] = p.Vxy[i*n+k], p.Vxy[i*n+k]
		}
	}
	f, ok := factorPositive(v, 2*n)
	if !ok {
		t.Fatal("the covariance is not positive definite")
	}
	q := *p
	q.X, q.Y = make([]float64, n), make([]float64, n)
	z := make([]float64, 2*n)
	held := [2]int{}
	chi2 := 0.0
	for range sets {
		for i := range z {
			z[i] = rnd.NormFloat64()
		}
		for i := range n {
			q.X[i], q.Y[i] = p.X[i], truth[0]+truth[1]*p.X[i]
			for k := range i + 1 {
				q.X[i] += f.s[i] * f.l[i*2*n+k] * z[k]
			}
			for k := range n + i + 1 {
				q.Y[i] += f.s[n+i] * f.l[(n+i)*2*n+k] * z[k]
			}
		}
		got, err := FitStraight(&q)
		if err != nil {
			t.Fatal(err)
		}
		for k, want := range truth {
			if d := got.P[k] - want; d*d <= chi95*got.Cov[k*3] {
				held[k]++
			}
		}
		chi2 += got.Chi2 / float64(sets)
	}
	for k, h := range held {
		if c := float64(h) / float64(sets); math.Abs(c-0.95) > 3*math.Sqrt(0.95*0.05/float64(sets))+0.003 {
			t.Errorf("parameter %d: %d of %d within 1.96 u", k, h, sets)
		}
	}
	if math.Abs(chi2-4) > 3*math.Sqrt(8/float64(sets))+0.02 {
		t.Errorf("χ² is %.3f on the mean, expected 4", chi2)
	}
	t.Logf("%d sets: within 1.96 u %v, χ² %.4f", sets, held, chi2)
}

func TestLineBySimulation(t *testing.T) { simulateLines(t, 2000) }

func TestLineErrors(t *testing.T) {
	for _, c := range []struct {
		name string
		p    *Points
		want error
	}{
		{"one point", &Points{X: []float64{1}, Y: []float64{1}}, ErrFewPoints},
		{"one x", &Points{X: []float64{1, 1, 1}, Y: []float64{1, 2, 3}}, ErrNoSpread},
		{"no uncertainty", uncorrelated([]float64{1, 2}, []float64{1, 2}, nil, []float64{1, 0}), ErrSingularCovariance},
		{"one and the same number", &Points{X: []float64{1, 2}, Y: []float64{1, 2}, Vyy: []float64{1, 1, 1, 1}}, ErrSingularCovariance},
	} {
		t.Run(c.name, func(t *testing.T) {
			if _, err := FitStraight(c.p); !errors.Is(err, c.want) {
				t.Errorf("got %v, expected %v", err, c.want)
			}
		})
	}
}

// Two points are joined exactly, and without uncertainties the line is that of least squares (Anscombe, Am. Stat. 27 (1973) 17, first set:
// slope 0.5001, intercept 3.0001, residual sum of squares 13.7627, u of the slope 0.1179; from memory).
func TestPlainLines(t *testing.T) {
	f, err := FitStraight(uncorrelated([]float64{1, 3}, []float64{2, 8}, []float64{0.1, 0.2}, []float64{0.3, 0.1}))
	if err != nil {
		t.Fatal(err)
	}
	close1(t, "slope", f.P[1], 3, 1e-12)
	close1(t, "intercept", f.P[0], -1, 1e-12)
	close1(t, "u² of the slope", f.Cov[3], (0.09+0.01+9*(0.01+0.04))/4, 1e-12)

	f, err = FitStraight(&Points{X: []float64{10, 8, 13, 9, 11, 14, 6, 4, 12, 7, 5}, Y: []float64{8.04, 6.95, 7.58, 8.81, 8.33, 9.96, 7.24, 4.26, 10.84, 4.82, 5.68}})
	if err != nil {
		t.Fatal(err)
	}
	close1(t, "slope", f.P[1], 0.5001, 5e-5)
	close1(t, "intercept", f.P[0], 3.0001, 5e-5)
	close1(t, "sum of squares", f.Chi2, 13.7627, 5e-6)
	close1(t, "u of the slope", math.Sqrt(f.Cov[3]*f.Chi2/9), 0.1179, 5e-5)
}

// many makes n points about a line, the first fit of which is timed.
func many(n int, shared bool) *Points {
	rnd := rand.New(rand.NewPCG(7, 7))
	x, y, ux, uy := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range n {
		ux[i], uy[i] = 0.1, 0.2
		x[i], y[i] = float64(i)+0.1*rnd.NormFloat64(), 2*float64(i)+0.2*rnd.NormFloat64()
	}
	p := uncorrelated(x, y, ux, uy)
	for i := range p.Vyy {
		if shared {
			p.Vyy[i] += 0.01
		}
	}
	return p
}

func BenchmarkStraightOwn(b *testing.B)    { benchStraight(b, many(100, false)) }
func BenchmarkStraightShared(b *testing.B) { benchStraight(b, many(100, true)) }

func benchStraight(b *testing.B, p *Points) {
	b.ReportAllocs()
	for b.Loop() {
		if _, err := FitStraight(p); err != nil {
			b.Fatal(err)
		}
	}
}
