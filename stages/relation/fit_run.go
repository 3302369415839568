package relation

import (
	"context"
	"errors"
	"fmt"
	"math"

	"fascicle/pipeline"
	"fascicle/stages/internal/stats"

	"gonum.org/v1/gonum/stat/distuv"
)

// unsupported is the p above which no break is claimed.
const unsupported = 0.05

// line fits the straight line and tests its slope.
func (r *fitRun) line() error {
	if r.weights == byScatter {
		r.pts.Vxx, r.pts.Vxy, r.pts.Vyy, r.pts.Shared = nil, nil, nil, nil
	}
	f, err := FitStraight(r.pts)
	if errors.Is(err, ErrSingularCovariance) {
		r.flag(pipeline.Flagged, "not every point has an uncertainty to itself: all weigh the same, and u of the fit has the whole covariance of the points, but not their scatter")
		r.weights = equally
		f, err = FitStraight(r.plain())
	}
	if errors.Is(err, ErrNoSpread) {
		return fmt.Errorf("all %d points lie at `%s` = %g %s; expected two different places at least: choose as `x` what varies within the group, or let `by` name fewer fields", len(r.used), r.s.X.Name, r.pts.X[0], r.unitX)
	}
	if err != nil {
		return err
	}
	r.straight = f
	r.slopeTest()
	if len(r.used) == 2 {
		r.flag(pipeline.Note, "two points: the line goes through both, and nothing tests it")
	}
	if r.weights == byOwn {
		if more, ok := r.pts.upright(f.Chi2); ok && more < chi95 {
			r.flag(pipeline.Flagged, "x varies hardly more than its uncertainties say (χ² of an upright line greater by %.2g): the slope may be of any size, and u does not say how large", more)
		}
	}
	return nil
}

// plain gives the points without weights.
func (r *fitRun) plain() *Points { return &Points{X: r.pts.X, Y: r.pts.Y} }

// fitted gives the points as they were fitted.
func (r *fitRun) fitted() *Points {
	if r.weights == equally {
		return r.plain()
	}
	return r.pts
}

// slopeTest asks whether points without a slope would give as steep a line: by χ², by t where the points scatter more than u says or u
// is not known. What points share is in the uncertainty of the slope that it is held against.
func (r *fitRun) slopeTest() {
	f := r.straight
	nu := float64(len(r.used) - 2)
	switch r.weights {
	case byOwn:
		more, ok := r.pts.flat(f.Chi2)
		if r.tested = ok; !ok {
			return
		}
		own, whole := f.Cov[3], r.covarianceOf(f)[3]
		r.p = 2 * stats.NormalUpper(math.Sqrt(more*own/whole)) // of χ², one degree of freedom
		if chi2 := r.pts.wholeChi2(f, false); nu > 0 && stats.ChiSquareUpper(chi2, nu) < unsupported {
			r.p = 2 * stats.StudentUpper(math.Sqrt(more*own/(own*chi2/nu+whole-own)), nu)
		}
	case equally:
		u := math.Sqrt(r.covarianceOf(f)[3])
		if r.tested = u > 0; r.tested {
			r.p = 2 * stats.NormalUpper(math.Abs(f.P[1])/u)
		}
	case byScatter:
		u := math.Sqrt(f.Cov[3] * f.Chi2 / nu)
		if r.tested = nu > 0 && u > 0; r.tested {
			r.p = 2 * stats.StudentUpper(math.Abs(f.P[1])/u, nu)
		}
	}
}

