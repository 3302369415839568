package importing

import (
	"bytes"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"
)

// Head is the head of a column.
type Head struct {
	Name string // without the unit
	Unit string // what stood in [..] or (..) behind the name; "" when nothing did
	Text string // as written
}

// Pair is one statement of a header or footer.
type Pair struct {
	Key, Value string
	Line       int
}

// textLine is one line outside the data.
type textLine struct {
	text    string // without a comment mark and blanks at its ends
	comment bool   // it had a comment mark
	paired  bool   // it is a key with a value
	soft    bool   // it is one, unless it heads the columns
	pair    Pair
}

// header reads the lines outside the data.
type header struct {
	data    []byte
	layout  layout
	lines   []textLine
	latin   []int    // lines that are not UTF-8
	dropped []string // heads of empty columns at the right end
}

// read takes the lines of part, the first of which has the number line.
func (h *header) read(part []byte, line int) {
	for i := 0; i < len(part); line++ {
		next := lineEnd(part, i)
		raw := bytes.TrimRight(part[i:next], "\r\n")
		i = next
		text := string(raw)
		if !utf8.Valid(raw) {
			h.latin = append(h.latin, line)
			if dec, err := charmap.Windows1252.NewDecoder().Bytes(raw); err == nil {
				text = string(dec)
			} else {
				text = strings.ToValidUTF8(text, "\uFFFD")
			}
		}
		l := textLine{text: strings.TrimSpace(text)}
		if bare := strings.TrimLeft(l.text, "#%;!"); len(bare) < len(l.text) {
			l.text, l.comment = strings.TrimSpace(bare), true
		} else if strings.HasPrefix(l.text, "//") {
			l.text, l.comment = strings.TrimSpace(l.text[2:]), true
		}
		key, value, cells := cellPair(l.text, h.layout)
		if cells && strings.IndexByte(l.text, h.layout.sep) < strings.IndexAny(l.text+":", ":=") { // not `Sample: LN 35, batch 2`
			l.soft, l.pair = true, Pair{key, value, line}
		} else if key, value, ok := splitPair(l.text, h.layout.sep); ok {
			l.paired, l.pair = true, Pair{key, value, line}
		}
		h.lines = append(h.lines, l)
	}
}

// heads finds the column heads: the last line with as many words as there are
// columns, n, or as the lines of data have cells, empty columns included. A
// line of bracketed units alone is joined with the line of names above it.
func (h *header) heads(n, cells int) []Head {
	var units []string
	for i := len(h.lines) - 1; i >= 0; i-- {
		l := h.lines[i]
		if l.paired || l.text == "" || l.soft && quantity(l.pair.Value, h.layout.dec) {
			continue
		}
		words := h.words(l, n, cells)
		if words == nil {
			continue
		}
		h.lines[i].soft = false
		if units == nil && allBracketed(words) {
			units = words
			continue
		}
		h.dropped = words[n:]
		out := make([]Head, n)
		for k := range out {
			out[k] = splitHead(words[k])
			if units != nil && out[k].Unit == "" {
				out[k].Unit = strings.TrimSpace(units[k][1 : len(units[k])-1])
			}
		}
		return out
	}
	return nil
}

// words splits a line in the ways that a head line may be written, and returns
// the first that gives one word a column; nil when none does.
func (h *header) words(l textLine, n, cells int) []string {
	fits := func(words []string) bool {
		for k := range words {
			words[k] = strings.TrimSpace(strings.Trim(strings.TrimSpace(words[k]), `"`))
		}
		for len(words) > n && words[len(words)-1] == "" {
			words = words[:len(words)-1]
		}
		if len(words) != n && len(words) != cells {
			return false
		}
		numbers := 0
		for _, w := range words[:n] {
			if w == "" || len(w) > 80 {
				return false
			}
			if _, next, ok := scanNumber([]byte(w), 0, h.layout.dec); ok && next == len(w) {
				numbers++
			}
		}
		return numbers < n
	}
	trim := func(words []string) []string {
		for len(words) > n && words[len(words)-1] == "" {
			words = words[:len(words)-1]
		}
		return words
	}
	var ways [][]string
	if sep := h.layout.sep; sep != 0 {
		ways = append(ways, strings.Split(l.text, string(sep)))
	}
	if strings.Contains(l.text, "\t") {
		ways = append(ways, strings.Split(l.text, "\t"))
	}
	if h.layout.sep == 0 || l.comment {
		ways = append(ways, wideFields(l.text), joinUnits(strings.Fields(l.text)), strings.Fields(l.text))
	}
	for _, words := range ways {
		if fits(words) {
			return trim(words)
		}
	}
	return nil
}

// wideFields splits at runs of two or more blanks, so that heads of several
// words stay whole.
func wideFields(s string) []string {
	var out []string
	for _, w := range strings.Split(strings.ReplaceAll(s, "\t", "  "), "  ") {
		if w = strings.TrimSpace(w); w != "" {
			out = append(out, w)
		}
	}
	return out
}

// joinUnits joins words that begin with a bracket to the word before.
func joinUnits(words []string) []string {
	var out []string
	open := false
	for _, w := range words {
		if len(out) > 0 && (open || w[0] == '[' || w[0] == '(') {
			out[len(out)-1] += " " + w
		} else {
			out = append(out, w)
		}
		last := out[len(out)-1]
		open = strings.Count(last, "[")+strings.Count(last, "(") > strings.Count(last, "]")+strings.Count(last, ")")
	}
	return out
}

func allBracketed(words []string) bool {
	for _, w := range words {
		if len(w) < 2 || (w[0] != '[' || w[len(w)-1] != ']') && (w[0] != '(' || w[len(w)-1] != ')') {
			return false
		}
	}
	return true
}

// splitHead takes a unit in brackets off a head. `I(q)` is a function of its
// argument, not a quantity with a unit: a single letter right before round
// brackets around a lone axis symbol.
func splitHead(s string) Head {
	h := Head{Name: s, Text: s}
	for _, b := range [2]string{"[]", "()"} {
		open := strings.LastIndexByte(s, b[0])
		if open < 1 || s[len(s)-1] != b[1] || strings.IndexByte(s[open:], b[1]) != len(s)-open-1 {
			continue
		}
		name, unit := s[:open], strings.TrimSpace(s[open+1:len(s)-1])
		if b == "()" && utf8.RuneCountInString(name) == 1 && strings.Contains("q Q h r R x X E λ ν ω θ", unit) && utf8.RuneCountInString(unit) == 1 {
			continue
		}
		if b == "()" && unit == "s" && strings.Contains("IPSF", name) {
			continue
		}
		h.Name, h.Unit = strings.TrimRight(name, " \t_"), unit
		if h.Name == "" {
			return Head{Name: s, Text: s}
		}
		return h
	}
	return h
}
