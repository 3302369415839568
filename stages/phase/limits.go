package phase

import "math"

// profile follows the least χ² of a fit along one parameter, all others refitted (the profile of its likelihood).
//
// Source: Venzon and Moolgavkar, Appl. Stat. 37 (1988) 87 (from memory).
type profile struct {
	a    *analysis
	j, p int     // step and parameter
	rise float64 // of χ², at the limit
	warm *steps  // the last fit
}

// excess is √Δχ² − √rise at a value of the parameter: below 0 within the limits, and nearly a straight line beyond.
func (q *profile) excess(x float64) float64 {
	f := q.a.f
	least := math.Inf(1)
	var keep *steps
	try := func(start *steps, width float64) {
		g := start.clone()
		g.fixed[q.p] = true
		g.theta[f.log(q.j)] = width
		g.theta[q.p] = x
		q.a.w.fit(g, fine)
		if g.chi2 < least {
			least, keep = g.chi2, g
		}
	}
	try(q.warm, q.warm.theta[f.log(q.j)])
	if q.p == f.middle(q.j) {
		try(f, q.a.widthThrough(q.j, x)) // near the wall of a narrow valley the last fit may lead nowhere
	}
	q.warm = keep
	return math.Sqrt(math.Max(least-f.chi2, 0)) - math.Sqrt(q.rise)
}

// between finds the limit between lo, where the excess is flo < 0, and hi, where it is fhi > 0: by secants, of which the end that stays is halved
// (the Illinois rule).
//
// Source: Dowell and Jarratt, BIT 11 (1971) 168 (from memory).
func (q *profile) between(lo, flo, hi, fhi float64) float64 {
	exact := 1e-8 * math.Abs(hi-lo)
	side := 0
	for range 60 {
		x := (lo*fhi - hi*flo) / (fhi - flo)
		if math.Abs(hi-lo) <= exact {
			return x
		}
		fx := q.excess(x)
		if math.Abs(fx) < 1e-9*math.Sqrt(q.rise) {
			return x
		}
		if fx > 0 {
			hi, fhi = x, fx
			if side == 1 {
				flo /= 2
			}
			side = 1
		} else {
			lo, flo = x, fx
			if side == -1 {
				fhi /= 2
			}
			side = -1
		}
	}
	return (lo + hi) / 2
}

// middleLimit finds how far the middle of a narrow step j may go, from where it is towards the place end (sign −1 or 1), until χ² has risen by
// rise. At a place of the series the profile may rise like a wall, since a step may be as steep as can be on either side of it: then
// that place is the limit.
func (a *analysis) middleLimit(j, end int, sign, rise float64) float64 {
	q := &profile{a: a, j: j, p: a.f.middle(j), rise: rise, warm: a.f.clone()}
	from := a.f.theta[q.p]
	lo, flo := from, -math.Sqrt(rise)
	near := 8 * math.Exp(a.w.leastLog)
	for i := a.turns[j]; i <= a.turns[j+1]; i++ {
		at := i
		if sign < 0 {
			at = a.turns[j] + a.turns[j+1] - i
		}
		place := a.s.zp[at]
		if sign*(place-from) < -near {
			continue // on the other side
		}
		if at == end {
			break
		}
		if inside := place - sign*near; sign*(inside-lo) > 0 {
			if f := q.excess(inside); f > 0 {
				return q.between(lo, flo, inside, f)
			} else {
				lo, flo = inside, f
			}
		}
		outside := place + sign*near
		if sign*(outside-lo) <= 0 {
			continue
		}
		f := q.excess(outside)
		if f > 0 {
			return place
		}
		lo, flo = outside, f
	}
	last := a.s.zp[end]
	if sign*(last-lo) <= 0 {
		return last
	}
	if f := q.excess(last); f > 0 {
		return q.between(lo, flo, last, f)
	}
	return last
}

// widthLimit finds the greatest width s that step j may have until χ² has risen by rise.
func (a *analysis) widthLimit(j int, rise float64) float64 {
	q := &profile{a: a, j: j, p: a.f.log(j), rise: rise, warm: a.f.clone()}
	lo, flo := a.f.theta[q.p], -math.Sqrt(rise)
	for lo < a.w.mostLog {
		hi := math.Min(lo+0.5, a.w.mostLog)
		f := q.excess(hi)
		if f > 0 {
			return math.Exp(q.between(lo, flo, hi, f))
		}
		lo, flo = hi, f
	}
	return math.Exp(a.w.mostLog)
}

// widthThrough gives ln s with which step j goes through the point nearest to its half when its middle lies at m; the least there may be when
// none does.
func (a *analysis) widthThrough(j int, m float64) float64 {
	out, far := a.w.leastLog, 0.499
	for i := a.turns[j]; i <= a.turns[j+1]; i++ {
		part := (a.s.tp[i] - a.f.theta[j]) / (a.f.theta[j+1] - a.f.theta[j])
		if d := math.Abs(part - 0.5); d < far {
			if s := (a.s.zp[i] - m) / math.Log(part/(1-part)); s > 0 {
				out, far = math.Min(math.Max(math.Log(s), a.w.leastLog), a.w.mostLog), d
			}
		}
	}
	return out
}

// tenths is how many widths s of a logistic step lie between a tenth and nine tenths of it.
var tenths = 2 * math.Log(9)
