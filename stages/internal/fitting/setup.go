package fitting

import (
	"math"
	"strconv"
)

// setup checks the input and lays out the memory. cur is left at the start
// with the model worked out there.
func (w *Workspace) setup(start []float64) (Status, error) {
	w.iterations, w.eval, w.inner = 0, 0, 0
	w.tolerance, w.distance = 1e-6, math.NaN()
	w.observed = false
	w.nc, w.n, w.blocks = 0, 0, w.blocks[:0]
	w.cur.p, w.cur.c, w.cur.f = w.cur.p[:0], w.cur.c[:0], w.cur.f[:0]
	w.cur.obj = math.NaN()
	w.names = w.names[:0]
	if err := w.bounds(start); err != nil {
		return BadBounds, err
	}
	w.layout(start)
	if err := w.points(); err != nil {
		return err.Status, err
	}
	for j, v := range start {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return BadStart, &Error{Status: BadStart, Parameter: w.names[j], Point: -1, Found: number(v),
				Detail: "a start must be finite"}
		}
		if !w.isFixed(j) {
			v = min(max(v, w.lower[j]), w.upper[j])
		}
		w.cur.p[j] = v
	}
	if !w.evaluate(&w.cur, false, math.Inf(-1)) {
		return BadStart, w.whyBadStart()
	}
	if w.ndata == 0 { // all y are 0: the start must do as the measure
		w.ndata = w.cur.obj
	}
	for b := range w.blocks {
		w.blocks[b].phi, w.blocks[b].alt = w.blocks[b].alt, w.blocks[b].phi
		w.blocks[b].devCur = w.blocks[b].dev
	}
	return NotRun, nil
}

func (w *Workspace) isFixed(j int) bool { return w.problem.Fixed != nil && w.problem.Fixed[j] }

// bounds copies bounds and names, and lists the free parameters.
func (w *Workspace) bounds(start []float64) error {
	q := len(start)
	ps := &w.problem.Parameters
	for _, n := range []int{len(ps.Lower), len(ps.Upper), len(ps.Fixed), len(ps.Names)} {
		if n != 0 && n != q {
			panic("fitting: bounds, fixed or names differ in length from the start")
		}
	}
	grow(&w.lower, q)
	grow(&w.upper, q)
	w.free = w.free[:0]
	for j := range q {
		if len(ps.Names) > 0 {
			w.names = append(w.names, ps.Names[j])
		} else {
			w.names = append(w.names, defaultName(j))
		}
		w.lower[j], w.upper[j] = math.Inf(-1), math.Inf(1)
		if len(ps.Lower) > 0 {
			w.lower[j] = ps.Lower[j]
		}
		if len(ps.Upper) > 0 {
			w.upper[j] = ps.Upper[j]
		}
		if len(ps.Fixed) > 0 && ps.Fixed[j] {
			continue
		}
		if !(w.lower[j] <= w.upper[j]) || math.IsInf(w.lower[j], 1) || math.IsInf(w.upper[j], -1) {
			return &Error{Status: BadBounds, Parameter: w.names[j], Point: -1,
				Detail: "bounds from " + number(w.lower[j]) + " to " + number(w.upper[j]) + ", expected a lower one that is not above the upper"}
		}
		w.free = append(w.free, j)
	}
	return nil
}

// defaultName is p1, p2, …; the first few without an allocation.
func defaultName(j int) string {
	const some = "p1p2p3p4p5p6p7p8p9"
	if j < 9 {
		return some[2*j : 2*j+2]
	}
	return "p" + strconv.Itoa(j+1)
}

func number(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }

// layout sizes everything.
func (w *Workspace) layout(start []float64) {
	if cap(w.blocks) < len(w.problem.Blocks) {
		w.blocks = make([]block, len(w.problem.Blocks))
	}
	w.blocks = w.blocks[:len(w.problem.Blocks)]
	rows, size, points, widest := 0, 0, 0, 0
	w.nfree, w.nlinear = len(w.free), 0
	for i := range w.blocks {
		b := &w.blocks[i]
		b.Block = &w.problem.Blocks[i]
		b.n, b.k = len(b.Y), len(b.Linear)
		b.off, b.coff = w.n, w.nc
		b.check(len(start))
		w.n += b.n
		w.nc += b.k
		b.lfree, b.used, b.to = b.lfree[:0], b.used[:0], b.to[:0]
		for j := range b.k {
			w.names = append(w.names, b.Linear[j])
			if b.Fixed == nil || !b.Fixed[j] {
				b.lfree = append(b.lfree, j)
			}
		}
		uses := len(start)
		if b.Uses != nil {
			uses = len(b.Uses)
		}
		for i := range uses {
			p := i
			if b.Uses != nil {
				p = b.Uses[i]
			}
			for to, j := range w.free {
				if j == p {
					b.used, b.to = append(b.used, i), append(b.to, to)
				}
			}
		}
		w.nfree += len(b.lfree)
		w.nlinear += len(b.lfree)
		curves := max(b.k, 1) // a full model is its own curve
		grow(&b.phi, b.n*curves)
		grow(&b.alt, b.n*curves)
		grow(&b.jac, b.n*uses)
		cols := len(b.lfree) + len(b.used) + 1
		b.ld = cols - 1
		grow(&b.tri, b.ld*cols)
		size = max(size, max(b.n, cols)*cols)
		points = max(points, b.n)
		widest = max(widest, b.k)
		rows += len(b.used)
	}
	q := len(w.free)
	w.ld = max(rows, q)
	grow(&w.a, size)
	grow(&w.s, points)
	grow(&w.slope, points)
	grow(&w.linTri, widest*(widest+1))
	grow(&w.stack, w.ld*(q+1))
	for _, s := range []*[]float64{&w.q, &w.d, &w.step, &w.trial, &w.lo, &w.hi} {
		grow(s, q)
	}
	grow(&w.bend, 2*q)
	for j := range w.d {
		w.d[j] = 0
	}
	grow(&w.lin, 2*widest)
	grow(&w.linLo, widest)
	grow(&w.linHi, widest)
	for _, p := range []*point{&w.cur, &w.next} {
		grow(&p.p, len(start))
		grow(&p.c, w.nc)
		grow(&p.f, w.n)
	}
}

