package phase

import "math"

// result works out the numbers of edges and windows after what was decided.
func (a *analysis) result(c *Choices) *Transition {
	s, f := a.s, a.f
	r := &Transition{Points: len(s.z), Nu: a.nu, Chi2: f.chi2, Known: s.u != nil, Judged: c.judged, fit: f, series: s, log: a.opt.Log}
	r.Turbid, r.Level, r.ULevel = c.turbid, f.theta[0], a.uOf(0)
	for j := range f.k {
		e := a.edge(j, c.edges[j])
		e.At, e.outside = e.z.along(a.opt.Log), e.z.Bound != Measured && e.z.Bound != Interval
		r.Edges = append(r.Edges, e)
	}
	r.Windows = a.windows(r.Edges, c)
	return r
}

// uOf gives the own standard uncertainty of a fitted parameter, NaN where it is not known.
func (a *analysis) uOf(p int) float64 {
	if v := a.f.covOf(p, p); a.f.sound && v > 0 {
		return math.Sqrt(v * a.scale())
	}
	return math.NaN()
}

// edge gives one edge, its place in z.
func (a *analysis) edge(j int, c edgeChoice) Edge {
	f := a.f
	e := Edge{Turbid: a.s.tp[a.turns[j+1]] < a.s.tp[a.turns[j]], Before: f.theta[j], After: f.theta[j+1], UBefore: a.uOf(j), UAfter: a.uOf(j + 1), Width: unknown()}
	if !a.f.sound || c.state == placed && (!f.sharp[j]) {
		// a level that the fit does not know is not printed as one
		e.Before, e.After = a.s.tp[a.turns[j]], a.s.tp[a.turns[j+1]]
		e.UBefore, e.UAfter = math.NaN(), math.NaN()
	}
	m := f.middle(j)
	switch c.state {
	case fitted:
		e.z = measured(f.theta[m], a.uOf(m))
		e.Width = a.width(j)
	case narrow:
		rise := threshold(f.chi2, a.nu, a.s.u != nil, 0.995)
		lo := a.middleLimit(j, a.turns[j], -1, rise)
		hi := a.middleLimit(j, a.turns[j+1], 1, rise)
		e.z = between(min(lo, hi), max(lo, hi), 0)
		widest := a.widthLimit(j, threshold(f.chi2, a.nu, a.s.u != nil, 0.99))
		e.Width = between(math.Inf(-1), widthOf(e.z.X, widest, a.opt.Log), 0)
	case placed:
		lo, hi := math.Inf(-1), math.Inf(1)
		if c.lo >= 0 {
			lo = a.s.zp[c.lo]
		}
		if c.hi >= 0 {
			hi = a.s.zp[c.hi]
		}
		e.z = between(lo, hi, 0)
		if c.w0 >= 0 && c.w1 >= 0 {
			p, q := a.s.zp[c.w0], a.s.zp[c.w1]
			if a.opt.Log {
				p, q = math.Exp(p), math.Exp(q)
			}
			e.Width = between(math.Inf(-1), q-p, 0)
		}
	}
	return e
}

// widthOf gives the distance on the axis from a tenth to nine tenths of a step with middle m and width s in z:
//
//	2·ln 9·s, on a logarithmic axis 2·exp(m)·sinh(s·ln 9).
func widthOf(m, s float64, log bool) float64 {
	if log {
		return 2 * math.Exp(m) * math.Sinh(s*math.Log(9))
	}
	return tenths * s
}

// width gives the width of a fitted step with its own uncertainty.
func (a *analysis) width(j int) Number {
	f := a.f
	m, l := f.middle(j), f.log(j)
	mu, s := f.theta[m], math.Exp(f.theta[l])
	x := widthOf(mu, s, a.opt.Log)
	dm, dl := 0.0, x // derivatives by m and ln s
	if a.opt.Log {
		dm, dl = x, 2*math.Exp(mu)*math.Cosh(s*math.Log(9))*s*math.Log(9)
	}
	v := (dm*dm*f.covOf(m, m) + dl*dl*f.covOf(l, l) + 2*dm*dl*f.covOf(m, l)) * a.scale()
	return measured(x, math.Sqrt(math.Max(v, 0)))
}

// windows joins edges to windows. A window that was open before the first place, or is after the last, has only a bound there.
func (a *analysis) windows(edges []Edge, c *Choices) []Window {
	first, last := a.s.zp[0], a.s.zp[len(a.s.zp)-1]
	before, after := between(math.Inf(-1), first, 0), between(last, math.Inf(1), 0)
	if len(edges) == 0 {
		if c.turbid {
			return []Window{window(before, after, 0, a.opt.Log)}
		}
		return nil
	}
	var out []Window
	open, at := before, -1
	for j, e := range edges {
		if e.Turbid {
			open, at = e.z, j
			continue
		}
		cov := 0.0
		if at >= 0 && c.edges[at].state == fitted && c.edges[j].state == fitted {
			cov = a.f.covOf(a.f.middle(at), a.f.middle(j)) * a.scale()
		}
		out = append(out, window(open, e.z, cov, a.opt.Log))
	}
	if edges[len(edges)-1].Turbid {
		out = append(out, window(open, after, 0, a.opt.Log))
	}
	return out
}

// Best gives the number of the window that is seen best, the first of equals; −1 where there is none.
func (r *Transition) Best() int {
	best := -1
	for i, w := range r.Windows {
		if best < 0 || w.seen > r.Windows[best].seen {
			best = i
		}
	}
	return best
}

// Model gives the fitted transmittance at a place x of the axis; NaN within a sharp step, where it is not known.
func (r *Transition) Model(x float64) float64 {
	z := x
	if r.log {
		z = math.Log(x)
	}
	s := r.series
	r.fit.prepare()
	p := 0 // the last place at or before z
	for p+1 < len(s.zp) && s.zp[p+1] <= z {
		p++
	}
	for j := range r.fit.k {
		if r.fit.sharp[j] && p == r.fit.cut[j] && z > s.zp[p] {
			return math.NaN()
		}
	}
	return r.fit.at(z, p)
}

// Fitted gives the fitted transmittance of a point, numbered as given to Analyse.
func (r *Transition) Fitted(i int) float64 {
	r.fit.prepare()
	for k, at := range r.series.order {
		if at == i {
			return r.fit.at(r.series.z[k], r.series.at[k])
		}
	}
	panic("phase: no such point")
}
