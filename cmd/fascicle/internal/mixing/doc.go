// Package mixing writes the whole demo study: a violet-amber polymer pair along the mixing ratio, with invented data of known truth.
//
// Study file and sheet are those of the ready-made study mixing-ratio. The raw files are simulated here from the sheet, always the
// same ones, in the forms that exports of instruments have. Models (forward) and formats share nothing with the code that reads and
// fits, so that truth.json can be held against what a run finds.
//
// What the simulator knows and the laboratory does not is a world: where the stated numbers really lie, and what preparations
// differ by. What a sample then is, is its nature; emission.go, absorbance.go, decay.go, scatter.go and turbid.go say what an
// instrument sees of it, and write it.
package mixing
