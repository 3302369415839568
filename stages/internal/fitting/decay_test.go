package fitting

import (
	"math"
	"math/rand/v2"
	"testing"
)

// decayBasis is a Gaussian response convolved with exponentials, with scatter
// (the response itself) and a constant: curves e1 … ek, scatter, background.
// Its nonlinear parameters are τ1 … τk and the response's shift, in channels.
type decayBasis struct {
	n, k            int
	centre, width   float64
	response, slope []float64 // shifted, and by the shift
	conv            []float64
}

func newDecayBasis(n, k int) *decayBasis {
	return &decayBasis{n: n, k: k, centre: float64(n) / 16, width: float64(n) / 200,
		response: make([]float64, n), slope: make([]float64, n), conv: make([]float64, n)}
}

func (d *decayBasis) Curves(phi, a []float64) {
	for i := range d.n {
		z := (float64(i) - d.centre - a[d.k]) / d.width
		d.response[i] = math.Exp(-z * z / 2)
		d.slope[i] = d.response[i] * z / d.width
	}
	for j := range d.k {
		convolve(phi[j*d.n:(j+1)*d.n], d.response, a[j])
	}
	copy(phi[d.k*d.n:], d.response)
	last := phi[(d.k+1)*d.n : (d.k+2)*d.n]
	for i := range last {
		last[i] = 1
	}
}

// convolve writes Σ_j r_j·exp(−(i−j)/τ)/τ.
func convolve(dst, r []float64, tau float64) {
	e, y := math.Exp(-1/tau), 0.0
	for i, v := range r {
		y = e*y + v/tau
		dst[i] = y
	}
}

func (d *decayBasis) Jacobian(jac, a, c []float64) {
	by := jac[d.k*d.n : (d.k+1)*d.n]
	for i := range by {
		by[i] = c[d.k] * d.slope[i]
	}
	for j := range d.k {
		tau, col := a[j], jac[j*d.n:(j+1)*d.n]
		e, y, z := math.Exp(-1/tau), 0.0, 0.0
		for i, v := range d.response {
			z = e * (z + y/(tau*tau))
			y = e*y + v/tau
			z -= v / (tau * tau)
			col[i] = c[j] * z
		}
		convolve(d.conv, d.slope, tau)
		for i, v := range d.conv {
			by[i] += c[j] * v
		}
	}
}

// poissonDraw draws a Poisson number by multiplication, in steps of at most 500.
func poissonDraw(rng *rand.Rand, mean float64) float64 {
	n := 0.0
	for mean > 0 {
		step := min(mean, 500)
		mean -= step
		limit, p := math.Exp(-step), rng.Float64()
		for p > limit {
			n++
			p *= rng.Float64()
		}
	}
	return n
}

// decayProblem draws a decay of about total counts in n channels.
func decayProblem(n int, tau []float64, c []float64, shift float64, seed uint64) (*Separable, []float64) {
	k := len(tau)
	basis := newDecayBasis(n, k)
	a := append(append([]float64{}, tau...), shift)
	phi := make([]float64, n*(k+2))
	basis.Curves(phi, a)
	rng := rand.New(rand.NewPCG(seed, 7))
	y := make([]float64, n)
	for i := range y {
		for j := range c {
			y[i] += c[j] * phi[j*n+i]
		}
		y[i] = poissonDraw(rng, y[i])
	}
	names := []string{"tau_1", "tau_2", "tau_3"}[:k]
	linear := append([]string{"a_1", "a_2", "a_3"}[:k:k], "scatter", "background")
	positive := make([]bool, k+2)
	lower, upper := make([]float64, k+1), make([]float64, k+1)
	for j := range positive {
		positive[j] = true
	}
	for j := range k {
		lower[j], upper[j] = 0.1, 10*float64(n)
	}
	lower[k], upper[k] = -float64(n)/50, float64(n)/50
	return &Separable{
		Estimator:  Poisson,
		Parameters: Parameters{Names: append(names[:k:k], "shift"), Lower: lower, Upper: upper},
		Blocks:     []Block{{Basis: basis, Y: y, Linear: linear, NonNegative: positive}},
	}, a
}

func TestDecayIsRecovered(t *testing.T) {
	p, truth := decayProblem(1024, []float64{60, 250}, []float64{4e4, 6e4, 300, 2}, 1.3, 1)
	var r Result
	if err := NewWorkspace().FitSeparable(&r, p, []float64{30, 300, 0}); err != nil {
		t.Fatal(err)
	}
	if r.Status != Converged {
		t.Fatalf("%v: %v", r.Status, r.Err())
	}
	truth = append(truth, 4e4, 6e4, 300, 2)
	for i, v := range append(r.P, r.C...) {
		if z := (v - truth[i]) / r.SD[i]; math.Abs(z) > 4 {
			t.Errorf("%s = %g ± %g, drawn with %g (%.1f standard uncertainties)", r.Name(i), v, r.SD[i], truth[i], z)
		}
		t.Logf("%-10s %10.4g ± %-8.2g drawn with %g", r.Name(i), v, r.SD[i], truth[i])
	}
	mean, variance := ExpectedDeviance(r.F)
	t.Logf("deviance %.1f, expected %.1f ± %.1f less %d; %d steps, %d evaluations, distance %.0e", r.Objective, mean, math.Sqrt(variance), r.N-r.DOF,
		r.Iterations, r.Evaluations, r.Distance)
	if z := (r.Objective - mean + float64(r.N-r.DOF)) / math.Sqrt(variance); math.Abs(z) > 4 {
		t.Errorf("deviance %g, expected %g: %.1f standard deviations", r.Objective, mean, z)
	}
}

func BenchmarkDecay(b *testing.B) {
	for _, c := range []struct {
		name  string
		tau   []float64
		c     []float64
		start []float64
	}{
		{"one", []float64{400}, []float64{1e6, 300, 5}, []float64{250, 0}},
		{"two", []float64{250, 1000}, []float64{1e6, 1e6, 300, 5}, []float64{150, 1300, 0}},
		{"three", []float64{80, 400, 1200}, []float64{1e6, 1e6, 1e6, 300, 5}, []float64{40, 300, 1500, 0}},
	} {
		b.Run(c.name, func(b *testing.B) {
			p, _ := decayProblem(4096, c.tau, c.c, 2.3, 3)
			var r Result
			w := NewWorkspace()
			b.ReportAllocs()
			for b.Loop() {
				if err := w.FitSeparable(&r, p, c.start); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(r.Iterations), "steps")
			b.ReportMetric(float64(r.Evaluations), "evals")
		})
	}
}
