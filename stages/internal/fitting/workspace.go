package fitting

// Workspace does fits, one at a time, and keeps the memory they need. A fit
// that is no larger than one before allocates nothing. Make it with
// NewWorkspace.
type Workspace struct {
	// Tolerance ends a fit: it has converged when the minimum of the
	// quadratic approximation is nearer than Tolerance standard
	// uncertainties.
	Tolerance float64
	// Iterations is the largest number of accepted steps.
	Iterations int
}

// NewWorkspace gives a workspace with Tolerance 1e-8 and Iterations 500.
func NewWorkspace() *Workspace {
	return &Workspace{Tolerance: 1e-8, Iterations: 500}
}

// Fit fits a model from start (length: the number of parameters; moved into
// the bounds first). The error is nil when a minimum was reached; dst.Status
// then is Converged, AtBound or Singular, and dst.Err() puts the last two into
// words. Otherwise it is dst.Err(), an *Error.
//
// It panics when lengths differ: U from Y, start from names, bounds or fixed.
func (w *Workspace) Fit(dst *Result, p *Problem, start []float64) error {
	panic("fitting: not written yet")
}

// FitSeparable fits nonlinear parameters from start, with the linear ones
// eliminated; errors and panics are those of Fit. With no nonlinear parameter
// (start empty) it is a linear fit.
func (w *Workspace) FitSeparable(dst *Result, p *Separable, start []float64) error {
	panic("fitting: not written yet")
}

// PoissonDeviance gives 2 Σ (m − n + n·ln(n/m)) of counts n under means m;
// +Inf when a mean is 0 (or less) where there are counts, NaN when a mean is
// negative or NaN.
//
// Source: Baker and Cousins, Nucl. Instrum. Methods 221 (1984) 437 (from
// memory).
func PoissonDeviance(counts, means []float64) float64 {
	panic("fitting: not written yet")
}

// ExpectedDeviance gives the expectation and the variance of the deviance of
// Poisson counts with these means, against the means themselves. A fit of p
// parameters takes about p off the expectation. At small means a channel
// contributes less than 1 (0.47 at 0.1), near 1 more (1.15), and 1 + 1/(6m) at
// large ones, so the deviance must not be held against χ² tables there.
func ExpectedDeviance(means []float64) (mean, variance float64) {
	panic("fitting: not written yet")
}
