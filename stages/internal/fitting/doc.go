// Package fitting has the numerics of fits that families share: weighted
// nonlinear least squares and Poisson maximum likelihood, with analytic
// Jacobians, bounds, and linear parameters eliminated.
//
// # Words
//
// A Model gives a curve of n points from its parameters, and the curve's
// derivatives. A Basis gives k curves whose sum with coefficients is the
// model; the coefficients are its linear parameters, what shapes the curves
// are its nonlinear ones. A Problem or a Separable joins a model with the
// points, the estimator, names and bounds. A Workspace does fits and keeps
// the memory they need: its second fit of the same size allocates nothing,
// and no iteration ever does. A Result tells what came out, and its Status
// how far to believe it.
//
// # Method
//
// Both estimators minimise
//
//	least squares:  F = Σ ((y−m)/u)²
//	Poisson:        F = 2 Σ (m − y + y·ln(y/m)), the deviance
//
// over the parameters of the means m. With s = 1/u, or 1/√m for Poisson, the
// first is a sum of squares, and the second has the same gradient as
// Σ (s·(y−m))² under fixed s and the same expected curvature (Fisher scoring),
// so that one step serves both: a Levenberg–Marquardt step on the rows
// s·∂m/∂p, within a trust region, with the bounds held inside the step by an
// active set (a convex quadratic with a box, solved exactly). Steps are
// judged by F itself, bent along the model's curvature where that is strong
// (plain models only), and made with a secant estimate of the curvature that
// the Jacobian does not show, near a minimum with large residuals.
//
// Linear parameters are minimised out at every step (variable projection),
// with those that must not be negative held so; the Jacobian of what remains
// is projected off the basis (Kaufman's form).
//
// Sources: Marquardt, J. SIAM 11 (1963) 431; Moré, Lecture Notes in
// Mathematics 630 (1978) 105 (scaling); Transtrum and Sethna, arXiv:1201.5885
// (bends); Dennis, Gay and Welsch, ACM Trans. Math. Softw. 7 (1981) 348 (secant);
// Golub and Pereyra, SIAM J. Numer. Anal. 10 (1973) 413; Kaufman, BIT 15
// (1975) 49; Stark and Parker, Comput. Stat. 10 (1995) 129 (bounds); Baker and
// Cousins, Nucl. Instrum. Methods 221 (1984) 437 (deviance); all from memory.
package fitting
