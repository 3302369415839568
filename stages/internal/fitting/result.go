package fitting

// Result is what a fit gave. Its slices belong to the caller and are reused by
// the next fit into the same Result. After an error without a minimum P, C, F
// and Objective are those of the last point that was accepted (empty when the
// fit never began), and Cov and SD are NaN.
//
// Parameters are numbered through: the nonlinear ones as they were given, then
// the linear ones block by block.
type Result struct {
	Status Status
	P      []float64 // nonlinear parameters (all of a Problem's)
	C      []float64 // linear parameters, block after block
	F      []float64 // the model at the points, block after block

	// Objective is χ², the deviance, or, without U, Σ (y−m)².
	Objective float64
	N         int // points
	// DOF is N less the parameters that were not fixed. One at a bound
	// counts as not fixed.
	DOF int
	// Scaled says that U was unknown (or relative) and that Cov has been
	// multiplied by Objective/DOF; the degrees of freedom of every SD are
	// then DOF. Otherwise they are infinite.
	Scaled bool

	// Cov is the covariance, row by row, (len(P)+len(C))². Rows and columns
	// of fixed parameters are 0. Those of parameters at a bound, or along an
	// undetermined direction, are NaN: they have no standard uncertainty.
	Cov []float64
	SD  []float64 // √ of its diagonal

	// Bounds is −1 where a parameter ended at its lower bound, +1 at its
	// upper one, else 0.
	Bounds []int8
	// Direction is empty, or the direction that the points determine least,
	// of length 1 where each parameter is measured in units in which it
	// changes the (weighted) model by 1.
	Direction []float64
	// Condition is the largest over the smallest singular value of the
	// weighted Jacobian with columns of length 1 (parameters at bounds left
	// out); +Inf when singular.
	Condition float64

	// Distance is how far, in standard uncertainties, the minimum of the
	// last quadratic approximation lies from P and C: about the numerical
	// error of the fit.
	Distance    float64
	Iterations  int // accepted steps
	Evaluations int // times the model was worked out

	names []string
	err   error
}

// Err is nil for Converged, else an *Error that says in words what happened,
// with which parameter or point, and what to do.
func (r *Result) Err() error { return r.err }

// Name gives the name of the i-th parameter (nonlinear, then linear).
func (r *Result) Name(i int) string { return r.names[i] }

// Covariance of the i-th and the j-th parameter.
func (r *Result) Covariance(i, j int) float64 {
	return r.Cov[i*len(r.SD)+j]
}
