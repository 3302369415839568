package study

import (
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"
)

// linter goes through a text that the YAML parser has refused and names the first thing in it that is known to go wrong.
// It need not be a whole parser: it never decides whether a file is right, only which words the refusal is given in.
type linter struct {
	src  *source
	text string
	i    int // byte offset

	indents []int  // columns, from 0, at which the open block maps and lists stand
	valued  bool   // the last key has its value on its own line
	suspect Text   // a line `key:value`, without the space
	base    int    // indentation of the line being read
	found   string // set: stop
	pos     Pos

	expected, remedy string
}

func (l *linter) stop(at int, found, expected, remedy string) {
	if l.found == "" {
		l.pos, l.found, l.expected, l.remedy = l.src.at(at), found, expected, remedy
	}
}

func (l *linter) run() {
	for l.i < len(l.text) && l.found == "" {
		l.blockLine()
	}
}

func (l *linter) peek() byte { return l.byteAt(l.i) }

func (l *linter) byteAt(i int) byte {
	if i < len(l.text) {
		return l.text[i]
	}
	return 0
}

func (l *linter) skipBlanks() {
	for l.peek() == ' ' || l.peek() == '\t' {
		l.i++
	}
}

// rest returns what is left of the line.
func (l *linter) rest() string {
	s := l.text[l.i:]
	if j := strings.IndexAny(s, "\r\n"); j >= 0 {
		s = s[:j]
	}
	return s
}

func (l *linter) nextLine() {
	l.i += len(l.rest())
	if strings.HasPrefix(l.text[l.i:], "\r\n") {
		l.i += 2
	} else if l.i < len(l.text) {
		l.i++
	}
}

// done reports whether nothing but a comment is left of the line.
func (l *linter) done() bool {
	c := l.peek()
	return c == 0 || c == '\n' || c == '\r' || c == '#'
}

func isBlankOrEnd(c byte) bool { return c == ' ' || c == '\t' || c == '\n' || c == '\r' || c == 0 }

// blockLine reads one line outside brackets, and whatever a value that begins on it goes on to.
func (l *linter) blockLine() {
	start := l.i
	l.skipBlanks()
	l.base = l.i - start
	if l.done() || l.base == 0 && (strings.HasPrefix(l.rest(), "---") || strings.HasPrefix(l.rest(), "...")) {
		l.nextLine()
		return
	}
	for l.peek() == '-' && isBlankOrEnd(l.byteAt(l.i+1)) {
		l.indent(l.i-start, true)
		l.i++
		l.skipBlanks()
	}
	if l.done() || l.found != "" {
		l.nextLine()
		return
	}
	col := l.i - start
	if at := l.i; l.scalar(false) {
		if strings.Contains(l.text[at:l.i], " ? ") {
			l.expression(at)
			return
		}
		l.indent(col, false)
		l.valued = false
		l.skipBlanks()
		if !l.done() {
			l.valued = true
			l.scalar(true)
		}
	}
	if l.found == "" {
		l.nextLine()
	}
}

// indent notes a key or a dash at a column, and whether it fits what stands above.
func (l *linter) indent(col int, dash bool) {
	popped := false
	n := len(l.indents)
	for n > 0 && l.indents[n-1] > col {
		n--
		popped = true
	}
	l.indents = l.indents[:n]
	if n > 0 && l.indents[n-1] == col {
		return
	}
	switch word := quoteShort(firstWord(l.text[l.src.starts[l.src.at(l.i).Line-1]+col:])); {
	case popped && n > 0:
		l.stop(l.i, fmt.Sprintf("%s behind %s", word, spaces(col)), spaces(l.indents[n-1])+", or as many as another line above",
			"bring the line under the first letter of those that it belongs with")
		l.pos.Col = col + 1
	case !popped && n > 0 && l.valued && !dash:
		l.stop(l.i, fmt.Sprintf("%s behind %s, deeper than a line that has its value already", word, spaces(col)),
			spaces(l.indents[n-1])+", or as many as another line above", "indent it as the lines that it belongs with")
		l.pos.Col = col + 1
	default:
		l.indents = append(l.indents, col)
	}
}

func spaces(n int) string {
	switch n {
	case 0:
		return "no space"
	case 1:
		return "1 space"
	}
	return fmt.Sprintf("%d spaces", n)
}

