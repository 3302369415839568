package fitting

import (
	"math"

	"gonum.org/v1/gonum/floats"
)

// box solves small least-squares problems with bounds. It keeps its memory.
type box struct {
	a, z   []float64
	at     []int8 // −1, 0, +1: held at the lower bound, free, held at the upper
	idx    []int
	tired  []bool
	length []float64
}

// dependent is the part of a column's length below which, what is left of it
// after the columns before it, it counts as their linear combination.
const dependent = 1e-14

// solve finds the x between lo and hi that minimises
//
//	|R·x − q|² + λ·Σ (d_j·x_j)²
//
// with R upper triangular, n×n, column by column, ld a column. x must begin
// between the bounds. A bound that holds is met exactly; b.at tells which do.
// Where columns depend on each other, those that add nothing to the others
// stay where x began.
//
// It is a primal active-set method: each round solves for the free
// variables, goes as far as the bounds allow, and lets go of the bound that
// presses the wrong way most. Source: Stark and Parker, Comput. Stat. 10
// (1995) 129; Lawson and Hanson, Solving Least Squares Problems, ch. 23
// (from memory).
func (b *box) solve(r []float64, ld, n int, q, d []float64, lambda float64, lo, hi, x []float64) {
	grow(&b.a, 2*n*(n+1))
	grow(&b.z, n)
	grow(&b.at, n)
	grow(&b.idx, n)
	for j := range n {
		b.at[j] = 0
	}
	clear(grow(&b.tired, n))
	root := math.Sqrt(lambda)
	freed := -1
	for range 10*n + 10 {
		nf := b.free(r, ld, n, q, d, root, x)
		// How far towards z the bounds allow to go.
		t, block := 1.0, -1
		for k := range nf {
			j := b.idx[k]
			switch z := b.z[k]; {
			case z < lo[j]:
				if s := (lo[j] - x[j]) / (z - x[j]); s < t || block < 0 {
					t, block = min(s, t), k
				}
			case z > hi[j]:
				if s := (hi[j] - x[j]) / (z - x[j]); s < t || block < 0 {
					t, block = min(s, t), k
				}
			}
		}
		for k := range nf {
			j := b.idx[k]
			if block < 0 {
				x[j] = b.z[k]
			} else {
				x[j] = min(max(x[j]+t*(b.z[k]-x[j]), lo[j]), hi[j])
			}
		}
		if block >= 0 {
			j := b.idx[block]
			if b.z[block] < lo[j] {
				x[j], b.at[j] = lo[j], -1
			} else {
				x[j], b.at[j] = hi[j], 1
			}
			// What was let go and at once came back pressed by rounding
			// alone: not again, before something has moved.
			if t > 0 {
				clear(b.tired)
			} else if j == freed {
				b.tired[j] = true
				if freed = b.release(r, ld, n, q, d, root, lo, hi, x); freed < 0 {
					return
				}
				b.at[freed] = 0
			}
			continue
		}
		clear(b.tired)
		freed = b.release(r, ld, n, q, d, root, lo, hi, x)
		if freed < 0 {
			return
		}
		b.at[freed] = 0
	}
}

// free solves for the variables that are not held, into b.z[:nf], for the
// variables b.idx[:nf].
func (b *box) free(r []float64, ld, n int, q, d []float64, root float64, x []float64) int {
	rows := n
	if root > 0 {
		rows = 2 * n
	}
	nf := 0
	for j := range n {
		if b.at[j] != 0 {
			continue
		}
		col := b.a[nf*rows : (nf+1)*rows]
		copy(col, r[j*ld:j*ld+j+1])
		for i := j + 1; i < rows; i++ {
			col[i] = 0
		}
		if root > 0 {
			col[n+j] = root * d[j]
		}
		b.idx[nf] = j
		nf++
	}
	rhs := b.a[nf*rows : (nf+1)*rows]
	copy(rhs, q[:n])
	for i := n; i < rows; i++ {
		rhs[i] = 0
	}
	for j := range n {
		if b.at[j] != 0 && x[j] != 0 {
			for i := range j + 1 { // its own damping row has no free part
				rhs[i] -= r[j*ld+i] * x[j]
			}
		}
	}
	rank := nf
	if nf < n || root > 0 || !sharpTriangle(b.a, rows, nf) {
		rank = b.pivot(rows, nf)
	}
	for k := nf - 1; k >= 0; k-- {
		col := b.a[k*rows : (k+1)*rows]
		b.z[k] = x[b.idx[k]]
		if k < rank {
			b.z[k] = rhs[k] / col[k]
		}
		for i := range min(k, rank) {
			rhs[i] -= col[i] * b.z[k]
		}
	}
	return nf
}

// sharpTriangle tells whether no column of an n×n triangle comes near to
// being a linear combination of those before it.
func sharpTriangle(a []float64, rows, n int) bool {
	for k := range n {
		length := 0.0
		for _, v := range a[k*rows : k*rows+k+1] {
			length += v * v
		}
		if d := a[k*rows+k]; !(d*d > 1e-20*length) {
			return false
		}
	}
	return true
}

// pivot makes a triangle of the nf columns of b.a (and its right side), in an
// order in which each adds most to those before it, relative to its length,
// and gives the number of columns that add more than rounding.
func (b *box) pivot(rows, nf int) int {
	length := grow(&b.length, nf)
	for k := range nf {
		length[k] = floats.Norm(b.a[k*rows:(k+1)*rows], 2)
	}
	for k := range nf {
		best, which := 0.0, -1
		for j := k; j < nf; j++ {
			if length[j] == 0 {
				continue
			}
			if left := floats.Norm(b.a[j*rows+k:(j+1)*rows], 2) / length[j]; left > best {
				best, which = left, j
			}
		}
		if !(best > dependent) {
			return k
		}
		if which != k {
			x, y := b.a[k*rows:(k+1)*rows], b.a[which*rows:(which+1)*rows]
			for i := range x {
				x[i], y[i] = y[i], x[i]
			}
			length[k], length[which] = length[which], length[k]
			b.idx[k], b.idx[which] = b.idx[which], b.idx[k]
		}
		reflectColumn(b.a, rows, nf+1, k)
	}
	return nf
}

// release finds the held variable whose bound should be let go, or −1.
func (b *box) release(r []float64, ld, n int, q, d []float64, root float64, lo, hi, x []float64) int {
	best, which := 0.0, -1
	size := 0.0
	for i := range n {
		y := q[i]
		for j := i; j < n; j++ {
			y -= r[j*ld+i] * x[j]
		}
		b.z[i] = y
		size += q[i] * q[i]
	}
	size = math.Sqrt(size)
	for j := range n {
		if b.at[j] == 0 || b.tired[j] || lo[j] == hi[j] {
			continue
		}
		w, length := 0.0, 0.0
		for i := range j + 1 {
			w += r[j*ld+i] * b.z[i]
			length += r[j*ld+i] * r[j*ld+i]
		}
		if root > 0 {
			w -= root * d[j] * root * d[j] * x[j]
			length += root * d[j] * root * d[j]
		}
		if length == 0 {
			continue
		}
		length = math.Sqrt(length)
		w *= -float64(b.at[j]) // positive: going inside lowers the sum
		if w <= 1e-13*length*size {
			continue
		}
		if w/length > best {
			best, which = w/length, j
		}
	}
	return which
}
