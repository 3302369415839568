package catalog

import (
	"crypto/sha256"
	"strconv"

	"fascicle/catalog/fault"
	"fascicle/catalog/workbook"
)

// A ColumnType says how the cells of a column, or a capture of a pattern, are read.
type ColumnType uint8

const (
	Text    ColumnType = iota
	Numeric            // numbers, perhaps with a standard uncertainty
	Date               // ISO 8601 dates, perhaps with a time of day
)

// String names the type: text, number or date.
func (t ColumnType) String() string {
	switch t {
	case Numeric:
		return "number"
	case Date:
		return "date"
	}
	return "text"
}

// A SheetColumn is one column of a sheet.
type SheetColumn struct {
	Name    string // an identifier; `sample` where the head of the first column is none
	Unit    Unit
	HasUnit bool // the head names a unit
	Type    ColumnType
	Col     int // where the head stands in its line, in characters from 1
}

// A Cell is one cell of a sheet.
type Cell struct {
	Text      string  // without spaces around it; dates as 2006-01-02 or 2006-01-02T15:04:05
	Value, U  float64 // numbers: value and standard uncertainty in the unit of the column
	Nu        float64 // degrees of freedom of U; 0: infinite, or HasU is false
	HasU      bool
	Null      bool // empty
	Line, Col int  // where it stands in the file, in characters from 1
}

// A Row is one sample.
type Row struct {
	Sample string
	Line   int
	Cells  []Cell // one for each column
}

// A Sheet is the table of samples: one row a sample, one column a property.
type Sheet struct {
	File    string // as the study names it; of a workbook `samples.xlsx!Runs` with the name of the sheet that was read
	Columns []SheetColumn
	Rows    []Row
	SHA256  [32]byte   // of the file's bytes
	Notes   fault.List // what is worth knowing and no fault, such as hidden rows

	rows    map[string]int   // by sample and by other spelling
	folded  map[string][]int // the same without capitals and most separators
	loose   map[string][]int // the same without any separator
	columns map[string]int   // by name; `sample` is the first
}

// ReadSheet reads a sheet. Name is what the study says under `samples`; of a workbook (.xlsx, .xlsm) the first sheet is read, or the one
// that is named behind a `!`, as in `samples.xlsx!Runs` (see SheetFile, which gives the file to read data from).
//
// Numbers of a workbook are read with all digits that are stored, not as they are shown; dates by the style of their cells; `35 %` is 0.35;
// formulas by their stored results, and refused where there is none. Merged cells are refused; hidden rows and columns are read and noted.
//
// CSV: delimiter comma, semicolon or tab, found by itself or told by a first line `sep=;`; any line end; UTF-8 or UTF-16, and what is
// neither as Windows-1252, which is noted. The decimal sign is the point, or in the whole file the comma (noted); a file that shows both, or whose
// commas may stand between thousands, is refused.
//
// The first line that is not blank holds the heads, `name` or `name [unit]`; a head `name [date]` asks for dates. The first column names the
// samples, whatever its head. The column `also` holds other spellings of them, several parted by `;` or `|`; `date` holds dates, and
// `preparation` labels what was made together (see Preparations). A column whose head names a unit
// holds numbers in that unit (a cell may name another of the same dimension, and is converted); any other holds numbers if every cell that is
// not empty reads as one, dates if every one is a date, else text. Lines and columns without any content are skipped.
//
// All faults are reported, each with its line and column, cells that cannot be read as null ones; a column reports 20 at
// most. The sheet is nil where nothing could be read. A sheet with faults must not be computed with.
func ReadSheet(name string, data []byte) (*Sheet, fault.List) {
	b := sheetBuilder{sheet: &Sheet{File: name, SHA256: sha256.Sum256(data)}}
	file, tab := SheetFile(name)
	if workbook.IsWorkbook(data) {
		return readWorkbook(&b, file, tab, data)
	}
	if tab != "" {
		return nil, fault.List{{File: file, Found: "no workbook", Expected: "one that holds the sheet " + strconv.Quote(tab),
			Remedy: "name the file alone under `samples` in the study, or save it as XLSX"}}
	}
	text, note, f := sheetText(data)
	if f != nil {
		f.File = name
		return nil, fault.List{f}
	}
	if note != nil {
		b.note(note.Line, note.Col, note.Found, note.Remedy)
	}
	text, delimiter, ok := cutSeparatorLine(text)
	if !ok {
		delimiter = findDelimiter(text)
	}
	scanner := newCSVScanner(text, delimiter)
	var cells []Cell
	for {
		var more bool
		cells, more, f = scanner.record(cells[:0])
		if f != nil {
			b.fault(f)
			break
		}
		if !more {
			break
		}
		b.record(cells)
	}
	return b.finish()
}

// Row finds a sample by its name, or by another spelling of it, as they stand in the sheet: neither capitals nor spaces are ignored. Find
// ignores them.
func (s *Sheet) Row(sample string) (*Row, bool) {
	i, ok := s.rows[sample]
	if !ok {
		return nil, false
	}
	return &s.Rows[i], true
}

// Column finds the index of a column by its name. `sample` is the first, whatever its head.
func (s *Sheet) Column(name string) (int, bool) {
	i, ok := s.columns[name]
	return i, ok
}

// Samples gives the names of the samples in the order of the sheet.
func (s *Sheet) Samples() []string {
	names := make([]string, len(s.Rows))
	for i := range s.Rows {
		names[i] = s.Rows[i].Sample
	}
	return names
}
