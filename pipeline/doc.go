// Package pipeline drives items through kinds, incrementally.
//
// The words, in the order in which a run meets them:
//
//   - A kind says what can be done: its ports, outputs, settings, formula, source and run function, declared whole in one value
//     (type Kind). The program's kinds are listed in package stages; this package knows none by name.
//   - A stage is an entry of the study's graph: a kind, the stages that feed its ports, and its settings.
//   - An item is one table with fields (what it is of: sample, day, band, …) and a header (what its file said of itself).
//   - A group is what one call of a kind's run function is made from: lead items that agree on the fields in `by`, with the
//     partners that each of them found at the other ports.
//   - A recipe is everything that a group's result depends on, as labelled lines of text; its SHA-256 is the recipe key.
//   - An object is the bytes of an output item; its SHA-256 is the content hash. Downstream recipes name content hashes, so
//     a change that leaves a table as it was stops there.
//   - Each item ends in one of four states: made, kept, failed, blocked.
//
// Load reads a study folder, Check says what is wrong with it without computing anything, Run makes what is missing.
package pipeline
