package importing

import (
	"strings"
)

// rowAxis is the axis of curves that lie along rows: a number for each column, and where it stands.
type rowAxis struct {
	values []float64
	lead   int // columns before the first number: they name the curves
	from   int // first row of the grid that holds a curve
	head   Head
	line   int // where it stands; 0: the study gives it
}

// axisAbove finds the axis of a table whose curves lie along its rows: the first row, when only its numbers are in order, or the heads of the columns,
// when they are numbers in order.
func (f *layoutFile) axisAbove(g *grid) *rowAxis {
	lead := 0
	for lead < g.cells && g.words[lead] != nil {
		lead++
	}
	if lead == 0 {
		lead = 1 // names that are numbers
	}
	least := 5
	if f.options.Layout == Rows {
		least = 2
	}
	n := g.cells - lead
	for k := lead; k < g.cells; k++ {
		if g.words[k] != nil {
			return nil
		}
	}
	if n < least {
		return nil
	}
	if a := f.axisInHeads(g, lead); a != nil {
		return a
	}
	return f.axisInRow(g, lead)
}

// axisInRow takes the first row of a table for the axis, when its numbers are in order.
func (f *layoutFile) axisInRow(g *grid, lead int) *rowAxis {
	if g.rows < 2 || g.words[0] == nil && f.options.Layout != Rows {
		return nil
	}
	a := &rowAxis{values: make([]float64, g.cells-lead), lead: lead, from: 1, line: g.firstLine}
	for k := range a.values {
		if v := g.valid[lead+k]; v != nil && !v[0] {
			return nil
		}
		a.values[k] = g.cols[lead+k][0]
	}
	if !inOrder(a.values) {
		return nil
	}
	for k := range lead {
		if g.words[k] == nil {
			continue
		}
		if h := splitHead(g.words[k][0]); h.Unit != "" {
			a.head = h
		}
	}
	return a
}

// axisInHeads takes the heads of the columns for the axis, when they are numbers in order.
func (f *layoutFile) axisInHeads(g *grid, lead int) *rowAxis {
	n := g.cells - lead
	rows := f.headRows(f.main, g)
	for i := len(rows) - 1; i >= 0; i-- {
		r := rows[i]
		if len(r.cells) < g.cells {
			continue
		}
		values := make([]float64, n)
		unit := ""
		ok := true
		for k := range values {
			v, u, good := headNumber(r.cells[lead+k], f.layout.dec)
			values[k] = v
			ok = ok && good && (k == 0 || u == unit)
			unit = u
		}
		if ok && inOrder(values) {
			a := &rowAxis{values: values, lead: lead, line: r.line, head: Head{Unit: unit}}
			if unit == "" {
				for k := range lead {
					if h := splitHead(r.cells[k]); h.Unit != "" {
						a.head = h
					}
				}
			}
			return a
		}
	}
	return nil
}

// headNumber reads a head that is a number, perhaps with a unit: `350`, `350 nm`, `350.5nm`.
func headNumber(s string, dec byte) (v float64, unit string, ok bool) {
	v, next, ok := scanNumber([]byte(s), 0, dec)
	if !ok && dec != '.' {
		v, next, ok = scanNumber([]byte(s), 0, '.')
	}
	return v, strings.Trim(s[next:], " []()"), ok && v-v == 0
}

// inOrder says that numbers rise or fall throughout.
func inOrder(v []float64) bool {
	for i := 1; i < len(v); i++ {
		if (v[i]-v[i-1])*(v[1]-v[0]) <= 0 {
			return false
		}
	}
	return len(v) > 1
}

