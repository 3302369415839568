package catalog

import (
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"

	"fascicle/catalog/fault"
)

// Find finds a sample by its name or another spelling of it; capitals and the separators `-`, `_`, `.` and space do not count, but for
// separators between two digits, which are all alike there and are not left out: LN-35, ln_35 and `LN 35` are LN35, but S1.5 is not S15. The spelling as it
// stands in the sheet comes first.
//
// Where ok is false, ambiguous lists the samples, in the order of the sheet, that the name may mean all the same, for a person to choose
// from: those that it would be without any separator. It is never a guess to take.
func (s *Sheet) Find(name string) (sample string, ok bool, ambiguous []string) {
	name = strings.TrimSpace(name)
	if i, ok := s.rows[name]; ok {
		return s.Rows[i].Sample, true, nil
	}
	folded, loose := foldName(name)
	found := s.folded[folded]
	if len(found) == 1 {
		return s.Rows[found[0]].Sample, true, nil
	}
	if len(found) == 0 {
		found = s.loose[loose]
	}
	for _, i := range found {
		ambiguous = append(ambiguous, s.Rows[i].Sample)
	}
	return "", false, ambiguous
}

// foldName gives a name without capitals and separators; folded keeps one between two digits, loose keeps none. Characters with several code
// points are one (NFKC), so that names of files compare that were composed differently.
func foldName(name string) (folded, loose string) {
	for i := 0; i < len(name); i++ {
		if name[i] >= utf8.RuneSelf {
			name = norm.NFKC.String(name)
			break
		}
	}
	var b strings.Builder
	b.Grow(len(name))
	last, parted, kept := rune(0), false, false
	for _, r := range name {
		if isSeparator(r) {
			parted = true
			continue
		}
		if parted && unicode.IsDigit(last) && unicode.IsDigit(r) {
			b.WriteByte('-')
			kept = true
		}
		last, parted = r, false
		b.WriteRune(unicode.ToLower(r))
	}
	folded = b.String()
	if !kept {
		return folded, folded
	}
	return folded, strings.ReplaceAll(folded, "-", "")
}

func isSeparator(r rune) bool {
	return r == '-' || r == '_' || r == '.' || r == '\u2212' || unicode.IsSpace(r) || unicode.Is(unicode.Dash, r)
}

// otherSpellings parts the other spellings of a sample.
func otherSpellings(text string) []string {
	if text == "" {
		return nil
	}
	parts := strings.FieldsFunc(text, func(r rune) bool { return r == ';' || r == '|' })
	for i := range parts {
		parts[i] = strings.TrimSpace(parts[i])
	}
	return slices.DeleteFunc(parts, func(s string) bool { return s == "" })
}

// readSamples builds the index of samples and of their other spellings. Two rows that share a spelling, or have spellings that differ in capitals
// and separators alone, are a fault.
func (b *sheetBuilder) readSamples() {
	s := b.sheet
	s.rows = make(map[string]int, len(s.Rows))
	s.folded = make(map[string][]int, len(s.Rows))
	s.loose = make(map[string][]int, len(s.Rows))
	for i := range s.Rows {
		cell := &s.Rows[i].Cells[0]
		if cell.Text == "" {
			b.fault(&fault.Fault{Line: cell.Line, Col: cell.Col, Found: "a row without a sample",
				Expected: "the sample's name in the first column", Remedy: "name the sample or remove the row"})
			continue
		}
		if first, again := s.rows[cell.Text]; again {
			b.fault(&fault.Fault{Line: cell.Line, Col: cell.Col, Found: "sample " + strconv.Quote(cell.Text) + " a second time",
				Expected: "one row a sample (the first is " + b.line(s.Rows[first].Line) + ")", Remedy: "rename or remove one of them"})
			continue
		}
		s.rows[cell.Text] = i
		b.fold(cell, "sample", cell.Text, i)
	}
	also, ok := s.columns[alsoColumn]
	if !ok || also == 0 {
		return
	}
	for i := range s.Rows {
		cell := &s.Rows[i].Cells[also]
		for _, spelling := range otherSpellings(cell.Text) {
			if first, again := s.rows[spelling]; again && first != i {
				b.fault(&fault.Fault{Line: cell.Line, Col: cell.Col, Sample: s.Rows[i].Sample,
					Found:    "the other spelling " + strconv.Quote(spelling),
					Expected: "one that is not also sample " + s.Rows[first].Sample + "'s (" + b.line(s.Rows[first].Line) + ")",
					Remedy:   "remove one of them"})
				continue
			}
			s.rows[spelling] = i
			b.fold(cell, "the other spelling", spelling, i)
		}
	}
}

// fold adds a spelling of row i to the indexes of folded names.
func (b *sheetBuilder) fold(cell *Cell, what, spelling string, i int) {
	s := b.sheet
	folded, loose := foldName(spelling)
	if folded == "" {
		return
	}
	if rows := s.folded[folded]; !slices.Contains(rows, i) {
		if len(rows) > 0 {
			first := &s.Rows[rows[0]]
			b.fault(&fault.Fault{Line: cell.Line, Col: cell.Col, Sample: s.Rows[i].Sample,
				Found:    what + " " + strconv.Quote(spelling) + ", which differs from a spelling of sample " + first.Sample + " (" + b.line(first.Line) + ") in capitals and separators alone",
				Expected: "names that differ in letters or digits", Remedy: "rename one of them, or remove the row that is there twice"})
		}
		s.folded[folded] = append(rows, i)
	}
	if rows := s.loose[loose]; !slices.Contains(rows, i) {
		s.loose[loose] = append(rows, i)
	}
}
