package correction

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"fascicle/stages/importing"
)

var nan = math.NaN()

func same(a, b []float64, tol float64) bool {
	return slices.EqualFunc(a, b, func(x, y float64) bool {
		return math.IsNaN(x) && math.IsNaN(y) || math.Abs(x-y) <= tol
	})
}

func TestSubtract(t *testing.T) {
	bx, by, bu := []float64{1, 2, 4}, []float64{10, 20, 40}, []float64{3, 4, 12}
	down := func(s []float64) []float64 { c := slices.Clone(s); slices.Reverse(c); return c }
	for _, c := range []struct {
		name                               string
		x, y, u                            []float64
		scale                              float64
		wantY, wantU                       []float64
		outside, missing, matched, between int
	}{
		{"on the points", []float64{1, 2, 4}, []float64{100, 100, 100}, []float64{4, 3, 5}, 1, []float64{90, 80, 60}, []float64{5, 5, 13}, 0, 0, 3, 0},
		{"scale", []float64{1, 2}, []float64{100, 100}, []float64{8, 6}, 2, []float64{80, 60}, []float64{10, 10}, 0, 0, 2, 0},
		// w1 = w2 = 1/2: u² = 1 + (16 + 144)/4 = 41; w = 3/4, 1/4: 9 + 9 = 18.
		{"between", []float64{3, 2.5}, []float64{100, 100}, []float64{1, 0}, 1, []float64{70, 75}, []float64{math.Sqrt(41), math.Sqrt(18)}, 0, 0, 0, 2},
		{"negative scale", []float64{3}, []float64{0}, []float64{1}, -1, []float64{30}, []float64{math.Sqrt(41)}, 0, 0, 0, 1},
		{"nothing extrapolated", []float64{0.5, 1, 4, 4.5}, []float64{1, 10, 40, 1}, []float64{4, 4, 5, 4}, 1, []float64{nan, 0, 0, nan}, []float64{nan, 5, 13, nan}, 2, 0, 2, 0},
		{"rounded ends", []float64{1 - 1e-9, 4 + 1e-9}, []float64{10, 40}, []float64{4, 5}, 1, []float64{0, 0}, []float64{5, 13}, 0, 0, 2, 0},
		{"just beyond the rounding", []float64{1 - 1.1e-6, 4 + 2.1e-6, 2}, []float64{10, 40, 20}, []float64{4, 5, 3}, 1, []float64{nan, nan, 0}, []float64{nan, nan, 5}, 2, 0, 1, 0},
		{"missing in the curve", []float64{1, nan, 2}, []float64{nan, 1, 20}, []float64{1, 1, 3}, 1, []float64{nan, nan, 0}, []float64{nan, nan, 5}, 0, 2, 1, 0},
		{"missing u of a point", []float64{1, 2}, []float64{10, 20}, []float64{nan, -1}, 1, []float64{0, 0}, []float64{nan, nan}, 0, 0, 2, 0},
		{"any order", []float64{4, 1, 3, 2}, []float64{40, 10, 30, 20}, []float64{5, 4, 1, 3}, 1, []float64{0, 0, 0, 0}, []float64{13, 5, math.Sqrt(41), 5}, 0, 0, 3, 1},
	} {
		for _, fall := range []bool{false, true} {
			name, x, y, u := c.name, bx, by, bu
			if fall {
				name, x, y, u = name+", background falls", down(bx), down(by), down(bu)
			}
			t.Run(name, func(t *testing.T) {
				r, err := Subtract(c.x, c.y, c.u, x, y, u, c.scale)
				if err != nil {
					t.Fatal(err)
				}
				if !same(r.Y, c.wantY, 1e-12) || !same(r.U, c.wantU, 1e-12) {
					t.Errorf("got %v, %v\nwant %v, %v", r.Y, r.U, c.wantY, c.wantU)
				}
				if r.Outside != c.outside || r.Missing != c.missing || r.Matched != c.matched || r.Between != c.between {
					t.Errorf("outside %d, missing %d, matched %d, between %d", r.Outside, r.Missing, r.Matched, r.Between)
				}
			})
		}
	}
}

func TestSubtractMissingBackground(t *testing.T) {
	r, err := Subtract([]float64{1, 1.5, 2, 2.5, 3, 3.5}, make([]float64, 6), make([]float64, 6), []float64{1, 2, 3, 4}, []float64{1, nan, 3, 4}, []float64{1, 1, nan, 1}, 1)
	if err != nil {
		t.Fatal(err)
	}
	if !same(r.Y, []float64{-1, nan, nan, nan, -3, -3.5}, 0) || !same(r.U, []float64{1, nan, nan, nan, nan, nan}, 0) || r.Missing != 3 {
		t.Errorf("%v %v, missing %d", r.Y, r.U, r.Missing)
	}
	if r.First != 0 || r.Last != 5 || r.Coverage != [2]float64{1, 4} {
		t.Errorf("first %d, last %d, coverage %v", r.First, r.Last, r.Coverage)
	}
}

func TestSubtractUnknownU(t *testing.T) {
	x := []float64{1, 2}
	for name, us := range map[string][2][]float64{"curve": {nil, x}, "background": {x, nil}, "both": {nil, nil}} {
		if r, err := Subtract(x, x, us[0], x, x, us[1], 1); err != nil || r.U != nil || !same(r.Y, []float64{0, 0}, 0) {
			t.Errorf("u of %s unknown: %+v, %v", name, r, err)
		}
	}
}

