package catalog

import (
	"cmp"
	"math"
	"strconv"
	"strings"

	"fascicle/catalog/fault"
)

// readColumn decides the type of a column and reads its cells.
func (b *sheetBuilder) readColumn(j int) {
	column, rows := &b.sheet.Columns[j], b.sheet.Rows
	filled := false
	for i := range rows {
		cell := &rows[i].Cells[j]
		cell.Null = cell.Text == ""
		filled = filled || !cell.Null
	}
	switch {
	case j == 0 || column.Name == alsoColumn:
		return
	case b.dates[j]:
		column.Type = Date
		b.readDates(j)
		return
	case column.HasUnit:
		column.Type = Numeric
		b.readNumbers(j)
		return
	case !filled:
		return
	}

	stopped := -1 // first row that is no number
	for i := range rows {
		if cell := &rows[i].Cells[j]; !cell.Null && !b.readNumber(cell, i, j, Unit{}) {
			stopped = i
			break
		}
	}
	if stopped < 0 {
		column.Type = Numeric
		return
	}
	for i := range rows[:stopped+1] { // not numbers after all
		cell := &rows[i].Cells[j]
		cell.Value, cell.U, cell.Nu, cell.HasU = 0, 0, 0, false
	}
	for i := range rows {
		if cell := &rows[i].Cells[j]; !cell.Null {
			_, ok := normalDate(cell.Text)
			if !ok {
				// 10-20-70 is a composition where nothing says that it is a date
				if _, _, ok = otherDate(cell.Text); !ok || !hasYear(cell.Text) {
					return
				}
			}
		}
	}
	column.Type = Date
	b.readDates(j)
}

// readNumbers reads the cells of a column whose head names its unit.
func (b *sheetBuilder) readNumbers(j int) {
	column, bad := &b.sheet.Columns[j], 0
	for i := range b.sheet.Rows {
		row := &b.sheet.Rows[i]
		cell := &row.Cells[j]
		if cell.Null || b.readNumber(cell, i, j, column.Unit) {
			continue
		}
		if b.unsure && strings.Contains(cell.Text, ",") {
			cell.Null = true
			continue
		}
		expected := "a number in " + column.Unit.Code()
		if column.Unit.IsOne() {
			expected = "a number"
		}
		b.cellFault(j, i, &bad, expected, "correct the cell or leave it empty")
	}
	b.moreFaults(j, bad)
}

// readDates reads the cells of a column of dates.
func (b *sheetBuilder) readDates(j int) {
	bad := 0
	for i := range b.sheet.Rows {
		cell := &b.sheet.Rows[i].Cells[j]
		if cell.Null {
			continue
		}
		date, ok := normalDate(cell.Text)
		if !ok {
			found, remedy, _ := otherDate(cell.Text)
			b.cellFaultAs(j, i, &bad, found, dateForms, cmp.Or(remedy, "correct the cell or leave it empty"))
			continue
		}
		cell.Text = date
	}
	b.moreFaults(j, bad)
}

func (b *sheetBuilder) cellFault(j, i int, bad *int, expected, remedy string) {
	b.cellFaultAs(j, i, bad, strconv.Quote(b.sheet.Rows[i].Cells[j].Text), expected, remedy)
}

func (b *sheetBuilder) cellFaultAs(j, i int, bad *int, found, expected, remedy string) {
	row := &b.sheet.Rows[i]
	cell := &row.Cells[j]
	cell.Null = true
	if *bad++; *bad > mostCellFaults {
		return
	}
	b.fault(&fault.Fault{Line: cell.Line, Col: cell.Col, Sample: row.Sample,
		Found:    found + " in column " + b.sheet.Columns[j].Name,
		Expected: expected, Remedy: remedy})
}

func (b *sheetBuilder) moreFaults(j, bad int) {
	if bad > mostCellFaults {
		head := b.heads[j]
		b.fault(&fault.Fault{Line: head.Line, Col: head.Col,
			Found:  count(bad-mostCellFaults, "more faulty cell") + " in column " + b.sheet.Columns[j].Name,
			Remedy: "look at the column as a whole"})
	}
}

// readNumber reads the number of a cell in the unit of its column, with the decimal sign of the file.
func (b *sheetBuilder) readNumber(cell *Cell, i, j int, unit Unit) bool {
	text := cell.Text
	if b.comma && !b.isStored(i, j) {
		var ok bool
		if text, ok = pointsForCommas(text); !ok {
			return false
		}
	}
	if f, ok := plainNumber(text); ok {
		cell.Value = f
		return true
	}
	if !mayBeNumber(text) {
		return false
	}
	n, err := ParseNumber(text)
	if err != nil {
		return false
	}
	if n.HasUnit {
		if n, err = n.In(unit); err != nil {
			return false
		}
	}
	cell.Value, cell.U, cell.Nu, cell.HasU = n.Value, n.U, n.Nu, n.HasU
	return true
}

// mayBeNumber spares a column of words the message about each.
func mayBeNumber(text string) bool {
	switch c := text[0]; c {
	case '(', '.', '-', '+', '\xe2': // the last begins the minus sign
		return true
	default:
		return c >= '0' && c <= '9'
	}
}

// plainNumber reads a number without uncertainty and unit, allocating nothing.
func plainNumber(text string) (float64, bool) {
	s := text
	if s != "" && (s[0] == '-' || s[0] == '+') {
		s = s[1:]
	}
	var d decimal
	if d.digits, s = scanDecimal(s); d.digits == "" {
		return 0, false
	}
	d.exp, s, _ = scanExponent(s)
	if s != "" || d.check() != nil {
		return 0, false
	}
	f, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsInf(f, 0) || math.Abs(f) < smallestNumber && !d.zero() {
		return 0, false
	}
	return f + 0, true // no -0
}
