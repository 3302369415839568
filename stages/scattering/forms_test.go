package scattering

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Closed forms with x = q·Rg. Sphere: Rayleigh 1911, Rg = √0.6·R. Gaussian
// chain: Debye 1947. Hollow sphere: (sin x/x)². Thin rod: Neugebauer 1943.
func spherePart(x float64) float64 {
	y := x / math.Sqrt(0.6)
	a := 3 * (math.Sin(y) - y*math.Cos(y)) / (y * y * y)
	return a * a
}

func chainPart(x float64) float64 {
	y := x * x
	return 2 * (math.Expm1(-y) + y) / (y * y)
}

func shellPart(x float64) float64 { return math.Pow(math.Sin(x)/x, 2) }

func twoPart(x float64) float64 { return 0.5 * (1 + math.Sin(2*x)/(2*x)) }

func rodPart(x float64) float64 {
	z := x * math.Sqrt(12)
	si, term := 0.0, z
	for k := 1; k < 60; k++ { // Si(z) by its series
		si += term / float64(2*k-1)
		term *= -z * z / float64(2*k*(2*k+1))
	}
	return 2*si/z - math.Pow(math.Sin(z/2)/(z/2), 2)
}

func gaussPart(x float64) float64 { return math.Exp(-x * x / 3) }

// curve is I0·form(q·rg) at n points from qLow to qHigh, with relative noise
// rel (its u); rng nil: without noise.
func curve(form func(float64) float64, rg, i0 float64, n int, qLow, qHigh, rel float64, rng *rand.Rand) (q, i, u []float64) {
	for k := 0; k < n; k++ {
		x := qLow + (qHigh-qLow)*float64(k)/float64(n-1)
		v := i0 * form(x*rg)
		s := rel * v
		if rng != nil {
			v += s * rng.NormFloat64()
		}
		q, i, u = append(q, x), append(i, v), append(u, s)
	}
	return q, i, u
}

// The error of Guinier's law, exp(−x²/3)/P − 1 (computed from the closed forms
// at 12 digits), makes sure that the curves used here are the right ones.
func TestClosedForms(t *testing.T) {
	for _, c := range []struct {
		name string
		form func(float64) float64
		x    float64
		want float64
	}{
		{"sphere", spherePart, 0.5, 0.0005024}, {"sphere", spherePart, 0.8, 0.003363}, {"sphere", spherePart, 1, 0.008389},
		{"sphere", spherePart, 1.3, 0.025085}, {"sphere", spherePart, 1.5, 0.046395},
		{"chain", chainPart, 0.5, -0.001715}, {"chain", chainPart, 0.8, -0.010982}, {"chain", chainPart, 1, -0.026133}, {"chain", chainPart, 1.3, -0.070346},
	} {
		if got := gaussPart(c.x)/c.form(c.x) - 1; math.Abs(got-c.want) > 6e-7 {
			t.Errorf("%s, x = %g: %.7f, want %.7f", c.name, c.x, got, c.want)
		}
	}
}

// The curvatures in bodyCurvature, read off the closed forms at small x.
func TestBodyCurvature(t *testing.T) {
	for _, c := range []struct {
		name  string
		form  func(float64) float64
		want  float64
		shape Shape
	}{
		{"hollow sphere", shellPart, -1. / 90, Compact}, {"sphere", spherePart, -1. / 126, Compact}, {"two points", twoPart, 1. / 90, Compact},
		{"thin rod", rodPart, 11. / 450, Rod}, {"chain", chainPart, 1. / 36, Chain},
	} {
		const x = 0.1
		got := (math.Log(c.form(x)) + x*x/3) / (x * x * x * x)
		if math.Abs(got-c.want) > 0.005*math.Abs(c.want)+1e-5 {
			t.Errorf("%s: %.6f, want %.6f", c.name, got, c.want)
		}
		if low, high := bodyCurvature(c.shape); c.want < low-1e-12 || c.want > high+1e-12 {
			t.Errorf("%s: %.6f outside %.6f to %.6f", c.name, c.want, low, high)
		}
	}
}
