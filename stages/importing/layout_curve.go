package importing

import (
	"fmt"
)

// padded is where the rows of a curve end: behind its last number, or mark of over-range, in any of its columns; on a common axis (which it then
// does not matter that others go on) in any but the first.
func (g *grid) padded(cols []int, common bool, from int) int {
	end := from
	for i, c := range cols {
		if common && i == 0 {
			continue
		}
		to := g.filled(c)
		for _, gap := range g.gaps[c] {
			if gap.why == gapOver || gap.why == gapBeyond {
				to = max(to, gap.row+1)
			}
		}
		end = max(end, to)
	}
	return end
}

// curve takes some columns and rows out of a grid.
func (g *grid) curve(cols []int, from, to int) *Text {
	t := &Text{FirstLine: g.line(from), LastLine: g.line(to - 1), Columns: make([][]float64, len(cols)), Valid: make([][]bool, len(cols))}
	for i, c := range cols {
		t.Columns[i] = g.cols[c][from:to:to]
		if g.valid[c] != nil {
			t.Valid[i] = g.valid[c][from:to:to]
		}
		t.Notes = append(t.Notes, gapNotes(g.gaps[c], from, to, g.line)...)
	}
	return t
}

// gapNotes says what is missing in a column, one note a sort.
func gapNotes(gaps []gapMark, from, to int, line func(int) int) []Note {
	var notes []Note
	var at [gapBeyond + 1]int
	for _, m := range gaps {
		if m.row < from || m.row >= to {
			continue
		}
		if at[m.why] == 0 {
			notes = append(notes, Note{Text: fmt.Sprintf("%s in column %d", m.why, m.col+1), Minor: m.why.absent()})
			at[m.why] = len(notes)
		}
		n := &notes[at[m.why]-1]
		n.Lines = append(n.Lines, line(m.row))
	}
	return notes
}
