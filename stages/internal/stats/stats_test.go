package stats

import (
	"errors"
	"math"
	"math/bits"
	"testing"

	"pgregory.net/rapid"
)

func near(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > rel*math.Abs(want) {
		t.Errorf("%s = %.12g, want %.12g (relative tolerance %g)", what, got, want, rel)
	}
}

// The distribution of the number of runs, against counting every arrangement.
func TestRunsTailsAgainstEnumeration(t *testing.T) {
	for n := 2; n <= 12; n++ {
		for n1 := 0; n1 <= n; n1++ {
			counts := make([]int, n+2)
			total := 0
			for m := uint(0); m < 1<<n; m++ {
				if bits.OnesCount(m) == n1 {
					total++
					counts[1+bits.OnesCount((m^m>>1)&(1<<(n-1)-1))]++
				}
			}
			if n1 == 0 || n1 == n {
				continue
			}
			below := 0
			for r := 1; r <= n; r++ {
				if counts[r] == 0 {
					continue
				}
				few, many, exact := runsTails(n1, n-n1, r)
				if !exact {
					t.Fatalf("n=%d: not exact", n)
				}
				near(t, "P(many)", many, 1-float64(below)/float64(total), 1e-12)
				below += counts[r]
				near(t, "P(few)", few, float64(below)/float64(total), 1e-12)
			}
		}
	}
}

// Swed and Eisenhart, Ann. Math. Stat. 14 (1943) 66, tables of P(R ≤ u')
// (from memory): n1 = n2 = 10: 6 runs 0.019, 7 runs 0.051.
func TestRunsTailsTable(t *testing.T) {
	for _, c := range []struct {
		n1, n2, r int
		want      float64
	}{{10, 10, 6, 0.019}, {10, 10, 7, 0.051}} {
		few, _, _ := runsTails(c.n1, c.n2, c.r)
		if math.Abs(few-c.want) > 0.0005 {
			t.Errorf("P(R <= %d; %d, %d) = %.4f, printed %.3f", c.r, c.n1, c.n2, few, c.want)
		}
	}
}

func TestRunsNormalMeetsExact(t *testing.T) {
	for _, r := range []int{130, 145, 151, 160, 172} {
		few, many, exact := runsTails(150, 150, r)
		fewN, manyN, exactN := runsTails(151, 150, r) // one more sign: the normal branch
		if !exact || exactN {
			t.Fatalf("branches: exact %v, %v", exact, exactN)
		}
		// One sign more moves the mean by half a run: allow for it.
		if math.Abs(few-fewN) > 0.03 || math.Abs(many-manyN) > 0.03 {
			t.Errorf("r=%d: exact %.4f %.4f, normal %.4f %.4f", r, few, many, fewN, manyN)
		}
	}
}

func TestRunsTest(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		name  string
		r     []float64
		want  Runs
		exact float64 // P
	}{
		{"empty", nil, Runs{}, 1},
		{"one sign", []float64{1, 2, 3}, Runs{Plus: 3, Count: 1}, 1},
		{"zeros and NaN left out", []float64{1, 0, 2, nan, -1, -2}, Runs{Plus: 2, Minus: 2, Zero: 2, Count: 2}, 2. / 3},
		{"alternating", []float64{1, -1, 1, -1, 1, -1}, Runs{Plus: 3, Minus: 3, Count: 6}, 0.2},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := RunsTest(c.r)
			if got.Plus != c.want.Plus || got.Minus != c.want.Minus || got.Zero != c.want.Zero || got.Count != c.want.Count {
				t.Errorf("got %+v, want %+v", got, c.want)
			}
			near(t, "P", got.P, c.exact, 1e-12)
		})
	}
}

