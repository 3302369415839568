package importing

import (
	"strconv"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"
)

func itoa(n int) string { return strconv.Itoa(n) }

// plainWords gives the text of a cell: doubled quotation marks are single, what is not UTF-8 is read as Windows-1252.
func plainWords(cell []byte) string {
	s := strings.ReplaceAll(string(cell), `""`, `"`)
	if utf8.ValidString(s) {
		return s
	}
	if d, err := charmap.Windows1252.NewDecoder().String(s); err == nil && utf8.ValidString(d) {
		return d
	}
	return strings.ToValidUTF8(s, "\uFFFD")
}

// quoteShort is a text for a message.
func quoteShort(b []byte) string {
	s := plainWords(b)
	if r := []rune(s); len(r) > 40 {
		s = string(r[:40]) + "…"
	}
	return strconv.Quote(s)
}

// headRow is a line above a table, split into cells.
type headRow struct {
	cells []string
	line  int
}

// headRows splits the lines of part, the first of which has the number line, into cells as the table below them is split. Lines that cannot
// be told apart into at least two cells are left out, and so are statements.
func headRows(part []byte, line int, l layout, n int) []headRow {
	var out []headRow
	for i := 0; i < len(part); line++ {
		next := lineEnd(part, i)
		text := strings.Trim(plainWords(part[i:next]), " \r\n")
		i = next
		bare := strings.TrimLeft(text, "#%;!")
		if l.sep == ';' {
			bare = strings.TrimLeft(text, "#%!")
		}
		if l.sep != 0 {
			if cells := splitCells(bare, l.sep); len(cells) > 1 {
				out = append(out, headRow{cells, line})
			}
			continue
		}
		if _, _, ok := splitPair(strings.TrimSpace(bare), 0); ok {
			continue
		}
		for _, words := range [][]string{wideFields(bare), joinUnits(strings.Fields(bare)), strings.Fields(bare)} {
			if len(words) == n {
				out = append(out, headRow{trimQuotes(words), line})
				break
			}
		}
	}
	return out
}

func trimQuotes(words []string) []string {
	for i := range words {
		words[i] = unquote(words[i])
	}
	return words
}

// splitCells splits a line at a separator, not within quotation marks.
func splitCells(s string, sep byte) []string {
	var out []string
	start, in := 0, false
	for i := 0; i < len(s); i++ {
		switch {
		case s[i] == '"':
			in = !in
		case s[i] == sep && !in:
			out = append(out, strings.ReplaceAll(unquote(s[start:i]), `""`, `"`))
			start = i + 1
		}
	}
	return append(out, strings.ReplaceAll(unquote(s[start:]), `""`, `"`))
}
