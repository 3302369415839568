package catalog

import "fascicle/catalog/fault"

// A Capture is a field that a pattern takes from a name.
type Capture struct {
	Name    string
	Type    ColumnType
	Unit    Unit
	HasUnit bool
}

// A Pattern describes the names of files.
type Pattern struct {
	text     string
	captures []Capture
}

// ParsePattern reads a pattern.
func ParsePattern(s string) (*Pattern, error) {
	return nil, &fault.Fault{Found: "patterns not written yet"}
}

// ParseNamePattern reads a pattern for the names of curves inside a file: no path rules, captures may hold `/`.
func ParseNamePattern(s string) (*Pattern, error) {
	return nil, &fault.Fault{Found: "patterns not written yet"}
}

// String is the pattern as written.
func (p *Pattern) String() string { return p.text }

// Captures gives the captures in their order.
func (p *Pattern) Captures() []Capture { return p.captures }

// Dir is the longest folder without captures and stars.
func (p *Pattern) Dir() string { return "" }

// Archive splits at `!/`.
func (p *Pattern) Archive() (archive, inner string, ok bool) { return "", "", false }

// Literal tells whether the pattern has neither captures nor stars.
func (p *Pattern) Literal() bool { return false }

// Match gives every way to split the name.
func (p *Pattern) Match(name string) [][]string { return nil }
