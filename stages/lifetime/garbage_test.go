package lifetime

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

// Whatever is counted, a fit ends, and what it gives is a number or none: never an infinity, and no uncertainty of a number that is none.
func TestAnyCounts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(15, 400).Draw(t, "channels")
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 3))
		kind := rapid.SampledFrom([]string{"flat", "few", "one channel", "spikes", "step", "rise", "huge", "random"}).Draw(t, "counts")
		counts := make([]float64, n)
		for k := range counts {
			switch kind {
			case "flat":
				counts[k] = 5
			case "few":
				counts[k] = poisson(r, 0.02)
			case "one channel":
				if k == n/2 {
					counts[k] = 1000
				}
			case "spikes":
				if r.IntN(20) == 0 {
					counts[k] = poisson(r, 500)
				}
			case "step":
				if k > n/3 {
					counts[k] = 100
				}
			case "rise":
				counts[k] = float64(k)
			case "huge":
				counts[k] = math.Floor(1e12 * math.Exp(-float64(k)/50))
			case "random":
				counts[k] = math.Floor(1000 * r.Float64())
			}
		}
		p := &Problem{Counts: counts, Last: n - 1, Terms: rapid.IntRange(1, 4).Draw(t, "terms"), Background: Fixable{Hi: math.Inf(1)}, Scatter: Fixable{Fixed: true},
			FreeAmplitudes: rapid.Bool().Draw(t, "free amplitudes")}
		switch rapid.SampledFrom([]string{"none", "one channel", "wide", "noise"}).Draw(t, "response") {
		case "one channel":
			y := make([]float64, n)
			y[n/3] = 100
			useOrDie(t, p, y)
		case "wide":
			y := make([]float64, n)
			for k := range y {
				y[k] = 1e4 * math.Exp(-math.Pow(float64(k-n/3)/6, 2))
			}
			useOrDie(t, p, y)
		case "noise":
			y := make([]float64, n)
			for k := range y {
				y[k] = 1 + poisson(r, 3)
			}
			useOrDie(t, p, y)
		}
		if rapid.Bool().Draw(t, "scatter") && p.Response != nil {
			p.Scatter = Fixable{Hi: math.Inf(1)}
		}
		if rapid.Bool().Draw(t, "period") {
			p.Period = float64(n) + 1.5
		}
		if rapid.Bool().Draw(t, "background fixed") {
			p.Background = Fixable{Fixed: true, Value: rapid.SampledFrom([]float64{0, 3}).Draw(t, "background")}
		}
		var w Workspace
		var s Solution
		if err := w.Fit(&s, p, nil); err != nil {
			return // nothing to fit
		}
		if s.Status == NotConverged {
			return
		}
		if math.IsNaN(s.Objective) || math.IsInf(s.Objective, 0) {
			t.Fatalf("objective %v", s.Objective)
		}
		for _, x := range s.Numbers(p, 0.1) {
			if math.IsInf(x.Value, 0) || math.IsInf(x.U, 0) || math.IsNaN(x.Value) && !math.IsNaN(x.U) {
				t.Fatalf("%s = %v ± %v (%+v)", x.Name, x.Value, x.U, s)
			}
		}
	})
}

func useOrDie(t *rapid.T, p *Problem, y []float64) {
	r, err := PrepareResponse(y, -1)
	if err != nil {
		t.Fatal(err)
	}
	p.Use(r)
	p.Shift = Fixable{Lo: -5*r.Width - 5, Hi: 5*r.Width + 5}
}
