package scattering

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func near(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > rel*math.Abs(want) {
		t.Errorf("%s = %.12g, want %.12g (relative tolerance %g)", what, got, want, rel)
	}
}

// A curve that obeys the law gives its parameters back exactly, in any scale.
func TestFitGuinierExact(t *testing.T) {
	var w Workspace
	rapid.Check(t, func(t *rapid.T) {
		rg := math.Exp(rapid.Float64Range(-2, 5).Draw(t, "ln Rg"))
		i0 := math.Exp(rapid.Float64Range(-20, 20).Draw(t, "ln I0"))
		c := rapid.Float64Range(-0.05, 0.05).Draw(t, "C/Rg^4")
		order := rapid.SampledFrom([]Order{Line, Quartic}).Draw(t, "order")
		if order == Line {
			c = 0
		}
		q, i, u := curve(func(x float64) float64 { return math.Exp(-x*x/3 + c*x*x*x*x) }, rg, i0, 30, 0.1/rg, 1.3/rg, 0.01, nil)
		if rapid.Bool().Draw(t, "u unknown") {
			u = nil
		}
		g := FitGuinier(q, i, u, order, &w)
		if g.Status != Fitted || math.Abs(g.Rg/rg-1) > 1e-9 || math.Abs(g.I0/i0-1) > 1e-9 {
			t.Fatalf("%v: Rg %v, want %v; I0 %v, want %v", g.Status, g.Rg, rg, g.I0, i0)
		}
		if order == Quartic && math.Abs(g.C/math.Pow(rg, 4)-c) > 1e-8 {
			t.Fatalf("C/Rg^4 = %v, want %v", g.C/math.Pow(rg, 4), c)
		}
		if order == Line && !math.IsNaN(g.C) {
			t.Fatalf("a line has C = %v", g.C)
		}
	})
}

// Rg and I0 that the law gives for bodies that do not obey it: 41 points even
// in q·Rg from 0.2 to the usual limit, equal relative u. Computed with the
// normal equations in exact rational arithmetic (Python, fractions.Fraction).
func TestFitGuinierBiasOfBodies(t *testing.T) {
	for _, c := range []struct {
		name      string
		form      func(float64) float64
		limit     float64
		order     Order
		rg, i0    float64
		urg, chi2 float64 // with u = 1 %
	}{
		{"sphere, line", spherePart, 1.3, Line, 1.0201512981521579, 1.003202626736032, 0.004711955121204886 / 1.0201512981521579, 1.5435729231844462},
		{"sphere, quartic", spherePart, 1.3, Quartic, 0.9989073236704411, 0.9999070818037871, 0.017897899680343568 / 0.9989073236704411, 0.0008057510516192767},
		{"chain, line", chainPart, 0.8, Line, 0.9738062636066753, 0.9981825399357216, 0.013036148129105023 / 0.9738062636066753, 0.23079730684130462},
		{"chain, quartic", chainPart, 0.8, Quartic, 0.9994858850559176, 0.9999784476066761, 0.05432811424762806 / 0.9994858850559176, 1.3730967597655708e-05},
	} {
		t.Run(c.name, func(t *testing.T) {
			const rg = 3.7
			q, i, u := curve(c.form, rg, 5, 41, 0.2/rg, c.limit/rg, 0.01, nil)
			g := FitGuinier(q, i, u, c.order, nil)
			near(t, "Rg", g.Rg, c.rg*rg, 1e-9)
			near(t, "I0", g.I0, c.i0*5, 1e-9)
			near(t, "u(Rg)", g.URg, c.urg*rg, 1e-8)
			near(t, "chi2", g.Chi2, c.chi2, 1e-5)
		})
	}
}

// The covariance against differences of the solution: u² = Σ (∂/∂I)²·u², and
// the same for the product.
func TestFitGuinierCovariance(t *testing.T) {
	for _, order := range []Order{Line, Quartic} {
		rng := rand.New(rand.NewPCG(1, 2))
		q, i, u := curve(gaussPart, 4, 2, 25, 0.02, 0.3, 0.01, rng)
		g := FitGuinier(q, i, u, order, nil)
		var rr, ii, cc, ri, rc, ic float64
		for k := range q {
			// ln I moves and its weight stays: u follows I.
			shift := func(sign float64) Guinier {
				j, v := append([]float64(nil), i...), append([]float64(nil), u...)
				f := math.Exp(sign * 1e-4 * u[k] / i[k])
				j[k], v[k] = j[k]*f, v[k]*f
				return FitGuinier(q, j, v, order, nil)
			}
			a, b := shift(1), shift(-1)
			dr, di, dc := (a.Rg-b.Rg)/2e-4, (a.I0-b.I0)/2e-4, (a.C-b.C)/2e-4
			rr, ii, cc, ri, rc, ic = rr+dr*dr, ii+di*di, cc+dc*dc, ri+dr*di, rc+dr*dc, ic+di*dc
		}
		near(t, "u(Rg)", g.URg, math.Sqrt(rr), 1e-5)
		near(t, "u(I0)", g.UI0, math.Sqrt(ii), 1e-5)
		near(t, "cov(Rg,I0)", g.CovRgI0, ri, 1e-5)
		if order == Quartic {
			near(t, "u(C)", g.UC, math.Sqrt(cc), 1e-5)
			near(t, "cov(Rg,C)", g.CovRgC, rc, 1e-5)
			near(t, "cov(I0,C)", g.CovI0C, ic, 1e-5)
		}
	}
}