// scalar reads what begins here outside brackets. It reports whether it was a key, and then stands behind the colon.
func (l *linter) scalar(isValue bool) (key bool) {
	at := l.i
	switch c := l.peek(); c {
	case '"', '\'':
		l.quoted()
		return l.behind(at, isValue, "the quotes")
	case '[', '{':
		l.flow()
		return l.behind(at, isValue, "the brackets")
	case '|', '>':
		l.block()
		return false
	}
	if l.special() {
		return false
	}
	if isBlankOrEnd(l.byteAt(at + 1)) {
		switch c := l.peek(); {
		case c == ':' && !isValue:
			l.stop(at, "a colon without a key", "a word in front of the colon", "write the key, or delete the line")
			return false
		case c == '-' && isValue:
			l.stop(at, `"- " behind a key`, "items each on a line of their own, or a list in square brackets", "write [one, other]; put a lone - in quotes")
			return false
		}
	}
	rest := l.rest()
	if j := strings.Index(rest, " #"); j >= 0 {
		rest = rest[:j]
	}
	j := strings.Index(rest+" ", ": ")
	if j < 0 {
		if t := (Text{Value: strings.TrimSpace(rest), Pos: l.src.at(at)}); !isValue && l.suspect.Value == "" && colonWord(t) {
			l.suspect = t
		} else if !isValue && slices.Contains(l.indents, t.Pos.Col-1) {
			l.stop(at, quoteShort(t.Value)+", a line without a colon", "`key: value`",
				"put `: ` behind the key, or indent the line if it belongs to the value above")
		}
		l.i += len(rest)
		return false
	}
	if !isValue {
		l.i += j + 1
		return true
	}
	if strings.Contains(rest[:j], "?") {
		l.expression(at)
	} else {
		l.stop(at, quoteShort(strings.TrimSpace(rest))+", a value with a colon and a space in it", "one `: ` a line, between key and value",
			"put the value in quotes")
	}
	return false
}

func (l *linter) expression(at int) {
	l.i = at
	rest := strings.TrimSpace(l.rest())
	if j := strings.Index(rest, " #"); j >= 0 {
		rest = strings.TrimSpace(rest[:j])
	}
	l.stop(at, quoteShort(rest)+", where ? and : mean something to YAML", "an expression with ? : in quotes",
		"put the whole expression in quotes")
}

// special names a character that cannot begin a value.
func (l *linter) special() bool {
	c := l.peek()
	if strings.IndexByte("*&!%@`?]},", c) < 0 || c == '?' && !isBlankOrEnd(l.byteAt(l.i+1)) {
		return false
	}
	word := firstWord(l.text[l.i:])
	switch c {
	case '*':
		l.stop(l.i, fmt.Sprintf("%q, an alias to YAML", word), "values written out, no aliases", "write the value out; if it is meant as text, put it in quotes")
	case '&':
		l.stop(l.i, fmt.Sprintf("%q, an anchor to YAML", word), "values written out, no anchors", "delete it; if it is meant as text, put it in quotes")
	case '!':
		l.stop(l.i, fmt.Sprintf("%q, a tag to YAML", word), "values without tags",
			fmt.Sprintf("for a negation write `not %s`, or put the whole in quotes", strings.TrimLeft(word, "!")))
	case ']', '}', ',':
		l.stop(l.i, fmt.Sprintf("a %c outside brackets", c), "an opening bracket before it", "delete it, or put the text in quotes")
	case '?':
		l.stop(l.i, "a question mark followed by a space", "a value", "put the whole expression in quotes")
	default:
		l.stop(l.i, fmt.Sprintf("a value that begins with %q", string(rune(c))), "another first character, or quotes", fmt.Sprintf("put it in quotes: %q", word))
	}
	return true
}

// behind judges what follows a closed quote or bracket that began at a byte offset.
func (l *linter) behind(at int, isValue bool, what string) bool {
	if l.found != "" {
		return false
	}
	l.skipBlanks()
	if l.done() {
		return false
	}
	if l.peek() == ':' && isBlankOrEnd(l.byteAt(l.i+1)) && !isValue {
		l.i++
		return true
	}
	if c := l.peek(); c == ']' || c == '}' {
		l.special()
	} else {
		l.goesOn(at, what)
	}
	return false
}

func (l *linter) goesOn(at int, what string) {
	a, b := l.src.at(at), l.src.at(l.i)
	if a.Line != b.Line {
		l.stop(at, fmt.Sprintf("a %c opened here and closed in line %d, where text goes on", l.text[at], b.Line), "a value that ends where it closes",
			"close it where it should end")
		return
	}
	end := l.i + len(firstWord(l.text[l.i:]))
	l.stop(at, fmt.Sprintf("text that goes on behind %s: %s", what, quoteShort(l.text[at:end])), "a value that is quoted whole, or not at all",
		"put the whole value in quotes (single quotes, if it has double ones inside)")
}

// quoted reads a quoted text, over line ends.
func (l *linter) quoted() {
	at, q := l.i, l.peek()
	for l.i++; l.i < len(l.text); l.i++ {
		switch c := l.peek(); {
		case c == '\\' && q == '"':
			next := l.byteAt(l.i + 1)
			if strings.IndexByte("0abtnvfre \t\"/\\N_LPxuU\r\n'", next) < 0 {
				_, n := utf8.DecodeRuneInString(l.text[l.i+1:])
				l.stop(l.i, fmt.Sprintf("the escape %q", l.text[l.i:l.i+1+n]), `one that YAML knows, such as \" or \\`, `write \\ for a backslash, or use single quotes`)
				return
			}
			l.i++
		case c == q && q == '\'' && l.byteAt(l.i+1) == q:
			l.i++
		case c == q:
			l.i++
			return
		}
	}
	l.stop(at, fmt.Sprintf("a %c that is never closed", q), "a closing quote", "close it where the text should end")
}

// block skips the lines of a block of text.
func (l *linter) block() {
	l.nextLine()
	for l.i < len(l.text) {
		line := l.rest()
		if t := strings.TrimLeft(line, " "); t != "" && len(line)-len(t) <= l.base {
			break
		}
		l.nextLine()
	}
	l.i-- // stand on the line end, which the caller passes
}
