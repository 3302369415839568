package relation

import (
	"errors"
	"math"
	"slices"
)

var (
	// ErrFewPoints says that there are fewer points than the fit needs.
	ErrFewPoints = errors.New("too few points")
	// ErrNoSpread says that all points lie at one x.
	ErrNoSpread = errors.New("all points lie at one x")
)

// Points are n points with the covariance of their coordinates, n × n, row by row: Vxy[i*n+k] is the covariance of x_i and y_k.
// Vxx and Vxy nil: x is exact. Vyy nil: the uncertainty of y is not known, and all points weigh the same. What is in Shared is not in the
// covariance: it does not weigh, but belongs to the uncertainty of what comes out.
type Points struct {
	X, Y          []float64
	Vxx, Vxy, Vyy []float64
	Shared        []SharedPart
}

// residualCovariance is that of the residuals r_i = y_i − (value of a line of slope b_i at x_i):
// S_ik = Vyy_ik − b_i·Vxy_ik − b_k·Vxy_ki + b_i·b_k·Vxx_ik.
func (p *Points) residualCovariance(b []float64) []float64 {
	s := make([]float64, len(p.X)*len(p.X))
	p.residualCovarianceTo(s, b)
	return s
}

// residualCovarianceTo writes it into s, which is zero or what was written there before.
func (p *Points) residualCovarianceTo(s, b []float64) {
	n := len(p.X)
	if p.Vyy == nil {
		for i := range n {
			s[i*n+i] = 1
		}
		return
	}
	copy(s, p.Vyy)
	if p.Vxx == nil {
		return
	}
	for i := range n {
		for k := range n {
			s[i*n+k] += b[i]*b[k]*p.Vxx[i*n+k] - b[i]*p.Vxy[i*n+k] - b[k]*p.Vxy[k*n+i]
		}
	}
}

// Fit is a fit to points, linearised where it ended: the points lie at X (those of the given x nearest to the model, see adjust), and
// the model has the slope B there. Its parameters change with y as D and with x as −D·B.
type Fit struct {
	P    []float64   // parameters
	D    [][]float64 // D[k][i] = d P[k]/d y_i; d P[k]/d x_i = −B[i]·D[k][i]
	Cov  []float64   // of the parameters, row by row, if the uncertainties given are right; without any, (AᵀA)⁻¹
	X, B []float64
	Chi2 float64   // rᵀS⁻¹r; without uncertainties the sum of squares
	R    []float64 // residuals y − model at the x given
	U    []float64 // their standard uncertainties, 1 where not known

	origin     float64 // x is counted from here
	s          *factor
	y          []float64 // linearised: y at X
	e          []float64 // whitened residuals
	unweighted bool
}

// adjust gives the true x that are likeliest for residuals r of a model with the slopes b: x* = x + (Vxx·B − Vxy)·S⁻¹r.
func (p *Points) adjust(s *factor, b, r []float64) []float64 {
	x := slices.Clone(p.X)
	if p.Vxx != nil {
		l := make([]float64, len(x))
		s.solve(l, r)
		p.adjustTo(x, b, l)
	}
	return x
}

// adjustTo writes the adjusted x into dst, given l = S⁻¹r.
func (p *Points) adjustTo(dst, b, l []float64) {
	n := len(l)
	for i := range n {
		dst[i] = p.X[i]
		for k := range n {
			dst[i] += (p.Vxx[i*n+k]*b[k] - p.Vxy[i*n+k]) * l[k]
		}
	}
}

