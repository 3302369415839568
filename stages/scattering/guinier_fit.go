package scattering

import (
	"errors"
	"fmt"
	"math"

	"fascicle/stages/internal/stats"
)

// Order says how many terms a Guinier fit has.
type Order uint8

const (
	Line    Order = iota // ln I = ln I0 − Rg²·q²/3
	Quartic              // ln I = ln I0 − Rg²·q²/3 + C·q⁴
)

// Status says how a Guinier fit or a search for its range ended. Only Fitted
// comes with numbers.
type Status uint8

const (
	Fitted    Status = iota // there is a result
	TooFew                  // fewer usable points than the fit needs
	Rising                  // the intensity does not fall with q: Rg² is not positive
	Singular                // the points do not determine the parameters
	NoPlateau               // no range: the curve goes on rising or falling towards low q
)

var (
	errTooFew    = errors.New("too few usable points for a Guinier fit; look at the background that was taken off, or measure more points at low q")
	errRising    = errors.New("the intensity does not fall with q in this range: there is no radius of gyration; look at the background that was taken off, or give another `range`")
	errSingular  = errors.New("the points of this range do not determine a radius of gyration")
	errNoPlateau = errors.New("no Guinier range: towards low q the curve goes on rising or falling away from a straight line of ln I over q²; measure to lower q, or describe it by a power law or levels")
)

// ErrAxis says that q neither rises nor falls strictly.
var ErrAxis = errors.New("q must rise or fall strictly from point to point")

// Err is nil for Fitted.
func (s Status) Err() error {
	return [...]error{nil, errTooFew, errRising, errSingular, errNoPlateau}[s]
}

func (s Status) String() string {
	return [...]string{"fitted", "too few points", "rising", "singular", "no plateau"}[s]
}

// Guinier is the result of a Guinier fit. Where Status is not Fitted, Rg, I0, C
// and what belongs to them are NaN.
type Guinier struct {
	Status                    Status
	Rg, I0, C                 float64 // nm, unit of I, nm⁴; C is NaN for a line
	URg, UI0, UC              float64 // standard uncertainties
	CovRgI0, CovRgC, CovI0C   float64
	RgSquared, URgSquared     float64 // nm²; numbers also where Status is Rising
	Weak                      bool    // Rg² is below twice its u: u(Rg) is then only a first-order figure
	Chi2                      float64 // Σ(residual·I/u)²; with u unknown Σ residual² of ln I
	DOF                       int
	Nu                        float64 // degrees of freedom of the uncertainties: DOF with u unknown, else +Inf
	Scaled                    bool    // u was unknown: the covariance is scaled by Chi2/DOF
	N                         int     // points used
	NonPositive, NoU, Missing int     // points left out: I ≤ 0; no usable u; no I, or q not positive
	QMin, QMax                float64 // of the points used
	Runs                      stats.Runs
	// How far taking logarithms moved the result: (this fit − a fit of I itself
	// by Gauss–Newton, with the points of I ≤ 0 too) in units of u. NaN when u
	// is unknown or that fit does not converge.
	LogShiftRg, LogShiftI0 float64
	LossBiases             bool // points of I ≤ 0 were left out and that may move Rg or I0 by more than 0.1 u
}

// Workspace holds the buffers of fits and searches, so that many curves can be
// evaluated without allocating. The zero value is ready; it must not be shared
// between goroutines.
type Workspace struct {
	x, y, s   []float64 // q², ln I, u/I of usable points, in rising q
	q, i, u   []float64 // all points with q and I, in rising q (i may be ≤ 0)
	at        []int     // index of usable points in the input
	sums      []sums
	unit      float64 // of x in sums
	mean      float64 // of y in sums
	fitX      []float64
	residuals []float64
}

