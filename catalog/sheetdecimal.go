package catalog

import (
	"strconv"
	"strings"

	"fascicle/catalog/fault"
)

// A decimalSign is what a cell tells about the decimal sign of its file.
type decimalSign uint8

const (
	signNone   decimalSign = iota // a number without either sign
	signPoint                     // 0.35
	signComma                     // 0,35
	signEither                    // 1,234: a decimal, or a thousand
	signBoth                      // 1.234,5 or 1,234,567: something stands between thousands
	noNumber
)

// findDecimal decides whether the decimal sign of the file is the comma: where a number shows it and none has a point. The numbers that
// count are those in columns whose head names a unit, and in columns of numbers alone. A file that shows both signs, or one that could be either, is
// refused, since a guess would be wrong by a factor of a thousand.
func (b *sheetBuilder) findDecimal() {
	if !b.anyComma() {
		return
	}
	var first [noNumber]*Cell
	var row [noNumber]int
	for j := range b.sheet.Columns {
		column := &b.sheet.Columns[j]
		if j == 0 || column.Name == alsoColumn || b.dates[j] || !column.HasUnit && !b.allNumbers(j) {
			continue
		}
		for i := range b.sheet.Rows {
			cell := &b.sheet.Rows[i].Cells[j]
			if cell.Text == "" || b.isStored(i, j) {
				continue
			}
			if sign := signOf(cell.Text); sign != noNumber && first[sign] == nil {
				first[sign], row[sign] = cell, i
			}
		}
	}
	report := func(sign decimalSign, found string) {
		b.unsure = true
		cell := first[sign]
		b.fault(&fault.Fault{Line: cell.Line, Col: cell.Col, Sample: b.sheet.Rows[row[sign]].Sample, Found: found,
			Expected: "one decimal sign in the whole sheet, and nothing between thousands", Remedy: "write decimal points throughout"})
	}
	switch {
	case first[signBoth] != nil:
		report(signBoth, "the number "+strconv.Quote(first[signBoth].Text))
	case first[signComma] != nil && first[signPoint] != nil:
		report(signComma, "a decimal comma in "+strconv.Quote(first[signComma].Text)+" and a point in "+strconv.Quote(first[signPoint].Text)+" ("+b.line(first[signPoint].Line)+")")
	case first[signEither] != nil && first[signComma] == nil:
		report(signEither, strconv.Quote(first[signEither].Text)+", whose comma may be a decimal sign or stand between thousands")
	case first[signComma] != nil:
		b.comma = true
		b.note(first[signComma].Line, first[signComma].Col, "decimal commas, as in "+strconv.Quote(first[signComma].Text), "")
	}
}

// anyComma tells whether a cell that may be a number holds a comma.
func (b *sheetBuilder) anyComma() bool {
	for i := range b.sheet.Rows {
		for _, cell := range b.sheet.Rows[i].Cells[1:] {
			if strings.IndexByte(cell.Text, ',') >= 0 {
				return true
			}
		}
	}
	return false
}

func (b *sheetBuilder) isStored(i, j int) bool { return b.book && b.stored[i][j] }

// allNumbers tells whether all cells of a column that are not empty are numbers, whatever their decimal sign.
func (b *sheetBuilder) allNumbers(j int) bool {
	for i := range b.sheet.Rows {
		if text := b.sheet.Rows[i].Cells[j].Text; text != "" && signOf(text) == noNumber {
			return false
		}
	}
	return true
}

// signOf tells what a cell shows about the decimal sign.
func signOf(text string) decimalSign {
	if !mayBeNumber(text) {
		return noNumber
	}
	if strings.IndexByte(text, ',') < 0 {
		switch {
		case !isNumber(text):
			return noNumber
		case strings.ContainsRune(numeral(text), '.'):
			return signPoint
		}
		return signNone
	}
	if pointed, ok := pointsForCommas(text); ok && isNumber(pointed) {
		if strings.ContainsRune(numeral(text), '.') {
			return signBoth
		}
		if mayGroup(text, ',') {
			return signEither
		}
		return signComma
	}
	if mayGroup(text, ',') && isNumber(strings.ReplaceAll(text, ",", "")) ||
		mayGroup(text, '.') && isNumber(strings.ReplaceAll(strings.ReplaceAll(text, ".", ""), ",", ".")) {
		return signBoth
	}
	return noNumber
}

// isNumber tells whether a text reads as a number with a decimal point.
func isNumber(text string) bool {
	if _, ok := plainNumber(text); ok {
		return true
	}
	_, err := ParseNumber(text)
	return err == nil
}

// numeral is the text up to the first letter that is no exponent: points behind it belong to the unit.
func numeral(text string) string {
	end := strings.IndexFunc(text, func(r rune) bool { return !strings.ContainsRune("0123456789.,+-−±()eE \u00a0", r) })
	if end < 0 {
		return text
	}
	return text[:end]
}

// pointsForCommas writes points for the decimal commas of a number; ok is false where a comma is not followed by a digit.
func pointsForCommas(text string) (string, bool) {
	for i := 0; i < len(text); i++ {
		if text[i] == ',' && (i+1 == len(text) || text[i+1] < '0' || text[i+1] > '9') {
			return text, false
		}
	}
	return strings.ReplaceAll(text, ",", "."), true
}

// mayGroup tells whether all commas, or points, may stand between thousands: one to three digits before, not beginning with 0, and three
// behind.
func mayGroup(text string, sign byte) bool {
	digit := func(i int) bool { return i >= 0 && i < len(text) && text[i] >= '0' && text[i] <= '9' }
	found := false
	for i := range len(text) {
		if text[i] != sign {
			continue
		}
		found = true
		start := i
		for digit(start - 1) {
			start--
		}
		end := i + 1
		for digit(end) {
			end++
		}
		if start == i || i-start > 3 || text[start] == '0' && (start == 0 || text[start-1] != sign) || end-i != 4 {
			return false
		}
	}
	return found
}
