package convolution

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

// gaussian gives a normal density, mean mu and width sigma, on a grid of n channels of the given width.
func gaussian(n int, width, mu, sigma float64) []float64 {
	y := make([]float64, n)
	for i := range y {
		z := (float64(i)*width - mu) / sigma
		y[i] = math.Exp(-z*z/2) / (sigma * math.Sqrt(2*math.Pi))
	}
	return y
}

// emg is the exponentially modified Gaussian, the convolution of a normal density with e^(−t/τ)/τ.
func emg(t, mu, sigma, tau float64) float64 {
	return math.Exp(sigma*sigma/(2*tau*tau)-(t-mu)/tau) * math.Erfc((sigma/tau-(t-mu)/sigma)/math.Sqrt2) / (2 * tau)
}

// A Gaussian response, mean 1 ns and width 0.15 ns, with a lifetime of 4 ns. Closed form (exponentially modified Gaussian), which was
// checked by quadrature to the digits that stand here.
func TestExponentiallyModifiedGaussian(t *testing.T) {
	const width, tau = 0.0125, 4.0
	var r Response
	r.Set(gaussian(2000, width, 1, 0.15))
	h := make([]float64, 2000)
	r.Exponential(h, nil, 0, tau/width, 0)
	for _, c := range []struct{ t, want float64 }{
		{0.5, 0.000106224017698}, {0.8, 0.0224113639748}, {1.0, 0.121346083995}, {1.2, 0.214768181428}, {1.5, 0.220671080954},
		{2, 0.194837142479}, {5, 0.0920345493405}, {10, 0.0263683398629}, {20, 0.00216444514136},
	} {
		got := h[int(math.Round(c.t/width))] * width / tau
		if math.Abs(got-c.want) > 2e-6*math.Max(c.want, 0.01) { // of the spline: channels are a twelfth of the width
			t.Errorf("t = %g: %.12g, want %.12g", c.t, got, c.want)
		}
		if math.Abs(emg(c.t, 1, 0.15, tau)/c.want-1) > 1e-9 {
			t.Errorf("t = %g: the test's closed form gives %.12g, want %.12g", c.t, emg(c.t, 1, 0.15, tau), c.want)
		}
	}
}

// The error falls with the fourth power of the channel width, at any shift, and is small even where the response is three channels wide.
func TestOrderOfTheSpline(t *testing.T) {
	worst := func(width, shift float64) float64 {
		const mu, sigma, tau = 1.0, 0.15, 0.7
		n := int(6 / width)
		var r Response
		r.Set(gaussian(n, width, mu, sigma))
		h := make([]float64, n)
		r.Exponential(h, nil, -shift/width, tau/width, 0)
		e := 0.0
		for k := range h {
			e = math.Max(e, math.Abs(h[k]*width/tau-emg(float64(k)*width, mu+shift, sigma, tau)))
		}
		return e
	}
	for _, shift := range []float64{0, 0.013, 0.0517, -0.2} {
		coarse, fine := worst(0.12, shift), worst(0.03, shift)
		if coarse > 0.006 { // of a peak of 1: response 3 channels wide at half height
			t.Errorf("shift %g: error %g at channels of 0.8 σ", shift, coarse)
		}
		if fine > 1e-5 || fine > coarse/150 { // 4⁴ = 256
			t.Errorf("shift %g: error %g at channels of 0.2 σ, %g at 0.8 σ", shift, fine, coarse)
		}
	}
}

