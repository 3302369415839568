// Package firstlook writes a small scattering study with invented data of known truth.
//
// The study file and the sheet are those of the ready-made study first-look; the raw files are simulated here from the sheet,
// always the same ones. Nothing in this package is shared with the code that later fits the curves, so that truth.json can be
// held against what a run finds. Tests use it: it is quick, and everything in it is simple.
package firstlook