// Coverage of the uncertainties over 2000 noisy curves: |z| ≤ 1 in 68.3 %,
// |z| ≤ 1.96 in 95 %, mean z 0, each within 4 standard deviations of the count.
// With u unknown z follows Student's distribution with Nu degrees of freedom.
func TestFitGuinierCoverage(t *testing.T) {
	for _, c := range []struct {
		name   string
		known  bool
		order  Order
		n      int
		inside float64 // P(|z| ≤ 1)
		q95    float64
	}{
		{"u known", true, Line, 40, 0.6827, 1.960},
		{"u known, quartic", true, Quartic, 40, 0.6827, 1.960},
		// Student, nu = 10: P(|t| ≤ 1) = 0.6591, t95 = 2.2281 (printed tables).
		{"u unknown", false, Line, 12, 0.6591, 2.2281},
	} {
		t.Run(c.name, func(t *testing.T) {
			rng := rand.New(rand.NewPCG(3, 4))
			var w Workspace
			const runs, rg, i0, rel = 2000, 3.0, 0.5, 0.01
			var in1, in2, sum, in1i, in2i, sumI, cov, corr float64
			for range runs {
				q, i, u := curve(gaussPart, rg, i0, c.n, 0.05, 1.3/rg, rel, rng)
				if !c.known {
					u = nil
				}
				g := FitGuinier(q, i, u, c.order, &w)
				if g.Status != Fitted {
					t.Fatal(g.Status)
				}
				z, zi := (g.Rg-rg)/g.URg, (g.I0-i0)/g.UI0
				sum, sumI = sum+z, sumI+zi
				cov, corr = cov+z*zi, corr+g.CovRgI0/(g.URg*g.UI0)
				count := func(in *float64, z, q float64) {
					if math.Abs(z) <= q {
						*in++
					}
				}
				count(&in1, z, 1)
				count(&in2, z, c.q95)
				count(&in1i, zi, 1)
				count(&in2i, zi, c.q95)
			}
			check := func(what string, got, p float64) {
				t.Helper()
				if sd := math.Sqrt(p * (1 - p) / runs); math.Abs(got/runs-p) > 4*sd {
					t.Errorf("%s: %.4f, want %.4f ± %.4f", what, got/runs, p, sd)
				}
			}
			check("Rg within 1 u", in1, c.inside)
			check("Rg within 95 %", in2, 0.95)
			check("I0 within 1 u", in1i, c.inside)
			check("I0 within 95 %", in2i, 0.95)
			if bound := 5 / math.Sqrt(runs); math.Abs(sum/runs) > bound || math.Abs(sumI/runs) > bound {
				t.Errorf("mean z of Rg %.3f, of I0 %.3f; bound %.3f", sum/runs, sumI/runs, bound)
			}
			if c.known && math.Abs(cov/runs-corr/runs) > 0.06 {
				t.Errorf("correlation of Rg and I0: found %.3f, stated %.3f", cov/runs, corr/runs)
			}
		})
	}
}

func TestFitGuinierStatus(t *testing.T) {
	q := []float64{0.1, 0.2, 0.3, 0.4}
	for _, c := range []struct {
		name string
		i    []float64
		q, u []float64
		want Status
	}{
		{"rising", []float64{1, 1.1, 1.2, 1.3}, q, nil, Rising},
		{"flat", []float64{2, 2, 2, 2}, q, nil, Rising},
		{"two points, u unknown", []float64{2, 1}, q[:2], nil, TooFew},
		{"none", nil, nil, nil, TooFew},
		{"all negative", []float64{-1, -2, -1, -3}, q, nil, TooFew},
		{"all missing", []float64{math.NaN(), math.NaN()}, q[:2], nil, TooFew},
		{"equal q", []float64{3, 2, 1}, []float64{0.1, 0.1, 0.1}, nil, Singular},
	} {
		t.Run(c.name, func(t *testing.T) {
			g := FitGuinier(c.q, c.i, c.u, Line, nil)
			if g.Status != c.want || g.Status.Err() == nil {
				t.Fatalf("status %v, want %v", g.Status, c.want)
			}
			for _, v := range []float64{g.Rg, g.I0, g.URg, g.UI0, g.CovRgI0, g.C, g.UC, g.CovRgC, g.CovI0C} {
				if !math.IsNaN(v) {
					t.Fatalf("a number without a fit: %+v", g)
				}
			}
			if (g.Status == Rising) == math.IsNaN(g.RgSquared) {
				t.Errorf("Rg² = %v", g.RgSquared)
			}
		})
	}
}

