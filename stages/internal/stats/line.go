package stats

import (
	"errors"
	"math"
)

// ErrTooFew says that there are fewer points than the fit has parameters, or,
// where the noise must be taken from the scatter, none to spare.
var ErrTooFew = errors.New("too few points for this fit")

// ErrSingular says that the abscissae do not determine the parameters (all
// equal, or too few distinct ones).
var ErrSingular = errors.New("the points do not determine the parameters")

// ErrNotFinite says that a point, or a standard uncertainty, is not a finite
// number, or that an uncertainty is not positive.
var ErrNotFinite = errors.New("a point or its uncertainty is not a usable number")

// Line is a straight line y = Intercept + Slope·x with its covariance.
type Line struct {
	Intercept, Slope            float64
	VarIntercept, VarSlope, Cov float64
	Chi2                        float64 // Σ (residual/u)²; with u unknown Σ residual²
	N, DOF                      int
	Scaled                      bool    // u was unknown: the covariance is scaled by Chi2/DOF
	centre, level, varLevel     float64 // weighted mean of x, y there, its variance
}

// At returns the line's value at x and its standard uncertainty,
// u² = VarIntercept + 2·x·Cov + x²·VarSlope, worked out about the centre of
// the points so that nothing cancels.
func (l Line) At(x float64) (y, u float64) {
	d := x - l.centre
	return l.level + l.Slope*d, math.Sqrt(l.varLevel + d*d*l.VarSlope)
}

// FitLine fits a straight line by least squares with weights 1/u². With u nil
// the points weigh the same and the covariance is scaled by χ²/ν (finite
// degrees of freedom: Scaled is set, and DOF must be at least 1).
//
// About the weighted mean x̄ of x, with S = Σ(x−x̄)²/u² and W = Σ 1/u²:
//
//	slope = Σ(x−x̄)·y/u² / S,  var(slope) = 1/S,  intercept = ȳ − slope·x̄,
//	var(intercept) = 1/W + x̄²/S,  cov = −x̄/S
//
// Source: JCGM 100:2008, H.3.2 to H.3.4 (equal weights); with weights common
// practice, Bevington and Robinson, ch. 6 (from memory).
//
// Errors: ErrTooFew, ErrSingular, ErrNotFinite. It panics when the lengths
// differ.
func FitLine(x, y, u []float64) (Line, error) {
	if len(x) != len(y) || u != nil && len(u) != len(x) {
		panic("stats: slices of different lengths")
	}
	l := Line{N: len(x), DOF: len(x) - 2, Scaled: u == nil}
	if l.DOF < 0 || l.Scaled && l.DOF < 1 {
		return Line{}, ErrTooFew
	}
	var sw, swx, swy float64
	for i := range x {
		w := weight(u, i)
		sw += w
		swx += w * x[i]
		swy += w * y[i]
	}
	xm, ym := swx/sw, swy/sw
	if !finite(xm) || !finite(ym) || !(sw > 0) || math.IsInf(sw, 1) {
		return Line{}, ErrNotFinite
	}
	var sxx, sxy, span float64
	for i := range x {
		w, d := weight(u, i), x[i]-xm
		sxx += w * d * d
		sxy += w * d * (y[i] - ym)
		span = math.Max(span, math.Abs(x[i]))
	}
	if !(sxx > sw*span*span*1e-28) {
		return Line{}, ErrSingular
	}
	l.Slope = sxy / sxx
	for i := range x {
		r := y[i] - ym - l.Slope*(x[i]-xm)
		l.Chi2 += weight(u, i) * r * r
	}
	if !finite(l.Slope) || !finite(l.Chi2) {
		return Line{}, ErrNotFinite
	}
	scale := 1.0
	if l.Scaled {
		scale = l.Chi2 / float64(l.DOF)
	}
	l.centre, l.level, l.varLevel = xm, ym, scale/sw
	l.Intercept = ym - l.Slope*xm
	l.VarSlope = scale / sxx
	l.VarIntercept = scale * (1/sw + xm*xm/sxx)
	l.Cov = -scale * xm / sxx
	return l, nil
}

// weight is 1/u², or 1 when u is unknown; an unusable u gives NaN, which the
// sums carry to the check for finite results.
func weight(u []float64, i int) float64 {
	if u == nil {
		return 1
	}
	if !(u[i] > 0) {
		return math.NaN()
	}
	return 1 / (u[i] * u[i])
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }
