package scattering

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// search finds a range and fits it.
func search(t *testing.T, q, i, u []float64, o RangeOptions, w *Workspace) (GuinierRange, Guinier) {
	t.Helper()
	r, err := FindGuinier(q, i, u, o, w)
	if err != nil {
		t.Fatal(err)
	}
	if r.Points == 0 {
		return r, Guinier{Status: r.Status, Rg: math.NaN()}
	}
	var v []float64
	if u != nil {
		v = u[r.First : r.Last+1]
	}
	return r, FitGuinier(q[r.First:r.Last+1], i[r.First:r.Last+1], v, Line, w)
}

// Without noise the range ends at the last point that keeps the limit, and
// starts at the first point, whatever the body.
func TestFindGuinierClosedForms(t *testing.T) {
	for _, c := range []struct {
		name  string
		form  func(float64) float64
		shape Shape
	}{
		{"Guinier", gaussPart, Compact}, {"sphere", spherePart, Compact}, {"hollow sphere", shellPart, Compact}, {"two points", twoPart, Compact},
		{"chain", chainPart, Chain}, {"rod", rodPart, Rod},
	} {
		for _, rel := range []float64{1e-5, 1e-4, 1e-3, 0.01, 0.1} {
			for _, known := range []bool{true, false} {
				const rg = 5.0
				q, i, u := curve(c.form, rg, 3, 200, 0.02, 0.6, rel, nil)
				if !known {
					u = nil
				}
				r, g := search(t, q, i, u, RangeOptions{Shape: c.shape}, nil)
				limit := GuinierLimit(c.shape)
				if r.Status != Fitted || r.First != 0 || r.LowQ != Straight || r.Stop != AtLimit {
					t.Errorf("%s, noise %g, u known %v: %+v", c.name, rel, known, r)
					continue
				}
				wider := FitGuinier(q[:r.Last+2], i[:r.Last+2], u[:min(len(u), r.Last+2)], Line, nil)
				if u == nil {
					wider = FitGuinier(q[:r.Last+2], i[:r.Last+2], nil, Line, nil)
				}
				if g.QMax*g.Rg > limit || wider.QMax*wider.Rg <= limit {
					t.Errorf("%s, noise %g, u known %v: q·Rg ends at %.4f, the next point has %.4f; limit %g", c.name, rel, known, g.QMax*g.Rg, wider.QMax*wider.Rg, limit)
				}
				if math.Abs(r.QMaxRg-g.QMax*g.Rg) > 1e-6 {
					t.Errorf("%s: the search has q·Rg %.8f, the fit %.8f", c.name, r.QMaxRg, g.QMax*g.Rg)
				}
			}
		}
	}
}

// Over noisy curves of a body that obeys the law: false alarms at low q are
// rare, and the uncertainty of Rg still covers, although the range was chosen
// from the same data.
func TestFindGuinierNoise(t *testing.T) {
	for _, c := range []struct {
		name  string
		rel   float64
		known bool
	}{{"1 %", 0.01, true}, {"5 %", 0.05, true}, {"1 %, u unknown", 0.01, false}, {"u too small by 2", -0.01, true}} {
		t.Run(c.name, func(t *testing.T) {
			rng := rand.New(rand.NewPCG(11, 12))
			const runs, rg = 1000, 4.0
			var w Workspace
			alarms, in1, in2, sum, short := 0, 0, 0, 0.0, 0
			for range runs {
				q, i, u := curve(gaussPart, rg, 1, 150, 0.03, 0.7, math.Abs(c.rel), rng)
				if !c.known {
					u = nil
				}
				if c.rel < 0 {
					for k := range u {
						u[k] /= 2
					}
				}
				r, g := search(t, q, i, u, RangeOptions{}, &w)
				if r.Status != Fitted || r.LowQ != Straight {
					alarms++
				}
				if g.Status != Fitted {
					continue
				}
				if r.QMaxRg < 1.1 {
					short++
				}
				z := (g.Rg - rg) / g.URg
				sum += z
				if math.Abs(z) <= 1 {
					in1++
				}
				if math.Abs(z) <= 2 {
					in2++
				}
			}
			if alarms > runs*2/100 {
				t.Errorf("%d false alarms in %d curves", alarms, runs)
			}
			if short > runs/100 {
				t.Errorf("%d ranges end below q·Rg = 1.1", short)
			}
			if c.rel < 0 {
				return
			}
			if f := float64(in1) / runs; math.Abs(f-0.683) > 0.06 {
				t.Errorf("%.3f within 1 u, want 0.683", f)
			}
			if f := float64(in2) / runs; math.Abs(f-0.954) > 0.03 {
				t.Errorf("%.3f within 2 u, want 0.954", f)
			}
			if m := sum / runs; math.Abs(m) > 0.2 {
				t.Errorf("mean z %.3f", m)
			}
		})
	}
}

