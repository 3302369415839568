package lifetime

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// near fails unless got is want within a relative tolerance.
func near(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > rel*math.Abs(want) {
		t.Errorf("%s = %.12g, want %.12g (relative tolerance %g)", what, got, want, rel)
	}
}

// poisson draws a number of counts.
func poisson(r *rand.Rand, m float64) float64 {
	return distuv.Poisson{Lambda: m, Src: r}.Rand()
}

// truth is a decay whose parameters are known. Times are in channels.
type truth struct {
	n                 int
	mu, sigma         float64 // of a Gaussian response
	tau, amp          []float64
	shift, background float64
	scatter           float64
	period            float64
}

// means gives the expected counts from the closed form of an exponential convolved with a Gaussian: nothing of the package is used.
func (d truth) means() []float64 {
	m := make([]float64, d.n)
	mu := d.mu + d.shift
	for k := range m {
		m[k] = d.background
		z := (float64(k) - mu) / d.sigma
		m[k] += d.scatter * math.Exp(-z*z/2) / (d.sigma * math.Sqrt(2*math.Pi))
		for i, tau := range d.tau {
			m[k] += d.amp[i] * tau * emg(float64(k), mu, d.sigma, tau)
			if d.period > 0 {
				for j := 1; j < 500; j++ {
					more := d.amp[i] * tau * emg(float64(k)+float64(j)*d.period, mu, d.sigma, tau)
					m[k] += more
					if more < 1e-12 {
						break
					}
				}
			}
		}
	}
	return m
}

// emg is the exponentially modified Gaussian, written so that it does not overflow on its early side.
func emg(t, mu, sigma, tau float64) float64 {
	z := (sigma/tau - (t-mu)/sigma) / math.Sqrt2
	if z > 20 {
		// erfc(z) ≈ e^(−z²)/(z√π): the product of large and small is taken in the exponent
		g := (t - mu) / sigma
		return math.Exp(-g*g/2) / (z * math.Sqrt(math.Pi)) * (1 - 1/(2*z*z)) / (2 * tau)
	}
	return math.Exp(sigma*sigma/(2*tau*tau)-(t-mu)/tau) * math.Erfc(z) / (2 * tau)
}

// response gives the Gaussian that the decay was seen through.
func (d truth) response() []float64 {
	y := make([]float64, d.n)
	for k := range y {
		z := (float64(k) - d.mu) / d.sigma
		y[k] = math.Round(1e9 * math.Exp(-z*z/2)) // hardly any noise
	}
	return y
}

func (d truth) draw(r *rand.Rand, means []float64) []float64 {
	c := make([]float64, len(means))
	for k, m := range means {
		if m > 0 {
			c[k] = poisson(r, m)
		}
	}
	return c
}

// problem sets up a fit of it, in the way that the kind does.
func (d truth) problem(counts []float64) *Problem {
	r, err := PrepareResponse(d.response(), -1)
	if err != nil {
		panic(err)
	}
	p := &Problem{Counts: counts, First: 0, Last: len(counts) - 1, Terms: len(d.tau), Period: d.period,
		Shift:      Fixable{Lo: -100, Hi: 100},
		Background: Fixable{Lo: 0, Hi: math.Inf(1)},
		Scatter:    Fixable{Fixed: true},
	}
	p.Use(r)
	if d.scatter > 0 {
		p.Scatter = Fixable{Lo: 0, Hi: math.Inf(1)}
	}
	return p
}