// load sorts out the points: usable ones into x, y, s. known says whether u is
// used at all: it is not when it is nil or no entry is usable.
func (w *Workspace) load(q, intensity, u []float64) (known bool, nonPositive, noU, missing int) {
	if len(q) != len(intensity) || u != nil && len(u) != len(q) {
		panic("scattering: slices of different lengths")
	}
	w.x, w.y, w.s, w.at = w.x[:0], w.y[:0], w.s[:0], w.at[:0]
	w.q, w.i, w.u = w.q[:0], w.i[:0], w.u[:0]
	for i := range u {
		known = known || usable(u[i])
	}
	n := len(q)
	falling := n > 1 && q[0] > q[n-1]
	for k := 0; k < n; k++ {
		i := k
		if falling {
			i = n - 1 - k
		}
		v := intensity[i]
		if !usable(q[i]) || v-v != 0 {
			missing++
			continue
		}
		if known && !usable(u[i]) {
			noU++
			continue
		}
		w.q, w.i = append(w.q, q[i]), append(w.i, v)
		if known {
			w.u = append(w.u, u[i])
		}
		if v <= 0 {
			nonPositive++
			continue
		}
		w.x, w.y, w.at = append(w.x, q[i]*q[i]), append(w.y, math.Log(v)), append(w.at, i)
		if known {
			w.s = append(w.s, u[i]/v)
		}
	}
	return known, nonPositive, noU, missing
}

// usable says that x is a positive finite number.
func usable(x float64) bool { return x > 0 && !math.IsInf(x, 1) }

// FitGuinier fits Guinier's law to all the points it is given,
//
//	ln I = ln I0 − Rg²·q²/3 (+ C·q⁴),
//
// by linear least squares over q² with var(ln I) = (u/I)². From a = ln I0 and
// b = −Rg²/3 with their covariance follow, to first order,
//
//	Rg = √(−3b), u(Rg) = 3·u(b)/(2·Rg), I0 = e^a, u(I0) = I0·u(a),
//	cov(Rg, I0) = −(3/(2·Rg))·I0·cov(a, b).
//
// With u nil (or without any usable entry) all points weigh the same, that is,
// they are taken to have the same relative noise, and the covariance is scaled
// by χ²/ν. Points with I ≤ 0 have no logarithm: they are left out and counted,
// which is a choice by outcome and may bias the result. LogShiftRg and
// LogShiftI0 measure that bias together with the one of weighting by measured
// intensities, about 3/2·(u/I)² in ln I. NaN in I or u means missing.
//
// q in 1/nm, in any order (a falling axis gives the bits of the rising one). w
// may be nil. It panics when the lengths differ.
//
// Source: Guinier, Ann. Phys. (Paris) 12 (1939) 161; Guinier and Fournet,
// Small-Angle Scattering of X-rays (1955), ch. 4 (both from memory); first-order
// propagation JCGM 100:2008, 5.1.2 and F.1.2.
func FitGuinier(q, intensity, u []float64, order Order, w *Workspace) Guinier {
	if w == nil {
		w = &Workspace{}
	}
	var g Guinier
	var known bool
	known, g.NonPositive, g.NoU, g.Missing = w.load(q, intensity, u)
	g.N, g.Scaled = len(w.x), !known
	g.blank()
	s := w.s
	if !known {
		s = nil
	}
	if g.N > 0 {
		g.QMin, g.QMax = math.Sqrt(w.x[0]), math.Sqrt(w.x[g.N-1])
	}
	terms := 2
	var b [3]float64
	var cov [3][3]float64
	scale := 1.0
	if g.N > 0 { // fit in q²/q²max, so that the powers stay comparable
		scale = w.x[g.N-1]
	}
	w.fitX = w.fitX[:0]
	for _, x := range w.x {
		w.fitX = append(w.fitX, x/scale)
	}
	var err error
	if order == Quartic {
		var p stats.Parabola
		p, err = stats.FitParabola(w.fitX, w.y, s)
		terms, b, cov, g.Chi2, g.DOF = 3, p.B, p.Cov, p.Chi2, p.DOF
	} else {
		var l stats.Line
		l, err = stats.FitLine(w.fitX, w.y, s)
		b[0], b[1], g.Chi2, g.DOF = l.Intercept, l.Slope, l.Chi2, l.DOF
		cov[0][0], cov[1][1], cov[0][1], cov[1][0] = l.VarIntercept, l.VarSlope, l.Cov, l.Cov
	}
	switch {
	case errors.Is(err, stats.ErrTooFew):
		g.Status = TooFew
		return g
	case err != nil:
		g.Status = Singular
		return g
	}
	g.Nu = math.Inf(1)
	if g.Scaled {
		g.Nu = float64(g.DOF)
	}
	w.residuals = w.residuals[:0]
	for i, x := range w.fitX {
		w.residuals = append(w.residuals, w.y[i]-b[0]-x*(b[1]+x*b[2]))
	}
	g.Runs = stats.RunsTest(w.residuals)
	g.RgSquared, g.URgSquared = -3*b[1]/scale, 3*math.Sqrt(cov[1][1])/scale
	if !(g.RgSquared > 0) {
		g.Status = Rising
		return g
	}
	g.fill(b, cov, scale, terms)
	if !usable(g.I0) || !usable(g.Rg) {
		g.blank()
		g.Status = Singular
		return g
	}
	if known {
		w.logShift(&g, b, scale, terms)
	}
	g.LossBiases = g.NonPositive > 0 && !(math.Abs(g.LogShiftRg) <= 0.1 && math.Abs(g.LogShiftI0) <= 0.1)
	return g
}