// FitStraight fits y = P[0] + P[1]·x to points whose coordinates are both uncertain, and correlated in any way: the least of
// χ² = rᵀS(b)⁻¹r, r = y − a − b·x, S as in residualCovariance, which is the likeliest line when the errors are normal and the true x are not
// known. With points that are not correlated with each other this is York's line. The covariance is (A*ᵀS⁻¹A*)⁻¹ with A* = [1, x*] taken
// at the adjusted points, and the derivatives are those of the estimate there, so that D·V·Dᵀ is this covariance.
//
// The errors are ErrFewPoints (less than two), ErrNoSpread and ErrSingularCovariance.
//
// Source: York, Evensen, López Martínez and De Basabe Delgado, Am. J. Phys. 72 (2004) 367, eqs. 13 (from memory); full covariance:
// Aitken, Proc. R. Soc. Edinb. 55 (1936) 42, with the slope's part in S.
func FitStraight(p *Points) (*Fit, error) {
	n := len(p.X)
	if n < 2 {
		return nil, ErrFewPoints
	}
	x0, spread := centre(p.X)
	if !(spread > 0) {
		return nil, ErrNoSpread
	}
	l := &lineSearch{p: p, n: n, x0: x0, one: ones(n)}
	for _, v := range []*[]float64{&l.b, &l.r, &l.w1, &l.w, &l.lambda, &l.x} {
		*v = make([]float64, n)
	}
	l.v = make([]float64, n*n)
	l.s = &factor{n: n, s: make([]float64, n), work: make([]float64, n)}
	slope := 0.0
	if p.Vxx != nil && p.Vyy != nil {
		var ok bool
		if slope, ok = l.least(spread); !ok {
			return nil, ErrSingularCovariance
		}
	}
	if _, _, ok := l.at(slope); !ok {
		return nil, ErrSingularCovariance
	}
	f := &Fit{B: slices.Clone(l.b), origin: x0, s: l.s, unweighted: p.Vyy == nil}
	if p.Vyy != nil && p.Vxx != nil {
		f.X = p.adjust(l.s, l.b, l.r)
	} else {
		f.X = slices.Clone(p.X)
	}
	f.y = make([]float64, n)
	xs := make([]float64, n)
	for i := range n {
		f.y[i] = p.Y[i] - slope*(p.X[i]-f.X[i])
		xs[i] = f.X[i] - x0
	}
	g, ok := l.s.fit([][]float64{l.one, xs}, f.y)
	if !ok {
		return nil, ErrNoSpread
	}
	b := g.p[1]
	for i := range n {
		f.B[i] = b
	}
	f.finish(p, g)
	for i := range n {
		f.R[i] = p.Y[i] - g.p[0] - b*(p.X[i]-x0)
	}
	// from x0 to 0
	f.P = []float64{g.p[0] - b*x0, b}
	f.D = [][]float64{slices.Clone(g.g[0]), g.g[1]}
	addTimes(f.D[0], -x0, g.g[1])
	c := g.cov
	f.Cov = []float64{c[0] - 2*x0*c[1] + x0*x0*c[3], c[1] - x0*c[3], c[1] - x0*c[3], c[3]}
	return f, nil
}

// finish takes over what all fits have.
func (f *Fit) finish(p *Points, g linearFit) {
	f.P, f.D, f.Cov, f.Chi2, f.e = g.p, g.g, g.cov, g.chi2, g.e
	f.R = make([]float64, len(p.X))
	f.U = slices.Clone(f.s.s)
}

// Flat is the χ² of the best constant y less that of a line: with the right uncertainties, and no slope, it is distributed as χ² with one degree
// of freedom. ok is false when that cannot be known.
func (p *Points) flat(chi2 float64) (more float64, ok bool) {
	s, ok := factorPositive(p.Vyy, len(p.X))
	if !ok {
		return 0, false
	}
	g, ok := s.fit([][]float64{ones(len(p.X))}, p.Y)
	return max(0, g.chi2-chi2), ok
}

// upright is the same for the best constant x: where it is small, the line may as well be upright, and its slope of any size.
func (p *Points) upright(chi2 float64) (more float64, ok bool) {
	if p.Vxx == nil {
		return 0, false
	}
	s, ok := factorPositive(p.Vxx, len(p.X))
	if !ok {
		return 0, false
	}
	g, ok := s.fit([][]float64{ones(len(p.X))}, p.X)
	return max(0, g.chi2-chi2), ok
}

// lineSearch looks for the slope of least χ², the constant eliminated.
type lineSearch struct {
	p               *Points
	n               int
	x0              float64
	b, r, lambda, x []float64
	one, w1, w      []float64
	v               []float64 // S
	s               *factor
	ready           bool // s is that of S
	constant        float64
}

