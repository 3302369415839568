package importing

import (
	"fmt"
	"strings"
)

// MinColumns and MaxColumns bound what the text reader takes for a curve: an
// axis, a value, and at most two more (an uncertainty, a resolution).
const (
	MinColumns = 2
	MaxColumns = 4
)

// Text is a curve read from delimited text.
type Text struct {
	Columns   [][]float64 // MinColumns to MaxColumns, equally long; 0 where there is no number
	Valid     [][]bool    // per column; nil: all entries are numbers
	Heads     []Head      // one per column, or nil when the file names none
	Pairs     []Pair      // what header and footer say of themselves, in the order of the file
	FirstLine int         // line of the first row, from 1
	LastLine  int         // line of the last row
	Lines     int         // lines in the file
	Separator string      // "blanks", "comma", "semicolon", "tab", with ", decimal comma" where it applies
	Notes     []Note
	Names     []Name   // what may name the curve, the likeliest first; of files with several curves
	Keyed     []string // what columns say of Options.Keys, in their order; nil: the name says it
	rowLines  []int
	layout    Layout // of the file
}

// Rows is the number of rows.
func (t *Text) Rows() int { return len(t.Columns[0]) }

// Line is the line, from 1, that row (from 0) stands on.
func (t *Text) Line(row int) int {
	if t.rowLines != nil {
		return t.rowLines[row]
	}
	return t.FirstLine + row
}

// Note is something that a person should know of a file that was read.
type Note struct {
	Text  string
	Lines []int // in rising order; empty: the file as a whole
	Minor bool  // worth reading; else a person must judge what it means
}

// LineError is a fault of a file, with its place.
type LineError struct {
	Line     int // from 1; 0: the file as a whole
	Found    string
	Expected string
	Remedy   string
}

func (e *LineError) Error() string {
	var b strings.Builder
	if e.Line > 0 {
		fmt.Fprintf(&b, "line %d: ", e.Line)
	}
	b.WriteString("found " + e.Found)
	if e.Expected != "" {
		b.WriteString("; expected " + e.Expected)
	}
	if e.Remedy != "" {
		b.WriteString("; " + e.Remedy)
	}
	return b.String()
}

// ParseText reads a curve from delimited text: the longest run of consecutive
// lines of numbers with the same number of columns, two to four. Header and
// footer are what lies before and behind it; lines of key and value in them
// become Pairs, and the last header line with as many words as there are
// columns (a `#` before it does not matter) becomes Heads.
//
// Separators are blanks, tab, comma or semicolon; a decimal comma is taken
// where the separator is not a comma. Text is UTF-8 with or without a byte
// order mark (UTF-16 with one is converted), lines end with LF, CR LF or CR in
// any mixture. Marks for over-range (XXX.XXX, OVER, #####, **.**), NaN, NULL
// and empty cells become entries without a number and are noted; columns
// without any number at the right end are left out and noted.
//
// Errors are *LineError: an empty or binary file, no numbers, one column, more
// than four, a cut-off last line, an unreadable line amid the data, a second
// block of numbers.
func ParseText(data []byte) (*Text, error) {
	data, notes, err := plainText(data)
	if err != nil {
		return nil, err
	}
	s := bestScan(data)
	if s.best.rows == 0 || s.best.rows == 1 && s.ones.rows > 1 {
		return nil, noTable(data, s)
	}
	if s.best.rows == 1 {
		return nil, &SeveralError{LineError{s.best.firstLine, "a single line of numbers", "at least two", "a table whose curve lies along a line needs the layout rows"}}
	}
	if err := checkRest(data, s, &notes); err != nil {
		return nil, err
	}
	return s.text(data, notes)
}

// noTable says why a file without a usable run is refused.
func noTable(data []byte, s *scan) error {
	if s.ones.rows > 1 {
		return &LineError{s.ones.firstLine, fmt.Sprintf("one column of numbers (%d lines)", s.ones.rows), "an axis and at least one column of values", "export the axis too"}
	}
	return &SeveralError{LineError{0, fmt.Sprintf("no table of numbers in %d lines", s.lines), "two to four columns of numbers", "look at the file: is it the export of this measurement?"}}
}

// text turns the best run into columns.
func (s *scan) text(data []byte, notes []Note) (*Text, error) {
	b := s.best
	named := b.cells // columns as the lines count them, empty ones included
	n := b.cells
	if n <= keptCells {
		var missing [keptCells]int
		for _, g := range b.gaps {
			if g.why == gapEmpty || g.why == gapNull {
				missing[g.col]++
			}
		}
		for n > 1 && missing[n-1] == b.rows {
			n--
		}
	}
	switch {
	case n == 1:
		return nil, &LineError{b.firstLine, "one column of numbers, the others are empty", "an axis and at least one column of values", "export the values too"}
	case n > MaxColumns:
		return nil, &SeveralError{LineError{b.firstLine, fmt.Sprintf("%d columns of numbers", n), fmt.Sprintf("%d to %d: an axis, values, their uncertainty, a resolution", MinColumns, MaxColumns),
			"a file of several curves needs a layout: wide, pairs, rows or long"}}
	}
	t := &Text{Columns: make([][]float64, n), Valid: make([][]bool, n), FirstLine: b.firstLine, LastLine: b.lastLine,
		Lines: s.lines, Separator: s.layout.String(), rowLines: b.lines}
	for k := range t.Columns {
		t.Columns[k] = b.cols[k][:b.rows:b.rows]
	}
	t.Notes = append(notes, t.takeGaps(b)...)
	h := header{data: data, layout: s.layout}
	h.read(data[:b.start], 1)
	t.Heads = h.heads(n, named)
	for k := n; k < named; k++ {
		t.Notes = append(t.Notes, Note{Text: fmt.Sprintf("column %d is empty and left out", k+1), Minor: true})
		if len(h.dropped) > k-n && h.dropped[k-n] != "" {
			t.Notes[len(t.Notes)-1].Text = fmt.Sprintf("column %d (%s) is empty and left out", k+1, h.dropped[k-n])
		}
	}
	h.read(data[b.end:], b.lastLine+1)
	t.Pairs = h.pairs()
	if len(h.latin) > 0 {
		t.Notes = append(t.Notes, Note{"the text is not UTF-8; it was read as Windows-1252", h.latin, true})
	}
	if note, odd := shortEnd(data, b, s.layout); odd {
		t.Notes = append(t.Notes, note)
	}
	return t, nil
}

// takeGaps writes Valid and returns notes of what is missing: one for each
// column and kind.
func (t *Text) takeGaps(b *block) []Note {
	var notes []Note
	var at [keptCells][gapBeyond + 1]int // index of the note, plus one
	for _, g := range b.gaps {
		if g.col >= len(t.Columns) {
			continue
		}
		if t.Valid[g.col] == nil {
			t.Valid[g.col] = make([]bool, b.rows)
			for i := range t.Valid[g.col] {
				t.Valid[g.col][i] = true
			}
		}
		t.Valid[g.col][g.row] = false
		k := &at[g.col][g.why]
		if *k == 0 {
			notes = append(notes, Note{Text: fmt.Sprintf("%s in column %d", g.why, g.col+1), Minor: g.why.absent()})
			*k = len(notes)
		}
		notes[*k-1].Lines = append(notes[*k-1].Lines, b.line(g.row))
	}
	return notes
}