// blank sets to NaN what only a successful fit gives.
func (g *Guinier) blank() {
	nan := math.NaN()
	g.Rg, g.I0, g.C, g.URg, g.UI0, g.UC = nan, nan, nan, nan, nan, nan
	g.CovRgI0, g.CovRgC, g.CovI0C = nan, nan, nan
	g.LogShiftRg, g.LogShiftI0 = nan, nan
	g.RgSquared, g.URgSquared, g.Nu = nan, nan, nan
}

// fill turns coefficients of (q²/scale)^k into Rg, I0 and C.
func (g *Guinier) fill(b [3]float64, cov [3][3]float64, scale float64, terms int) {
	g.Rg, g.I0 = math.Sqrt(g.RgSquared), math.Exp(b[0])
	dRg := -1.5 / (g.Rg * scale) // ∂Rg/∂b
	g.URg, g.UI0 = -dRg*math.Sqrt(cov[1][1]), g.I0*math.Sqrt(cov[0][0])
	g.CovRgI0 = dRg * g.I0 * cov[0][1]
	g.Weak = g.RgSquared < 2*g.URgSquared
	if terms == 3 {
		d := 1 / (scale * scale)
		g.C, g.UC = b[2]*d, math.Sqrt(cov[2][2])*d
		g.CovRgC, g.CovI0C = dRg*d*cov[1][2], g.I0*d*cov[0][2]
	}
}

// Chi2P is the probability of a χ² as large or larger when the uncertainties are right and Guinier's law holds; NaN where they are unknown or
// no degree of freedom is left.
func (g *Guinier) Chi2P() float64 {
	if g.Scaled || g.DOF <= 0 || g.Status != Fitted {
		return math.NaN()
	}
	return stats.ChiSquareUpper(g.Chi2, float64(g.DOF))
}

// BendBias is the most by which the radius of a line is off, in nm, for bodies of a shape whose ln I has the term C·q⁴, C/Rg⁴ within the bounds
// of bodyCurvature. The term adds C·s to the slope of ln I over x = q², s the weighted slope of x² over x, and so −(3/2)·C·s/Rg to Rg, to first
// order. w must still hold the points of the fit.
//
// Source: derived here by least squares.
func (g *Guinier) BendBias(shape Shape, w *Workspace) float64 {
	weight := func(i int) float64 {
		if g.Scaled {
			return 1
		}
		return 1 / (w.s[i] * w.s[i])
	}
	var sw, xm, x2m float64
	for i, x := range w.x {
		wt := weight(i)
		sw, xm, x2m = sw+wt, xm+wt*x, x2m+wt*x*x
	}
	xm, x2m = xm/sw, x2m/sw
	var sxx, sx2 float64
	for i, x := range w.x {
		wt := weight(i)
		sxx, sx2 = sxx+wt*(x-xm)*(x-xm), sx2+wt*(x-xm)*(x*x-x2m)
	}
	low, high := bodyCurvature(shape)
	return 1.5 * max(-low, high) * g.Rg * g.Rg * g.Rg * sx2 / sxx
}

