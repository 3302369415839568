// Package invented holds what studies with invented data of known truth share: their files, their truth, and how far a run
// came out from it.
package invented

// Truth is what the simulated data were made from.
type Truth struct {
	Values []TrueValue `json:"values"`
	// Draws says for each shared source how far the value that the study states lies above the true one, in units of its
	// standard uncertainty: a number found is truth + Σ part·draw + its own noise. Sources
	// that are numbers found by another stage (STAGE[ITEM]) have their truth among the values.
	Draws map[string]float64 `json:"draws"`
	// Reads names, for stages whose items have several numbers and serve other stages, the one number of an item that those read:
	// their sources (STAGE[ITEM].1, .2, …) then move what they serve along one direction, which is known from the truth of that number.
	Reads map[string]string `json:"reads,omitempty"`
}

// TrueValue is the number that a stage should find for a sample or a series, in the program's units: Rg in nm, I0 in 1/cm.
type TrueValue struct {
	Sample string  `json:"sample,omitempty"`
	Series string  `json:"series,omitempty"`
	Stage  string  `json:"stage"`
	Name   string  `json:"name"`
	Value  float64 `json:"value"`
}