// check panics where a block's slices do not fit together.
func (b *block) check(q int) {
	k := len(b.Linear)
	switch {
	case b.Basis == nil:
		panic("fitting: a block without a basis")
	case b.U != nil && len(b.U) != len(b.Y):
		panic("fitting: u differs in length from y")
	case b.NonNegative != nil && len(b.NonNegative) != k,
		b.Fixed != nil && len(b.Fixed) != k,
		b.Start != nil && len(b.Start) != k,
		b.Fixed != nil && b.Start == nil:
		panic("fitting: linear parameters and what is said of them differ in length")
	}
	for i, u := range b.Uses {
		if u < 0 || u >= q || i > 0 && u <= b.Uses[i-1] {
			panic("fitting: uses must be ascending and name parameters")
		}
	}
}

// points checks observations and uncertainties and works out the weights.
func (w *Workspace) points() *Error {
	poisson := w.problem.Estimator == Poisson
	w.ndata = 0
	w.scaled = false
	for i := range w.blocks {
		b := &w.blocks[i]
		if poisson && b.U != nil {
			panic("fitting: a Poisson fit takes no u")
		}
		if (b.U == nil) != (w.blocks[0].U == nil) || b.Relative != w.blocks[0].Relative {
			panic("fitting: u must be known for all blocks or for none")
		}
		for i, y := range b.Y {
			if math.IsNaN(y) || math.IsInf(y, 0) {
				return &Error{Status: BadPoint, Point: b.off + i, Found: number(y), Detail: "expected a finite number; leave the point out"}
			}
			if poisson && (y < 0 || y != math.Trunc(y)) {
				return &Error{Status: BadPoint, Point: b.off + i, Found: number(y),
					Detail: "expected whole counts, 0 or more; fit counts as recorded, or use least squares"}
			}
		}
		b.weight = b.weight[:0]
		for i, u := range b.U {
			if !(u > 0) || math.IsInf(u, 0) || math.IsInf(1/u, 0) {
				return &Error{Status: BadUncertainty, Point: b.off + i, Found: number(u),
					Detail: "a standard uncertainty must be positive; leave the point out"}
			}
			b.weight = append(b.weight, 1/u)
		}
		switch {
		case poisson:
			for _, y := range b.Y {
				w.ndata += y
			}
		case b.U == nil:
			for _, y := range b.Y {
				w.ndata += y * y
			}
		default:
			for i, y := range b.Y {
				w.ndata += y * b.weight[i] * y * b.weight[i]
			}
		}
	}
	w.scaled = !poisson && len(w.blocks) > 0 && (w.blocks[0].U == nil || w.blocks[0].Relative)
	need := w.nfree
	if w.scaled {
		need++
	}
	if w.n < need || w.n == 0 {
		detail := "found " + strconv.Itoa(w.n) + " for " + strconv.Itoa(w.nfree) + " free parameters, expected at least " + strconv.Itoa(max(need, 1))
		if w.scaled {
			detail += " (one to spare, since u is unknown)"
		}
		return &Error{Status: TooFewPoints, Point: -1, Detail: detail + "; widen the range or fit fewer parameters"}
	}
	if poisson && w.ndata == 0 {
		return &Error{Status: NoCounts, Point: -1, Detail: "all points are 0; look at the range"}
	}
	w.tiny = 1e-10 * w.ndata / float64(w.n)
	return nil
}

// whyBadStart says at which point the model cannot begin.
func (w *Workspace) whyBadStart() error {
	for i := range w.blocks {
		b := &w.blocks[i]
		for j := range max(b.k, 1) {
			for i, v := range b.alt[j*b.n : (j+1)*b.n] {
				if math.IsNaN(v) || math.IsInf(v, 0) {
					return &Error{Status: BadStart, Point: b.off + i,
						Detail: "the model is " + number(v) + " there, expected a finite value; give another start"}
				}
			}
		}
		for i, m := range w.cur.f[b.off : b.off+b.n] {
			if w.problem.Estimator == Poisson && !(m > 0) && (b.Y[i] > 0 || m < -w.tiny) {
				return &Error{Status: BadStart, Point: b.off + i,
					Detail: "the model's mean is " + number(m) + " there and " + number(b.Y[i]) +
						" counts were found, expected a positive mean; give a background, a narrower range or another start"}
			}
		}
	}
	return &Error{Status: BadStart, Point: -1, Detail: "the sum of squares is not finite; give another start"}
}
