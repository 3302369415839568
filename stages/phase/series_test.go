package phase

import (
	"math"
	"math/rand/v2"
)

// truth is a series of logistic steps of known middles and widths.
type truth struct {
	levels, middles []float64
	s               []float64 // widths, in z
	log             bool
}

func (tr truth) at(x float64) float64 {
	z := x
	if tr.log {
		z = math.Log(x)
	}
	y := tr.levels[0]
	for j, m := range tr.middles {
		if tr.log {
			m = math.Log(m)
		}
		y += (tr.levels[j+1] - tr.levels[j]) / (1 + math.Exp(-(z-m)/tr.s[j]))
	}
	return y
}

// draw gives the series at places x with noise u (rng nil: none), and u.
func (tr truth) draw(x []float64, u float64, rng *rand.Rand) (t, ut []float64) {
	t, ut = make([]float64, len(x)), make([]float64, len(x))
	for i := range x {
		t[i], ut[i] = tr.at(x[i]), u
		if rng != nil {
			t[i] += u * rng.NormFloat64()
		}
	}
	return t, ut
}

// grid gives n places at equal distances.
func grid(from, to float64, n int) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = from + (to-from)*float64(i)/float64(n-1)
	}
	return x
}

// same gives n equal numbers.
func same(v float64, n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = v
	}
	return out
}

var (
	windowTruth = truth{levels: []float64{0.98, 0.10, 0.97}, middles: []float64{0.42, 0.66}, s: []float64{0.02, 0.03}}
	steepTruth  = truth{levels: []float64{0.98, 0.10, 0.97}, middles: []float64{0.42, 0.66}, s: []float64{0.001, 0.001}}
	singleTruth = truth{levels: []float64{0.98, 0.10, 0.97}, middles: []float64{0.405, 0.66}, s: []float64{0.004, 0.03}}
)
