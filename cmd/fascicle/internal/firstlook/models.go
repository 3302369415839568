package firstlook

import "math"

// sphere is the form factor of a homogeneous sphere, P(x) = [3(sin x − x cos x)/x³]² with x = q·R, 1 at x = 0.
// Source: Lord Rayleigh, Proc. R. Soc. London A 84 (1911) 25 (from memory).
func sphere(x float64) float64 {
	if x < 1e-2 {
		return 1 - x*x/5 + 3*x*x*x*x/175
	}
	sin, cos := math.Sincos(x)
	a := 3 * (sin - x*cos) / (x * x * x)
	return a * a
}

// schulz describes spheres whose radii have a Schulz distribution (a gamma distribution in R): mean radius in nm, and spread,
// the standard deviation of the radii divided by their mean.
type schulz struct{ mean, spread float64 }

// moment is ⟨Rⁿ⟩ in nmⁿ: θⁿ·a(a+1)…(a+n−1) with a = 1/spread² and θ = mean/a.
func (s schulz) moment(n int) float64 {
	a, m := 1/(s.spread*s.spread), 1.0
	for i := range n {
		m *= (a + float64(i)) / a * s.mean
	}
	return m
}

// radiusOfGyration in nm as scattering sees it, each sphere weighted with its volume squared: Rg² = (3/5)·⟨R⁸⟩/⟨R⁶⟩.
func (s schulz) radiusOfGyration() float64 { return math.Sqrt(0.6 * s.moment(8) / s.moment(6)) }

// formFactor at q in 1/nm, 1 at q = 0: the mean of R⁶·P(qR) over the distribution, divided by ⟨R⁶⟩.
//
//	R⁶·P(qR) = 9/q⁶·(sin x − x cos x)² = 9/(2q⁶)·[1 + x² − (1 − x²)·cos 2x − 2x·sin 2x],   x = qR
//	⟨Rᵏ e^{2iqR}⟩ = θᵏ·a(a+1)…(a+k−1)·(1 − 2iqθ)^−(a+k)
//
// The second line is the characteristic function of a gamma distribution of shape a + k (common knowledge, no source).
func (s schulz) formFactor(q float64) float64 {
	a := 1 / (s.spread * s.spread)
	theta := s.mean / a
	if x := q * s.mean; x < 0.15 { // the closed form loses digits: first terms of the series of ⟨R⁶·P⟩ instead
		q2, m6 := q*q, s.moment(6)
		return 1 - q2/m6*(s.moment(8)/5-q2*(s.moment(10)*3/175-q2*s.moment(12)*4/4725))
	}
	r, phi := 1+4*q*q*theta*theta, math.Atan(2*q*theta)
	wave := func(k float64) (cos, sin float64) { // Γ(a+k)/Γ(a)·(qθ)ᵏ is left to the caller
		f := math.Pow(r, -(a+k)/2)
		sin, cos = math.Sincos((a + k) * phi)
		return f * cos, f * sin
	}
	cos0, _ := wave(0)
	_, sin1 := wave(1)
	cos2, _ := wave(2)
	x1 := q * s.moment(1)
	x2 := q * q * s.moment(2)
	mean := 1 + x2 - cos0 + x2*cos2 - 2*x1*sin1
	q3 := q * q * q
	return 4.5 * mean / (q3 * q3 * s.moment(6))
}

// powerLaw is a·q^−p in the unit of a, with q in 1/nm.
func powerLaw(a, p, q float64) float64 { return a * math.Pow(q, -p) }