func TestSubtractErrors(t *testing.T) {
	x := []float64{1, 2, 3}
	for _, c := range []struct {
		name  string
		bx    []float64
		scale float64
		want  error
	}{
		{"turning background", []float64{1, 3, 2}, 1, ErrBackgroundAxis},
		{"duplicate in the background", []float64{1, 2, 2}, 1, ErrBackgroundAxis},
		{"missing in the background's axis", []float64{1, nan, 2}, 1, ErrBackgroundAxis},
		{"no overlap", []float64{7, 8, 9}, 1, ErrNoOverlap},
		{"no scale", x, nan, ErrScale},
		{"infinite scale", x, math.Inf(1), ErrScale},
	} {
		t.Run(c.name, func(t *testing.T) {
			if _, err := Subtract(x, x, x, c.bx, c.bx, c.bx, c.scale); !errors.Is(err, c.want) {
				t.Errorf("%v, want %v", err, c.want)
			}
		})
	}
	if _, err := Subtract(x, x, x, nil, nil, nil, 1); !errors.Is(err, ErrNoOverlap) {
		t.Errorf("empty background: %v", err)
	}
}

// A straight background is taken off exactly wherever the points lie, and the
// order of the curve does not matter.
func TestSubtractStraightBackground(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 20).Draw(t, "background points")
		var bx, by, bu []float64
		at := rapid.Float64Range(-5, 5).Draw(t, "start")
		a, b := rapid.Float64Range(-3, 3).Draw(t, "a"), rapid.Float64Range(-3, 3).Draw(t, "b")
		for range n {
			bx, by, bu = append(bx, at), append(by, a+b*at), append(bu, rapid.Float64Range(0, 2).Draw(t, "bu"))
			at += rapid.Float64Range(0.01, 2).Draw(t, "step")
		}
		xs := rapid.SliceOfN(rapid.Float64Range(-8, 50), 1, 30).Draw(t, "x")
		y, u := make([]float64, len(xs)), make([]float64, len(xs))
		r, err := Subtract(xs, y, u, bx, by, bu, 1.5)
		if errors.Is(err, ErrNoOverlap) {
			for _, x := range xs {
				if x >= bx[0] && x <= bx[n-1] {
					t.Fatalf("%v lies within", x)
				}
			}
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		most := slices.Max(bu)
		for i, x := range xs {
			if in := x >= bx[0] && x <= bx[n-1]; in == math.IsNaN(r.Y[i]) && math.Abs(x-bx[0]) > 1e-5 && math.Abs(x-bx[n-1]) > 1e-5 {
				t.Fatalf("x %v within %v to %v: %v, result %v", x, bx[0], bx[n-1], in, r.Y[i])
			}
			if math.IsNaN(r.Y[i]) {
				continue
			}
			// A point that counts as lying on another moves by 1e-6 of a step.
			if math.Abs(r.Y[i]+1.5*(a+b*x)) > 1e-5 || r.U[i] > 1.5*most+1e-12 {
				t.Fatalf("x %v: %v(%v), want %v, u at most %v", x, r.Y[i], r.U[i], -1.5*(a+b*x), 1.5*most)
			}
		}
		if r.Outside+r.Missing+r.Matched+r.Between != len(xs) {
			t.Fatalf("counts: %+v", r)
		}
	})
}

// Averaged lysozyme less averaged buffer is the subtracted curve that the data
// set publishes (BioStruct-UdeM, lysozyme SAXS tutorial data), sigma in
// quadrature.
func TestSubtractLysozyme(t *testing.T) {
	dir := os.Getenv("FASCICLE_OPEN_DATA")
	if dir == "" {
		t.Skip("FASCICLE_OPEN_DATA is not set")
	}
	read := func(name string) [][]float64 {
		data, err := os.ReadFile(filepath.Join(dir, "scattering", name))
		if err != nil {
			t.Fatal(err)
		}
		text, err := importing.ParseText(data)
		if err != nil {
			t.Fatal(err)
		}
		return text.Columns
	}
	s, b, want := read("lys8_averaged.dat"), read("lys_buffer_averaged.dat"), read("lys8_subtracted.dat")
	r, err := Subtract(s[0], s[1], s[2], b[0], b[1], b[2], 1)
	if err != nil {
		t.Fatal(err)
	}
	if len(want[0]) != 430 || r.Matched != 430 || !slices.Equal(want[0], s[0]) {
		t.Fatalf("%d of %d points matched", r.Matched, len(want[0]))
	}
	// In decimal the printed digits differ by exactly 1e-10 at two points, from
	// their rounding, and by less elsewhere; 1e-16 is for the binary difference.
	if !same(r.Y, want[1], 1e-10+1e-16) {
		t.Error("intensities differ from the published ones by more than 1e-10")
	}
	if !same(r.U, want[2], 1e-12) {
		t.Error("uncertainties differ from the published ones by more than 1e-12")
	}
}

func BenchmarkSubtract(b *testing.B) {
	n := 500
	x, bx, y := make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range x {
		x[i], bx[i], y[i] = float64(i), float64(i)*1.01-0.5, 1
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Subtract(x, y, y, bx, y, y, 1); err != nil {
			b.Fatal(err)
		}
	}
}
