package study

import (
	"sort"
	"strings"
	"unicode/utf8"
)

// source is the text of a file with the places where its lines begin.
type source struct {
	text   string
	starts []int // byte offset of each line
}

// newSource counts \n, \r\n and a lone \r as line ends, as the YAML parser does.
func newSource(b []byte) *source {
	s := &source{text: string(b), starts: []int{0}}
	for i := 0; i < len(b); i++ {
		if b[i] == '\n' || b[i] == '\r' && (i+1 == len(b) || b[i+1] != '\n') {
			s.starts = append(s.starts, i+1)
		}
	}
	return s
}

func (s *source) lines() int { return len(s.starts) }

// line returns line n, counted from 1, without its end; "" beyond the file.
func (s *source) line(n int) string {
	if n < 1 || n > len(s.starts) {
		return ""
	}
	end := len(s.text)
	if n < len(s.starts) {
		end = s.starts[n]
	}
	return strings.TrimRight(s.text[s.starts[n-1]:end], "\r\n")
}

// at returns the place of a byte offset.
func (s *source) at(offset int) Pos {
	offset = min(max(offset, 0), len(s.text))
	n := sort.SearchInts(s.starts, offset+1)
	return Pos{n, utf8.RuneCountInString(s.text[s.starts[n-1]:offset]) + 1}
}

// offset returns the byte offset of a place, or the end of its line when the place lies beyond.
func (s *source) offset(p Pos) int {
	if p.Line < 1 || p.Line > len(s.starts) {
		return len(s.text)
	}
	i := s.starts[p.Line-1]
	line := s.line(p.Line)
	for c := 1; c < p.Col && line != ""; c++ {
		_, n := utf8.DecodeRuneInString(line)
		i, line = i+n, line[n:]
	}
	return i
}

// from returns the rest of the line at a place.
func (s *source) from(p Pos) string {
	i := s.offset(p)
	rest := s.text[i:]
	if j := strings.IndexAny(rest, "\r\n"); j >= 0 {
		rest = rest[:j]
	}
	return rest
}

// Locate returns the place of the character at a byte offset of t's value. It follows the text through quotes, escapes
// and folded lines, so that a fault inside an expression can be pointed at. Where it cannot follow (blocks of text, escapes
// by number) it returns the place where t begins.
func (st *Study) Locate(t Text, offset int) Pos {
	if st == nil || st.src == nil || t.Pos.Line < 1 || offset < 0 || offset > len(t.Value) {
		return t.Pos
	}
	i := st.src.offset(t.Pos)
	text := st.src.text
	var quote byte
	if t.Quoted {
		if i >= len(text) || text[i] != '"' && text[i] != '\'' {
			return t.Pos
		}
		quote = text[i]
		i++
	}
	for j := 0; ; {
		if i >= len(text) {
			if j < offset {
				return t.Pos
			}
			return st.src.at(len(text))
		}
		if j >= offset {
			return st.src.at(i)
		}
		if j >= len(t.Value) {
			return t.Pos
		}
		want, w := utf8.DecodeRuneInString(t.Value[j:])
		have, n := utf8.DecodeRuneInString(text[i:])
		switch {
		case want == ' ' && isBreakAhead(text[i:]):
			i, j = i+blanks(text[i:]), j+w
		case quote == '\'' && have == '\'' && want == '\'':
			i, j = i+2, j+w
		case quote == '"' && have == '\\' && i+1 < len(text) && rune(text[i+1]) == want && strings.ContainsRune(`"\/`, want):
			i, j = i+2, j+w
		case have == want:
			i, j = i+n, j+w
		default:
			return t.Pos
		}
	}
}

// isBreakAhead reports whether nothing but blanks stands before the next line end.
func isBreakAhead(s string) bool {
	s = strings.TrimLeft(s, " \t")
	return s != "" && (s[0] == '\n' || s[0] == '\r')
}

// blanks counts the bytes of white space at the beginning of s.
func blanks(s string) int { return len(s) - len(strings.TrimLeft(s, " \t\r\n")) }