// Points that are left out are counted, and change nothing but that.
func TestFitGuinierLeavesOut(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	q, i, u := curve(gaussPart, 3, 1, 20, 0.05, 0.4, 0.01, rng)
	want := FitGuinier(q, i, u, Line, nil)
	nan := math.NaN()
	q = append([]float64{0, 0.01, 0.02, 0.03}, q...)
	i = append([]float64{7, nan, 5, 5}, i...)
	u = append([]float64{1, 1, 0, nan}, u...)
	got := FitGuinier(q, i, u, Line, nil)
	if got.Rg != want.Rg || got.URg != want.URg || got.N != 20 || got.Missing != 2 || got.NoU != 2 || got.QMin != 0.05 {
		t.Errorf("got %+v\nwant %+v", got, want)
	}
	for k, part := range []string{"2 points without a usable uncertainty", "2 points without intensity"} {
		if !strings.Contains(got.Summary(), part) {
			t.Errorf("%d: summary %q", k, got.Summary())
		}
	}
	var qf, f, uf []float64
	for k := len(q) - 1; k >= 0; k-- {
		qf, f, uf = append(qf, q[k]), append(f, i[k]), append(uf, u[k])
	}
	if back := FitGuinier(qf, f, uf, Line, nil); back.Rg != got.Rg || back.UI0 != got.UI0 || back.Chi2 != got.Chi2 {
		t.Errorf("a falling axis gives %v, %v, a rising one %v, %v", back.Rg, back.UI0, got.Rg, got.UI0)
	}
}

// A loss of points at I ≤ 0 in the noise pushes the end of the curve up: Rg
// comes out small, and the fit of I itself tells so. Mean over many curves.
func TestLossOfPointsIsSaid(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	const runs, rg, sd = 300, 3.0, 0.35
	said, lost, biased, direct := 0, 0, 0.0, 0.0
	for range runs {
		q, i, u := curve(gaussPart, rg, 1, 60, 0.05, 1.3/rg, 0, nil)
		for k := range i {
			u[k] = sd
			i[k] += sd * rng.NormFloat64()
		}
		g := FitGuinier(q, i, u, Line, nil)
		if g.NonPositive == 0 || g.Status != Fitted || math.IsNaN(g.LogShiftRg) {
			continue
		}
		lost++
		biased += g.Rg - rg
		direct += g.Rg - g.LogShiftRg*g.URg - rg
		if g.LossBiases && strings.Contains(g.Summary(), "I ≤ 0 left out; taking logarithms moves Rg") {
			said++
		}
	}
	if lost < runs/2 || said < lost*8/10 {
		t.Errorf("%d curves lost points, %d of them were said to be biased", lost, said)
	}
	if !(biased/float64(lost) < -0.2) || math.Abs(direct) > math.Abs(biased)/2 {
		t.Errorf("mean error of Rg: in logarithms %.3f, of I itself %.3f", biased/float64(lost), direct/float64(lost))
	}
	q, i, _ := curve(gaussPart, rg, 1, 60, 0.05, 1.3/rg, 0, nil)
	i[50] = -1
	if g := FitGuinier(q, i, nil, Line, nil); !g.LossBiases || !strings.Contains(g.Summary(), "unknown amount") {
		t.Errorf("u unknown: %q", g.Summary())
	}
}

// Multiplying I and u by a factor multiplies I0 alone; stretching q divides Rg.
func TestFitGuinierScales(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 10))
	q, i, u := curve(spherePart, 3, 1, 30, 0.05, 0.4, 0.02, rng)
	g := FitGuinier(q, i, u, Line, nil)
	for k := range q {
		q[k], i[k], u[k] = q[k]*10, i[k]*7, u[k]*7
	}
	h := FitGuinier(q, i, u, Line, nil)
	near(t, "Rg", h.Rg, g.Rg/10, 1e-12)
	near(t, "u(Rg)", h.URg, g.URg/10, 1e-12)
	near(t, "I0", h.I0, 7*g.I0, 1e-12)
	near(t, "chi2", h.Chi2, g.Chi2, 1e-10)
}

func BenchmarkFitGuinier(b *testing.B) {
	rng := rand.New(rand.NewPCG(1, 1))
	q, i, u := curve(spherePart, 3, 1, 100, 0.05, 0.43, 0.01, rng)
	for _, order := range []Order{Line, Quartic} {
		b.Run([]string{"line", "quartic"}[order], func(b *testing.B) {
			var w Workspace
			b.ReportAllocs()
			for b.Loop() {
				FitGuinier(q, i, u, order, &w)
			}
		})
	}
}
