package importing

// run is a run of consecutive numeric lines with one number of cells.
type run struct {
	cells      int
	rows       int
	firstLine  int // line number, from 1
	lastLine   int
	start, end int // byte offsets: first line's start, and behind the last line
}

// gapMark is a cell of a run that holds no number.
type gapMark struct {
	row, col int
	why      gapKind
}

// block is a run with its numbers. The columns are kept at their full capacity;
// rows says how much of it is used.
type block struct {
	run
	cols  [keptCells][]float64
	gaps  []gapMark
	lines []int // line of each row; nil when the rows are consecutive lines
}

func (b *block) line(row int) int {
	if b.lines != nil {
		return b.lines[row]
	}
	return b.firstLine + row
}

func (b *block) reset() {
	b.gaps, b.lines = b.gaps[:0], nil
	b.run = run{}
}

// scan is a whole file read in one layout.
type scan struct {
	layout
	best   *block
	others []run // every run but the best, in order
	lines  int   // lines in the file
	ones   run   // the longest run of lines with a single number
}

// scanText reads the whole file and keeps the longest run of lines with at
// least two cells; of equal runs the first. A blank line ends a run unless
// skipBlankLines is set.
func scanText(data []byte, l layout, skipBlankLines bool) *scan {
	sc := scanner{data: data, layout: l}
	res := &scan{layout: l, best: &block{}}
	cur := &block{}
	finish := func() {
		switch {
		case cur.rows == 0:
		case cur.cells == 1:
			if cur.rows > res.ones.rows {
				res.ones = cur.run
			}
		case cur.rows > res.best.rows:
			if res.best.rows > 0 {
				res.others = append(res.others, res.best.run)
			}
			res.best, cur = cur, res.best
		default:
			res.others = append(res.others, cur.run)
		}
		cur.reset()
	}
	for i := 0; i < len(data); {
		next, kind := sc.line(i)
		res.lines++
		switch {
		case kind == lineNumeric:
			if cur.rows > 0 && cur.cells != sc.n {
				finish()
			}
			if cur.rows == 0 {
				cur.cells, cur.firstLine, cur.start = sc.n, res.lines, i
			}
			cur.reserve(next, len(data))
			if skipBlankLines {
				cur.lines = append(cur.lines, res.lines)
			}
			for k := 0; k < min(sc.n, keptCells); k++ {
				cur.cols[k][cur.rows] = sc.v[k]
			}
			if sc.gaps {
				for k := 0; k < min(sc.n, keptCells); k++ {
					if sc.gap[k] != 0 {
						cur.gaps = append(cur.gaps, gapMark{cur.rows, k, sc.gap[k]})
					}
				}
			}
			cur.rows++
			cur.lastLine, cur.end = res.lines, next
			if !skipBlankLines && cur.cells <= keptCells && cur.rows > 1 {
				n := 0
				n, next = plainRows(data, next, l, cur)
				res.lines += n
				cur.lastLine, cur.end = res.lines, next
			}
		case kind == lineBlank && skipBlankLines:
		default:
			finish()
		}
		i = next
	}
	finish()
	sortRuns(res.others)
	return res
}

// reserve makes room for at least one more row: first for a few, then, when
// rows have shown how long they are, for as many as the rest of the file holds.
// next is where the row ends, size the length of the file.
func (b *block) reserve(next, size int) {
	n := min(b.cells, keptCells)
	if b.rows < b.room(n) {
		return
	}
	room := 32
	if b.rows > 0 {
		room = b.rows + int(float64(size-next)/float64(next-b.start)*float64(b.rows)*1.05) + 32
		room = max(2*b.rows, min(room, 8*b.rows+1<<14))
	}
	all := make([]float64, n*room)
	for k := 0; k < n; k++ {
		col := all[k*room : (k+1)*room : (k+1)*room]
		copy(col, b.cols[k][:min(b.rows, len(b.cols[k]))])
		b.cols[k] = col
	}
}

