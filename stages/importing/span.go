package importing

import "slices"

// span is a run of consecutive lines that hold numbers, and perhaps words, in the same cells.
type span struct {
	cells, rows         int
	numbers             int    // cells with numbers, over all rows
	words, digits       uint64 // which of the first 64 cells hold words in some row, and numbers
	ragged              int    // rows at its end that have fewer cells
	firstLine, lastLine int
	start, end          int
}

// mixed says that some of the cells hold words.
func (s *span) mixed() bool { return s.words != 0 }

// spans splits a text into runs of lines that hold numbers. A blank line ends a run. Lines with fewer cells than those before, at the end
// of a run, are its ragged end: columns that are shorter than others.
func spans(data []byte, l layout, group byte) (out []span, lines int, fault error) {
	sc := gridScanner{data: data, layout: l, group: group}
	var cur span
	long, grouped := 0, 0
	finish := func() {
		if cur.rows > 0 {
			out = append(out, cur)
		}
		cur = span{}
	}
	for i := 0; i < len(data); {
		next, kind := sc.line(i)
		lines++
		if kind != lineNumeric || len(sc.cells) == 1 {
			finish()
			i = next
			continue
		}
		if sc.grouped > 0 && grouped == 0 {
			grouped = lines
		}
		if sc.long > 0 && long == 0 {
			long = lines
		}
		words, digits := sc.masks()
		n := len(sc.cells)
		fits := cur.rows > 0 && words&cur.digits == 0 && (words == 0) == (cur.words == 0)
		short := fits && n < cur.cells && cur.words == 0 && words == 0 && n > 1
		if !fits || n != cur.cells && !short || n == cur.cells && cur.ragged > 0 {
			finish()
			cur = span{cells: n, firstLine: lines, start: i}
		}
		if n < cur.cells {
			cur.ragged++
		}
		cur.rows++
		cur.numbers += sc.numbers
		cur.words |= words
		cur.digits |= digits &^ cur.words // a number among names is a name
		cur.lastLine, cur.end = lines, next
		i = next
	}
	finish()
	if group != 0 && long > 0 && grouped > 0 {
		fault = &LineError{long, "a number of four or more digits without the sign between thousands that line " + itoa(grouped) + " has",
			"one way to write thousands in the whole file", "export it without a sign between thousands"}
	}
	return joinNames(out), lines, fault
}

// joinNames joins runs of rows that begin with a name, where some of the names are numbers: most rows must begin with words.
func joinNames(in []span) []span {
	const far = 50 // runs to look ahead
	var out []span
	for i := 0; i < len(in); {
		words, rows, best := in[i].words, in[i].rows, i
		for j := i + 1; j < min(len(in), i+far) && in[j].start == in[j-1].end && in[j].cells == in[i].cells && in[j].ragged == 0 && in[i].ragged == 0; j++ {
			words |= in[j].words
			rows += in[j].rows
			whole := 0 // rows in which all names are words
			for k := i; k <= j; k++ {
				if in[k].words == words {
					whole += in[k].rows
				}
			}
			// words stand at the left end only, and numbers behind them
			if words != 0 && words&(words+1) == 0 && in[j].words != 0 && 2*whole >= rows {
				best = j
			}
		}
		if best == i {
			out = append(out, in[i])
			i++
			continue
		}
		joined := in[i]
		for _, s := range in[i+1 : best+1] {
			joined.rows, joined.numbers, joined.words = joined.rows+s.rows, joined.numbers+s.numbers, joined.words|s.words
			joined.digits |= s.digits
			joined.lastLine, joined.end = s.lastLine, s.end
		}
		joined.digits &^= joined.words
		i = best
		in[i] = joined // and perhaps more behind it
	}
	return out
}

// masks gives the cells of the last line that hold words, and those that hold numbers. Cell 64 stands for all behind it.
func (s *gridScanner) masks() (words, digits uint64) {
	for k := range s.cells {
		bit := uint64(1) << min(k, 63)
		switch c := &s.cells[k]; {
		case c.words:
			words |= bit
		case c.why == 0:
			digits |= bit
		}
	}
	return words, digits
}

// grid is a span with its cells: a column holds numbers or words.
type grid struct {
	span
	cols   [][]float64
	valid  [][]bool // per column; nil: all are numbers
	gaps   [][]gapMark
	words  [][]string // per column; nil: it holds numbers
	layout layout
	byRow  map[int]*[gapBeyond + 1]int // sorts of gaps in each row, once they were asked for
}

func (g *grid) line(row int) int { return g.firstLine + row }

