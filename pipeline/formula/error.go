package formula

import (
	"fmt"
	"strings"

	"fascicle/catalog/fault"
)

// Error says what is wrong with an expression, and where.
type Error struct {
	Offset   int    // characters (not bytes) before the place, from 0
	Found    string // what stands there
	Expected string // what could stand there; may be empty
	Remedy   string // what to do; may be empty
}

// Error gives the message on one line.
func (e *Error) Error() string {
	var b strings.Builder
	fmt.Fprintf(&b, "character %d: found %s", e.Offset+1, e.Found)
	if e.Expected != "" {
		b.WriteString("; expected " + e.Expected)
	}
	if e.Remedy != "" {
		b.WriteString("; " + e.Remedy)
	}
	return b.String()
}

// At turns the error into a fault of a file. Line and col (from 1) are the place of the first character of the expression; an
// expression over several lines keeps the place of its beginning.
func (e *Error) At(file string, line, col int) *fault.Fault {
	if col > 0 {
		col += e.Offset
	}
	return &fault.Fault{File: file, Line: line, Col: col, Found: e.Found, Expected: e.Expected, Remedy: e.Remedy}
}
