package mixing

// Samples of which one thing went wrong on purpose, so that a reader sees how the report speaks of it.
const (
	emptyFile    = "SN65" // its scattering curve is an empty file
	noResponse   = "SC35" // its acceptor decay was taken behind a filter without a response
	saturated    = "SS75" // its scan excited at 520 nm is over range
	wrongSolvent = "LN25" // its absorbance was taken against another salt's solvent
)
