// Package lifetime draws lifetimes from decays of counted photons.
//
// The kinds' files (fit.go, …) turn tables into slices and back. The science is plain functions over slices: Problem and Workspace.Fit
// hold exponentials, convolved with the instrument's response, against counts; PrepareResponse looks at a response; the averages of
// several lifetimes have a name each, since one taken for the other is a common mistake.
//
// Within the science, times are in channels: that is what the convolution works in. Names that end in NS, and all columns of tables, are in
// nanoseconds.
package lifetime
