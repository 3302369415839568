package catalog

import (
	"cmp"
	"errors"
	"slices"
	"strconv"
	"strings"

	"fascicle/catalog/fault"
	"fascicle/catalog/workbook"
)

// mostCellFaults is how many faults a column reports one by one: a wrong unit in the head makes every cell faulty.
const mostCellFaults = 20

// A sheetBuilder takes the records of a sheet one by one.
type sheetBuilder struct {
	sheet  *Sheet
	book   bool   // reads a workbook: places are cells
	heads  []Cell // nil before the first record
	dates  []bool // heads that ask for dates
	faults fault.List

	headsBefore int      // heads with the blank ones at the right end
	cells       int      // cells of all rows
	ragged      int      // rows that have other cells than heads
	free        []Cell   // memory for rows to come
	stored      [][]bool // of a workbook: for each row, the cells that are stored as numbers
	storedNext  []bool   // of the row that is given next
	unsure      bool     // about the decimal sign, which was reported
	comma       bool     // the decimal sign is the comma, but in cells that are stored as numbers
}

// fault adds a fault in the sheet's file.
func (b *sheetBuilder) fault(f *fault.Fault) {
	b.place(f)
	b.faults.Add(f)
}

// note adds to what is worth knowing.
func (b *sheetBuilder) note(line, col int, found, remedy string) {
	f := &fault.Fault{Line: line, Col: col, Found: found, Remedy: remedy}
	b.place(f)
	b.sheet.Notes.Add(f)
}

func (b *sheetBuilder) place(f *fault.Fault) {
	f.File = b.sheet.File
	if b.book && f.Line > 0 {
		f.Cell = workbook.Name(f.Line, max(f.Col, 1))
	}
}

// line names a line, which a workbook calls a row.
func (b *sheetBuilder) line(n int) string {
	if b.book {
		return "row " + strconv.Itoa(n)
	}
	return "line " + strconv.Itoa(n)
}

// record takes one record: the heads or a row. The cells are copied.
func (b *sheetBuilder) record(cells []Cell) {
	if blank(cells) {
		return
	}
	if b.heads == nil {
		b.headsBefore = len(cells)
		b.heads = slices.Clone(trimBlank(cells, 1)) // spreadsheets leave thousands of blank columns at the right end
		return
	}
	width := len(b.heads)
	if b.cells += width; b.cells > mostSheetCells {
		if b.cells-width <= mostSheetCells {
			b.fault(&fault.Fault{Line: cells[0].Line, Found: "more than " + strconv.Itoa(mostSheetCells) + " cells", Expected: "a row for each sample",
				Remedy: "remove the rows and columns that belong to no sample"})
		}
		return
	}
	all := len(cells)
	cells = trimBlank(cells, width)
	if len(cells) == width {
		b.sheet.Rows = append(b.sheet.Rows, Row{Sample: cells[0].Text, Line: cells[0].Line, Cells: b.slab(cells)})
		if b.book {
			b.stored = append(b.stored, slices.Clone(b.storedNext[:width]))
		}
		return
	}
	if b.ragged++; b.ragged > mostCellFaults {
		return
	}
	if last := cells[len(cells)-1]; len(cells) > width && (b.book || all <= b.headsBefore) {
		b.fault(&fault.Fault{Line: last.Line, Col: last.Col, Sample: cells[0].Text, Found: strconv.Quote(last.Text) + " in a column without a head",
			Expected: "cells below the heads alone", Remedy: "name the column, or remove the cell"})
		return
	}
	b.fault(&fault.Fault{Line: cells[0].Line, Sample: cells[0].Text,
		Found:    count(len(cells), "cell"),
		Expected: strconv.Itoa(width) + ", one for each head",
		Remedy:   "add or remove delimiters, and put a cell that holds one in quotes"})
}

// trimBlank leaves blank cells at the end out, but keeps at least n.
func trimBlank(cells []Cell, n int) []Cell {
	for len(cells) > n && cells[len(cells)-1].Text == "" {
		cells = cells[:len(cells)-1]
	}
	return cells
}

// slab copies the cells of a row into memory that many rows share.
func (b *sheetBuilder) slab(cells []Cell) []Cell {
	if len(b.free) < len(cells) {
		b.free = make([]Cell, len(cells)*min(max(len(b.sheet.Rows), 8), 512)) // as many rows as there are, up to 512
	}
	row := b.free[:len(cells):len(cells)]
	b.free = b.free[len(cells):]
	copy(row, cells)
	return row
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return strconv.Itoa(n) + " " + what + "s"
}

