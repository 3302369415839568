// Package spectra describes spectra and takes them apart: bands, and what they
// are made of. The science is plain functions over slices. Missing values are
// NaN inside these functions and never leave them in a table.
package spectra
