// Package catalog knows samples and quantities: the sheet of samples, the patterns by which file names are matched to them,
// units of measurement, and numbers with their uncertainty.
//
// Errors are *fault.Fault or fault.List; parsers of single texts leave the place to whoever knows it.
package catalog
