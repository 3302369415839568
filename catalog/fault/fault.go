// Package fault holds the one type in which every part of the program says what is wrong with its input: where it was
// found, what was found there, what was expected and what a person can do about it.
package fault

import (
	"slices"
	"strconv"
	"strings"
)

// A Fault is one thing that is wrong with an input. Parts that are unknown stay empty and are left out of the message.
// Parsers that do not know the place return a Fault without File, Line and Col; whoever knows the place fills it in.
type Fault struct {
	File      string // as the user knows it: relative to the study
	Line, Col int    // from 1, in characters; 0: unknown
	Cell      string // in a workbook the cell's name, which then stands for line and column in the message: `B4`
	Sample    string // the sample concerned
	Found     string // what stands there, quoted by whoever fills it in: `"abc"`, `3 cells`
	Expected  string // what should stand there: `a number in mol/L`
	Remedy    string // what to do: `correct the cell or leave it empty`
	Err       error  // the cause, if there is one
}

// Error writes the fault in one line:
//
//	samples.csv:12:5: found "abc"; expected a number in mol/L; correct the cell or leave it empty
func (f *Fault) Error() string {
	var b strings.Builder
	if place := f.Place(); place != "" {
		b.WriteString(place)
		b.WriteString(": ")
	}
	if f.Sample != "" {
		b.WriteString("sample ")
		b.WriteString(f.Sample)
		b.WriteString(": ")
	}
	b.WriteString(f.Message())
	return b.String()
}

// Message is Error without the place and the sample.
func (f *Fault) Message() string {
	parts := make([]string, 0, 4)
	if f.Found != "" {
		parts = append(parts, "found "+f.Found)
	}
	if f.Expected != "" {
		parts = append(parts, "expected "+f.Expected)
	}
	if f.Err != nil {
		parts = append(parts, f.Err.Error())
	}
	if f.Remedy != "" {
		parts = append(parts, f.Remedy)
	}
	if len(parts) == 0 {
		return "fault without a description"
	}
	return strings.Join(parts, "; ")
}

// Place is `file:line:col`, or `file:cell` in a workbook, with the unknown parts left out.
func (f *Fault) Place() string {
	if f.Cell != "" {
		if f.File == "" {
			return "cell " + f.Cell
		}
		return f.File + ":" + f.Cell
	}
	if f.Line <= 0 {
		return f.File
	}
	place := strconv.Itoa(f.Line)
	if f.File != "" {
		place = f.File + ":" + place
	} else {
		place = "line " + place
	}
	if f.Col > 0 {
		place += ":" + strconv.Itoa(f.Col)
	}
	return place
}

// Unwrap gives the cause.
func (f *Fault) Unwrap() error { return f.Err }

// A List is every fault of an input, so that a user mends a file once and not once for each fault.
type List []*Fault

// Add appends faults; nil ones are left out.
func (l *List) Add(faults ...*Fault) {
	for _, f := range faults {
		if f != nil {
			*l = append(*l, f)
		}
	}
}

// Err is the list as an error, nil when it is empty.
func (l List) Err() error {
	if len(l) == 0 {
		return nil
	}
	return l
}

// Error is one line a fault, in the order of the list.
func (l List) Error() string {
	lines := make([]string, len(l))
	for i, f := range l {
		lines[i] = f.Error()
	}
	return strings.Join(lines, "\n")
}

// Unwrap gives the faults to errors.Is and errors.As.
func (l List) Unwrap() []error {
	errs := make([]error, len(l))
	for i, f := range l {
		errs[i] = f
	}
	return errs
}

// Sort orders by file, line and column; faults of one place keep their order.
func (l List) Sort() {
	slices.SortStableFunc(l, func(a, b *Fault) int {
		if c := strings.Compare(a.File, b.File); c != 0 {
			return c
		}
		if a.Line != b.Line {
			return a.Line - b.Line
		}
		return a.Col - b.Col
	})
}
