package catalog

import "fascicle/catalog/fault"

// A ColumnType says how the cells of a column, or a capture, are read.
type ColumnType uint8

const (
	Text    ColumnType = iota
	Numeric            // numbers, perhaps with uncertainty
	Date               // ISO 8601 dates, perhaps with a time
)

// A SheetColumn is one column of a sheet.
type SheetColumn struct {
	Name    string
	Unit    Unit
	HasUnit bool // the head names a unit
	Type    ColumnType
	Col     int // where the head stands in its line, in characters from 1
}

// A Cell is one cell of a sheet.
type Cell struct {
	Text      string  // without spaces around it; dates as 2006-01-02 or 2006-01-02T15:04:05
	Value, U  float64 // numbers, in the unit of the column
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

// A Sheet is the table of samples.
type Sheet struct {
	File    string
	Columns []SheetColumn
	Rows    []Row
	SHA256  [32]byte // of the file

	rows    map[string]int // by sample, then by other spelling
	columns map[string]int
}

// ReadSheet reads a sheet.
func ReadSheet(name string, data []byte) (*Sheet, fault.List) {
	return nil, fault.List{{File: name, Found: "sheet reading not written yet"}}
}

// Row finds a sample by its name or by another spelling of it.
func (s *Sheet) Row(sample string) (*Row, bool) {
	i, ok := s.rows[sample]
	if !ok {
		return nil, false
	}
	return &s.Rows[i], true
}

// Column finds a column by its name; `sample` is the first.
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