func TestRunsSignSymmetry(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := rapid.SliceOfN(rapid.Float64Range(-1, 1), 0, 60).Draw(t, "r")
		neg, rev := make([]float64, len(r)), make([]float64, len(r))
		for i, v := range r {
			neg[i], rev[len(r)-1-i] = -v, v
		}
		a, b, c := RunsTest(r), RunsTest(neg), RunsTest(rev)
		if a.Count != b.Count || a.Count != c.Count || math.Abs(a.P-b.P) > 1e-12 || math.Abs(a.P-c.P) > 1e-12 {
			t.Fatalf("%+v %+v %+v", a, b, c)
		}
		if a.P < 0 || a.P > 1 || a.PFew+a.PMany < 1-1e-9 {
			t.Fatalf("%+v", a)
		}
	})
}

// Thermometer calibration, JCGM 100:2008, H.3 (the data from memory; they
// reproduce every printed result).
var (
	h3t = []float64{21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511}
	h3b = []float64{-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160}
)

func h3x() (x, u []float64) {
	for i, t := range h3t {
		x = append(x, t-20)
		u = append(u, 0.002+0.0003*float64(i))
	}
	return x, u
}

// Printed in H.3: y1 −0.1712 (0.0029) °C, y2 0.00218 (0.00067), r −0.930,
// s 0.0035 °C, and at 30 °C −0.1494 (0.0041) °C.
func TestFitLineThermometer(t *testing.T) {
	x, _ := h3x()
	l, err := FitLine(x, h3b, nil)
	if err != nil {
		t.Fatal(err)
	}
	printed := func(what string, got, want, half float64) {
		if math.Abs(got-want) > half {
			t.Errorf("%s = %.6g, printed %g", what, got, want)
		}
	}
	printed("y1", l.Intercept, -0.1712, 5e-5)
	printed("u(y1)", math.Sqrt(l.VarIntercept), 0.0029, 5e-5)
	printed("y2", l.Slope, 0.00218, 5e-6)
	printed("u(y2)", math.Sqrt(l.VarSlope), 0.00067, 5e-6)
	printed("r", l.Cov/math.Sqrt(l.VarIntercept*l.VarSlope), -0.930, 5e-4)
	printed("s", math.Sqrt(l.Chi2/float64(l.DOF)), 0.0035, 5e-5)
	y, u := l.At(10)
	printed("b(30)", y, -0.1494, 5e-5)
	printed("u(b(30))", u, 0.0041, 5e-5)
	if !l.Scaled || l.DOF != 9 {
		t.Errorf("scaled %v, dof %d; want true, 9", l.Scaled, l.DOF)
	}
}

// Weighted fits of the same data with u = 0.002 + 0.0003·i, against the normal
// equations solved in exact rational arithmetic (Python, fractions.Fraction).
func TestWeightedFitsAgainstExactArithmetic(t *testing.T) {
	x, u := h3x()
	l, err := FitLine(x, h3b, u)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "intercept", l.Intercept, -0.17359721028733213, 1e-12)
	near(t, "slope", l.Slope, 0.0028147656372323666, 1e-11)
	near(t, "var intercept", l.VarIntercept, 4.779340006298489e-06, 1e-12)
	near(t, "cov", l.Cov, -1.2552633478739616e-06, 1e-12)
	near(t, "var slope", l.VarSlope, 4.029479193512325e-07, 1e-12)
	near(t, "chi2", l.Chi2, 9.85512335466425, 1e-11)

	p, err := FitParabola(x, h3b, u)
	if err != nil {
		t.Fatal(err)
	}
	wantB := [3]float64{-0.18344348756434564, 0.00939557532215284, -0.0008982646660478294}
	wantC := [3][3]float64{
		{2.965341275731129e-05, -1.7879976857153754e-05, 2.2692333380758626e-06},
		{-1.7879976857153754e-05, 1.1514160065113594e-05, -1.5166536863040172e-06},
		{2.2692333380758626e-06, -1.5166536863040172e-06, 2.0701957392262e-07}}
	for i := range wantB {
		near(t, "B", p.B[i], wantB[i], 1e-10)
		for j := range wantC[i] {
			near(t, "Cov", p.Cov[i][j], wantC[i][j], 1e-10)
		}
	}
	near(t, "chi2", p.Chi2, 5.957523746176915, 1e-11)
}

