package lifetime

import (
	"math"
	"math/rand/v2"
	"testing"

	"fascicle/stages/internal/fitting"
)

// photon draws when a photon is counted: a lifetime, and what a detector with a tail adds, in channels.
func photon(r *rand.Rand, tau, place float64) float64 {
	t := place + 1.6*r.NormFloat64()
	if r.Float64() < 0.25 {
		t += 6 * r.ExpFloat64()
	}
	if tau > 0 {
		t += tau * r.ExpFloat64()
	}
	return t
}

// histogram counts about n photons in channels, those from k to k+1 in channel k; background is spread evenly over all channels.
func histogram(r *rand.Rand, channels, n int, draw func() float64, background float64) []float64 {
	c := make([]float64, channels)
	for range int(poisson(r, float64(n))) {
		if t := draw(); t >= 0 && t < float64(channels) {
			c[int(t)]++
		}
	}
	for range int(poisson(r, background*float64(channels))) {
		c[r.IntN(channels)]++
	}
	return c
}

// manyPhotons fits decays and responses that are both histograms of single photons, as a counter makes them, with a response that is narrow
// (4 channels) and has a tail: nothing of the model is in the simulation, neither convolution nor spline.
func manyPhotons(t *testing.T, draws, photons int, ratio float64) {
	t.Helper()
	r := rand.New(rand.NewPCG(51, 1))
	const channels, short, long, share = 1024, 22.0, 130.0, 0.6 // share of the amplitude
	light := share * short / (share*short + (1-share)*long)
	sum := map[string]float64{}
	square := map[string]float64{}
	deviances := 0.0
	var w Workspace
	var s Solution
	for range draws {
		place := 60 + r.Float64()
		shift := r.Float64() - 0.5
		response := histogram(r, channels, int(ratio*float64(photons)), func() float64 { return photon(r, 0, place) }, 2)
		counts := histogram(r, channels, photons, func() float64 {
			tau := long
			if r.Float64() < light {
				tau = short
			}
			return photon(r, tau, place+shift)
		}, 3)
		res, err := PrepareResponse(response, -1)
		if err != nil {
			t.Fatal(err)
		}
		p := &Problem{Counts: counts, Last: channels - 1, Terms: 2, Shift: Fixable{Lo: -50, Hi: 50}, Background: Fixable{Hi: math.Inf(1)}, Scatter: Fixable{Fixed: true}}
		p.Use(res)
		if err := w.Fit(&s, p, nil); err != nil || s.Status != Converged {
			t.Fatal(err, s.Status)
		}
		variance := make([]float64, channels)
		for j, y := range response {
			variance[j] = y / (res.Counts * res.Counts)
		}
		extra := w.ResponseNoise(&s, p, variance, res.Quiet)
		want := map[string]float64{"tau_1": short, "tau_2": long, "share_1": share, "tau_amplitude": share*short + (1-share)*long, "shift": shift, "background": 3}
		for _, x := range s.Numbers(p, 1) {
			if v, ok := want[x.Name]; ok {
				z := (x.Value - v) / x.U
				sum[x.Name] += z
				square[x.Name] += z * z
			}
		}
		e, v := fitting.ExpectedDeviance(w.mean)
		deviances += (s.Objective - e + float64(s.Free) - extra) / math.Sqrt(v+4*extra+2*extra*extra/p.Width)
	}
	n := float64(draws)
	for name := range square {
		mean, spread := sum[name]/n, square[name]/n
		if math.Abs(mean) > 4/math.Sqrt(n) || spread > 1+4*math.Sqrt(2/n) || spread < 1-4*math.Sqrt(2/n) {
			t.Errorf("%s: z of mean %.3f ± %.3f and mean square %.3f ± %.3f, want 0 and 1", name, mean, 1/math.Sqrt(n), spread, math.Sqrt(2/n))
		}
	}
	if z := deviances / math.Sqrt(n); math.Abs(z) > 4 {
		t.Errorf("deviance: z of all together %.2f", z)
	}
}

func TestPhotons(t *testing.T) { manyPhotons(t, 12, 20000, 10) }

// The noise of a response that has as few counts as the decay is part of u, and of what is expected of the deviance.
func TestPhotonsOfAFaintResponse(t *testing.T) { manyPhotons(t, 60, 20000, 1) }

// A response of few counts over dark counts: most of its noise is in channels without light. Its mean level is taken off with its own noise,
// which the background of the decay takes up: neither may count as scatter, and nothing else may be missing.
func TestPhotonsOfADarkResponse(t *testing.T) { manyPhotons(t, 16, 100000, 0.2) }

// What noise of the response does to the means, against its response made ready again with a count more in one channel after the other, and
// the model worked out from that by convolution: Σ_kj W_k·(Δm_k)²·var r_j.
func TestScatterOfMeans(t *testing.T) {
	r := rand.New(rand.NewPCG(52, 1))
	const channels = 200
	y := histogram(r, channels, 4000, func() float64 { return photon(r, 0, 40) }, 1)
	for _, scatter := range []float64{0, 2000} {
		counts := histogram(r, channels, 40000, func() float64 { return photon(r, 30, 40.3) }, 2)
		res, err := PrepareResponse(y, -1)
		if err != nil || res.Quiet == 0 {
			t.Fatal(err, res.Quiet)
		}
		p := &Problem{Counts: counts, Last: channels - 1, Terms: 1, Shift: Fixable{Lo: -50, Hi: 50}, Background: Fixable{Hi: math.Inf(1)}, Scatter: Fixable{Fixed: true, Value: scatter}}
		p.Use(res)
		var w Workspace
		var s Solution
		if err := w.Fit(&s, p, nil); err != nil || s.Status != Converged {
			t.Fatal(err, s.Status)
		}
		base, weight := append([]float64(nil), w.mean...), append([]float64(nil), w.weight...)
		variance := res.Variance(y, nil)
		off := float64(p.First) + p.Offset - s.Shift
		got := w.scatterOfMeans(p, &s, make([]float64, channels), make([]float64, channels+1), off, variance, res.Quiet)
		want := 0.0
		for j := range y {
			more := append([]float64(nil), y...)
			more[j]++
			other, err := PrepareResponse(more, res.Quiet)
			if err != nil {
				t.Fatal(err)
			}
			q := *p
			q.Use(other)
			w.evaluate(&q, &s.theta)
			for k, m := range w.mean {
				want += weight[k] * (m - base[k]) * (m - base[k]) * y[j]
			}
		}
		// the curve between channels makes the difference: the formula has counts at the channels' middles alone
		if math.Abs(got/want-1) > 0.05 {
			t.Errorf("scattered light %g: %.5g, by differences %.5g", scatter, got, want)
		}
	}
}