// The spline passes through the values, and between them gives back any cubic.
func TestSplineInterpolates(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	y := make([]float64, 40)
	for i := range y {
		y[i] = rng.NormFloat64()
	}
	var r Response
	r.Set(y)
	got, slope := make([]float64, 40), make([]float64, 40)
	r.Shifted(got, nil, 0)
	for i := range y {
		if math.Abs(got[i]-y[i]) > 1e-14 {
			t.Fatalf("channel %d: %g, want %g", i, got[i], y[i])
		}
	}
	cubic := func(u float64) (float64, float64) {
		v := u - 60
		return 2 + v*(0.3+v*(-0.02+v*0.004)), 0.3 + v*(-0.04+v*0.012)
	}
	y = make([]float64, 120)
	for i := range y {
		y[i], _ = cubic(float64(i))
	}
	r.Set(y)
	for _, off := range []float64{0, 0.25, 0.9, 40.5} {
		r.Shifted(got, slope, off)
		for k := range got {
			u := float64(k) + off
			if u < 40 || u > 80 { // the ends, where the spline goes to zero, are felt over some channels
				continue
			}
			v, dv := cubic(u)
			if math.Abs(got[k]-v) > 1e-10*(1+math.Abs(v)) || math.Abs(slope[k]-dv) > 1e-9*(1+math.Abs(dv)) {
				t.Fatalf("offset %g, channel %d: %g and slope %g, want %g and %g", off, k, got[k], slope[k], v, dv)
			}
		}
	}
}

// dense convolves by adding up exact integrals of the spline over short pieces (composite Gauss–Legendre of 5 points over each half
// cell), the slow way that the recursion replaces.
func dense(r *Response, at, tau float64) float64 {
	nodes := [5]float64{0, 0.5384693101056831, -0.5384693101056831, 0.9061798459386640, -0.9061798459386640}
	weights := [5]float64{0.5688888888888889, 0.4786286704993665, 0.4786286704993665, 0.2369268850561891, 0.2369268850561891}
	sum := 0.0
	piece := func(a, b float64) {
		for i, x := range nodes {
			u := (a+b)/2 + x*(b-a)/2
			var v [1]float64
			r.Shifted(v[:], nil, u)
			sum += weights[i] * (b - a) / 2 * v[0] * math.Exp(-(at-u)/tau)
		}
	}
	const parts = 8
	for j := -3; j < r.n+4 && float64(j) < at; j++ {
		to := math.Min(float64(j)+1, at)
		for i := range parts {
			step := (to - float64(j)) / parts
			piece(float64(j)+float64(i)*step, float64(j)+float64(i+1)*step)
		}
	}
	return sum
}

// Recursion, start, end and earlier pulses against sums of many pulses, each by quadrature.
func TestAgainstQuadrature(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 12).Draw(t, "channels of the response")
		y := rapid.SliceOfN(rapid.Float64Range(-1, 5), n, n).Draw(t, "response")
		offset := rapid.Float64Range(-25, 25).Draw(t, "offset")
		tau := math.Exp(rapid.Float64Range(-2, 4).Draw(t, "ln tau"))
		period := 0.0
		if rapid.Bool().Draw(t, "periodic") {
			period = 60 + rapid.Float64Range(0, 5).Draw(t, "period")
		}
		var r Response
		r.Set(y)
		h := make([]float64, rapid.IntRange(1, 30).Draw(t, "channels of the decay"))
		r.Exponential(h, nil, offset, tau, period)
		for k := range h {
			at := float64(k) + offset
			want := dense(&r, at, tau)
			if period > 0 {
				for m := 1; m < 200; m++ {
					more := dense(&r, at+float64(m)*period, tau)
					want += more
					if math.Abs(more) < 1e-14 {
						break
					}
				}
			}
			if math.Abs(h[k]-want) > 1e-7*(1+tau) {
				t.Fatalf("h[%d] = %.12g, want %.12g", k, h[k], want)
			}
		}
	})
}