// finish reads heads, types and cells once all records are known.
func (b *sheetBuilder) finish() (*Sheet, fault.List) {
	if b.heads == nil {
		b.fault(&fault.Fault{Found: "an empty sheet", Expected: "a line of heads and a row for each sample", Remedy: "save the sheet again, or name another under `samples` in the study"})
		return nil, b.faults
	}
	if b.ragged > mostCellFaults {
		b.fault(&fault.Fault{Found: count(b.ragged-mostCellFaults, "more row") + " with other cells than heads", Remedy: "look at the sheet as a whole"})
	}
	b.readHeads()
	if len(b.sheet.Rows) == 0 && len(b.faults) == 0 {
		b.fault(&fault.Fault{Line: b.heads[0].Line, Found: "heads without rows", Expected: "a row for each sample", Remedy: "add the rows, or name another sheet under `samples` in the study"})
	}
	b.findDecimal()
	for j := range b.sheet.Columns {
		b.readColumn(j)
	}
	b.readSamples()
	b.faults.Sort()
	return b.sheet, b.faults
}

// readHeads makes the columns.
func (b *sheetBuilder) readHeads() {
	s := b.sheet
	s.columns = make(map[string]int, len(b.heads)+1)
	s.columns["sample"] = 0
	b.dates = make([]bool, len(b.heads))
	nameless := 0
	for j, head := range b.heads {
		column := SheetColumn{Name: head.Text, Col: head.Col}
		report := func(found, expected, remedy string) {
			b.fault(&fault.Fault{Line: head.Line, Col: head.Col, Found: found, Expected: expected, Remedy: remedy})
		}
		if j == 0 {
			if !IsIdentifier(column.Name) || Reserved(column.Name) {
				column.Name = "sample"
			}
			s.columns[column.Name] = 0
			s.Columns = append(s.Columns, column)
			continue
		}
		name, unit, hasUnit := CutUnit(head.Text)
		column.Name = name
		switch {
		case hasUnit && name == alsoColumn:
			report("a unit at the column also", "other spellings of the samples", "remove the unit")
		case hasUnit && name == preparationColumn:
			report("a unit at the column preparation", "labels of what was made together", "remove the unit")
		case hasUnit && unit == "date", !hasUnit && name == dateColumn:
			b.dates[j] = true
		case hasUnit:
			if unit == "-" || unit == "\u2013" { // nobody writes this behind a number, and ParseUnit refuses it
				unit = "1"
			}
			u, err := ParseUnit(unit)
			if err != nil {
				f := &fault.Fault{Found: err.Error()}
				errors.As(err, &f)
				report(f.Found+" in the head "+strconv.Quote(head.Text), cmp.Or(f.Expected, `a unit such as mol/L, nm or 1`), cmp.Or(f.Remedy, "correct the unit"))
			} else {
				column.Unit, column.HasUnit = u, true
			}
		}
		switch first, again := s.columns[name]; {
		case name == "":
			if nameless++; nameless == mostCellFaults+1 {
				report("more columns without a head", "a name for each", "remove the columns that belong to no sample")
			}
			if nameless > mostCellFaults {
				break
			}
			report("a column without a head", "a name in letters, digits and _", "name the column or remove it")
		case !IsIdentifier(name):
			remedy := "rename the column"
			if strings.ContainsAny(name, "(/") {
				remedy += `; a unit stands in square brackets: "salt [mol/L]"`
			}
			report("column name "+strconv.Quote(name), "a name in letters a-z, digits and _ that does not begin with a digit", remedy)
		case Reserved(name):
			report("column name "+strconv.Quote(name), "a name that is not reserved", "rename the column")
		case again:
			report("a second column "+strconv.Quote(name), "one (the first is column "+strconv.Itoa(first+1)+")", "rename or remove one of them")
		default:
			s.columns[name] = j
		}
		s.Columns = append(s.Columns, column)
	}
}

// CutUnit parts a head such as `salt [mol/L]` into the name and what stands in the square brackets at its end; ok is false
// where there are none. The unit itself may hold brackets: `water [[ppm]]`.
func CutUnit(head string) (name, unit string, ok bool) {
	head = strings.TrimSpace(head)
	if !strings.HasSuffix(head, "]") {
		return head, "", false
	}
	depth := 0
	for i := len(head) - 1; i >= 0; i-- {
		switch head[i] {
		case ']':
			depth++
		case '[':
			if depth--; depth == 0 {
				return strings.TrimSpace(head[:i]), strings.TrimSpace(head[i+1 : len(head)-1]), true
			}
		}
	}
	return head, "", false
}
