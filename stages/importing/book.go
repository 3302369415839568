package importing

import (
	"bytes"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"fascicle/catalog/fault"
	"fascicle/catalog/workbook"
)

// mostSheetCells bounds the cells of a sheet, empty ones among them, that are written as text.
const mostSheetCells = 32 << 20

// isBook tells a workbook (ECMA-376) from other archives by its list of parts; an old or encrypted one by its first bytes.
func isBook(data []byte) bool {
	if !workbook.IsWorkbook(data) {
		return false
	}
	if !bytes.HasPrefix(data, zipMagic) {
		return true
	}
	r, err := openZip(data)
	if err != nil {
		return false
	}
	for _, f := range r.File {
		if f.Name == "[Content_Types].xml" {
			return true
		}
	}
	return false
}

// bookText writes a sheet of a workbook as text, a line a row and cells parted by semicolons, for the readers of text. Rows keep their numbers as lines. where
// names the sheet: its name or its number from 1, perhaps with a range behind `!`; "" is the first.
//
// Merged cells that hold words give them to all of their cells, as a head above two columns does. Errors are *LineError.
func bookText(data []byte, where string) ([]byte, []Note, error) {
	book, f := workbook.Open(data)
	if f != nil {
		return nil, nil, bookError(f)
	}
	name, area, err := sheetAndRange(where, book.Sheets())
	if err != nil {
		return nil, nil, err
	}
	sheet, f := book.Sheet(name)
	if f != nil {
		return nil, nil, bookError(f)
	}
	var notes []Note
	if names := book.Sheets(); name == "" && len(names) > 1 {
		notes = append(notes, Note{Text: fmt.Sprintf("the first of %d sheets is read (%s); `sheet` names another", len(names), shortKeys(names)), Minor: true})
	}
	if sheet.Hidden {
		notes = append(notes, Note{Text: "the sheet is hidden"})
	}
	left, right := 0, 0
	for _, row := range sheet.Rows {
		for _, c := range row.Cells {
			if inRange(area, row.Number, c.Col) {
				if left == 0 || c.Col < left {
					left = c.Col
				}
				right = max(right, c.Col)
			}
		}
	}
	if right == 0 {
		return nil, nil, &LineError{0, "a sheet without a cell that holds something", "a table of numbers", "name another sheet under `sheet`: " + shortKeys(book.Sheets())}
	}
	last := sheet.Rows[len(sheet.Rows)-1].Number
	if last*(right-left+1) > mostSheetCells {
		return nil, nil, &LineError{0, fmt.Sprintf("a sheet of %d rows and %d columns", last, right-left+1), "at most " + itoa(mostSheetCells) + " cells", "name the range that is meant: `sheet: \"NAME!B3:F400\"`"}
	}
	out, percent, odd := writeSheet(sheet, area, left, right)
	if len(percent) > 0 {
		notes = append(notes, Note{Text: "numbers stored in per cent are read as they are shown, 35 for 35 %, in " + shortKeys(percent) + ": give them the unit [%]"})
	}
	for _, o := range odd {
		notes = append(notes, o)
	}
	for i, f := range sheet.Faults {
		if !inRange(area, f.Line, f.Col) {
			continue
		}
		if i == 5 {
			notes = append(notes, Note{Text: count(len(sheet.Faults)-i, "more cell") + " that cannot be read"})
			break
		}
		notes = append(notes, Note{Text: "cell " + workbook.Name(f.Line, f.Col) + " holds " + f.Found + " and is taken as empty", Lines: []int{f.Line}})
	}
	return out, notes, nil
}

