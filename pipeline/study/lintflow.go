package study

import (
	"fmt"
	"strings"
)

// open is a bracket that is still open.
type open struct {
	bracket byte
	at      int // byte offset
	colon   bool
}

// flow reads what stands in brackets, over line ends, up to the bracket that closes the first.
func (l *linter) flow() {
	var stack []open
	prev := -1 // byte offset of the text just read, when neither comma nor colon has followed
	for l.found == "" {
		c := l.peek()
		switch {
		case c == 0 && l.i >= len(l.text):
			l.unclosed(stack[len(stack)-1])
			return
		case c == '\n' || c == '\r':
			if l.nextLine(); l.outdented() {
				l.unclosed(stack[len(stack)-1])
				return
			}
		case c == ' ' || c == '\t':
			l.i++
		case c == '#' && isBlankOrEnd(l.byteAt(l.i-1)):
			if digits := colour(l.rest()); digits != "" {
				l.stop(l.i, fmt.Sprintf("#%s, a comment to YAML", digits), "a colour without #, or in quotes", fmt.Sprintf("write %s", digits))
				return
			}
			l.i += len(l.rest())
		case c == '[' || c == '{':
			if prev >= 0 {
				l.bracketInText(prev)
				return
			}
			stack = append(stack, open{bracket: c, at: l.i})
			l.i++
		case c == ']' || c == '}':
			top := stack[len(stack)-1]
			if top.bracket == '[' != (c == ']') {
				l.stop(l.i, fmt.Sprintf("a %c", c), fmt.Sprintf("a %s for the %c of line %d", closing(top.bracket), top.bracket, l.src.at(top.at).Line),
					"correct the bracket")
				return
			}
			l.i++
			if stack = stack[:len(stack)-1]; len(stack) == 0 {
				return
			}
			prev = stack[len(stack)-1].at // text behind an inner bracket goes on wrongly, too
			l.skipBlanks()
			if d := l.peek(); strings.IndexByte(",]}:#\r\n", d) < 0 && l.i < len(l.text) {
				l.goesOn(top.at, "the brackets")
				return
			}
		case c == ',':
			l.i++
			prev, stack[len(stack)-1].colon = -1, false
		case c == ':' && (prev >= 0 || isBlankOrEnd(l.byteAt(l.i+1))):
			top := &stack[len(stack)-1]
			if top.colon {
				l.secondColon(prev)
				return
			}
			top.colon = true
			l.i++
			prev = -1
		default:
			prev = l.flowScalar(prev)
		}
	}
}

// secondColon names a value with a colon in it; at is where the value begins, -1 when it is empty.
func (l *linter) secondColon(at int) {
	if at < 0 {
		at = l.i
	}
	end := len(l.text)
	if j := strings.IndexAny(l.text[l.i:], ",]}\r\n"); j >= 0 {
		end = l.i + j
	}
	l.stop(at, quoteShort(strings.TrimSpace(l.text[at:end]))+", a value with a colon in it", "one colon for each entry between commas",
		"put the value in quotes, or put a comma before the next key")
}

func closing(bracket byte) string {
	if bracket == '[' {
		return "]"
	}
	return "}"
}

func (l *linter) unclosed(o open) {
	l.stop(o.at, fmt.Sprintf("a %c that is not closed", o.bracket), "a closing "+closing(o.bracket),
		"close it where the list or map should end")
}

// outdented reports whether a new line begins like an entry outside the brackets: no deeper than the line that opened
// them, and with a key.
func (l *linter) outdented() bool {
	line := l.rest()
	t := strings.TrimLeft(line, " ")
	return t != "" && len(line)-len(t) <= l.base && strings.Contains(t+" ", ": ")
}

func (l *linter) bracketInText(at int) {
	end := l.i
	for depth := 0; end < len(l.text) && l.text[end] != '\n'; end++ {
		if c := l.text[end]; c == '[' || c == '{' {
			depth++
		} else if c == ']' || c == '}' {
			if depth--; depth == 0 {
				end++
				break
			}
		}
	}
	l.stop(at, quoteShort(strings.TrimSpace(l.text[at:end]))+", brackets inside a text", "text with brackets in quotes, inside [ ] and { }",
		"put it in quotes")
}

// flowScalar reads a text inside brackets and returns where it began. prev is where the text before it began: unquoted
// text may go on in the next line.
func (l *linter) flowScalar(prev int) int {
	at := l.i
	switch c := l.peek(); {
	case c == '"' || c == '\'':
		if prev >= 0 {
			l.i++ // a quote inside unquoted text is a character like any other
			return prev
		}
		l.quoted()
		l.skipBlanks()
		if d := l.peek(); l.found == "" && l.i < len(l.text) && strings.IndexByte(",]}:#\r\n", d) < 0 {
			l.goesOn(at, "the quotes")
		}
		return at
	case c == '-' && isBlankOrEnd(l.byteAt(l.i+1)):
		l.stop(l.i, `"- " inside brackets`, "values with commas between them", `put a lone - in quotes, "-", or delete it`)
		return at
	case prev < 0 && l.special():
		return at
	}
	for l.i < len(l.text) {
		c, next := l.peek(), l.byteAt(l.i+1)
		if strings.IndexByte(",[]{}\r\n", c) >= 0 || c == ':' && (isBlankOrEnd(next) || strings.IndexByte(",[]{}", next) >= 0) || c == '#' && isBlankOrEnd(l.byteAt(l.i-1)) {
			break
		}
		if c == '?' { // in brackets it ends a text even in the middle of a word
			if prev >= 0 {
				at = prev
			}
			l.conditional(at)
			return at
		}
		l.i++
	}
	if l.i == at {
		l.i++ // never stand still
	}
	if prev >= 0 {
		return prev
	}
	return at
}

// conditional names an expression with ? : inside brackets.
func (l *linter) conditional(at int) {
	end := at + len(strings.TrimRight(l.text[at:], " "))
	if j := strings.IndexAny(l.text[l.i:], ",[]{}\r\n"); j >= 0 {
		end = l.i + j
	}
	l.stop(at, quoteShort(strings.TrimSpace(l.text[at:end]))+", where ? and : mean something to YAML", "text with a question mark in quotes, inside [ ] and { }",
		"put the whole text in quotes")
}