// broken looks for a break.
func (r *fitRun) broken(ctx context.Context) error {
	b, err := FitBreak(r.fitted(), r.straight, int(r.s.Draws.Value), r.call.Rand, ctx.Err)
	r.p, r.tested = 0, false
	switch {
	case errors.Is(err, ErrFewPoints):
		r.flag(pipeline.Flagged, "%d points are too few to look for a break, which takes %d: a line is given", len(r.used), leastPoints)
		return nil
	case errors.Is(err, ErrFewPlaces):
		r.flag(pipeline.Flagged, "the points lie at fewer than four different x, too few to look for a break: a line is given")
		return nil
	case errors.Is(err, ErrSingularCovariance):
		r.flag(pipeline.Flagged, "two lines that meet could not be fitted (%v): a line is given", err)
		return nil
	case err != nil:
		return err
	}
	r.p, r.tested = b.Chance, true
	if b.Chance > unsupported || b.D == nil {
		r.flag(pipeline.Note, "no break: a straight line shows as much evidence for one with p = %.2g", b.Chance)
		return nil
	}
	r.brk, r.claimed = b, true
	if !b.Settled {
		r.flag(pipeline.Flagged, "the two lines did not come to rest within %d rounds: points near the break lie on either side in turn", mostRounds)
	}
	if b.Bend {
		r.flag(pipeline.Flagged, "a parabola, which has no break, describes the points as well: they may bend smoothly")
	}
	switch lo, hi := math.IsNaN(b.Lo), math.IsNaN(b.Hi); {
	case b.Edge < 0:
		r.flag(pipeline.Bound, "the break lies best at the second x, the first place that was tried, and may lie before it: `at` is a limit, and the slope before it is not known")
	case b.Edge > 0:
		r.flag(pipeline.Bound, "the break lies best at the last but one x, the last place that was tried, and may lie behind it: `at` is a limit, and the slope behind it is not known")
	case lo && hi:
		r.flag(pipeline.Flagged, "the points do not bound the place of the break on either side")
	case lo || hi:
		r.flag(pipeline.Flagged, "the points do not bound the place of the break %s", map[bool]string{true: "from below", false: "from above"}[lo])
	}
	return nil
}

// model is the fit that is given.
func (r *fitRun) model() *Fit {
	if r.claimed {
		return &r.brk.Fit
	}
	return r.straight
}

// nu is the number of degrees of freedom.
func (r *fitRun) nu() int { return len(r.used) - len(r.model().P) }

// quality is χ²/ν and its probability; ok is false where it is not tested.
func (r *fitRun) quality() (reduced, p float64, ok bool) {
	nu := float64(r.nu())
	if r.weights != byOwn || nu <= 0 {
		return 0, 0, false
	}
	chi2 := r.pts.wholeChi2(r.straight, false)
	if r.claimed {
		chi2 = r.brk.Whole
	}
	return chi2 / nu, stats.ChiSquareUpper(chi2, nu), true
}

// remark says what a person must judge of the whole.
func (r *fitRun) remark() {
	if reduced, p, ok := r.quality(); ok && p < 0.01 {
		r.flag(pipeline.Flagged, "the points scatter %.2g times as much about the fit as their uncertainties say (χ² test, p = %.2g): the model is not theirs, or u is too small", math.Sqrt(reduced), p)
	} else if ok && p > tooGood {
		r.flag(pipeline.Note, scatterLess, math.Sqrt(reduced), p)
	}
}

// covarianceOf is the covariance of a fit's parameters from all that is known of the points: D·S·Dᵀ, with what they share. Where that is their
// scatter, it is scaled by it; NaN where nothing is known.
func (r *fitRun) covarianceOf(f *Fit) []float64 {
	m, n := len(f.P), len(r.used)
	c := make([]float64, m*m)
	switch r.weights {
	case byOwn:
		copy(c, f.Cov)
	case byScatter:
		s := math.NaN()
		if n > m {
			s = f.Chi2 / float64(n-m)
		}
		for i := range c {
			c[i] = s * f.Cov[i]
		}
	case equally:
		s := r.pts.residualCovariance(f.B)
		for a := range m {
			for b := range m {
				for i := range n {
					c[a*m+b] += f.D[a][i] * dot(s[i*n:i*n+n], f.D[b])
				}
			}
		}
	}
	if f.D == nil {
		return c
	}
	for _, part := range r.pts.sharedResiduals(f.B, r.pts.Y) {
		for a := range m {
			for b := range m {
				c[a*m+b] += dot(f.D[a], part) * dot(f.D[b], part)
			}
		}
	}
	return c
}

// coverage is how many u an interval of 95 % reaches.
func (r *fitRun) coverage() float64 {
	if nu := r.nu(); r.weights == byScatter && nu > 0 {
		return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(nu)}.Quantile(0.975)
	}
	return math.Sqrt(chi95)
}
