package report

// Colours of series, in order. They differ in lightness as well as in hue, so that they are told apart in grey and with any of
// the usual colour deficiencies (palette_test.go works it out); marks differ in shape and lines in dashes besides.
var palette = [...]string{"#23407c", "#d0661c", "#3a9d8f", "#8e2f62", "#a8a03c", "#503814"}

const (
	ink      = "#1d2733" // text and axes
	pale     = "#667080" // lesser text
	gridTone = "#e6e9ee"
	spanTone = "#e9eef8"
	markTone = "#5a4a8a"
)

var dashes = [...]string{"", "6 3", "2 3", "8 3 2 3"}

func colour(k int) string { return palette[k%len(palette)] }
func dash(k int) string   { return dashes[k/len(palette)%len(dashes)] }