// Parasitic scattering at the lowest points, aggregates, and repulsion.
func TestFindGuinierLowQ(t *testing.T) {
	const rg = 4.0
	for _, c := range []struct {
		name    string
		factor  func(q float64) float64 // on the sphere's intensity
		want    LowQ
		rgError float64 // of Rg, in units of nm, over many curves
	}{
		{"beam stop, three points", func(q float64) float64 {
			if q < 0.042 {
				return 1.3
			}
			return 1
		}, Upturn, 0.03},
		{"shadow, two points", func(q float64) float64 {
			if q < 0.038 {
				return 0.7
			}
			return 1
		}, Downturn, 0.03},
		{"aggregates", func(q float64) float64 { return 1 + 0.6*math.Exp(-q*q*40*40/3) }, Upturn, 0.05},
		{"repulsion", func(q float64) float64 { return 1 - 0.5*math.Exp(-q*q*25*25/3) }, Downturn, 0.1},
	} {
		t.Run(c.name, func(t *testing.T) {
			rng := rand.New(rand.NewPCG(13, 14))
			const runs = 200
			seen, fitted, bias, plain := 0, 0, 0.0, 0.0
			var w Workspace
			for range runs {
				q, i, u := curve(gaussPart, rg, 1, 150, 0.03, 0.7, 0.01, rng)
				for k := range q {
					f := c.factor(q[k])
					i[k], u[k] = i[k]*f, u[k]*f
				}
				r, g := search(t, q, i, u, RangeOptions{}, &w)
				if r.LowQ == c.want && r.Dropped > 0 && r.LowP < tailLevel && (r.LowRatio > 1) == (c.want == Upturn) {
					seen++
				}
				if r.Status != Fitted {
					continue
				}
				fitted++
				bias += g.Rg - rg
				all := FitGuinier(q[:r.Last+1], i[:r.Last+1], u[:r.Last+1], Line, &w)
				plain += all.Rg - rg
			}
			if seen < runs*99/100 || fitted < runs*9/10 {
				t.Errorf("seen in %d of %d curves, a range found in %d", seen, runs, fitted)
			}
			bias, plain = bias/float64(fitted), plain/float64(fitted)
			if math.Abs(bias) > c.rgError || math.Abs(bias) > math.Abs(plain)/2 {
				t.Errorf("mean error of Rg %.3f nm; with the low points it would be %.3f nm", bias, plain)
			}
		})
	}
}

// What has no plateau is refused: power laws, an upturn through half the curve.
func TestFindGuinierRefuses(t *testing.T) {
	rng := rand.New(rand.NewPCG(15, 16))
	power := func(p float64) func(float64) float64 {
		return func(x float64) float64 { return math.Pow(x, -p) }
	}
	for _, c := range []struct {
		name string
		form func(float64) float64
		want Status
	}{
		{"q^-1", power(1), NoPlateau}, {"q^-2", power(2), NoPlateau}, {"q^-4", power(4), NoPlateau},
		{"shoulder under a q^-3", func(x float64) float64 { return 1e-3*math.Pow(x, -3) + gaussPart(x) }, NoPlateau},
	} {
		t.Run(c.name, func(t *testing.T) {
			for _, rel := range []float64{0.003, 0.01, 0.03} {
				q, i, u := curve(c.form, 1, 1, 300, 0.02, 3, rel, rng)
				for _, v := range [][]float64{u, nil} {
					if r, _ := FindGuinier(q, i, v, RangeOptions{}, nil); r.Status != c.want {
						t.Errorf("noise %g, u known %v: %+v", rel, v != nil, r)
					}
				}
			}
		})
	}
	t.Run("aggregates that scatter three times as much", func(t *testing.T) {
		form := func(x float64) float64 { return gaussPart(x) * (1 + 3*gaussPart(10*x)) }
		q, i, u := curve(form, 4, 1, 150, 0.03, 0.7, 0.01, rng)
		if r, _ := FindGuinier(q, i, u, RangeOptions{}, nil); r.Status != NoPlateau || r.LowQ != Upturn || r.LowRatio < 2 {
			t.Errorf("%+v", r)
		}
		// Measured to lower q, the curve has the plateau of all its bodies.
		q, i, u = curve(form, 4, 1, 400, 0.002, 0.7, 0.01, rng)
		if r, g := search(t, q, i, u, RangeOptions{}, nil); r.Status != Fitted || r.First != 0 || g.Rg < 30 {
			t.Errorf("%+v, Rg %.2f", r, g.Rg)
		}
	})
	q, i, u := curve(func(x float64) float64 { return 1e-3*math.Pow(x, -3) + gaussPart(x) }, 1, 1, 300, 0.02, 3, 0.01, rng)
	r, g := search(t, q, i, u, RangeOptions{Shoulder: true}, nil)
	if r.Status != Fitted || r.LowQ != Upturn || r.LowRatio < 10 || math.Abs(g.Rg-1) > 0.1 {
		t.Errorf("allowed a shoulder: %+v, Rg %.3f(%.3f)", r, g.Rg, g.URg)
	}
}

