package importing

import "fmt"

// checkRest looks at what lies outside the chosen run: numbers that would be
// lost without a word are an error when they are many or adjoin the data, a
// note otherwise.
func checkRest(data []byte, s *scan, notes *[]Note) error {
	if err := cutOff(data, s); err != nil {
		return err
	}
	b := s.best
	for _, r := range s.others {
		first, second := b.run, r
		if r.start < b.start {
			first, second = r, b.run
		}
		aside := Note{fmt.Sprintf("numbers in %s outside the data are left out", count(r.cells, "column")), lineRange(r), false}
		at, single := oneDataLine(data, s.layout, first.end, second.start)
		switch touching := first.end == second.start; {
		case touching && first == r && r.rows < 3: // parameters above the data
			*notes = append(*notes, aside)
		case touching && first.cells > second.cells && second.rows > 1 && second.end >= lastRun(s).end:
			// columns that are shorter than others
			return &SeveralError{LineError{second.firstLine, count(second.cells, "column"), fmt.Sprintf("%d as on the lines before", first.cells), "mend the line, or name the layout of the file"}}
		case touching:
			return &LineError{second.firstLine, count(second.cells, "column"), fmt.Sprintf("%d as on the lines before", first.cells), "mend the line, or name the layout of the file"}
		case single && r.cells == b.cells:
			return &LineError{first.lastLine + 1, fmt.Sprintf("%q amid the data", clip(data[at:second.start])), fmt.Sprintf("%d numbers", b.cells), "mend the line or take it out"}
		case r.rows >= 3 && r.rows*10 >= b.rows:
			return &SeveralError{LineError{r.firstLine, fmt.Sprintf("a second block of numbers (lines %d to %d, %s) beside the one of lines %d to %d", r.firstLine, r.lastLine, count(r.cells, "column"), b.firstLine, b.lastLine),
				"one block", "a file of several blocks needs the layout blocks"}}
		default:
			*notes = append(*notes, aside)
		}
	}
	return nil
}

// lastRun is the run that ends last.
func lastRun(s *scan) run {
	last := s.best.run
	for _, r := range s.others {
		if r.end > last.end {
			last = r
		}
	}
	return last
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

func lineRange(r run) []int {
	if r.rows == 1 {
		return []int{r.firstLine}
	}
	return []int{r.firstLine, r.lastLine}
}

// oneDataLine says whether a single line that begins like a number lies
// between two runs, and where it starts.
func oneDataLine(data []byte, l layout, from, to int) (at int, ok bool) {
	if from == to || lineEnd(data, from) < to {
		return 0, false
	}
	_, _, number := scanNumber(data, skipBlanks(data, from, l.sep), l.dec)
	return from, number
}

// clip is the start of a line for a message.
func clip(line []byte) string {
	end := 0
	for end < len(line) && line[end] != '\n' && line[end] != '\r' {
		end++
	}
	if end > 40 {
		return string(line[:40]) + "…"
	}
	return string(line[:end])
}

// cutOff refuses a file that ends in the middle of a line of data: its last
// line follows the data at once, and holds fewer numbers, the last of which may
// itself be a beginning only ("1.2E-").
func cutOff(data []byte, s *scan) error {
	at := s.best.end
	sc := scanner{data: data, layout: s.layout}
	next, kind := sc.line(at)
	for i := next; i < len(data); {
		end, k := sc.line(i)
		if k != lineBlank {
			return nil
		}
		i = end
	}
	cells := 0
	switch _, kind = sc.line(at); kind {
	case lineBlank:
		return nil
	case lineNumeric:
		if cells = sc.n; cells >= s.best.cells {
			return nil
		}
	case lineOther:
		var ok bool
		if cells, ok = beginning(data, at, s.layout); !ok || cells > s.best.cells {
			return nil
		}
	}
	return &LineError{s.best.lastLine + 1, fmt.Sprintf("a last line that breaks off: %q", clip(data[at:])), count(s.best.cells, "column"),
		"the file seems cut off: copy it again from the instrument"}
}

// beginning counts the cells of a line of numbers whose last one may be only
// the beginning of a number.
func beginning(data []byte, i int, l layout) (cells int, ok bool) {
	for {
		i = skipBlanks(data, i, l.sep)
		_, j, number := scanNumber(data, i, l.dec)
		cells++
		if k := skipBlanks(data, j, l.sep); number && k < len(data) && data[k] != '\n' && data[k] != '\r' {
			if l.sep == 0 && k > j {
				i = k
				continue
			}
			if l.sep != 0 && data[k] == l.sep {
				i = k + 1
				continue
			}
		}
		// What is left must be a sign, a decimal mark, or an exponent begun.
		if j < len(data) && number && data[j]|0x20 == 'e' {
			j++
			number = false
		}
		if j < len(data) && !number && (data[j] == '-' || data[j] == '+') {
			j++
		}
		if j < len(data) && !number && data[j] == l.dec {
			j++
		}
		return cells, j > i && (j >= len(data) || data[j] == '\n' || data[j] == '\r')
	}
}

// shortEnd notes that a file ends without a line end and its last cell is
// shorter than those before it, which are all equally long: a sign that the
// last number was cut short.
func shortEnd(data []byte, b *block, l layout) (Note, bool) {
	if b.end < len(data) || b.rows < 4 || data[len(data)-1] == '\n' || data[len(data)-1] == '\r' {
		return Note{}, false
	}
	width := func(end int) (start, w int) {
		for end > b.start && (data[end-1] == '\n' || data[end-1] == '\r') {
			end--
		}
		start = end
		for start > b.start && data[start-1] != '\n' && data[start-1] != '\r' {
			if c := data[start-1]; w == 0 && (c == ' ' || c == '\t' || l.sep != 0 && c == l.sep) {
				w = end - start
			}
			start--
		}
		return start, w
	}
	at, last := width(b.end)
	at, usual := width(at)
	for k := 0; k < 2; k++ {
		var w int
		if at, w = width(at); w != usual {
			return Note{}, false
		}
	}
	return Note{"the file ends without a line end and its last number is shorter than those before: it may be cut off", []int{b.lastLine}, false}, last < usual
}