// readSpan reads the cells of a span.
func readSpan(data []byte, s span, l layout, group byte) (*grid, error) {
	g := &grid{span: s, cols: make([][]float64, s.cells), valid: make([][]bool, s.cells), gaps: make([][]gapMark, s.cells),
		words: make([][]string, s.cells), layout: l}
	numeric := 0
	for k := range s.cells {
		if s.span64(k) {
			g.words[k] = make([]string, s.rows)
		} else {
			numeric++
		}
	}
	all := make([]float64, numeric*s.rows)
	for k := range s.cells {
		if g.words[k] == nil {
			g.cols[k], all = all[:s.rows:s.rows], all[s.rows:]
		}
	}
	sc := gridScanner{data: data[:s.end], layout: l, group: group}
	var places columnPlaces
	for i, row := s.start, 0; i < s.end; row++ {
		next, _ := sc.line(i)
		if len(sc.cells) < s.cells && l.sep == 0 {
			if err := places.spread(&sc, data, i, s, g.line(row)); err != nil {
				return nil, err
			}
		} else if l.sep == 0 && s.ragged > 0 {
			places.learn(&sc, i)
		}
		for k := range s.cells {
			c := gridCell{why: gapEmpty}
			if k < len(sc.cells) {
				c = sc.cells[k]
			}
			switch {
			case g.words[k] != nil:
				g.words[k][row] = plainWords(data[c.lo:c.hi])
			case c.words: // beyond the first 64 cells words are not told apart
				return nil, &LineError{g.line(row), "words in a column of numbers: " + quoteShort(data[c.lo:c.hi]), "a number", "mend the line or take it out"}
			case c.why == 0:
				g.cols[k][row] = c.v
			default:
				g.miss(row, k, c.why)
			}
		}
		i = next
	}
	return g, nil
}

// span64 says whether column k of a span holds words.
func (s *span) span64(k int) bool { return k < 63 && s.words>>k&1 != 0 }

// miss notes that a cell holds no number.
func (g *grid) miss(row, k int, why gapKind) {
	if g.valid[k] == nil {
		g.valid[k] = make([]bool, g.rows)
		for i := range g.valid[k] {
			g.valid[k][i] = true
		}
	}
	g.valid[k][row] = false
	g.gaps[k] = append(g.gaps[k], gapMark{row, k, why})
}

// filled is the number of rows up to the last number of a column.
func (g *grid) filled(k int) int {
	v := g.valid[k]
	n := g.rows
	for v != nil && n > 0 && !v[n-1] {
		n--
	}
	return n
}

// marked says that a column holds marks of over-range.
func (g *grid) marked(k int) bool {
	return slices.ContainsFunc(g.gaps[k], func(m gapMark) bool { return m.why == gapOver || m.why == gapBeyond })
}

// dropEmpty takes empty columns off the right end: lines that end with a separator.
func (g *grid) dropEmpty() {
	n := g.cells
	for n > 1 && g.words[n-1] == nil && g.filled(n-1) == 0 && !g.marked(n-1) {
		n--
	}
	g.cells, g.cols, g.valid, g.gaps, g.words = n, g.cols[:n], g.valid[:n], g.gaps[:n], g.words[:n]
}

// columnPlaces learns from whole lines which bytes of a line belong to which column, so that the blanks in a shorter line of a file of fixed
// width can be told from a missing end.
type columnPlaces struct{ lo, hi []int }

func (p *columnPlaces) learn(sc *gridScanner, start int) {
	if p.lo == nil {
		for range sc.cells {
			p.lo, p.hi = append(p.lo, 1<<30), append(p.hi, 0)
		}
	}
	for k, c := range sc.cells {
		p.lo[k], p.hi[k] = min(p.lo[k], c.lo-start), max(p.hi[k], c.hi-start)
	}
}

// spread puts the cells of a short line under the columns that they stand below.
func (p *columnPlaces) spread(sc *gridScanner, data []byte, start int, s span, line int) error {
	refuse := &LineError{line, count(len(sc.cells), "column"), "the " + itoa(s.cells) + " of the lines before", "mend the line, or export with a separator other than blanks"}
	for k := 1; k < len(p.lo); k++ {
		if p.lo[k] < p.hi[k-1] {
			return refuse
		}
	}
	wide := make([]gridCell, s.cells)
	for k := range wide {
		wide[k].why = gapEmpty
	}
	at := 0
	for _, c := range sc.cells {
		for at < s.cells && p.hi[at] <= c.lo-start {
			at++
		}
		if at == s.cells || p.lo[at] >= c.hi-start || at+1 < s.cells && p.lo[at+1] < c.hi-start {
			return refuse
		}
		wide[at] = c
		at++
	}
	for k := start; k < len(data) && data[k] != '\n' && data[k] != '\r'; k++ {
		if data[k] == '\t' {
			return refuse
		}
	}
	sc.cells = append(sc.cells[:0], wide...)
	return nil
}
