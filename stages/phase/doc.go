// Package phase tells where mixtures turn turbid, and what the salt solution
// around them is like. The science is plain functions over slices: lengths in
// nm, amount concentrations in mol/L, temperatures in K, transmittances as
// fractions. Missing values are NaN inside these functions and never leave
// them.
package phase