// eachRow reads curves that lie along rows.
func (f *layoutFile) eachRow(yield func(*Text) error) error {
	f.as = Rows
	main := &f.spans[f.main]
	if err := f.broken(); err != nil {
		return err
	}
	g, err := f.read(main)
	if err != nil {
		return err
	}
	var a *rowAxis
	even := f.options.Axis
	if even == nil {
		a = f.axisAbove(g)
	}
	if even != nil {
		a = &rowAxis{}
		for a.lead < g.cells && g.words[a.lead] != nil {
			a.lead++
		}
		for k := a.lead; k < g.cells; k++ {
			if g.words[k] != nil {
				return &LineError{g.firstLine, "words in cell " + itoa(k+1) + ", behind numbers", "names at the beginning of the row alone", "correct `layout`, or leave it out"}
			}
		}
		n := g.cells - a.lead
		if n < 2 {
			return &LineError{g.firstLine, count(n, "number"), "a curve along the row", "correct `layout`, or leave it out"}
		}
		a.values = make([]float64, n)
		for k := range a.values {
			t := float64(k) / float64(n-1)
			a.values[k] = even.First*(1-t) + even.Last*t
		}
	}
	if a == nil {
		return &LineError{g.firstLine, "rows of " + count(g.cells, "cell") + ", above which no line of numbers in order stands", "the axis of the curves",
			"add a line with the axis, or name its ends in the study: `wavelength: \"350 to 750 [nm]\"`"}
	}
	f.aside()
	part, line := f.aboveTable(f.main)
	h := header{data: f.data, layout: f.layout}
	h.read(part, line)
	h.read(f.data[g.end:], g.lastLine+1)
	pairs := h.pairsBut(a.line)
	n := len(a.values)
	for row := a.from; row < g.rows; row++ {
		t := &Text{FirstLine: g.line(row), LastLine: g.line(row), Pairs: pairs, Valid: make([][]bool, 2), Columns: [][]float64{a.values, make([]float64, n)},
			rowLines: make([]int, n)}
		for k := range n {
			c := a.lead + k
			t.rowLines[k] = g.line(row)
			t.Columns[1][k] = g.cols[c][row]
			if v := g.valid[c]; v != nil && !v[row] {
				if t.Valid[1] == nil {
					t.Valid[1] = allTrue(n)
				}
				t.Valid[1][k] = false
			}
		}
		if a.head != (Head{}) {
			t.Heads = []Head{a.head, {}}
		}
		t.Notes = g.rowNotes(row)
		t.Names = f.rowNames(g, row, a.lead)
		if err := f.give(t, yield); err != nil {
			return err
		}
	}
	return nil
}

func allTrue(n int) []bool {
	v := make([]bool, n)
	for i := range v {
		v[i] = true
	}
	return v
}

// rowNames gives what may name a row: the cells at its beginning, together as they stand there, and the first of them alone.
func (f *layoutFile) rowNames(g *grid, row, lead int) []Name {
	var words []string
	for k := range lead {
		words = append(words, g.text(f.data, row, k))
	}
	sep := " "
	if f.layout.sep != 0 {
		sep = string(f.layout.sep)
	}
	out := []Name{{strings.Join(words, sep), g.line(row)}}
	if lead > 1 {
		out = append(out, Name{words[0], g.line(row)})
	}
	return out
}

// text is a cell as it stands in the file, words or number.
func (g *grid) text(data []byte, row, k int) string {
	if g.words[k] != nil {
		return g.words[k][row]
	}
	return g.numberText(row, k)
}

// broken refuses a table of words and numbers whose largest run adjoins another one of as many cells: a line there has words where numbers are due.
func (f *layoutFile) broken() error {
	m := &f.spans[f.main]
	for i := range f.spans {
		s := &f.spans[i]
		if i != f.main && s.cells == m.cells && s.rows <= m.rows && (s.start == m.end || s.end == m.start && s.rows > 1) {
			return &LineError{s.firstLine, "words and numbers in other cells than on the lines beside it", "words and numbers in the same cells", "mend the line or take it out"}
		}
	}
	return nil
}

// rowNotes says what is missing in a row.
func (g *grid) rowNotes(row int) []Note {
	if g.byRow == nil {
		g.byRow = map[int]*[gapBeyond + 1]int{}
		for k := range g.gaps {
			for _, m := range g.gaps[k] {
				if g.byRow[m.row] == nil {
					g.byRow[m.row] = new([gapBeyond + 1]int)
				}
				g.byRow[m.row][m.why]++
			}
		}
	}
	counts := g.byRow[row]
	if counts == nil {
		return nil
	}
	var notes []Note
	for why, n := range counts {
		if n > 0 {
			notes = append(notes, Note{count(n, "cell") + " without a number: " + gapKind(why).String(), []int{g.line(row)}, gapKind(why).absent()})
		}
	}
	return notes
}