// room is the number of rows that the first n columns have room for. They may
// differ: an earlier run may have had fewer columns.
func (b *block) room(n int) int {
	r := len(b.cols[0])
	for k := 1; k < n; k++ {
		r = min(r, len(b.cols[k]))
	}
	return r
}

// plainRows appends lines that hold nothing but as many plain numbers as the
// block has cells, as long as there is room, and returns their number and where
// the first other line starts. It is the common case of scanner.line without
// the bookkeeping: what it does not take, that reads.
func plainRows(data []byte, i int, l layout, b *block) (rows, next int) {
	n := b.cells
	room := b.room(n)
	sep, dec := l.sep, l.dec
	at := b.rows
	for at < room {
		j := i
		for k := 0; k < n; k++ {
			for j < len(data) && (data[j] == ' ' || data[j] == '\t' && sep != '\t') {
				j++
			}
			v, end, ok := scanNumber(data, j, dec)
			if !ok || v-v != 0 || end >= len(data) {
				goto done
			}
			b.cols[k][at] = v
			c := data[end]
			if c == ' ' || c == '\t' && sep != '\t' {
				after := end
				for end < len(data) && (data[end] == ' ' || data[end] == '\t' && sep != '\t') {
					end++
				}
				if end == len(data) {
					goto done
				}
				c = data[end]
				if sep == 0 && c != '\n' && c != '\r' {
					end, c = after, ' '
				}
			}
			j = end
			switch {
			case k == n-1:
				if c != '\n' && c != '\r' {
					goto done
				}
			case sep == 0:
				if c != ' ' {
					goto done
				}
			case c != sep:
				goto done
			default:
				j++
			}
		}
		i = eol(data, j)
		at++
	}
done:
	rows = at - b.rows
	b.rows = at
	return rows, i
}

// sortRuns puts runs in the order of the file. A longer run found late pushes
// the earlier best behind runs that were met after it.
func sortRuns(r []run) {
	for i := 1; i < len(r); i++ {
		for j := i; j > 0 && r[j-1].start > r[j].start; j-- {
			r[j-1], r[j] = r[j], r[j-1]
		}
	}
}

// bestScan reads the file in the layout that reads it best: the one with the
// longest run, the earlier in the list when runs are equally long. A sample of
// lines picks it; when that reading leaves anything open, all are tried.
func bestScan(data []byte) *scan {
	guess := guessLayout(data)
	res := scanText(data, guess, false)
	if clean := res.best.rows > 1 && len(res.others) == 0 && 2*res.best.rows > res.lines; clean {
		return res
	}
	for _, skip := range []bool{false, true} {
		best := res
		for _, l := range layouts {
			if l == guess && !skip {
				continue
			}
			if s := scanText(data, l, skip); s.best.rows > best.best.rows || s.best.rows == best.best.rows && s.best.rows > 0 && order(l) < order(best.layout) {
				best = s
			}
		}
		// Blank lines between all lines (line ends written twice) leave runs
		// of one line each: only then do blank lines not separate blocks.
		if res = best; res.best.rows > 1 {
			break
		}
	}
	return res
}

func order(l layout) int {
	for i := range layouts {
		if layouts[i] == l {
			return i
		}
	}
	panic("importing: layout not in the list")
}

// guessLayout counts for each layout how many of some 33 lines, spread over
// the file, it reads as two or more numbers.
func guessLayout(data []byte) layout {
	const samples, reach = 33, 1 << 12 // reach: how far to look for a line's start
	best, bestCount := layouts[0], 0
	for _, l := range layouts {
		sc := scanner{data: data, layout: l}
		count := 0
		for k := 1; k <= samples; k++ {
			at := len(data) * k / (samples + 1)
			stop := min(len(data), at+reach)
			for at > 0 && at < stop && data[at-1] != '\n' && data[at-1] != '\r' {
				at++
			}
			if at < stop {
				if _, kind := sc.line(at); kind == lineNumeric && sc.n > 1 {
					count++
				}
			}
		}
		if count > bestCount {
			best, bestCount = l, count
		}
	}
	return best
}
