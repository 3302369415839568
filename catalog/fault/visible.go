package fault

import (
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Visible writes on one line, and so that a terminal obeys none of it, what may hold anything, such as the name of a file: line ends,
// control characters, marks that turn the direction of writing, and bytes that are not UTF-8 are written as Go's escapes (\n, \x1b,
// \u202e, \xff). All else, backslashes too, stays as it is.
func Visible(s string) string {
	if !strings.ContainsFunc(s, invisible) {
		return s
	}
	var b strings.Builder
	b.Grow(len(s) + 8)
	for i, r := range s {
		switch {
		case r == utf8.RuneError && !strings.HasPrefix(s[i:], string(utf8.RuneError)):
			const hexits = "0123456789abcdef"
			b.WriteString(`\x`)
			b.WriteByte(hexits[s[i]>>4])
			b.WriteByte(hexits[s[i]&15])
		case r != utf8.RuneError && invisible(r):
			q := strconv.QuoteRuneToASCII(r)
			b.WriteString(q[1 : len(q)-1])
		default:
			b.WriteRune(r)
		}
	}
	return b.String()
}

// invisible tells what Visible may have to escape.
func invisible(r rune) bool {
	return r == utf8.RuneError || unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r) || r == '\u2028' || r == '\u2029'
}