func TestFindGuinierInput(t *testing.T) {
	rng := rand.New(rand.NewPCG(17, 18))
	q, i, u := curve(spherePart, 4, 1, 150, 0.03, 0.7, 0.02, rng)
	i[0], i[1] = 3, 2 // an upturn, so that both ends are found
	want, g := search(t, q, i, u, RangeOptions{}, nil)

	t.Run("falling axis", func(t *testing.T) {
		qr, ir, ur := slices.Clone(q), slices.Clone(i), slices.Clone(u)
		slices.Reverse(qr)
		slices.Reverse(ir)
		slices.Reverse(ur)
		got, h := search(t, qr, ir, ur, RangeOptions{}, nil)
		n := len(q) - 1
		got.First, got.Last = n-got.Last, n-got.First
		if got != want || h.Rg != g.Rg || h.URg != g.URg {
			t.Errorf("got  %+v\nwant %+v", got, want)
		}
	})
	t.Run("points without numbers", func(t *testing.T) {
		ib := slices.Clone(i)
		qb := append([]float64{0, 0.001, 0.002}, q...)
		ib = append([]float64{0, math.NaN(), -5}, ib...)
		ub := append([]float64{0, 1, 1}, u...)
		got, _ := search(t, qb, ib, ub, RangeOptions{}, nil)
		got.First, got.Last = got.First-3, got.Last-3
		if got != want {
			t.Errorf("got  %+v\nwant %+v", got, want)
		}
	})
	t.Run("reused workspace", func(t *testing.T) {
		var w Workspace
		for n := 150; n > 0; n -= 37 {
			FindGuinier(q[:n], i[:n], nil, RangeOptions{}, &w)
		}
		if got, _ := search(t, q, i, u, RangeOptions{}, &w); got != want {
			t.Errorf("got  %+v\nwant %+v", got, want)
		}
	})
	t.Run("axis", func(t *testing.T) {
		for _, bad := range [][]float64{{1, 2, 2}, {1, 3, 2}, {3, 1, 2}, {1, math.NaN(), 2}} {
			if _, err := FindGuinier(bad, bad, nil, RangeOptions{}, nil); !errors.Is(err, ErrAxis) {
				t.Errorf("%v: %v", bad, err)
			}
		}
	})
	t.Run("too few", func(t *testing.T) {
		if r, err := FindGuinier(q[:5], i[:5], u[:5], RangeOptions{}, nil); err != nil || r.Status != TooFew {
			t.Errorf("%+v, %v", r, err)
		}
		if r, err := FindGuinier(nil, nil, nil, RangeOptions{}, nil); err != nil || r.Status != TooFew {
			t.Errorf("%+v, %v", r, err)
		}
	})
	t.Run("data end first", func(t *testing.T) {
		if r, _ := search(t, q[2:30], i[2:30], u[2:30], RangeOptions{}, nil); r.Status != Fitted || r.Stop != AtEnd || r.Last != 27 {
			t.Errorf("%+v", r)
		}
	})
	t.Run("bad options", func(t *testing.T) {
		defer func() {
			if recover() == nil {
				t.Error("no panic")
			}
		}()
		FindGuinier(q, i, u, RangeOptions{MinPoints: 2}, nil)
	})
}

func TestGuinierAllocatesNothing(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	q, i, u := curve(spherePart, 3, 1, 500, 0.02, 3, 0.01, rng)
	var w Workspace
	if n := testing.AllocsPerRun(10, func() {
		r, _ := FindGuinier(q, i, u, RangeOptions{}, &w)
		FitGuinier(q[r.First:r.Last+1], i[r.First:r.Last+1], u[r.First:r.Last+1], Line, &w)
	}); n != 0 {
		t.Errorf("%g allocations a curve", n)
	}
}

// A curve of 500 points, range and fit.
func BenchmarkGuinier(b *testing.B) {
	rng := rand.New(rand.NewPCG(1, 1))
	for _, c := range []struct {
		name string
		form func(float64) float64
	}{{"sphere", spherePart}, {"upturn", func(x float64) float64 { return 1e-4*math.Pow(x, -3) + spherePart(x) }}, {"power law", func(x float64) float64 { return math.Pow(x, -2) }}} {
		b.Run(c.name, func(b *testing.B) {
			q, i, u := curve(c.form, 3, 1, 500, 0.02, 3, 0.01, rng)
			var w Workspace
			b.ReportAllocs()
			for b.Loop() {
				r, _ := FindGuinier(q, i, u, RangeOptions{}, &w)
				FitGuinier(q[r.First:r.Last+1], i[r.First:r.Last+1], u[r.First:r.Last+1], Line, &w)
			}
		})
	}
}
