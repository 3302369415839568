// Package efficiency finds how completely energy goes from donor to acceptor, by
// the ways that leave different marks: light, lifetimes, excitation. The science
// is plain functions over numbers and slices; missing numbers are NaN inside them.
package efficiency