// at gives χ² at a slope, and its derivative after the slope: −2·x*ᵀS⁻¹r with x* the adjusted x.
func (l *lineSearch) at(slope float64) (chi2, gradient float64, ok bool) {
	for i := range l.b {
		l.b[i] = slope
	}
	if !l.ready || l.p.Vxx != nil {
		l.p.residualCovarianceTo(l.v, l.b)
		if l.ready = l.s.set(l.v); !l.ready {
			return math.Inf(1), 0, false
		}
	}
	for i := range l.r {
		l.r[i] = l.p.Y[i] - slope*(l.p.X[i]-l.x0)
	}
	l.s.whiten(l.w1, l.one)
	l.s.whiten(l.w, l.r)
	l.constant = dot(l.w1, l.w) / dot(l.w1, l.w1)
	addTimes(l.w, -l.constant, l.w1)
	for i := range l.r {
		l.r[i] -= l.constant
	}
	chi2 = dot(l.w, l.w)
	if l.p.Vxx == nil {
		return chi2, 0, true
	}
	l.s.back(l.lambda, l.w)
	l.p.adjustTo(l.x, l.b, l.lambda)
	for i, x := range l.x {
		gradient -= 2 * (x - l.x0) * l.lambda[i]
	}
	return chi2, gradient, true
}

// scanned is the number of directions in which the line is tried first: χ² may have more than one valley.
const scanned = 36

// least finds the slope: the best of lines in all directions, then the zero of the derivative beside it.
func (l *lineSearch) least(spread float64) (slope float64, ok bool) {
	_, unit := centre(l.p.Y)
	if !(unit > 0) {
		unit = 1
		if u := math.Sqrt(l.p.Vyy[0]); u > 0 {
			unit = u
		}
	}
	unit /= spread
	slopeOf := func(k float64) float64 { return unit * math.Tan(math.Pi*((k+0.5)/scanned-0.5)) }
	best, at := math.Inf(1), -1
	for k := range scanned {
		if chi2, _, ok := l.at(slopeOf(float64(k))); ok && chi2 < best {
			best, at = chi2, k
		}
	}
	if at < 0 {
		return 0, false
	}
	lo, hi := max(-0.499, float64(at)-1), min(scanned-0.501, float64(at)+1)
	_, gl, okL := l.at(slopeOf(lo))
	_, gh, okH := l.at(slopeOf(hi))
	if !(okL && okH && gl < 0 && gh > 0) {
		// another extreme is near: come closer by thirds, and try again
		for range 60 {
			a, b := lo+(hi-lo)/3, hi-(hi-lo)/3
			qa, _, _ := l.at(slopeOf(a))
			qb, _, _ := l.at(slopeOf(b))
			if qa < qb {
				hi = b
			} else {
				lo = a
			}
		}
		return slopeOf(0.5 * (lo + hi)), true
	}
	// bisection, helped by the secant (Illinois)
	from, to := slopeOf(lo), slopeOf(hi)
	side := 0
	for range 200 {
		x := (from*gh - to*gl) / (gh - gl)
		if !(x > from && x < to) {
			x = 0.5 * (from + to)
		}
		_, g, ok := l.at(x)
		if !ok {
			return 0, false
		}
		switch {
		case g == 0 || math.Abs(to-from) <= 1e-15*math.Max(math.Abs(from), math.Abs(to)):
			return x, true
		case g < 0:
			if from, gl = x, g; side == -1 {
				gh /= 2
			}
			side = -1
		default:
			if to, gh = x, g; side == 1 {
				gl /= 2
			}
			side = 1
		}
		slope = x
	}
	return slope, true
}

// centre gives mean and standard deviation (of n).
func centre(x []float64) (mean, sd float64) {
	for _, v := range x {
		mean += v / float64(len(x))
	}
	lo, hi := slices.Min(x), slices.Max(x)
	if lo == hi {
		return lo, 0
	}
	for _, v := range x {
		sd += (v - mean) * (v - mean) / float64(len(x))
	}
	return mean, math.Sqrt(sd)
}

func ones(n int) []float64 {
	v := make([]float64, n)
	for i := range v {
		v[i] = 1
	}
	return v
}
