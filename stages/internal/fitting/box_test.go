package fitting

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"
)

// triangleOf turns a dense problem into the triangle that box.solve takes.
func triangleOf(rows [][]float64, y []float64) (tri []float64, n int, rhs []float64) {
	m, n := len(rows), len(rows[0])
	a := make([]float64, m*(n+1))
	for i, row := range rows {
		for j, v := range row {
			a[j*m+i] = v
		}
		a[n*m+i] = y[i]
	}
	reflect(a, m, n+1, n)
	tri = make([]float64, n*n)
	for j := range n {
		copy(tri[j*n:j*n+j+1], a[j*m:])
	}
	return tri, n, a[n*m : n*m+n]
}

// scipy.optimize.lsq_linear(A, b, bounds, method="bvls"), SciPy 1.10.1.
func TestBoxSciPy(t *testing.T) {
	tri, n, q := triangleOf([][]float64{{1, 2, 0.5}, {0.3, 1, 2}, {2, 0.1, 0.7}, {0.4, 0.4, 0.4}, {1.5, -1, 0.2}}, []float64{1, -2, 3, 0.5, 4})
	var b box
	x := make([]float64, 3)
	b.solve(tri, n, n, q, nil, 0, []float64{-0.1, -0.5, -1}, []float64{1.2, 0.3, 2}, x)
	if x[0] != 1.2 || x[1] != -0.5 {
		t.Errorf("bounds not met exactly: %v", x)
	}
	near(t, "x3", x[2], -0.49331983805668, 1e-13)
}

// The minimum in a box is the best of those with any set of variables held at
// any of their bounds that lie inside: try all 3ⁿ.
func TestBoxIsTheMinimum(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 4).Draw(t, "n")
		entry := rapid.Float64Range(-3, 3)
		rows := make([][]float64, n+2)
		y := make([]float64, n+2)
		for i := range rows {
			rows[i] = rapid.SliceOfN(entry, n, n).Draw(t, "row")
			y[i] = entry.Draw(t, "y")
		}
		lo, hi, x, d := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
		for j := range n {
			lo[j], hi[j] = -rapid.Float64Range(0, 1).Draw(t, "lo"), rapid.Float64Range(0, 1).Draw(t, "hi")
			if rapid.Bool().Draw(t, "open") {
				hi[j] = math.Inf(1)
			}
			d[j] = 1
		}
		// A little damping keeps the minimum unique.
		lambda := rapid.SampledFrom([]float64{1e-3, 0.1, 10}).Draw(t, "lambda")
		tri, _, q := triangleOf(rows, y)
		var b box
		b.solve(tri, n, n, q, d, lambda, lo, hi, x)
		value := func(x []float64) float64 {
			v := 0.0
			for i := range n {
				r := -q[i]
				for j := i; j < n; j++ {
					r += tri[j*n+i] * x[j]
				}
				v += r*r + lambda*x[i]*x[i]
			}
			return v
		}
		for j := range n {
			if x[j] < lo[j] || x[j] > hi[j] {
				t.Fatalf("x = %v outside of %v … %v", x, lo, hi)
			}
		}
		got := value(x)
		// Coordinate descent with exact steps finds the unique minimum, too.
		z := make([]float64, n)
		for range 20000 {
			worst := 0.0
			for j := range n {
				num, den := -lambda*z[j], lambda
				for i := range j + 1 {
					r := q[i]
					for k := i; k < n; k++ {
						r -= tri[k*n+i] * z[k]
					}
					num += tri[j*n+i] * r
					den += tri[j*n+i] * tri[j*n+i]
				}
				v := min(max(z[j]+num/den, lo[j]), hi[j])
				worst = max(worst, math.Abs(v-z[j]))
				z[j] = v
			}
			if worst < 1e-15 {
				break
			}
		}
		if best := value(z); got > best*(1+1e-9)+1e-12 {
			t.Fatalf("%v has %g, %v has %g", x, got, z, best)
		}
	})
}