// writeSheet writes the columns left to right of a sheet. It tells which columns hold per cent, and what is merged that should not be.
func writeSheet(sheet *workbook.Sheet, area workbook.Range, left, right int) (out []byte, percent []string, odd []Note) {
	words := map[[2]int]string{} // what merged cells give to others
	for _, m := range sheet.Merged {
		at, ok := slices.BinarySearchFunc(sheet.Rows, m.Row, func(r workbook.Row, n int) int { return r.Number - n })
		if !ok || (m.LastRow-m.Row+1)*(m.LastCol-m.Col+1) > 1<<16 {
			continue
		}
		for _, c := range sheet.Rows[at].Cells {
			if c.Col != m.Col {
				continue
			}
			if c.Number {
				if inRange(area, m.Row, m.Col) {
					odd = append(odd, Note{Text: "the merged cells " + m.String() + " hold a number, which is taken for the first of them alone", Lines: []int{m.Row}})
				}
				continue
			}
			for row := m.Row; row <= m.LastRow; row++ {
				for col := m.Col; col <= m.LastCol; col++ {
					words[[2]int{row, col}] = c.Text
				}
			}
		}
	}
	line := 1
	for _, row := range sheet.Rows {
		for ; line < row.Number; line++ {
			out = append(out, '\n')
		}
		k, from, filled := 0, len(out), false
		for col := left; col <= right; col++ {
			text := words[[2]int{row.Number, col}]
			for k < len(row.Cells) && row.Cells[k].Col < col {
				k++
			}
			if k < len(row.Cells) && row.Cells[k].Col == col {
				c := row.Cells[k]
				text = c.Text
				if bare, ok := strings.CutSuffix(text, " %"); ok && c.Number {
					text = bare
					if name := "column " + workbook.Column(col); !slices.Contains(percent, name) {
						percent = append(percent, name)
					}
				}
			}
			if !inRange(area, row.Number, col) {
				text = ""
			}
			if col > left {
				out = append(out, ';')
			}
			filled = filled || text != ""
			for _, r := range text {
				switch {
				case r < ' ':
					r = ' '
				case r == ';':
					r = ','
				}
				out = append(out, string(r)...)
			}
		}
		if !filled {
			out = out[:from]
		}
	}
	return append(out, '\n'), percent, odd
}

// sheetAndRange parts what a study says of a sheet.
func sheetAndRange(where string, names []string) (name string, area workbook.Range, err error) {
	name = where
	if i := strings.LastIndexByte(where, '!'); i >= 0 {
		var ok bool
		if area, ok = cellRange(where[i+1:]); ok {
			name = where[:i]
		}
	} else if r, ok := cellRange(where); ok && !slices.Contains(names, where) {
		name, area = "", r
	}
	if n, err := strconv.Atoi(name); err == nil && !slices.Contains(names, name) {
		if n < 1 || n > len(names) {
			return "", area, &LineError{0, count(len(names), "sheet"), "a sheet " + name, "correct `sheet`; the workbook has " + shortKeys(names)}
		}
		name = names[n-1]
	}
	return name, area, nil
}

// cellRange reads `B3:F400`.
func cellRange(s string) (workbook.Range, bool) {
	a, b, ok := strings.Cut(s, ":")
	row, col, ok1 := cellName(a)
	lastRow, lastCol, ok2 := cellName(b)
	return workbook.Range{Row: row, Col: col, LastRow: lastRow, LastCol: lastCol}, ok && ok1 && ok2 && row <= lastRow && col <= lastCol
}

// cellName reads `B3`.
func cellName(s string) (row, col int, ok bool) {
	i := 0
	for ; i < len(s) && i < 3 && s[i]&^0x20-'A' < 26; i++ {
		col = 26*col + int(s[i]&^0x20-'A') + 1
	}
	row, err := strconv.Atoi(s[i:])
	return row, col, i > 0 && err == nil && row > 0 && row <= 1<<20 && s[i] != '+'
}

// inRange says that a cell is of a range, or that there is none.
func inRange(r workbook.Range, row, col int) bool {
	return r.Row == 0 || row >= r.Row && row <= r.LastRow && col >= r.Col && col <= r.LastCol
}

func bookError(f *fault.Fault) error {
	found := f.Found
	if f.Err != nil {
		found += " (" + strings.ReplaceAll(f.Err.Error(), "\n", " ") + ")"
	}
	return &LineError{0, found, f.Expected, f.Remedy}
}

// sheetNames lists the sheets of a workbook; none when it cannot be opened.
func sheetNames(data []byte) []string {
	book, f := workbook.Open(data)
	if f != nil {
		return nil
	}
	return book.Sheets()
}
