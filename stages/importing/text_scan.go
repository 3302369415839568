package importing

// layout is one way to read the lines of a file. A separator of 0 stands for
// any run of blanks and tabs.
type layout struct{ sep, dec byte }

// layouts in the order in which they are preferred when they read a file
// equally well.
var layouts = [...]layout{{0, '.'}, {',', '.'}, {';', '.'}, {'\t', '.'}, {0, ','}, {';', ','}, {'\t', ','}}

func (l layout) String() string {
	s := map[byte]string{0: "blanks", ',': "comma", ';': "semicolon", '\t': "tab"}[l.sep]
	if l.dec == ',' {
		s += ", decimal comma"
	}
	return s
}

type lineKind uint8

const (
	lineBlank   lineKind = iota // nothing, or only separators
	lineNumeric                 // nothing but numbers and marks for missing ones
	lineOther
)

// keptCells is the number of cells of a line whose values are kept; a line may
// have more, which are counted.
const keptCells = 8

// scanner reads lines in one layout. It allocates nothing itself.
type scanner struct {
	data []byte
	layout
	n    int                // cells of the last numeric line
	v    [keptCells]float64 // its values, 0 where there is none
	gap  [keptCells]gapKind // why there is none
	gaps bool               // any of them
}

// line reads the line that starts at i and returns where the next one starts.
func (s *scanner) line(i int) (next int, kind lineKind) {
	data, sep, dec := s.data, s.sep, s.dec
	s.n, s.gaps = 0, false
	numbers := 0
	for {
		i = skipBlanks(data, i, sep)
		if i >= len(data) || data[i] == '\n' || data[i] == '\r' {
			if sep != 0 && s.n > 0 { // a separator ended the line
				s.add(0, gapEmpty)
			}
			break
		}
		v, j, ok := scanNumber(data, i, dec)
		k := j
		if ok {
			k = skipBlanks(data, j, sep)
			ok = k >= len(data) || data[k] == '\n' || data[k] == '\r' || sep == 0 && k > j || sep != 0 && data[k] == sep
		}
		var why gapKind
		if !ok {
			if c := data[i]; s.n == 0 && (c == '#' || c == '*' || c == '-') {
				return lineEnd(data, i), lineOther // a comment, a ruled line
			}
			if v, k, why, ok = s.oddCell(i); !ok {
				return lineEnd(data, i), lineOther
			}
		}
		if why == 0 && v-v != 0 {
			v, why = 0, gapBeyond
		}
		if why == 0 {
			numbers++
			if s.n < keptCells {
				s.v[s.n] = v
				if s.gaps {
					s.gap[s.n] = 0
				}
			}
			s.n++
		} else {
			s.add(0, why)
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
	case numbers > 0:
		return next, lineNumeric
	case s.empty():
		return next, lineBlank
	}
	return next, lineOther
}

// add appends a cell without a number.
func (s *scanner) add(v float64, why gapKind) {
	if !s.gaps {
		s.gap = [keptCells]gapKind{}
		s.gaps = true
	}
	if s.n < keptCells {
		s.v[s.n], s.gap[s.n] = v, why
	}
	s.n++
}

// empty says that the line has no cell but empty ones.
func (s *scanner) empty() bool {
	for k := 0; k < min(s.n, keptCells); k++ {
		if s.gap[k] != gapEmpty {
			return false
		}
	}
	return true
}

// oddCell reads the cell at i when it is not a plain number: empty, a mark, or
// a number in quotes. next is behind the blanks that follow the cell.
func (s *scanner) oddCell(i int) (v float64, next int, why gapKind, ok bool) {
	start := i
	for i < len(s.data) {
		c := s.data[i]
		if c == '\n' || c == '\r' || s.sep != 0 && c == s.sep || s.sep == 0 && (c == ' ' || c == '\t') {
			break
		}
		i++
	}
	end := i
	for end > start && (s.data[end-1] == ' ' || s.data[end-1] == '\t') {
		end--
	}
	next = skipBlanks(s.data, end, s.sep)
	tok := s.data[start:end]
	if why = markOf(tok); why != 0 {
		return 0, next, why, true
	}
	if len(tok) > 2 && tok[0] == '"' && tok[len(tok)-1] == '"' {
		in := tok[1 : len(tok)-1]
		a := skipBlanks(in, 0, s.sep)
		if v, b, ok := scanNumber(in, a, s.dec); ok && skipBlanks(in, b, s.sep) == len(in) {
			return v, next, 0, true
		}
	}
	return 0, i, 0, false
}

func skipBlanks(data []byte, i int, sep byte) int {
	for i < len(data) && (data[i] == ' ' || data[i] == '\t' && sep != '\t') {
		i++
	}
	return i
}

// lineEnd is the start of the line behind the one that i is in.
func lineEnd(data []byte, i int) int {
	for i < len(data) && data[i] != '\n' && data[i] != '\r' {
		i++
	}
	return eol(data, i)
}

// eol steps over one line end at i: LF, CR, or CR LF.
func eol(data []byte, i int) int {
	if i < len(data) && data[i] == '\r' {
		i++
		if i < len(data) && data[i] == '\n' {
			i++
		}
		return i
	}
	if i < len(data) && data[i] == '\n' {
		i++
	}
	return i
}