func TestReflectAgainstGonum(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 5).Draw(t, "n")
		m := n + rapid.IntRange(0, 5).Draw(t, "more")
		dense := mat.NewDense(m, n, rapid.SliceOfN(rapid.Float64Range(-10, 10), m*n, m*n).Draw(t, "a"))
		a := make([]float64, m*n)
		for j := range n {
			for i := range m {
				a[j*m+i] = dense.At(i, j)
			}
		}
		reflect(a, m, n, n)
		var want mat.Dense
		want.Mul(dense.T(), dense)
		for i := range n {
			for j := range n {
				got := 0.0
				for k := range min(i, j) + 1 {
					got += a[i*m+k] * a[j*m+k]
				}
				if math.Abs(got-want.At(i, j)) > 1e-11*(1+mat.Norm(&want, 2)) {
					t.Fatalf("RᵀR[%d,%d] = %g, AᵀA = %g", i, j, got, want.At(i, j))
				}
			}
		}
	})
}

func TestSVDAgainstGonum(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 6).Draw(t, "n")
		dense := mat.NewDense(n, n, rapid.SliceOfN(rapid.Float64Range(-10, 10), n*n, n*n).Draw(t, "a"))
		a, v, sigma := make([]float64, n*n), make([]float64, n*n), make([]float64, n)
		for j := range n {
			for i := range n {
				a[j*n+i] = dense.At(i, j)
			}
		}
		svd(a, v, sigma, n)
		var want mat.SVD
		if !want.Factorize(dense, mat.SVDNone) {
			t.Skip("gonum gave up")
		}
		values := want.Values(nil)
		// A·v must be the columns left in a, each as long as its sigma.
		for s := range n {
			for i := range n {
				av := 0.0
				for j := range n {
					av += dense.At(i, j) * v[s*n+j]
				}
				if math.Abs(av-a[s*n+i]) > 1e-12*(1+values[0]) {
					t.Fatalf("A·v[%d] = %g, want %g", s, av, a[s*n+i])
				}
			}
			nearest := math.Inf(1)
			for _, x := range values {
				nearest = min(nearest, math.Abs(x-sigma[s]))
			}
			if nearest > 1e-12*(1+values[0]) {
				t.Fatalf("singular value %g is none of %v", sigma[s], values)
			}
		}
	})
}

// Normal equations and reflections give the same triangle, up to signs.
func TestPoissonTriangleBothWays(t *testing.T) {
	x := halves(40)
	n, m := make([]float64, 40), make([]float64, 40)
	cols := [][]float64{make([]float64, 40), make([]float64, 40), make([]float64, 40)}
	for i := range x {
		cols[0][i], cols[1][i], cols[2][i] = math.Exp(-x[i]), math.Exp(-x[i]/3), 1
		m[i] = 9*cols[0][i] + 5*cols[1][i] + 0.5
		n[i] = math.Floor(m[i] + 0.7)
	}
	w := NewWorkspace()
	for _, s := range []*[]float64{&w.s, &w.slope} {
		grow(s, 40)
	}
	grow(&w.a, 200)
	tri := make([]float64, 12)
	w.poissonTriangle(cols, n, m, tri, 3)
	rows, y := make([][]float64, 40), make([]float64, 40)
	for i := range rows {
		s := 1 / math.Sqrt(m[i])
		rows[i] = []float64{cols[0][i] * s, cols[1][i] * s, cols[2][i] * s}
		y[i] = (n[i] - m[i]) * s
	}
	want, _, q := triangleOf(rows, y)
	for k := range 3 {
		sign := math.Copysign(1, want[k*3+k])
		near(t, "q", tri[9+k], sign*q[k], 1e-10)
		for j := k; j < 3; j++ {
			near(t, "R", tri[j*3+k], sign*want[j*3+k], 1e-10)
		}
	}
}
