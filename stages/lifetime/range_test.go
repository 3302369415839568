package lifetime

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat"
)

func TestEvenAxis(t *testing.T) {
	rounded := make([]float64, 500) // two digits of channels of 0.0256 ns
	for k := range rounded {
		rounded[k] = math.Round(100*float64(k)*0.0256) / 100
	}
	a, err := EvenAxis(rounded)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "width", a.Width, 0.0256, 1e-3)
	for _, c := range []struct {
		name string
		t    []float64
		want string
	}{
		{"falling", []float64{3, 2, 1, 0}, "does not rise"},
		{"two channels", []float64{0, 1}, "at least 3"},
		{"logarithmic", []float64{1, 2, 4, 8, 16}, "not of equal width"},
		{"a gap", []float64{0, 1, 2, 7, 8, 9}, "not of equal width"},
	} {
		if _, err := EvenAxis(c.t); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want an error with %q", c.name, err, c.want)
		}
	}
}

func TestWithin(t *testing.T) {
	a := Axis{Start: -1, Width: 0.1}
	for _, c := range []struct {
		lo, hi      float64
		first, last int
	}{
		{-1, 1, 0, 20}, {-0.95, 0.05, 1, 10}, {0.3, 0.3, 13, 13}, {math.Inf(-1), math.Inf(1), 0, 49}, {7, 8, 50, 49}, {-9, -8, 0, -1}, {0.31, 0.39, 14, 13},
	} {
		if first, last := a.Within(c.lo, c.hi, 50); first != c.first || last != c.last {
			t.Errorf("%g to %g: channels %d to %d, want %d to %d", c.lo, c.hi, first, last, c.first, c.last)
		}
	}
}

func TestRecorded(t *testing.T) {
	r := rand.New(rand.NewPCG(61, 1))
	decay := func(quiet, dead, background int) []float64 {
		var c []float64
		for range quiet {
			c = append(c, poisson(r, float64(background)+1e-9))
		}
		for k := range 600 {
			c = append(c, poisson(r, 2000*math.Exp(-float64(k)/60)+float64(background)+1e-9))
		}
		return append(c, make([]float64, dead)...)
	}
	for _, c := range []struct {
		name        string
		counts      []float64
		first, last int // −1: any
	}{
		{"all", decay(100, 0, 5), 0, 699},
		{"the counter stopped early", decay(100, 80, 5), 0, 699},
		{"no background: zeros are counts", decay(100, 0, 0), 0, 699},
		{"the counter began late", append(make([]float64, 40), decay(200, 0, 5)...), 40, 839},
		{"no counts", make([]float64, 50), 0, 49},
	} {
		if first, last := Recorded(c.counts); first != c.first || last != c.last {
			t.Errorf("%s: channels %d to %d, want %d to %d", c.name, first, last, c.first, c.last)
		}
	}
}

// A tail begins where nothing of the response is left: against the closed form the ratio to a plain exponential has then settled.
func TestTail(t *testing.T) {
	d := truth{n: 2000, mu: 200, sigma: 10, tau: []float64{300}, amp: []float64{50000}, background: 0}
	m := d.means()
	counts := make([]float64, len(m))
	for k := range m {
		counts[k] = math.Round(m[k])
	}
	rise := RiseOf(counts, 0, len(counts)-1)
	from := rise.From
	if rise.Half < 195 || rise.Half > 205 {
		t.Errorf("half of the rise at %.2f, want it where the response is, at 200", rise.Half)
	}
	late := m[1500] * math.Exp(1500./300)
	if ratio := m[from] * math.Exp(float64(from)/300) / late; math.Abs(ratio-1) > 1e-3 {
		t.Errorf("at channel %d the decay has still %.4f of its exponential", from, ratio)
	}
	if r := RiseOf([]float64{9, 8, 7, 6, 5, 4, 3, 2, 1}, 0, 8); r.Half != 0 || r.From > 2 || r.Took != 0 {
		t.Errorf("without a rise: %+v", r)
	}
}

// Amplitudes of a tail are given at half of the rise, which noise must hardly move: by far less than it moves the highest channel.
func TestRiseInNoise(t *testing.T) {
	r := rand.New(rand.NewPCG(53, 1))
	d := truth{n: 1000, mu: 200, sigma: 4, tau: []float64{300}, amp: []float64{500}, background: 20}
	m := d.means()
	var half, top []float64
	for range 100 {
		counts := d.draw(r, m)
		rise := RiseOf(counts, 0, len(counts)-1)
		half, top = append(half, rise.Half), append(top, float64(rise.From-rise.Took))
	}
	spread := func(x []float64) float64 { return stat.StdDev(x, nil) }
	if mean := stat.Mean(half, nil); spread(half) > 0.5 || math.Abs(mean-200) > 1 {
		t.Errorf("half of the rise at %.2f ± %.2f, want 200 ± 0.5 at most", mean, spread(half))
	}
	if spread(top) < 2 {
		t.Errorf("the highest channel scatters by %.2f alone: the case shows nothing", spread(top))
	}
}

// A Gaussian with a background: width 2√(2·ln 2)·σ.
func TestPrepareResponse(t *testing.T) {
	y := make([]float64, 400)
	for j := range y {
		z := (float64(j) - 120.3) / 6
		y[j] = 5000*math.Exp(-z*z/2) + 7
	}
	r, err := PrepareResponse(y, -1)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "width", r.Width, 2*math.Sqrt(2*math.Ln2)*6, 5e-3)
	near(t, "middle", r.Middle, 120.3, 1e-4)
	near(t, "rise", r.Rise, 120.3-math.Sqrt(2*math.Ln2)*6, 1e-3)
	near(t, "background", r.Background, 7, 1e-4)
	near(t, "counts", r.Counts, 5000*6*math.Sqrt(2*math.Pi), 1e-5)
	sum := 0.0
	for _, v := range r.Shape {
		sum += v
	}
	near(t, "norm", sum, 1, 1e-12)
	again, err := PrepareResponse(y, 20)
	if err != nil || again.Quiet != 20 {
		t.Errorf("with the quiet channels given: %v, %v", again, err)
	}
	for name, y := range map[string][]float64{"no number": {1, math.NaN(), 3}, "no counts": make([]float64, 30), "two channels": {1, 2}} {
		if _, err := PrepareResponse(y, -1); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

// By hand: (1, −1, 1, −1) has 1, −1, 1, −1; and residuals at random have nothing beyond lag 0.
func TestAutocorrelation(t *testing.T) {
	var c [4]float64
	Autocorrelation(c[:], []float64{1, -1, 1, -1})
	if c != [4]float64{1, -1, 1, -1} {
		t.Errorf("%v", c)
	}
	r := rand.New(rand.NewPCG(62, 1))
	v := make([]float64, 10000)
	for k := range v {
		v[k] = r.NormFloat64()
	}
	var d [50]float64
	Autocorrelation(d[:], v)
	for j, x := range d[1:] {
		if math.Abs(x) > 4.5/100 {
			t.Errorf("lag %d: %g", j+1, x)
		}
	}
}
