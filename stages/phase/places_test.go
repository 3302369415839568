package phase

import (
	"errors"
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

func TestTurningPoints(t *testing.T) {
	for _, c := range []struct {
		name  string
		y     []float64
		least float64
		want  []int
	}{
		{"flat", []float64{1, 0.99, 1, 0.98}, 0.1, nil},
		{"falls", []float64{1, 1.01, 0.5, 0.1, 0.12}, 0.1, []int{1, 3}},
		{"rises", []float64{0.1, 0.05, 0.5, 0.9}, 0.1, []int{1, 3}},
		{"window", []float64{0.9, 1, 0.5, 0.1, 0.5, 0.95, 0.94}, 0.1, []int{1, 3, 5}},
		{"two windows", []float64{1, 0.1, 0.9, 0.2, 1}, 0.3, []int{0, 1, 2, 3, 4}},
		{"a dent within", []float64{1, 0.1, 0.25, 0.05, 1}, 0.3, []int{0, 3, 4}},
		{"one place", []float64{1}, 0.1, nil},
		{"just enough", []float64{1, 0.5}, 0.5, []int{0, 1}},
	} {
		t.Run(c.name, func(t *testing.T) {
			if d := cmp.Diff(c.want, turningPoints(c.y, c.least)); d != "" {
				t.Errorf("(-want +got)\n%s", d)
			}
		})
	}
}

func TestFewer(t *testing.T) {
	y := []float64{1, 0.1, 0.5, 0, 0.95, 0.6}
	turns := []int{0, 1, 2, 3, 4, 5}
	for _, want := range [][]int{{0, 1, 2, 3, 4}, {0, 3, 4}, {0, 3}, nil} { // changes of 0.35, 0.4, 0.95 are the smallest in turn
		turns = fewer(y, turns)
		if d := cmp.Diff(want, turns); d != "" {
			t.Fatalf("(-want +got)\n%s", d)
		}
	}
}

// Sharp steps against all ways to place them.
func TestCutsAgainstEnumeration(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(4, 9).Draw(t, "n")
		y := rapid.SliceOfN(rapid.Float64Range(0, 1), n, n).Draw(t, "y")
		u := rapid.SliceOfN(rapid.Float64Range(0.01, 1), n, n).Draw(t, "u")
		s, err := newSeries(grid(0, 1, n), y, u, nil, nil)
		if err != nil {
			t.Fatal(err)
		}
		turns := turningPoints(s.tp, 0.3)
		if len(turns) < 2 {
			return
		}
		squares := func(cuts []int) float64 {
			total, from := 0.0, 0
			for _, c := range append(append([]int(nil), cuts...), n-1) {
				var w, m, q float64
				for i := from; i <= c; i++ {
					w, m = w+1/(u[i]*u[i]), m+y[i]/(u[i]*u[i])
				}
				for i := from; i <= c; i++ {
					q += (y[i] - m/w) * (y[i] - m/w) / (u[i] * u[i])
				}
				total, from = total+q, c+1
			}
			return total
		}
		least := math.Inf(1)
		var all func(j int, cuts []int)
		all = func(j int, cuts []int) {
			if j == len(turns)-1 {
				least = math.Min(least, squares(cuts))
				return
			}
			for c := turns[j]; c < turns[j+1]; c++ {
				all(j+1, append(cuts[:j:j], c))
			}
		}
		all(0, nil)
		if got := squares(s.cuts(turns)); got > least*(1+1e-9)+1e-9 {
			t.Fatalf("%g, where %g is possible", got, least)
		}
	})
}

func TestPlaces(t *testing.T) {
	s, err := newSeries([]float64{3, 1, 2, 1}, []float64{0.3, 0.1, 0.2, 0.4}, []float64{1, 1, 1, 2}, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff([]float64{1, 2, 3}, s.zp); d != "" {
		t.Error(d)
	}
	if want := (0.1 + 0.4/4) / 1.25; s.tp[0] != want { // weights 1 and 1/4
		t.Errorf("mean %g, want %g", s.tp[0], want)
	}
	if d := cmp.Diff([]int{1, 3, 2, 0}, s.order); d != "" {
		t.Error(d)
	}
	if _, err := newSeries([]float64{1, 1}, []float64{0, 1}, nil, nil, nil); !errors.Is(err, ErrShort) {
		t.Errorf("one place: %v", err)
	}
	if _, err := newSeries([]float64{1, 2}, []float64{0, 1}, nil, []int{0, 1, 2}, []int{1, 1, 1}); !errors.Is(err, ErrOrder) {
		t.Errorf("another series: %v", err)
	}
}
