// Package correction takes instrument, solvent and geometry out of curves. The
// science is plain functions over slices. Missing values are NaN inside these
// functions and never leave them in a table.
package correction