// Analytic derivatives against differences.
func TestDerivatives(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		offset := rapid.Float64Range(-8, 8).Draw(t, "offset")
		tau := math.Exp(rapid.Float64Range(-1.5, 5).Draw(t, "ln tau"))
		period := rapid.SampledFrom([]float64{0, 70.3}).Draw(t, "period")
		var r Response
		r.Set(gaussian(40, 1, 12, 2))
		const n = 50
		h, d, plus, minus, shifted := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
		r.Exponential(h, d, offset, tau, period)
		r.Exponential(plus, nil, offset, tau*(1+1e-5), period)
		r.Exponential(minus, nil, offset, tau*(1-1e-5), period)
		scale := 0.0
		for k := range h {
			scale = math.Max(scale, math.Abs(d[k]))
		}
		for k := range h {
			if want := (plus[k] - minus[k]) / (2e-5 * tau); math.Abs(d[k]-want) > 1e-6*scale {
				t.Fatalf("∂h[%d]/∂τ = %.10g, by differences %.10g", k, d[k], want)
			}
		}
		r.Exponential(plus, nil, offset+1e-5, tau, period)
		r.Exponential(minus, nil, offset-1e-5, tau, period)
		r.Shifted(shifted, nil, offset)
		for k := range h {
			if want := (plus[k] - minus[k]) / 2e-5; math.Abs(shifted[k]-h[k]/tau-want) > 1e-8 {
				t.Fatalf("∂h[%d]/∂offset = %.10g, by differences %.10g", k, shifted[k]-h[k]/tau, want)
			}
		}
	})
}

// Nothing jumps where a shift passes a whole number of channels.
func TestShiftIsSmooth(t *testing.T) {
	var r Response
	r.Set(gaussian(40, 1, 12, 0.7))
	a, b := make([]float64, 60), make([]float64, 60)
	for _, at := range []float64{-3, 0, 2, 17} {
		r.Exponential(a, nil, at-1e-9, 5, 70)
		r.Exponential(b, nil, at+1e-9, 5, 70)
		for k := range a {
			if math.Abs(a[k]-b[k]) > 1e-8 {
				t.Fatalf("at %g, channel %d: %g and %g", at, k, a[k], b[k])
			}
		}
	}
}

// The moments against their closed forms for m = 0 and 1 where these are accurate, and against Abramowitz and Stegun's
// γ(5, z) = 24·(1 − e^(−z)·(1 + z + z²/2 + z³/6 + z⁴/24)) (eq. 6.5.13, from memory).
func TestMoments(t *testing.T) {
	for _, z := range []float64{2, 7.99, 8.01, 30, 300} {
		for _, l := range []float64{0.01, 0.5, 1} {
			x := z / l
			m := moments(l, x)
			for _, c := range []struct{ got, want float64 }{
				{m[0], (1 - math.Exp(-z)) / x},
				{m[1], (1 - (1+z)*math.Exp(-z)) / (x * x)},
				{m[4], 24 * (1 - math.Exp(-z)*(1+z*(1+z*(0.5+z*(1./6+z/24))))) / math.Pow(x, 5)},
			} {
				if math.Abs(c.got/c.want-1) > 1e-13 {
					t.Errorf("z = %g, L = %g: %.16g, want %.16g", z, l, c.got, c.want)
				}
			}
		}
	}
	for m, v := range moments(0.7, 0) {
		if want := math.Pow(0.7, float64(m+1)) / float64(m+1); math.Abs(v/want-1) > 1e-14 {
			t.Errorf("x = 0, m = %d: %g, want %g", m, v, want)
		}
	}
}

func TestNothingIsAllocated(t *testing.T) {
	var r Response
	y := gaussian(1000, 1, 50, 4)
	r.Set(y)
	h, d := make([]float64, 1000), make([]float64, 1000)
	if n := testing.AllocsPerRun(10, func() {
		r.Set(y)
		r.Exponential(h, d, 0.3, 80, 1200)
		r.Shifted(h, d, 0.3)
	}); n != 0 {
		t.Errorf("%v allocations", n)
	}
}

func BenchmarkExponential(b *testing.B) {
	var r Response
	r.Set(gaussian(4096, 1, 200, 12))
	h, d := make([]float64, 4096), make([]float64, 4096)
	for b.Loop() {
		r.Exponential(h, d, 0.3, 300, 5000)
	}
}