func TestFitErrors(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		name    string
		x, y, u []float64
		want    error
	}{
		{"none", nil, nil, nil, ErrTooFew},
		{"no spare point for the scatter", []float64{1, 2}, []float64{1, 2}, nil, ErrTooFew},
		{"equal abscissae", []float64{3, 3, 3}, []float64{1, 2, 3}, nil, ErrSingular},
		{"nan", []float64{1, 2, 3}, []float64{1, nan, 3}, nil, ErrNotFinite},
		{"zero u", []float64{1, 2, 3}, []float64{1, 2, 3}, []float64{1, 0, 1}, ErrNotFinite},
		{"negative u", []float64{1, 2, 3}, []float64{1, 2, 3}, []float64{1, -1, 1}, ErrNotFinite},
	} {
		t.Run(c.name, func(t *testing.T) {
			if _, err := FitLine(c.x, c.y, c.u); !errors.Is(err, c.want) {
				t.Errorf("FitLine: %v, want %v", err, c.want)
			}
			if _, err := FitParabola(c.x, c.y, c.u); err == nil {
				t.Errorf("FitParabola: no error")
			}
		})
	}
	if _, err := FitParabola([]float64{1, 2, 2, 1, 1}, make([]float64, 5), nil); !errors.Is(err, ErrSingular) {
		t.Errorf("two distinct abscissae: %v, want %v", err, ErrSingular)
	}
}

// Points on a parabola give it back, wherever the axis starts.
func TestParabolaExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		off := rapid.Float64Range(-5, 5).Draw(t, "offset")
		b := [3]float64{rapid.Float64Range(-3, 3).Draw(t, "b0"), rapid.Float64Range(-3, 3).Draw(t, "b1"), rapid.Float64Range(-3, 3).Draw(t, "b2")}
		var x, y, u []float64
		for i := 0; i < 12; i++ {
			v := off + float64(i)*0.3
			x, y, u = append(x, v), append(y, b[0]+v*(b[1]+v*b[2])), append(u, 0.1+0.05*float64(i%3))
		}
		p, err := FitParabola(x, y, u)
		if err != nil {
			t.Fatal(err)
		}
		for i := range b {
			if math.Abs(p.B[i]-b[i]) > 1e-9 {
				t.Fatalf("B[%d] = %g, want %g", i, p.B[i], b[i])
			}
		}
	})
}

// Quantiles of printed tables: t(0.975; 10) = 2.228139, t(0.99; 3) = 4.540703,
// chi-square(0.95; 10) = 18.30704, chi-square(0.05; 10) = 3.940299, and
// P(Z > 1.959964) = 0.025 (Abramowitz and Stegun, tables 26.1, 26.8, 26.10,
// more digits from memory).
func TestTails(t *testing.T) {
	near(t, "t", StudentUpper(2.228139, 10), 0.025, 1e-6)
	near(t, "t lower side", StudentUpper(-2.228139, 10), 0.975, 1e-6)
	near(t, "t", StudentUpper(4.540703, 3), 0.01, 1e-6)
	near(t, "t cauchy", StudentUpper(1, 1), 0.25, 1e-12)
	near(t, "t infinite", StudentUpper(1.959964, math.Inf(1)), 0.025, 1e-6)
	near(t, "chi2", ChiSquareUpper(18.30704, 10), 0.05, 1e-6)
	near(t, "chi2", ChiSquareUpper(3.940299, 10), 0.95, 1e-6)
	near(t, "chi2, nu 2", ChiSquareUpper(7, 2), math.Exp(-3.5), 1e-12)
	near(t, "normal", NormalUpper(1.959964), 0.025, 1e-6)
}

func BenchmarkRunsTest(b *testing.B) {
	r := make([]float64, 500)
	for i := range r {
		r[i] = math.Sin(float64(i * i))
	}
	b.ReportAllocs()
	for b.Loop() {
		RunsTest(r)
	}
}

func BenchmarkFitLine(b *testing.B) {
	x, u := h3x()
	b.ReportAllocs()
	for b.Loop() {
		FitLine(x, h3b, u)
	}
}
