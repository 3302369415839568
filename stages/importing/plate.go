package importing

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// plateGrid is a table of wells: columns numbered from 1, rows lettered from A.
type plateGrid struct {
	title     string // what stands above, or in its corner
	columns   int
	rows      [][]gridCell
	lines     []int // of the rows
	words     bool  // it says what the wells hold
	from, end int   // where it stands in the text
	line      int   // of the line with the numbers
}

// mostWells bounds a plate: 32 × 48 wells are the most that plates have.
const mostWells = 1536

// findPlates finds the plates of a text.
func findPlates(data []byte, l layout) []plateGrid {
	var out []plateGrid
	sc := gridScanner{data: data, layout: l}
	title, line := "", 0
	for i := 0; i < len(data); {
		start := i
		next, kind := sc.line(i)
		line++
		n := plateHead(data, sc.cells)
		if n == 0 {
			if kind != lineBlank {
				title = plainWords(data[start:next])
			}
			i = next
			continue
		}
		p := plateGrid{title: strings.Trim(title, " \t\r\n,;\"#:"), columns: n, from: start, line: line}
		if c := sc.cells[0]; c.words && len(sc.cells) == n+1 {
			if corner := string(data[c.lo:c.hi]); strings.Trim(corner, "<>\\/ ") != "" {
				p.title = corner
			}
		}
		i = next
		for i < len(data) && len(p.rows)*n < mostWells {
			next, kind := sc.line(i)
			if kind == lineBlank && len(p.rows) == 0 || len(sc.cells) < 2 || len(sc.cells) > n+2 || !rowLetter(data, sc.cells[0], len(p.rows)) {
				break
			}
			line++
			row := make([]gridCell, n)
			for k := range row {
				row[k].why = gapEmpty
			}
			copy(row, sc.cells[1:])
			for _, c := range row {
				p.words = p.words || c.words
			}
			p.rows, p.lines = append(p.rows, row), append(p.lines, line)
			i = next
		}
		if p.end = i; len(p.rows) >= 2 {
			out = append(out, p)
			title = ""
		}
	}
	return out
}

// plateHead is the number of columns when cells are 1, 2, 3, … behind at most one other cell, else 0.
func plateHead(data []byte, cells []gridCell) int {
	if len(cells) > 0 && (cells[0].words || cells[0].why != 0) {
		cells = cells[1:]
	}
	for len(cells) > 0 && cells[len(cells)-1].why == gapEmpty {
		cells = cells[:len(cells)-1]
	}
	if len(cells) < 3 || len(cells) > 48 {
		return 0
	}
	for k, c := range cells {
		if c.words || c.why != 0 || string(data[c.lo:c.hi]) != itoa(k+1) {
			return 0
		}
	}
	return len(cells)
}

// rowLetter says that a cell letters the row with this index: A, B, …, Z, AA.
func rowLetter(data []byte, c gridCell, row int) bool { return string(data[c.lo:c.hi]) == wellRow(row) }

func wellRow(row int) string {
	if row < 26 {
		return string(rune('A' + row))
	}
	return "A" + string(rune('A'+row-26))
}

// bestPlates finds the plates of a text in the layout of cells in which there are most wells with numbers.
func bestPlates(data []byte) ([]plateGrid, layout) {
	var best []plateGrid
	var in layout
	most := 0
	for _, l := range layouts {
		plates := findPlates(data, l)
		n := 0
		for _, p := range plates {
			for _, r := range p.rows {
				for _, c := range r {
					if !c.words && c.why == 0 {
						n += 2
					} else if c.words {
						n++
					}
				}
			}
		}
		if n > most {
			best, in, most = plates, l, n
		}
	}
	return best, in
}

// isPlate says that a text is a plate of wells and nothing that could be curves.
func isPlate(data []byte) bool {
	plates, _ := bestPlates(data)
	return slices.ContainsFunc(plates, func(p plateGrid) bool { return !p.words })
}