// logShift fits I itself, points of I ≤ 0 included, from the solution in
// logarithms on, and notes the difference. Both fits are the same to first order
// in the noise, so that the difference shows what the logarithm did.
func (w *Workspace) logShift(g *Guinier, b [3]float64, scale float64, terms int) {
	p := b
	for iter := 0; iter < 12; iter++ {
		var m [3][4]float64
		for i, q := range w.q {
			x := q * q / scale
			f := math.Exp(p[0] + x*(p[1]+x*p[2]))
			wt := 1 / (w.u[i] * w.u[i])
			j := [3]float64{f, f * x, f * x * x}
			r := w.i[i] - f
			for a := 0; a < terms; a++ {
				for c := a; c < terms; c++ {
					m[a][c] += wt * j[a] * j[c]
				}
				m[a][3] += wt * j[a] * r
			}
		}
		step, ok := solve(m, terms)
		if !ok {
			return
		}
		largest := 0.0
		for a := 0; a < terms; a++ {
			p[a] += step[a]
			largest = math.Max(largest, math.Abs(step[a]))
		}
		if !(largest < 5) {
			return
		}
		if largest < 1e-9 {
			if rg2 := -3 * p[1] / scale; rg2 > 0 {
				g.LogShiftRg = (g.Rg - math.Sqrt(rg2)) / g.URg
				g.LogShiftI0 = (g.I0 - math.Exp(p[0])) / g.UI0
			}
			return
		}
	}
}

// solve solves the symmetric system whose upper triangle and right side (column
// 3) are in m, by Cholesky's method; false when it is singular.
func solve(m [3][4]float64, n int) (x [3]float64, ok bool) {
	var l [3][3]float64
	for i := 0; i < n; i++ {
		for j := 0; j <= i; j++ {
			v := m[j][i]
			for k := 0; k < j; k++ {
				v -= l[i][k] * l[j][k]
			}
			if i != j {
				l[i][j] = v / l[j][j]
				continue
			}
			if !(v > 1e-13*m[i][i]) || math.IsInf(v, 1) {
				return x, false
			}
			l[i][i] = math.Sqrt(v)
		}
	}
	for i := 0; i < n; i++ {
		v := m[i][3]
		for k := 0; k < i; k++ {
			v -= l[i][k] * x[k]
		}
		x[i] = v / l[i][i]
	}
	for i := n - 1; i >= 0; i-- {
		for k := i + 1; k < n; k++ {
			x[i] -= l[k][i] * x[k]
		}
		x[i] /= l[i][i]
	}
	return x, true
}

// Summary tells in words what was left out of a fit and what to beware of; ""
// when there is nothing to tell.
func (g *Guinier) Summary() string {
	s := ""
	add := func(format string, args ...any) {
		if s != "" {
			s += "; "
		}
		s += fmt.Sprintf(format, args...)
	}
	if g.NonPositive > 0 {
		add("%d points of I ≤ 0 left out", g.NonPositive)
		switch {
		case g.LossBiases && math.IsNaN(g.LogShiftRg):
			add("their loss biases Rg and I0 by an unknown amount")
		case g.LossBiases:
			add("taking logarithms moves Rg by %.2f u and I0 by %.2f u", g.LogShiftRg, g.LogShiftI0)
		}
	}
	if g.NonPositive == 0 && math.Max(math.Abs(g.LogShiftRg), math.Abs(g.LogShiftI0)) > 0.3 {
		add("noise is large for a fit of logarithms: it moves Rg by %.2f u and I0 by %.2f u", g.LogShiftRg, g.LogShiftI0)
	}
	if g.NoU > 0 {
		add("%d points without a usable uncertainty left out", g.NoU)
	}
	if g.Missing > 0 {
		add("%d points without intensity or with q ≤ 0 left out", g.Missing)
	}
	if g.Weak {
		add("Rg² is below twice its uncertainty")
	}
	return s
}
