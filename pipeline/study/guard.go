package study

import (
	"bytes"
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Limits on a study file. They are far above what a person writes, and low enough for a hostile file to be refused at once.
const (
	maxBytes  = 1 << 20
	maxDepth  = 32
	maxFaults = 100
)

// guard finds what makes a file unfit to be handed to a YAML parser at all: its size, its encoding, characters that
// nobody can see, and indentation by anything but spaces. It reports whether the file may be read on.
func (r *reader) guard() bool {
	if n := len(r.raw); n > maxBytes {
		r.add(Pos{}, fmt.Sprintf("a study file of %d bytes", n), fmt.Sprintf("at most %d bytes", maxBytes),
			"check that this is the study file; data belong in the sheet and in raw files")
		return false
	}
	switch {
	case bytes.HasPrefix(r.raw, []byte{0xFF, 0xFE}), bytes.HasPrefix(r.raw, []byte{0xFE, 0xFF}):
		r.add(Pos{1, 1}, "text in UTF-16", "text in UTF-8", "save the file as UTF-8")
		return false
	case !utf8.Valid(r.raw):
		pos, b := firstInvalid(r.raw)
		r.add(pos, fmt.Sprintf("the byte 0x%02X, which is not UTF-8", b), "text in UTF-8",
			"save the file as UTF-8 (it may be in an older 8-bit encoding, where µ and Å are single bytes)")
		return false
	}
	return r.guardCharacters() && r.guardIndentation()
}

// firstInvalid returns the place and the value of the first byte that is not part of a UTF-8 character.
func firstInvalid(b []byte) (Pos, byte) {
	good := 0
	for good < len(b) {
		c, n := utf8.DecodeRune(b[good:])
		if c == utf8.RuneError && n == 1 {
			break
		}
		good += n
	}
	src := newSource(b[:good])
	return src.at(good), b[good]
}

func (r *reader) guardCharacters() bool {
	for i, c := range r.src.text {
		if c == '\t' || c == '\n' || c == '\r' || c >= ' ' && c < 0x7F {
			continue
		}
		switch {
		case c == '\u2028', c == '\u2029', c == '\uFEFF', c == 0xFFFE, c == 0xFFFF, unicode.IsControl(c):
			r.add(r.src.at(i), fmt.Sprintf("the invisible character U+%04X", c), "visible characters, spaces and line ends",
				"delete it, or type the line anew")
			return false
		}
	}
	return true
}

// guardIndentation wants spaces alone in front of the first character of a line: a tab has no agreed width, and a
// no-break space would silently become part of the first word.
func (r *reader) guardIndentation() bool {
	var first Pos
	var found rune
	count := 0
	for i := 1; i <= r.src.lines(); i++ {
		line := r.src.line(i)
		rest := strings.TrimLeftFunc(line, unicode.IsSpace)
		if rest == "" || rest[0] == '#' {
			continue
		}
		for j, c := range []rune(line[:len(line)-len(rest)]) {
			if c == ' ' {
				continue
			}
			if count == 0 {
				first, found = Pos{i, j + 1}, c
			}
			count++
			break
		}
	}
	if count == 0 {
		return true
	}
	what := fmt.Sprintf("the space character U+%04X in the indentation", found)
	if found == '\t' {
		what = "a tab in the indentation"
	}
	switch {
	case count == 2:
		what += " (and in 1 line more)"
	case count > 2:
		what += fmt.Sprintf(" (and in %d lines more)", count-1)
	}
	r.add(first, what, "indentation by spaces", "put two spaces for each level")
	return false
}
