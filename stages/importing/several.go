package importing

import (
	"errors"
	"math"
)

// SeveralError is a LineError of a text that is not one curve of two to four columns, but may hold curves in another layout.
type SeveralError struct{ LineError }

func (e *SeveralError) Unwrap() error { return &e.LineError }

// maybeSeveral says whether a text that ParseText refused may be read by EachCurve.
func maybeSeveral(err error) bool {
	var e *SeveralError
	return errors.As(err, &e)
}

// ambiguousBlanks says whether a text that was read as columns parted by blanks holds blanks within cells parted by tabs: `1 234,5	12`.
func ambiguousBlanks(data []byte, t *Text) bool {
	if t.Separator != "blanks" && t.Separator != "blanks, decimal comma" {
		return false
	}
	i := 0
	for range t.FirstLine - 1 {
		i = lineEnd(data, i)
	}
	line := data[i:lineEnd(data, i)]
	tabs, inner := 0, 0
	for k := 1; k+1 < len(line); k++ {
		switch {
		case line[k] == '\t':
			tabs++
		case line[k] == ' ' && digit(line[k-1]) && digit(line[k+1]):
			inner++
		}
	}
	return tabs > 0 && inner > 0
}

func digit(c byte) bool { return c-'0' <= 9 }

// thousandsOrDecimals refuses a column that mixes numbers such as 998 and 1,002 and holds nothing else: the mark may be the decimal sign or stand
// between thousands, and the two readings differ by a factor of a thousand. line gives the line of a row.
func thousandsOrDecimals(data []byte, l layout, cols [][]float64, valid [][]bool, line func(row int) int) error {
	for k, col := range cols {
		marked, bare := -1, -1
		for row, v := range col {
			if valid[k] != nil && !valid[k][row] {
				continue
			}
			v = math.Abs(v)
			whole := v == math.Trunc(v)
			if v >= 1000 || v < 1 && v != 0 || !whole && math.Abs(v*1000-math.Round(v*1000)) > 1e-9*v*1000 {
				marked = -1
				break
			}
			switch {
			case whole && v >= 100:
				bare = row
			case !whole && marked < 0:
				marked = row
			}
		}
		if marked >= 0 && bare >= 0 && writtenAlike(data, l, k, len(col), line) {
			return &LineError{line(marked), "a column of numbers that have either no mark or three digits behind one", "decimal signs or signs between thousands that can be told apart",
				"export the column without signs between thousands, or with another number of decimals"}
		}
	}
	return nil
}

// writtenAlike says that every number in column k of some rows is written with three digits behind its mark, or without one.
func writtenAlike(data []byte, l layout, k, rows int, lineOf func(row int) int) bool {
	sc := gridScanner{data: data, layout: l}
	i, line := 0, 1
	for row := range rows {
		for ; line < lineOf(row); line++ {
			i = lineEnd(data, i)
		}
		if _, kind := sc.line(i); kind != lineNumeric {
			return false
		}
		if k >= len(sc.cells) || sc.cells[k].why != 0 {
			continue
		}
		tok := data[sc.cells[k].lo:sc.cells[k].hi]
		at := -1
		for j, b := range tok {
			switch {
			case b == l.dec && at < 0:
				at = j
			case digit(b), j == 0 && (b == '-' || b == '+'):
			default:
				return false
			}
		}
		if at >= 0 && len(tok)-at != 4 || at < 0 && len(tok) > 4 {
			return false
		}
	}
	return true
}

// layoutOf finds the layout that a Text says it was read in.
func layoutOf(separator string) layout {
	for _, l := range layouts {
		if l.String() == separator {
			return l
		}
	}
	return layouts[0]
}
