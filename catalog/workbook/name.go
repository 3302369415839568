package workbook

import (
	"strconv"
	"strings"
)

// Size of a sheet (the largest that spreadsheet programs make).
const (
	mostRows    = 1 << 20
	mostColumns = 1 << 14
)

// Column is the name of a column, from 1: A, B, …, Z, AA.
func Column(col int) string {
	if col < 1 {
		return "?"
	}
	var letters [8]byte
	i := len(letters)
	for ; col > 0 && i > 0; col = (col - 1) / 26 {
		i--
		letters[i] = 'A' + byte((col-1)%26)
	}
	return string(letters[i:])
}

// Name is the name of a cell; rows and columns count from 1: Name(4, 2) is B4.
func Name(row, col int) string { return Column(col) + strconv.Itoa(row) }

// parseName reads the name of a cell, perhaps with dollar signs.
func parseName(s string) (row, col int, ok bool) {
	s = strings.ReplaceAll(s, "$", "")
	i := 0
	for ; i < len(s); i++ {
		c := s[i] &^ 0x20
		if c < 'A' || c > 'Z' {
			break
		}
		if col = 26*col + int(c-'A') + 1; col > mostColumns {
			return 0, 0, false
		}
	}
	if i == 0 || i == len(s) || s[i] < '1' || s[i] > '9' {
		return 0, 0, false
	}
	row, err := strconv.Atoi(s[i:])
	return row, col, err == nil && row <= mostRows
}

// A Range is a rectangle of cells, its corners included.
type Range struct {
	Row, Col, LastRow, LastCol int
}

// String is the range's name: `B2:C4`.
func (r Range) String() string { return Name(r.Row, r.Col) + ":" + Name(r.LastRow, r.LastCol) }

// Meets tells whether two ranges share a cell.
func (r Range) Meets(s Range) bool {
	return r.Row <= s.LastRow && s.Row <= r.LastRow && r.Col <= s.LastCol && s.Col <= r.LastCol
}

// parseRange reads `B2:C4`.
func parseRange(s string) (Range, bool) {
	first, last, ok := strings.Cut(s, ":")
	if !ok {
		last = first
	}
	row, col, ok1 := parseName(first)
	lastRow, lastCol, ok2 := parseName(last)
	return Range{min(row, lastRow), min(col, lastCol), max(row, lastRow), max(col, lastCol)}, ok1 && ok2
}
