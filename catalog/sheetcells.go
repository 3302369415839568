package catalog

import (
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
		if cell := &rows[i].Cells[j]; !cell.Null && !readNumber(cell, Unit{}) {
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
	if b.decimalCommas(j, stopped) {
		cell := &rows[stopped].Cells[j]
		b.fault(&fault.Fault{Line: cell.Line, Col: cell.Col, Sample: rows[stopped].Sample,
			Found:    "decimal commas in column " + column.Name + ": " + strconv.Quote(cell.Text),
			Expected: "decimal points",
			Remedy:   "replace the commas, throughout the column"})
		return
	}
	for i := range rows {
		if cell := &rows[i].Cells[j]; !cell.Null {
			if _, ok := normalDate(cell.Text); !ok {
				return
			}
		}
	}
	column.Type = Date
	b.readDates(j)
}

// decimalCommas tells whether every cell would be a number if commas were points: such a column would silently be text.
func (b *sheetBuilder) decimalCommas(j, stopped int) bool {
	if !strings.Contains(b.sheet.Rows[stopped].Cells[j].Text, ",") {
		return false
	}
	for i := range b.sheet.Rows {
		cell := b.sheet.Rows[i].Cells[j]
		if cell.Null {
			continue
		}
		cell.Text = strings.Replace(cell.Text, ",", ".", 1)
		if !readNumber(&cell, Unit{}) {
			return false
		}
	}
	return true
}

// readNumbers reads the cells of a column whose head names its unit.
func (b *sheetBuilder) readNumbers(j int) {
	column, bad := &b.sheet.Columns[j], 0
	for i := range b.sheet.Rows {
		row := &b.sheet.Rows[i]
		cell := &row.Cells[j]
		if cell.Null || readNumber(cell, column.Unit) {
			continue
		}
		expected := "a number in " + column.Unit.Code()
		if column.Unit.IsOne() {
			expected = "a number"
		}
		remedy := "correct the cell or leave it empty"
		if strings.Contains(cell.Text, ",") {
			remedy = "write a decimal point"
		}
		b.cellFault(j, i, &bad, expected, remedy)
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
			b.cellFault(j, i, &bad, "a date such as 2031-03-04 or 2031-03-04T15:04:05", "correct the cell or leave it empty")
			continue
		}
		cell.Text = date
	}
	b.moreFaults(j, bad)
}

func (b *sheetBuilder) cellFault(j, i int, bad *int, expected, remedy string) {
	row := &b.sheet.Rows[i]
	cell := &row.Cells[j]
	cell.Null = true
	if *bad++; *bad > mostCellFaults {
		return
	}
	b.fault(&fault.Fault{Line: cell.Line, Col: cell.Col, Sample: row.Sample,
		Found:    strconv.Quote(cell.Text) + " in column " + b.sheet.Columns[j].Name,
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

// readNumber reads the number of a cell in the unit of its column.
func readNumber(cell *Cell, unit Unit) bool {
	if f, ok := plainNumber(cell.Text); ok {
		cell.Value = f
		return true
	}
	if c := cell.Text[0]; c != '(' && c != '.' && c != '-' && c != '+' && c != '\xe2' && (c < '0' || c > '9') {
		return false // spares a column of words the message about each; 0xe2 begins the minus sign
	}
	n, err := ParseNumber(cell.Text)
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
