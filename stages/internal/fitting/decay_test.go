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

// A background of a thousandth of a count a channel, and none at all before
// the pulse: the expected curvature grows as it falls, and steps by that alone
// take two hundred rounds to find it again.
func TestSmallBackgroundDoesNotCreep(t *testing.T) {
	p, _ := decayProblem(1024, []float64{202.5632332288003}, []float64{93.15238001564727, 0.01565580421782897, 0.0017279644176333019}, 0.912015240930815, 441)
	var r Result
	if err := NewWorkspace().FitSeparable(&r, p, []float64{264.0748957167692, 0}); err != nil {
		t.Fatal(err)
	}
	// From another start, by the plain way through all parameters at once.
	model := wholeDecay{p.Blocks[0].Basis.(*decayBasis), make([]float64, 1024*3)}
	var plain Result
	whole := &Problem{Model: model, Estimator: Poisson, Y: p.Blocks[0].Y, Parameters: Parameters{Lower: []float64{1, -20, 0, 0, 0}}}
	if err := NewWorkspace().Fit(&plain, whole, []float64{200, 2, 80, 1, 0.01}); err != nil {
		t.Fatal(err)
	}
	if math.Abs(r.Objective-plain.Objective) > 1e-6 {
		t.Errorf("deviance %.9g, by the plain fit %.9g", r.Objective, plain.Objective)
	}
	near(t, "tau", r.P[0], plain.P[0], 1e-5)
	near(t, "background", r.C[2], plain.P[4], 1e-3)
	if r.Iterations > 60 {
		t.Errorf("%d steps", r.Iterations)
	}
	t.Logf("%v %v, %d steps; plain: %v, %d steps", r.P, r.C, r.Iterations, plain.P, plain.Iterations)
}

// wholeDecay is a decayBasis of one exponential with all five parameters as
// one model: τ, shift, a, scatter, background.
type wholeDecay struct {
	*decayBasis
	phi []float64
}

func (d wholeDecay) Values(f, p []float64) {
	d.Curves(d.phi, p[:2])
	for i := range f {
		f[i] = p[2]*d.phi[i] + p[3]*d.phi[d.n+i] + p[4]
	}
}

func (d wholeDecay) Jacobian(jac, p []float64) {
	d.decayBasis.Jacobian(jac[:2*d.n], p[:2], p[2:])
	copy(jac[2*d.n:], d.phi)
}

// Decays of every size, from three hundred counts to a million, from starts
// that are off by half: each ends at a minimum, where the slopes of what is
// free are 0 and those of what is held at 0 point down.
func TestDecaysEndAtMinima(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	w := NewWorkspace()
	held, most := 0, 0
	for n := range 90 {
		k, channels := 1+n%3, []int{256, 1024}[rng.IntN(2)]
		total := math.Pow(10, 2.5+3.5*rng.Float64())
		tau, c, start := make([]float64, k), make([]float64, k+2), make([]float64, k+1)
		for j := range tau {
			tau[j] = float64(channels) / 4 * math.Pow(4, -float64(j)) * (0.7 + 0.6*rng.Float64())
			c[j] = total / float64(channels) * 40 * (0.2 + rng.Float64())
			start[j] = tau[j] * math.Exp(rng.NormFloat64()*0.5)
		}
		c[k], c[k+1] = total/float64(channels)*rng.Float64()*0.1, total/float64(channels)*rng.Float64()*0.1
		p, _ := decayProblem(channels, tau, c, rng.Float64(), uint64(n))
		var r Result
		if err := w.FitSeparable(&r, p, start); err != nil {
			t.Errorf("decay %d: %v", n, err)
			continue
		}
		most = max(most, r.Iterations)
		b := p.Blocks[0]
		phi, jac := make([]float64, channels*(k+2)), make([]float64, channels*(k+1))
		b.Basis.Curves(phi, r.P)
		b.Basis.Jacobian(jac, r.P, r.C)
		for j := range k + 1 + k + 2 {
			col := append(jac, phi...)[j*channels : (j+1)*channels]
			slope, size, curvature := 0.0, 0.0, 0.0
			for i, m := range r.F {
				if m > 0 {
					slope += col[i] * (b.Y[i]/m - 1)
					size += math.Abs(col[i])
					curvature += col[i] * col[i] / m
				}
			}
			at := r.Bounds[j]
			if at != 0 {
				held++
			}
			// In expected counts, or in standard uncertainties.
			if small := 1e-5*size + 1e-6*math.Sqrt(curvature); at == 0 && math.Abs(slope) > small || at < 0 && slope > small || at > 0 && slope < -small {
				t.Errorf("decay %d (%v): slope of %s = %g is %g of %g, bound %d", n, r.Status, r.Name(j), append(r.P, r.C...)[j], slope, size, at)
			}
		}
	}
	t.Logf("%d parameters at bounds, %d steps at most", held, most)
	if held == 0 {
		t.Error("no parameter ended at a bound: this was to try that, too")
	}
}
