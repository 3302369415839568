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

	problem Separable // what is being fitted
	full    fullModel // makes a Problem a Separable
	single  [1]Block

	blocks    []block
	n         int     // points of all blocks
	nc        int     // linear parameters of all blocks
	ndata     float64 // Σ (y/u)² or Σ counts: what rounding errors are relative to
	tiny      float64 // Poisson: means below it are weighted as if they were it
	scaled    bool    // u unknown
	tolerance float64 // Poisson: gain at which the linear parameters are good enough
	distance  float64 // see Result
	free      []int   // nonlinear parameters that are not fixed
	nfree     int     // how many of all parameters are not fixed
	nlinear   int     // how many of the linear ones

	lower, upper []float64   // of all nonlinear parameters
	cur, next    point       // where the fit is, and where it tries to go
	a            []float64   // a block's weighted columns
	s            []float64   // Poisson: expected curvatures 1/m
	slope        []float64   // Poisson: n/m − 1
	cols         [][]float64 // what a triangle is made of

	// The projected problem at cur, in the free nonlinear parameters.
	stack            []float64 // rows of all blocks, then its triangle
	ld               int       // length of a column of stack
	q                []float64 // right-hand side
	inner            float64   // gain still to be had in the linear parameters
	pressing         bool      // one that is held at 0 should rise
	observed         bool      // Poisson steps go by the observed curvature
	d                []float64 // scales: largest column lengths so far
	step, trial      []float64
	bend             []float64
	lo, hi           []float64
	box              box
	secant           secant
	tri              []float64 // the triangle that steps are made of: stack's or secant's
	triLD            int
	rhs              []float64
	lin              []float64 // small vectors of a linear solve
	linTri           []float64
	linLo, linHi     []float64
	matrix, vecs     []float64 // covariance
	sigma, norms     []float64
	columns          []int
	iterations, eval int
	names            []string
}

// point is a set of parameters with what the model makes of it.
type point struct {
	p, c, f []float64
	obj     float64
}

// block is what the workspace keeps of a Block.
type block struct {
	*Block
	n, k        int
	off, coff   int       // where its points and linear parameters begin
	lfree       []int     // linear parameters that are not fixed
	used        []int     // columns of the block's Jacobian whose parameter is free …
	to          []int     // … and that parameter's place in Workspace.free
	weight      []float64 // 1/u; empty: 1
	phi, alt    []float64 // curves at cur and at next
	dev, devCur float64   // its part of the deviance, at next and at cur
	jac         []float64
	// tri is the triangle of the last linearisation, column by column, ld
	// long: first the linear parameters in, then used, then the right side.
	tri []float64
	ld  int
	in  []int // linear parameters in it: free and not held at 0
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
	w.full.Model = p.Model
	w.single[0] = Block{Basis: &w.full, Y: p.Y, U: p.U, Relative: p.Relative}
	w.problem = Separable{Estimator: p.Estimator, Blocks: w.single[:], Parameters: p.Parameters}
	return w.run(dst, start)
}

// FitSeparable fits nonlinear parameters from start, with the linear ones
// eliminated; errors and panics are those of Fit. With no nonlinear parameter
// (start empty) it is a linear fit.
func (w *Workspace) FitSeparable(dst *Result, p *Separable, start []float64) error {
	w.problem = *p
	return w.run(dst, start)
}

// fullModel is a model without linear parameters as a basis: it is its own
// only curve.
type fullModel struct{ Model }

func (m *fullModel) Curves(phi, a []float64)      { m.Values(phi, a) }
func (m *fullModel) Jacobian(jac, a, _ []float64) { m.Model.Jacobian(jac, a) }

func (w *Workspace) run(dst *Result, start []float64) error {
	dst.reset()
	status, err := w.setup(start)
	if err == nil {
		status, err = w.descend()
	}
	w.finish(dst, status, err)
	if !dst.Status.Minimum() {
		return dst.err
	}
	return nil
}
