// Package convolution convolves exponentials with an instrument's measured response on a grid of equal channels.
//
// Light that a pulse excites is seen through the response R of the instrument. A decay E(s) = e^(−s/τ), s ≥ 0, is recorded as
//
//	h(t) = ∫₀^∞ R(t − s)·E(s) ds
//
// Counts are integrals over channels. Where response and decay are recorded with channels of one width, the recorded decay is the
// recorded (that is, channel-integrated) response convolved with E, for convolutions commute; so R is needed between the channels, and is
// taken there from the cubic spline through its counts. All else is exact: the integral of the spline times the exponential has a closed
// form, follows from channel to channel by a recursion, and so costs O(N) for each exponential, at any shift between response and decay
// that need not be a whole number of channels.
//
// Everything here is in units of channels: times, lifetimes, shifts and periods. Derivatives are analytic.
//
// Sources: the recursion is the step from t to t + 1 of the integral above (Grinvald and Steinberg, Anal. Biochem. 59 (1974) 583, from
// memory, with trapezoids in place of the spline); cardinal cubic splines: de Boor, A Practical Guide to Splines (1978), ch. IV and IX
// (from memory).
package convolution
