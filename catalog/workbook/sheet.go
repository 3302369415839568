package workbook

import (
	"encoding/xml"
	"errors"
	"io"
	"slices"
	"strconv"
	"strings"

	"fascicle/catalog/fault"
)

// A Sheet is the cells of a sheet that hold something.
type Sheet struct {
	Name          string
	Hidden        bool
	Rows          []Row      // rising by number, those alone that hold something
	Merged        []Range    // cells that were made one
	HiddenColumns []Range    // whole columns: rows are 0
	Faults        fault.List // cells that cannot be read, each named; such a cell is left out
}

// A Row is a row of a sheet.
type Row struct {
	Number int // from 1
	Hidden bool
	Cells  []Cell // rising by column
}

// A Cell is a cell that holds something. Its text says what is stored as a person would type it: a number with all its digits
// (0.1, 1e-7), a date as 2031-03-04 or 2031-03-04T15:04:05, a time of day as 15:04:05, hundredths as `35 %`, a time that has passed as `5400 s`,
// a truth as TRUE or FALSE.
type Cell struct {
	Col    int // from 1
	Text   string
	Number bool   // stored as a number
	Suffix string // what the style of a number shows behind its digits
}

// A raw is a cell as it stands in the file.
type raw struct {
	row, col, style           int
	kind, value               string
	formula, stored, isInline bool
}

// reader reads one sheet.
type reader struct {
	book  *Book
	sheet *Sheet
	d     *xml.Decoder
	row   int // last row
	cells int // so many were read
}

// mostCells keeps a small file that unpacks to much from filling the memory.
const mostCells = 4 << 20

func (b *Book) readSheet(t tab) (*Sheet, *fault.Fault) {
	part, f := b.open(t.part)
	if f != nil {
		return nil, f
	}
	defer part.Close()
	r := reader{book: b, sheet: &Sheet{Name: t.name, Hidden: t.hidden}, d: xml.NewDecoder(part)}
	for {
		token, err := r.d.Token()
		if err == io.EOF {
			return r.sheet, nil
		}
		if err == nil {
			if start, ok := token.(xml.StartElement); ok {
				err = r.element(start)
			}
		}
		if err != nil {
			return nil, broken(t.part, err)
		}
	}
}

// element reads what may stand in a sheet outside of rows.
func (r *reader) element(e xml.StartElement) error {
	switch e.Name.Local {
	case "row":
		return r.readRow(e)
	case "col":
		if truth(attr(e, "hidden")) {
			first, err1 := strconv.Atoi(attr(e, "min"))
			last, err2 := strconv.Atoi(attr(e, "max"))
			if err1 != nil || err2 != nil || first < 1 || last < first {
				return errors.New("hidden columns without a number")
			}
			r.sheet.HiddenColumns = append(r.sheet.HiddenColumns, Range{Col: first, LastCol: last})
		}
	case "mergeCell":
		merged, ok := parseRange(attr(e, "ref"))
		if !ok {
			return errors.New("merged cells without a range")
		}
		r.sheet.Merged = append(r.sheet.Merged, merged)
	}
	return nil
}

func attr(e xml.StartElement, name string) string {
	for _, a := range e.Attr {
		if a.Name.Local == name {
			return a.Value
		}
	}
	return ""
}

func (r *reader) readRow(e xml.StartElement) error {
	number := r.row + 1
	if s := attr(e, "r"); s != "" {
		n, err := strconv.Atoi(s)
		if err != nil || n < number || n > mostRows {
			return errors.New("row " + strconv.Quote(s) + " behind row " + strconv.Itoa(r.row))
		}
		number = n
	}
	r.row = number
	row := Row{Number: number, Hidden: truth(attr(e, "hidden"))}
	if n := len(r.sheet.Rows); n > 0 {
		row.Cells = make([]Cell, 0, len(r.sheet.Rows[n-1].Cells))
	}
	col := 0
	for {
		token, err := r.d.Token()
		if err != nil {
			return noEnd(err)
		}
		switch token := token.(type) {
		case xml.EndElement:
			if len(row.Cells) > 0 {
				r.sheet.Rows = append(r.sheet.Rows, row)
			}
			return nil
		case xml.StartElement:
			if token.Name.Local != "c" {
				if err := r.d.Skip(); err != nil {
					return noEnd(err)
				}
				continue
			}
			c := raw{row: number, col: col + 1}
			if err := r.readCell(&c, token); err != nil {
				return err
			}
			if c.col <= col {
				return errors.New("cell " + Name(c.row, c.col) + " behind cell " + Name(number, col))
			}
			col = c.col
			cell, f := r.book.cell(c)
			if f != nil {
				f.Line, f.Col, f.Cell = c.row, c.col, Name(c.row, c.col)
				r.sheet.Faults.Add(f)
			} else if cell.Text != "" {
				if r.cells++; r.cells > mostCells {
					return errors.New("more than " + strconv.Itoa(mostCells) + " cells")
				}
				row.Cells = append(row.Cells, cell)
			}
		}
	}
}

