package lifetime

import (
	"math"
	"sync"
)

// Deviance of counts n under means m: D = 2·Σ [m − n + n·ln(n/m)]. It is +Inf when a mean is 0 where there are counts.
//
// Source: Baker and Cousins, Nucl. Instrum. Methods 221 (1984) 437 (from memory).
func Deviance(counts, means []float64) float64 {
	sum := 0.0
	for k, n := range counts {
		sum += deviance(n, means[k])
	}
	return sum
}

func deviance(n, m float64) float64 {
	if n == 0 {
		return 2 * m
	}
	return 2 * (m - n + n*math.Log(n/m))
}

// ExpectedDeviance is mean and variance of the deviance of Poisson counts with these means, held against the means themselves,
//
//	E[D] = Σ_k Σ_n P(n; m_k)·2·[m_k − n + n·ln(n/m_k)].
//
// A channel contributes 0.47 at a mean of 0.1 counts, 1.15 at a mean of 1, and 1 + 1/(6m) at large ones, so that the deviance must not be
// held against χ² of as many degrees of freedom. A fit of p parameters takes about p off the mean.
func ExpectedDeviance(means []float64) (mean, variance float64) {
	t := devianceTable()
	for _, m := range means {
		e, v := t.at(m)
		mean += e
		variance += v
	}
	return mean, variance
}

// The table reaches from e^tableFrom to e^tableTo counts, in steps of tableStep of the logarithm. Interpolation by cubics is then good
// to 1e-6; beyond the end the series in 1/m is.
const (
	tableFrom = -14.0
	tableTo   = 4.2
	tableStep = 0.05
)

type expectations struct{ mean, variance []float64 }

var devianceTable = sync.OnceValue(func() *expectations {
	n := int((tableTo-tableFrom)/tableStep) + 4
	t := &expectations{make([]float64, n), make([]float64, n)}
	for i := range n {
		t.mean[i], t.variance[i] = expectedDeviance(math.Exp(tableFrom + float64(i-1)*tableStep))
	}
	return t
})

// expectedDeviance sums over all numbers of counts that matter.
func expectedDeviance(m float64) (mean, variance float64) {
	last := int(m + 12*math.Sqrt(m) + 30)
	p := math.Exp(-m)
	second := 0.0
	for n := 0; n <= last; n++ {
		if n > 0 {
			p *= m / float64(n)
		}
		d := deviance(float64(n), m)
		mean += p * d
		second += p * d * d
	}
	return mean, second - mean*mean
}

// at interpolates between four entries.
func (t *expectations) at(m float64) (mean, variance float64) {
	if !(m > 0) {
		return 0, 0
	}
	x := math.Log(m)
	switch {
	case x < tableFrom:
		return expectedDeviance(m)
	case x >= tableTo:
		// series of E and Var in 1/m: E = 1 + 1/(6m) + 1/(6m²) + …, Var = 2 + 2/(3m) + …
		return 1 + (1+1/m)/(6*m), 2 + 2/(3*m)
	}
	u := (x - tableFrom) / tableStep
	i := int(u)
	u -= float64(i)
	a, b, c, d := -u*(u-1)*(u-2)/6, (u+1)*(u-1)*(u-2)/2, -(u+1)*u*(u-2)/2, (u+1)*u*(u-1)/6
	e, v := t.mean[i:i+4], t.variance[i:i+4]
	return a*e[0] + b*e[1] + c*e[2] + d*e[3], a*v[0] + b*v[1] + c*v[2] + d*v[3]
}
