// Package scattering evaluates small-angle scattering curves. The science is
// plain functions over slices: q in 1/nm, intensities in any one unit, lengths
// in nm. Missing values are NaN inside these functions and never leave them.
package scattering
