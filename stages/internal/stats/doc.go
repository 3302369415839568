// Package stats holds the small statistics that several families of stages
// share: the runs test, weighted lines and parabolas with their covariance,
// and tail probabilities. All functions work on plain slices, allocate nothing
// unless they say so, and depend on the order of their input only where they
// say so.
package stats
