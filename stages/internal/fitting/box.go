package fitting

import "math"

// box solves small least-squares problems with bounds. It keeps its memory.
type box struct {
	a, z []float64
	at   []int8 // −1, 0, +1: held at the lower bound, free, held at the upper
	idx  []int
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
// Where columns depend on each other, those that come later stay where x
// began.
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
			if j == freed && t == 0 {
				return // it pressed by rounding alone
			}
			continue
		}
		freed = b.release(r, ld, n, q, d, root, x)
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
	if nf < n || root > 0 {
		reflect(b.a, rows, nf+1, nf)
	}
	for k := nf - 1; k >= 0; k-- {
		col := b.a[k*rows : k*rows+k+1]
		length := 0.0
		for _, v := range col {
			length += v * v
		}
		if math.Abs(col[k]) <= dependent*math.Sqrt(length) {
			b.z[k] = x[b.idx[k]]
		} else {
			b.z[k] = rhs[k] / col[k]
		}
		for i := range k {
			rhs[i] -= col[i] * b.z[k]
		}
	}
	return nf
}

// release finds the held variable whose bound should be let go, or −1.
func (b *box) release(r []float64, ld, n int, q, d []float64, root float64, x []float64) int {
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
		if b.at[j] == 0 {
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
