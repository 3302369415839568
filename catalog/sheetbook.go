package catalog

import (
	"cmp"
	"strconv"
	"strings"

	"fascicle/catalog/fault"
	"fascicle/catalog/workbook"
)

// mostSheetCells keeps a small file that unpacks to much, or a stray head far to the right, from filling the memory.
const mostSheetCells = 1 << 20

// SheetFile parts what a study says under `samples` into the file and, where a sheet of a workbook is named, its name:
// `samples.xlsx!Runs of May` is the sheet `Runs of May` of samples.xlsx. The `!` counts behind .xlsx and .xlsm alone.
func SheetFile(samples string) (file, sheet string) {
	folded := strings.ToLower(samples)
	for _, ending := range [...]string{".xlsx!", ".xlsm!"} {
		if i := strings.Index(folded, ending); i >= 0 && len(folded) == len(samples) {
			return samples[:i+len(ending)-1], samples[i+len(ending):]
		}
	}
	return samples, ""
}

// readWorkbook reads a sheet of a workbook.
func readWorkbook(b *sheetBuilder, file, name string, data []byte) (*Sheet, fault.List) {
	whole := func(f *fault.Fault) (*Sheet, fault.List) {
		f.File = file
		return nil, fault.List{f}
	}
	book, f := workbook.Open(data)
	if f != nil {
		return whole(f)
	}
	sheet, f := book.Sheet(name)
	if f != nil {
		return whole(f)
	}
	b.book = true
	b.sheet.File = file + "!" + sheet.Name
	if names := book.Sheets(); name == "" && len(names) > 1 {
		b.note(0, 0, "the first of "+strconv.Itoa(len(names))+" sheets ("+strings.Join(names[:min(len(names), 12)], ", ")+") is read",
			"name another in the study as in `samples: "+file+"!"+names[1]+"`")
	}
	if sheet.Hidden {
		b.note(0, 0, "the sheet is hidden", "show it, or name another in the study")
	}
	b.bookRows(sheet)
	b.bookFaults(sheet)
	return b.finish()
}

// bookRows takes the rows of a workbook's sheet. The text of each cell is as a person would have typed it into CSV.
func (b *sheetBuilder) bookRows(sheet *workbook.Sheet) {
	var cells []Cell
	units := map[string]bool{} // what styles show behind digits, and whether it is a unit
	for _, row := range sheet.Rows {
		last := row.Cells[len(row.Cells)-1].Col
		cells = cells[:0]
		b.storedNext = b.storedNext[:0]
		for j := range max(last, len(b.heads)) { // a workbook does not store empty cells
			cells = append(cells, Cell{Line: row.Number, Col: j + 1})
			b.storedNext = append(b.storedNext, false)
		}
		for _, c := range row.Cells {
			cells[c.Col-1].Text = c.Text
			b.storedNext[c.Col-1] = c.Number
			if c.Suffix == "" || c.Col == 1 {
				continue
			}
			known, ok := units[c.Suffix]
			if !ok {
				_, err := ParseUnit(c.Suffix)
				known = err == nil
				units[c.Suffix] = known
			}
			if known {
				cells[c.Col-1].Text += " " + c.Suffix
			}
		}
		b.record(cells)
	}
}

// bookFaults reports what is wrong with a workbook's sheet beyond the text of its cells, and what its readers may not see.
func (b *sheetBuilder) bookFaults(sheet *workbook.Sheet) {
	for i, f := range sheet.Faults {
		if i == mostCellFaults {
			b.fault(&fault.Fault{Found: count(len(sheet.Faults)-i, "more cell") + " that cannot be read", Remedy: "look at the sheet as a whole"})
			break
		}
		b.fault(f)
	}
	if b.heads == nil {
		return
	}
	last := b.heads[0].Line
	if n := len(sheet.Rows); n > 0 {
		last = sheet.Rows[n-1].Number
	}
	width := len(b.heads)
	used := workbook.Range{Row: b.heads[0].Line, Col: 1, LastRow: last, LastCol: width}
	for _, merged := range sheet.Merged {
		if merged.Meets(used) && (merged.Row != merged.LastRow || merged.Col != merged.LastCol) {
			b.fault(&fault.Fault{Line: merged.Row, Col: merged.Col, Found: "the merged cells " + merged.String(), Expected: "a value in each cell",
				Remedy: "unmerge them, and write into each cell what holds for it"})
		}
	}
	first, hidden := 0, []string(nil)
	for _, row := range sheet.Rows {
		if row.Hidden {
			first = cmp.Or(first, row.Number)
			hidden = append(hidden, strconv.Itoa(row.Number))
		}
	}
	if hidden != nil {
		b.note(first, 0, "hidden rows: "+fewOf(hidden), "they are read like the others; remove those that are not meant")
	}
	if hidden := sheet.HiddenIn(width); hidden != nil {
		b.note(0, 0, "hidden columns: "+fewOf(hidden), "they are read like the others; remove those that are not meant")
	}
}

// fewOf lists names, the first twelve at most.
func fewOf(names []string) string {
	const few = 12
	if len(names) > few {
		return strings.Join(names[:few], ", ") + " and " + strconv.Itoa(len(names)-few) + " more"
	}
	return strings.Join(names, ", ")
}
