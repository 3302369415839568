package fitting

// Model gives the means of n points and their derivatives. Both methods write
// into slices that the caller owns, and should allocate nothing.
//
// Jacobian is only ever called with the p of the last call of Values, so what
// Values worked out may be kept for it. A value that is not finite says that
// the model does not exist at p: such a step is refused.
type Model interface {
	// Values writes the model at p into f (length n).
	Values(f, p []float64)
	// Jacobian writes ∂f_i/∂p_j into jac[j·n+i] (length n·len(p), one
	// column of n a parameter). Columns of fixed parameters are not read.
	Jacobian(jac, p []float64)
}

// Functions is a Model made of two functions.
type Functions struct {
	F func(f, p []float64)   // Values
	J func(jac, p []float64) // Jacobian
}

// Values calls F.
func (m Functions) Values(f, p []float64) { m.F(f, p) }

// Jacobian calls J.
func (m Functions) Jacobian(jac, p []float64) { m.J(jac, p) }

// Basis gives k curves of n points whose weighted sum is the model,
//
//	m_i = Σ_j c_j·φ_j(i; a)
//
// with linear parameters c and nonlinear parameters a. Both methods write into
// slices that the caller owns, and should allocate nothing.
//
// Jacobian is only ever called with the a of the last call of Curves (of the
// same block), so what Curves worked out may be kept for it.
type Basis interface {
	// Curves writes φ_j(i; a) into phi[j·n+i] (length n·k).
	Curves(phi, a []float64)
	// Jacobian writes Σ_j c_j·∂φ_j(i)/∂a_l into jac[l·n+i]: one column of n
	// for each nonlinear parameter that the block uses, in the order of
	// Block.Uses (all of them, when that is nil). Columns of fixed
	// parameters are not read.
	Jacobian(jac, a, c []float64)
}

// Estimator says what is minimised.
type Estimator uint8

const (
	// LeastSquares minimises χ² = Σ ((y−m)/u)².
	LeastSquares Estimator = iota
	// Poisson minimises the deviance 2 Σ (m − y + y·ln(y/m)) of counts y.
	Poisson
)

// String gives the estimator's name.
func (e Estimator) String() string {
	if e == Poisson {
		return "poisson"
	}
	return "least squares"
}

// Problem is a fit of a Model.
type Problem struct {
	Model     Model
	Estimator Estimator
	// Y are the n observations; for Poisson whole counts, 0 or more.
	Y []float64
	// U are their standard uncertainties, positive. With U nil they are
	// unknown: all points weigh the same, F is the plain sum of squared
	// residuals, and the covariance is scaled by F/ν. Poisson takes no U.
	U []float64
	// Relative says that U is known but for one common factor: it weights
	// the points, and the covariance is scaled by F/ν.
	Relative bool
	Parameters
}

// Parameters names and bounds the (nonlinear) parameters of a fit. A nil
// slice means: p1, p2, …; no bounds; none fixed.
type Parameters struct {
	Names        []string
	Lower, Upper []float64 // ±Inf where there is none
	Fixed        []bool    // stays at its start
}

// Separable is a fit whose linear parameters are eliminated: one Block, or
// several that share the nonlinear parameters (a global fit).
type Separable struct {
	Estimator Estimator
	Blocks    []Block
	Parameters
}

// Block is one curve of a Separable fit, with linear parameters of its own.
type Block struct {
	Basis    Basis
	Y, U     []float64 // as in Problem; either all blocks have U or none
	Relative bool      // as in Problem, the same for all blocks
	// Linear names the block's linear parameters; its length is k. Without
	// any, Basis has one curve, and that is the model.
	Linear []string
	// NonNegative says which of them must be 0 or more (nil: none).
	NonNegative []bool
	// Fixed says which of them stay at Start (nil: none).
	Fixed []bool
	// Start are values of the fixed ones, and where the search for the
	// others begins (nil: it begins at a least-squares solution).
	Start []float64
	// Uses are the nonlinear parameters on which the block depends,
	// ascending (nil: on all).
	Uses []int
}