// readCell reads a cell up to its end.
func (r *reader) readCell(c *raw, e xml.StartElement) error {
	for _, a := range e.Attr {
		switch a.Name.Local {
		case "r":
			row, col, ok := parseName(a.Value)
			if !ok || row != c.row {
				return errors.New("cell " + strconv.Quote(a.Value) + " in row " + strconv.Itoa(c.row))
			}
			c.col = col
		case "s":
			style, err := strconv.Atoi(a.Value)
			if err != nil {
				return err
			}
			c.style = style
		case "t":
			c.kind = a.Value
		}
	}
	if c.col > mostColumns {
		return errors.New("more than " + strconv.Itoa(mostColumns) + " columns")
	}
	inValue := false
	for {
		token, err := r.d.Token()
		if err != nil {
			return noEnd(err)
		}
		switch token := token.(type) {
		case xml.EndElement:
			if !inValue {
				return nil
			}
			inValue = false
		case xml.CharData:
			if inValue {
				c.value += string(token)
			}
		case xml.StartElement:
			switch token.Name.Local {
			case "v":
				c.stored, inValue = true, true
				continue
			case "f":
				c.formula = true
				err = r.d.Skip()
			case "is":
				c.stored, c.isInline = true, true
				c.value, err = readText(r.d)
			default:
				err = r.d.Skip()
			}
			if err != nil {
				return noEnd(err)
			}
		}
	}
}

const recompute = "open the workbook in a spreadsheet program, let it compute, and save it; or write the number itself"

// cell reads what a cell holds.
func (b *Book) cell(c raw) (Cell, *fault.Fault) {
	cell := Cell{Col: c.col}
	switch {
	case c.formula && (!c.stored || c.value == "" && c.kind != "str"):
		return cell, &fault.Fault{Found: "a formula without a stored result", Expected: "a value", Remedy: recompute}
	case c.formula && b.stale:
		return cell, &fault.Fault{Found: "a formula whose stored result may be out of date (the workbook asks to be computed anew)",
			Expected: "a value", Remedy: recompute}
	case !c.stored:
		return cell, nil
	}
	value := strings.TrimSpace(c.value)
	switch c.kind {
	case "", "n":
		if value == "" {
			return cell, nil
		}
		return b.number(cell, c.style, value)
	case "s":
		i, err := strconv.Atoi(value)
		if err != nil || i < 0 || i >= len(b.texts) {
			return cell, &fault.Fault{Found: "a text that the workbook does not hold (" + strconv.Quote(value) + ")", Expected: "a value", Remedy: "save the workbook again"}
		}
		cell.Text = strings.TrimSpace(b.texts[i])
	case "str":
		cell.Text = strings.TrimSpace(unescape(c.value))
	case "inlineStr":
		cell.Text = value
	case "b":
		cell.Text = "FALSE"
		if truth(value) {
			cell.Text = "TRUE"
		}
	case "d":
		cell.Text = b.isoDate(value, c.style)
	case "e":
		return cell, &fault.Fault{Found: "the error " + value, Expected: "a value", Remedy: "correct the cell or leave it empty"}
	default:
		return cell, &fault.Fault{Found: "a cell of the unknown type " + strconv.Quote(c.kind), Expected: "a number, text or date", Remedy: "save the workbook again"}
	}
	return cell, nil
}

// format is that of a style; an unknown style tells nothing.
func (b *Book) format(style int) Format {
	if style < 0 || style >= len(b.styles) {
		return Format{}
	}
	return b.styles[style]
}

// HiddenIn names the hidden columns among the first width ones.
func (s *Sheet) HiddenIn(width int) []string {
	var names []string
	for _, r := range s.HiddenColumns {
		for col := r.Col; col <= min(r.LastCol, width); col++ {
			if name := Column(col); !slices.Contains(names, name) {
				names = append(names, name)
			}
		}
	}
	return names
}