// EachPlate reads plates of wells, each well a text of one row: a column for each plate of numbers in the file. Its name is what a plate of words in the
// file, or wells, says of the well; without either the well itself (`B7`). Wells without a number in any plate, and wells that are named nowhere though
// others are, are left out.
//
// Errors are *LineError: no plate, plates of different sizes, two names for a well, and what yield returns.
func EachPlate(data []byte, wells map[string]string, keepWell bool, yield func(*Text) error) error {
	plates, l := bestPlates(data)
	var names *plateGrid
	var values []*plateGrid
	h := header{data: data, layout: l}
	from, line := 0, 1
	for i := range plates {
		p := &plates[i]
		h.read(data[from:p.from], line)
		from, line = p.end, p.lines[len(p.lines)-1]+1
		switch {
		case !p.words:
			values = append(values, p)
		case names != nil:
			return &LineError{p.line, "a second plate of words", "one that says what the wells hold", "take one out"}
		default:
			names = p
		}
	}
	if len(values) == 0 {
		return &LineError{0, "no plate of numbers", "a line with 1, 2, 3, … above rows that begin with A, B, C, …", "correct `layout`, or look at the file"}
	}
	h.read(data[from:], line)
	pairs := h.pairs()
	first := values[0]
	for _, p := range values[1:] {
		if p.columns != first.columns || len(p.rows) != len(first.rows) {
			return &LineError{p.line, fmt.Sprintf("a plate of %d × %d wells", len(p.rows), p.columns), fmt.Sprintf("%d × %d as above", len(first.rows), first.columns), "part the file"}
		}
	}
	var unnamed []string
	var notes []Note
	var held *Text
	give := func() error {
		if held == nil {
			return nil
		}
		return yield(held)
	}
	for r := range first.rows {
		for c := range first.columns {
			well := wellRow(r) + itoa(c+1)
			t := wellText(values, r, c)
			if t == nil {
				continue
			}
			name, err := wellName(data, well, r, c, names, wells)
			if err != nil {
				return err
			}
			switch {
			case name == "" && (names != nil || len(wells) > 0):
				unnamed = append(unnamed, well)
				continue
			case name == "":
				name = well
			case keepWell:
				name = well + " " + name
			}
			t.Names = []Name{{name, first.lines[r]}}
			t.Pairs, t.Lines, t.Separator, t.layout = pairs, line, l.String(), Plate
			for _, p := range values {
				t.Heads = append(t.Heads, splitHead(p.title))
			}
			if err := give(); err != nil {
				return err
			}
			held = t
		}
	}
	if len(unnamed) > 0 {
		notes = append(notes, Note{Text: "wells that nothing names are left out: " + shortKeys(unnamed)})
	}
	if held == nil {
		return &LineError{first.line, "no well with a name and a number", "at least one", "say under `wells` what the wells hold"}
	}
	held.Notes = append(held.Notes, notes...)
	return give()
}

// wellText takes the numbers of a well; nil when there are none.
func wellText(values []*plateGrid, r, c int) *Text {
	t := &Text{FirstLine: values[0].lines[r], LastLine: values[0].lines[r]}
	some := false
	for k, p := range values {
		cell := p.rows[r][c]
		some = some || cell.why != gapEmpty
		t.Columns = append(t.Columns, []float64{cell.v})
		t.Valid = append(t.Valid, nil)
		if cell.why != 0 {
			t.Columns[k][0], t.Valid[k] = 0, []bool{false}
			t.Notes = append(t.Notes, Note{cell.why.String() + " in plate " + itoa(k+1), []int{p.lines[r]}, cell.why.absent()})
		}
	}
	if !some {
		return nil
	}
	return t
}

// wellName is what the file or the study says that a well holds.
func wellName(data []byte, well string, r, c int, names *plateGrid, wells map[string]string) (string, error) {
	name := wells[well]
	if names != nil && r < len(names.rows) && c < names.columns {
		cell := names.rows[r][c]
		own := string(data[cell.lo:cell.hi])
		if cell.why != 0 {
			own = ""
		}
		if own != "" && name != "" && own != name {
			return "", &LineError{names.lines[r], fmt.Sprintf("%q in well %s", own, well), fmt.Sprintf("%q as `wells` says", name), "correct one of them"}
		}
		if name == "" {
			name = own
		}
	}
	return name, nil
}

// parseWells reads what a study says of wells: `B7`, or from one to another, `A1-B6`, which is a rectangle.
func (s *importSettings) parseWells() (map[string]string, error) {
	out := map[string]string{}
	for _, w := range s.Wells {
		a, b, several := strings.Cut(w.Key, "-")
		row, col, ok := parseWell(a)
		lastRow, lastCol := row, col
		if several {
			var good bool
			lastRow, lastCol, good = parseWell(b)
			ok = ok && good && lastRow >= row && lastCol >= col
		}
		if !ok {
			return nil, fmt.Errorf("wells: %q: a well such as B7, or two that are corners, A1-B6, are expected", w.Key)
		}
		for r := row; r <= lastRow; r++ {
			for c := col; c <= lastCol; c++ {
				well := wellRow(r) + itoa(c)
				if old, twice := out[well]; twice && old != w.Value {
					return nil, fmt.Errorf("wells: %s holds both %q and %q", well, old, w.Value)
				}
				out[well] = w.Value
			}
		}
	}
	return out, nil
}

// parseWell reads `B7`: row from 0, column from 1.
func parseWell(s string) (row, col int, ok bool) {
	s = strings.TrimSpace(s)
	n := 0
	for n < len(s) && s[n]-'A' < 26 {
		n++
	}
	switch {
	case n == 1:
		row = int(s[0] - 'A')
	case n == 2 && s[0] == 'A' && s[1] < 'G':
		row = 26 + int(s[1]-'A')
	default:
		return 0, 0, false
	}
	col, err := strconv.Atoi(s[n:])
	return row, col, err == nil && col >= 1 && col <= 48 && s[n] != '+' && s[n] != '0'
}
