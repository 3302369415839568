package importing

import (
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// pairs gives the statements of all lines, in their order, once the heads are found.
func (h *header) pairs() []Pair {
	var out []Pair
	for i := range h.lines {
		if l := &h.lines[i]; l.paired || l.soft {
			out = append(out, l.pair)
		}
	}
	return out
}

// pairsBut is pairs, without the line that heads the columns.
func (h *header) pairsBut(line int) []Pair {
	return slices.DeleteFunc(h.pairs(), func(p Pair) bool { return p.Line == line })
}

// cellPair reads `key;value;`: a line of two cells, of which the first is a word.
func cellPair(s string, l layout) (key, value string, ok bool) {
	if l.sep == 0 {
		return "", "", false
	}
	key, rest, ok := strings.Cut(s, string(l.sep))
	if !ok {
		return "", "", false
	}
	value, rest, _ = strings.Cut(rest, string(l.sep))
	key, value = unquote(key), unquote(value)
	first, _ := utf8.DecodeRuneInString(key)
	if !unicode.IsLetter(first) || value == "" || len(key) > 80 || strings.Trim(rest, string(l.sep)+` "`+"\t") != "" {
		return "", "", false
	}
	return key, value, true
}

// unquote takes blanks and quotes off the ends of a cell.
func unquote(s string) string {
	s = strings.TrimSpace(s)
	if len(s) >= 2 && s[0] == '"' && s[len(s)-1] == '"' {
		s = strings.TrimSpace(s[1 : len(s)-1])
	}
	return s
}

// quantity says that a text is a number with something like a unit behind it: `300 s`, never the head of a column.
func quantity(s string, dec byte) bool {
	for _, d := range [...]byte{dec, '.'} {
		if _, next, ok := scanNumber([]byte(s), 0, d); ok && next < len(s) && s[next] == ' ' {
			return true
		}
	}
	return false
}

// splitPair reads `key: value`, `key = value` and `"key": value,`.
func splitPair(s string, sep byte) (key, value string, ok bool) {
	quoted := false
	if strings.HasPrefix(s, `"`) {
		end := strings.IndexByte(s[1:], '"')
		if end < 0 {
			return "", "", false
		}
		key, s = s[1:1+end], strings.TrimSpace(s[2+end:])
		if s == "" || s[0] != ':' && s[0] != '=' {
			return "", "", false
		}
		s, quoted = s[1:], true
	} else {
		at := strings.IndexAny(s, ":=")
		if at < 1 {
			return "", "", false
		}
		// `C:\data`, `http://…` and `12:30` are no pairs.
		if rest := s[at+1:]; s[at] == ':' && (strings.HasPrefix(rest, `\`) || strings.HasPrefix(rest, "//")) {
			return "", "", false
		}
		key, s = strings.TrimSpace(s[:at]), s[at+1:]
		if first, _ := utf8.DecodeRuneInString(key); first >= '0' && first <= '9' {
			return "", "", false
		}
	}
	cut := " \t"
	if sep != 0 {
		cut += string(sep)
	}
	if quoted {
		cut += ","
	}
	value = strings.Trim(s, " \t")
	value = strings.TrimRight(value, cut)
	if len(value) >= 2 && value[0] == '"' && value[len(value)-1] == '"' {
		value = value[1 : len(value)-1]
	}
	if key == "" || value == "" || len(key) > 80 {
		return "", "", false
	}
	return key, value, true
}
