package fitting

import "math"

// PoissonDeviance gives 2 Σ (m − n + n·ln(n/m)) of counts n under means m,
// which are equally long; +Inf where a mean is 0 under counts, NaN where a
// mean is negative or a number is NaN.
//
// Source: Baker and Cousins, Nucl. Instrum. Methods 221 (1984) 437 (from
// memory).
func PoissonDeviance(counts, means []float64) float64 {
	if len(counts) != len(means) {
		panic("fitting: counts and means differ in length")
	}
	for i, m := range means {
		if !(m >= 0) || !(counts[i] >= 0) {
			return math.NaN()
		}
	}
	return deviance(counts, means, 0)
}

// deviance is PoissonDeviance, but +Inf for every impossible mean. Where there
// are no counts, a mean may be negative by tiny: convolutions round.
func deviance(n, m []float64, tiny float64) float64 {
	m = m[:len(n)]
	sum := 0.0
	for i, y := range n {
		mean := m[i]
		switch {
		case y == 0:
			if !(mean >= -tiny) {
				return math.Inf(1)
			}
			sum += mean
		case !(mean > 0):
			return math.Inf(1)
		default:
			sum += mean - y + y*math.Log(y/mean)
		}
	}
	return 2 * sum
}

// change is how much the deviance of counts n rises from means a, where it is
// finite, to means b; +Inf when these are impossible. It costs less than the
// deviance, and does not drown in its rounding where a and b are near:
//
//	ln(b/a) = 2·artanh(z),  z = (b−a)/(b+a)
func change(n, a, b []float64, tiny float64) float64 {
	a, b = a[:len(n)], b[:len(n)]
	sum := 0.0
	for i, y := range n {
		from, to := a[i], b[i]
		sum += to - from
		if y == 0 {
			if !(to >= -tiny) {
				return math.Inf(1)
			}
			continue
		}
		if !(to > 0) {
			return math.Inf(1)
		}
		z := (to - from) / (to + from)
		if zz := z * z; zz < 0.0025 {
			// The first term left out, z¹³/13, is 2e-17 of the sum at most.
			sum -= y * 2 * z * (1 + zz*(1.0/3+zz*(1.0/5+zz*(1.0/7+zz*(1.0/9+zz*(1.0/11))))))
		} else {
			sum -= y * math.Log(to/from)
		}
	}
	return 2 * sum
}

// possible tells whether deviance is finite.
func possible(n, m []float64, tiny float64) bool {
	for i, y := range n {
		if !(m[i] > 0) && (y > 0 || !(m[i] >= -tiny)) {
			return false
		}
	}
	return true
}

// series is the mean above which the moments of the deviance are taken from
// their series in 1/m; both are then right to 1e-5.
const series = 100

// ExpectedDeviance gives the expectation and the variance of the deviance of
// Poisson counts with these means, against the means themselves,
//
//	Σ_i Σ_n P(n; m_i)·d(n, m_i),  d = 2·(m − n + n·ln(n/m))
//
// A fit of p parameters takes about p off the expectation. At small means a
// point contributes less than 1 (0.47 at 0.1), near 1 more (1.15), and
// 1 + 1/(6m) + 1/(6m²) + 19/(60m³) at large ones, so that the deviance must
// not be held against χ² tables there. Negative or NaN means count as 0.
//
// Source: the definition, summed; the series by the central moments of the
// Poisson distribution up to the tenth.
func ExpectedDeviance(means []float64) (mean, variance float64) {
	const most = 260 // beyond series + 12·√series + 20
	var nlogn [most]float64
	for n := 2; n < most; n++ {
		nlogn[n] = float64(n) * math.Log(float64(n))
	}
	for _, m := range means {
		if !(m > 0) {
			continue
		}
		if m > series {
			mean += 1 + (1.0/6+(1.0/6+19.0/60/m)/m)/m
			variance += 2 + (2.0/3+4.0/3/m)/m
			continue
		}
		logm := math.Log(m)
		p := math.Exp(-m)
		var first, second float64
		for n, last := 0, min(most-1, int(m+12*math.Sqrt(m)+20)); n <= last; n++ {
			x := float64(n)
			d := 2 * (m - x + nlogn[n] - x*logm)
			first += p * d
			second += p * d * d
			p *= m / (x + 1)
		}
		mean += first
		variance += second - first*first
	}
	return mean, variance
}
