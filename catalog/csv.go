package catalog

import (
	"strings"
	"unicode/utf8"

	"fascicle/catalog/fault"
)

// A csvScanner splits text into cells (RFC 4180, with any delimiter and any line end; a quote inside an unquoted cell is a
// character like others).
type csvScanner struct {
	rest      string
	delimiter byte
	line, col int // of the start of rest, in characters from 1
}

func newCSVScanner(text string, delimiter byte) *csvScanner {
	return &csvScanner{rest: text, delimiter: delimiter, line: 1, col: 1}
}

// record appends the cells of the next line to cells. At the end of the text more is false.
func (s *csvScanner) record(cells []Cell) (all []Cell, more bool, f *fault.Fault) {
	if s.rest == "" {
		return cells, false, nil
	}
	for {
		cell := Cell{Line: s.line, Col: s.col}
		if strings.HasPrefix(strings.TrimLeft(s.rest, " "), `"`) {
			if cell.Text, f = s.quoted(); f != nil {
				return cells, false, f
			}
		} else {
			cell.Text = strings.TrimSpace(s.take(s.end()))
		}
		cells = append(cells, cell)
		if s.rest == "" {
			return cells, true, nil
		}
		if s.rest[0] == s.delimiter {
			s.rest = s.rest[1:]
			s.col++
			continue
		}
		s.newline()
		return cells, true, nil
	}
}

// end is the index of the end of an unquoted cell.
func (s *csvScanner) end() int {
	for i := 0; i < len(s.rest); i++ {
		if c := s.rest[i]; c == s.delimiter || c == '\n' || c == '\r' {
			return i
		}
	}
	return len(s.rest)
}

// take removes n bytes, which hold no line end, from rest.
func (s *csvScanner) take(n int) string {
	text := s.rest[:n]
	s.rest = s.rest[n:]
	s.col += utf8.RuneCountInString(text)
	return text
}

// newline removes one line end: LF, CR LF or CR.
func (s *csvScanner) newline() {
	n := 1
	if strings.HasPrefix(s.rest, "\r\n") {
		n = 2
	}
	s.rest = s.rest[n:]
	s.line++
	s.col = 1
}

// quoted reads a cell in quotes, which may hold delimiters, line ends and doubled quotes.
func (s *csvScanner) quoted() (string, *fault.Fault) {
	line, col := s.line, s.col
	s.take(strings.IndexByte(s.rest, '"') + 1)
	var text strings.Builder
	for {
		n := strings.IndexAny(s.rest, "\"\r\n")
		if n < 0 {
			s.rest = ""
			return "", &fault.Fault{Line: line, Col: col, Found: "a cell whose quote is never closed",
				Expected: `a closing "`, Remedy: `write a quote inside a cell twice: ""`}
		}
		text.WriteString(s.take(n))
		if s.rest[0] != '"' {
			text.WriteByte('\n')
			s.newline()
			continue
		}
		s.take(1)
		if !strings.HasPrefix(s.rest, `"`) {
			break
		}
		text.WriteByte('"')
		s.take(1)
	}
	if after := strings.TrimSpace(s.take(s.end())); after != "" {
		return "", &fault.Fault{Line: line, Col: col, Found: "text behind the closing quote of a cell",
			Expected: "the next cell", Remedy: `write a quote inside a cell twice: ""`}
	}
	return strings.TrimSpace(text.String()), nil
}

// findDelimiter chooses among comma, semicolon and tab the one under which the first lines split into the most cells, all
// lines alike as far as can be. Ties go to the comma, then to the semicolon.
func findDelimiter(text string) byte {
	const lines = 20
	best, bestAlike, bestCells := byte(','), 0, 1
	for _, delimiter := range [...]byte{',', ';', '\t'} {
		s := newCSVScanner(text, delimiter)
		var cells []Cell
		heads, alike := 0, 0
		for range lines {
			record, more, f := s.record(cells[:0])
			cells = record
			if !more || f != nil {
				break
			}
			if blank(record) {
				continue
			}
			if heads == 0 {
				heads = len(record)
			}
			if len(record) == heads {
				alike++
			}
		}
		if heads > 1 && (bestCells == 1 || alike > bestAlike || alike == bestAlike && heads > bestCells) {
			best, bestAlike, bestCells = delimiter, alike, heads
		}
	}
	return best
}

// blank tells whether all cells are empty, as in the lines that spreadsheets leave below a table.
func blank(cells []Cell) bool {
	for i := range cells {
		if cells[i].Text != "" {
			return false
		}
	}
	return true
}
