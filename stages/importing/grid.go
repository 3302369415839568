package importing

// gridCell is a cell of a line: a number, a mark in place of one, or words.
type gridCell struct {
	v      float64
	why    gapKind // why there is no number; 0: there is one, or words stand there
	words  bool
	lo, hi int // the cell's bytes, without blanks and quotes around it
}

// gridScanner splits lines into cells of any sort. It is slower than scanner, which knows numbers alone.
type gridScanner struct {
	data []byte
	layout
	group byte // sign between thousands; 0: none
	cells []gridCell

	numbers, words int // cells of either sort in the last line
	grouped        int // numbers that hold the sign between thousands
	long           int // numbers that lack it, where four or more digits stand before the decimal mark
}

// line reads the line that starts at i and returns where the next one starts. A line is lineNumeric when it holds a number,
// lineBlank when it holds nothing, else lineOther; words says whether there are other cells too.
func (s *gridScanner) line(i int) (next int, kind lineKind) {
	data, sep := s.data, s.sep
	s.cells = s.cells[:0]
	s.numbers, s.words, s.grouped, s.long = 0, 0, 0, 0
	for {
		i = skipBlanks(data, i, sep)
		if i >= len(data) || data[i] == '\n' || data[i] == '\r' {
			if sep != 0 && len(s.cells) > 0 {
				s.cells = append(s.cells, gridCell{why: gapEmpty, lo: i, hi: i})
			}
			break
		}
		if len(s.cells) == 0 && commentMark(data[i:]) {
			return lineEnd(data, i), lineOther
		}
		v, j, ok := scanNumber(data, i, s.dec)
		k := j
		if ok {
			k = skipBlanks(data, j, sep)
			ok = k >= len(data) || data[k] == '\n' || data[k] == '\r' || sep == 0 && k > j || sep != 0 && data[k] == sep
		}
		if ok {
			s.number(v, i, j)
		} else {
			k = s.cell(i)
		}
		i = k
		if i >= len(data) || data[i] == '\n' || data[i] == '\r' {
			break
		}
		if sep != 0 {
			i++
		}
	}
	next = eol(data, i)
	switch {
	case s.numbers > 0:
		return next, lineNumeric
	case s.words > 0:
		return next, lineOther
	}
	for _, c := range s.cells {
		if c.why != gapEmpty {
			return next, lineOther
		}
	}
	return next, lineBlank
}

// number appends a cell that is a plain number.
func (s *gridScanner) number(v float64, lo, hi int) {
	if v-v != 0 {
		s.cells = append(s.cells, gridCell{why: gapBeyond, lo: lo, hi: hi})
		return
	}
	s.numbers++
	if s.group != 0 && longInteger(s.data[lo:hi]) {
		s.long++
	}
	s.cells = append(s.cells, gridCell{v: v, lo: lo, hi: hi})
}

// cell reads a cell that is not a plain number and returns where it ends: at the separator, at the next cell or at the line's end.
func (s *gridScanner) cell(i int) int {
	data, sep := s.data, s.sep
	lo, hi, next := i, 0, 0
	if data[i] == '"' {
		lo, hi, next = s.quoted(i)
	}
	if next == 0 {
		for i < len(data) {
			c := data[i]
			if c == '\n' || c == '\r' || sep != 0 && c == sep || sep == 0 && (c == ' ' || c == '\t') {
				break
			}
			i++
		}
		next = skipBlanks(data, i, sep)
		hi = i
	}
	for hi > lo && (data[hi-1] == ' ' || data[hi-1] == '\t') {
		hi--
	}
	for lo < hi && (data[lo] == ' ' || data[lo] == '\t') {
		lo++
	}
	tok := data[lo:hi]
	if why := markOf(tok); why != 0 {
		s.cells = append(s.cells, gridCell{why: why, lo: lo, hi: hi})
		return next
	}
	if v, end, ok := scanNumber(tok, 0, s.dec); ok && end == len(tok) {
		s.number(v, lo, hi)
		return next
	}
	if s.group != 0 {
		if v, ok := groupedNumber(tok, s.dec, s.group); ok {
			s.numbers++
			s.grouped++
			s.cells = append(s.cells, gridCell{v: v, lo: lo, hi: hi})
			return next
		}
	}
	s.words++
	s.cells = append(s.cells, gridCell{words: true, lo: lo, hi: hi})
	return next
}

// quoted finds the ends of a cell in quotation marks, which ends on its line; next is 0 when it does not.
func (s *gridScanner) quoted(i int) (lo, hi, next int) {
	data := s.data
	for k := i + 1; k < len(data) && data[k] != '\n' && data[k] != '\r'; k++ {
		if data[k] != '"' {
			continue
		}
		if k+1 < len(data) && data[k+1] == '"' {
			k++
			continue
		}
		end := skipBlanks(data, k+1, s.sep)
		if end >= len(data) || data[end] == '\n' || data[end] == '\r' || s.sep != 0 && data[end] == s.sep || s.sep == 0 && end > k+1 {
			return i + 1, k, end
		}
		return 0, 0, 0
	}
	return 0, 0, 0
}

// commentMark says that a line begins as comments do. A row of hash signs alone is a mark of over-range.
func commentMark(line []byte) bool {
	switch line[0] {
	case '%', '!':
		return true
	case '/':
		return len(line) > 1 && line[1] == '/'
	case '#':
		for k := 1; k < len(line) && line[k] != '\n' && line[k] != '\r'; k++ {
			if c := line[k]; c != '#' {
				return k == 1 || c != ',' && c != ';' && c != '\t'
			}
		}
		return true
	}
	return false
}

// longInteger says that four or more digits stand at the beginning of a number.
func longInteger(tok []byte) bool {
	n := 0
	for i, c := range tok {
		if i == 0 && (c == '-' || c == '+') {
			continue
		}
		if c-'0' > 9 {
			break
		}
		n++
	}
	return n >= 4
}

// groupedNumber reads a number whose whole part is written in groups of three digits: `1.234,5`, `1 234.5`, `12'345`.
func groupedNumber(tok []byte, dec, group byte) (v float64, ok bool) {
	if len(tok) > 40 {
		return 0, false
	}
	var buf [40]byte
	out := buf[:0]
	i, digits, groups := 0, 0, 0
	if i < len(tok) && (tok[i] == '-' || tok[i] == '+') {
		out = append(out, tok[i])
		i++
	}
	if i < len(tok) && tok[i] == '0' {
		return 0, false // 0.953 is no thousand
	}
	for ; i < len(tok); i++ {
		c := tok[i]
		if c-'0' <= 9 {
			out = append(out, c)
			digits++
			continue
		}
		if c != group || digits == 0 || digits > 3 || groups > 0 && digits != 3 {
			break
		}
		groups, digits = groups+1, 0
	}
	if groups == 0 || digits != 3 {
		return 0, false
	}
	out = append(out, tok[i:]...)
	if i < len(tok) && tok[i] != dec {
		return 0, false
	}
	v, end, ok := scanNumber(out, 0, dec)
	return v, ok && end == len(out) && v-v == 0
}
