package fitting

import (
	"errors"
	"fmt"
	"strconv"
)

// Status says how a fit ended.
type Status uint8

const (
	// NotRun is the zero value: nothing was fitted.
	NotRun Status = iota
	// Converged: a minimum, inside the bounds, all parameters determined.
	// Result.Distance tells how nearly: Workspace.Tolerance, or what
	// rounding or the number of iterations left, 1e-3 standard
	// uncertainties at most.
	Converged
	// AtBound: a minimum, but one or more parameters lie at a bound. Their
	// SD is NaN, and the covariance of the others holds them there.
	AtBound
	// Singular: a minimum, but the points leave a direction of the
	// parameters undetermined. The SD of those it touches is NaN.
	Singular
	// NotConverged: the iterations ran out.
	NotConverged
	// Stalled: no step goes down any more, yet the slope is not zero. The
	// Jacobian does not belong to the values, or the model jumps.
	Stalled
	// TooFewPoints: fewer points than free parameters, or none to spare
	// where the noise must be taken from the scatter.
	TooFewPoints
	// BadPoint: an observation is not finite, or for Poisson not a whole
	// number of counts.
	BadPoint
	// BadUncertainty: a standard uncertainty is not positive and finite.
	BadUncertainty
	// BadBounds: a lower bound lies above its upper one, or is NaN.
	BadBounds
	// BadStart: the start is not finite, or the model there is not, or
	// gives no counts where some were found.
	BadStart
	// BadJacobian: the model is finite at a point, its derivatives are not.
	BadJacobian
	// NoCounts: a Poisson fit of counts that are all zero.
	NoCounts
)

// statuses has a name, whether a minimum was reached, and a sentinel for each.
var statuses = [...]struct {
	name    string
	minimum bool
	err     error
}{
	NotRun:         {"not run", false, errors.New("nothing was fitted")},
	Converged:      {"converged", true, nil},
	AtBound:        {"at bound", true, ErrAtBound},
	Singular:       {"singular", true, ErrSingular},
	NotConverged:   {"not converged", false, ErrNotConverged},
	Stalled:        {"stalled", false, ErrStalled},
	TooFewPoints:   {"too few points", false, ErrTooFewPoints},
	BadPoint:       {"bad point", false, ErrBadPoint},
	BadUncertainty: {"bad uncertainty", false, ErrBadUncertainty},
	BadBounds:      {"bad bounds", false, ErrBadBounds},
	BadStart:       {"bad start", false, ErrBadStart},
	BadJacobian:    {"bad Jacobian", false, ErrBadJacobian},
	NoCounts:       {"no counts", false, ErrNoCounts},
}

// The sentinels that Result.Err wraps, one a Status.
var (
	ErrAtBound        = errors.New("a parameter ended at its bound")
	ErrSingular       = errors.New("the points do not determine the parameters")
	ErrNotConverged   = errors.New("the fit did not converge")
	ErrStalled        = errors.New("the fit stalled away from a minimum")
	ErrTooFewPoints   = errors.New("too few points for this fit")
	ErrBadPoint       = errors.New("a point cannot be fitted")
	ErrBadUncertainty = errors.New("a standard uncertainty is not positive and finite")
	ErrBadBounds      = errors.New("the bounds leave no room")
	ErrBadStart       = errors.New("the fit cannot begin at its start")
	ErrBadJacobian    = errors.New("the model's derivatives are not finite")
	ErrNoCounts       = errors.New("there are no counts to fit")
)

// String gives the status's name.
func (s Status) String() string {
	if int(s) < len(statuses) {
		return statuses[s].name
	}
	return "status " + strconv.Itoa(int(s))
}

// Minimum tells whether a minimum was reached: Converged, AtBound, Singular.
func (s Status) Minimum() bool { return int(s) < len(statuses) && statuses[s].minimum }

// Error is what went wrong with a fit. It unwraps to its status's sentinel.
type Error struct {
	Status    Status
	Parameter string // the parameter meant, if one is
	Point     int    // the point meant, from 0; −1: none
	Found     string // the number found there, or the bound; may be empty
	Detail    string // what was found, what was expected, what to do
}

// Error gives the text: what happened, where, and what to do.
func (e *Error) Error() string {
	text := e.Status.String()
	if err := e.Unwrap(); err != nil {
		text = err.Error()
	}
	if e.Parameter != "" {
		text += ": " + e.Parameter
		if e.Found != "" {
			text += " = " + e.Found
		}
	} else if e.Point >= 0 {
		text += fmt.Sprintf(": point %d", e.Point+1)
		if e.Found != "" {
			text += " is " + e.Found
		}
	}
	if e.Detail != "" {
		text += ": " + e.Detail
	}
	return text
}

// Unwrap gives the status's sentinel.
func (e *Error) Unwrap() error {
	if int(e.Status) < len(statuses) {
		return statuses[e.Status].err
	}
	return nil
}
