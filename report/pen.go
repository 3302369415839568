package report

import (
	"math"
	"strconv"
	"strings"
	"unicode/utf8"
)

// A pen appends marked-up text, for SVG and for the page. What comes from a study goes through text, everything else is
// written by this package itself.
type pen struct{ b []byte }

// raw appends markup as it is.
func (p *pen) raw(parts ...string) {
	for _, s := range parts {
		p.b = append(p.b, s...)
	}
}

// text appends words, escaped for the inside of an element and of an attribute in double quotes. Characters that XML does
// not know, and bytes that are not UTF-8, become U+FFFD.
func (p *pen) text(s string) {
	from := 0
	for i := 0; i < len(s); {
		c := s[i]
		if c >= 0x20 && c < utf8.RuneSelf && c != '<' && c != '>' && c != '&' && c != '"' && c != '\'' && c != 0x7f {
			i++
			continue
		}
		r, size := rune(c), 1
		if c >= utf8.RuneSelf {
			r, size = utf8.DecodeRuneInString(s[i:])
		}
		into := ""
		switch {
		case r == '<':
			into = "&lt;"
		case r == '>':
			into = "&gt;"
		case r == '&':
			into = "&amp;"
		case r == '"':
			into = "&#34;"
		case r == '\'':
			into = "&#39;"
		case r == '\t' || r == '\n':
		case r == '\r':
			into = "\n"
		case r < 0x20 || r >= 0x7f && r < 0xa0 || r == 0xfffe || r == 0xffff || r == utf8.RuneError && size == 1:
			into = "\uFFFD"
		}
		if into != "" {
			p.b = append(p.b, s[from:i]...)
			p.b = append(p.b, into...)
			from = i + size
		}
		i += size
	}
	p.b = append(p.b, s[from:]...)
}

// num appends a coordinate with one decimal at most.
func (p *pen) num(v float64) {
	n := int64(math.Round(v * 10))
	if n < 0 {
		p.b = append(p.b, '-')
		n = -n
	}
	p.b = strconv.AppendInt(p.b, n/10, 10)
	if d := n % 10; d != 0 {
		p.b = append(p.b, '.', byte('0'+d))
	}
}

// nums appends markup and coordinates in turn: a format of strings and float64.
func (p *pen) nums(parts ...any) {
	for _, v := range parts {
		switch v := v.(type) {
		case string:
			p.raw(v)
		case float64:
			p.num(v)
		default:
			panic("report: nums takes strings and numbers")
		}
	}
}

func (p *pen) int(n int) { p.b = strconv.AppendInt(p.b, int64(n), 10) }

// escaped is text as a string.
func escaped(s string) string {
	if !strings.ContainsFunc(s, func(r rune) bool {
		return r < 0x20 || r >= 0x7f || r == '<' || r == '>' || r == '&' || r == '"' || r == '\''
	}) {
		return s
	}
	var p pen
	p.text(s)
	return string(p.b)
}

// width estimates how wide a line of text is drawn: no font is at hand, so this is an average that errs towards wide.
func width(s string, size float64) float64 {
	w := 0.0
	for _, r := range s {
		switch {
		case strings.ContainsRune("iljtfrI.,:;'|!()[]/ -·", r):
			w += 0.36
		case strings.ContainsRune("mwMW@%—", r):
			w += 0.9
		case r >= 'A' && r <= 'Z':
			w += 0.7
		case strings.ContainsRune("⁰¹²³⁴⁵⁶⁷⁸⁹⁻", r):
			w += 0.4
		case r >= 0x1100: // wide scripts, mostly
			w += 1
		default:
			w += 0.57
		}
	}
	return w * size
}

// wrapped breaks a text into lines no wider than most, at spaces where there are any; what exceeds `lines` lines is cut with
// an ellipsis.
func wrapped(s string, size, most float64, lines int) []string {
	var out []string
	line := ""
	for word := range strings.FieldsSeq(s) {
		for width(word, size) > most { // a word longer than a line: broken
			runes := []rune(word)
			n := len(runes) - 1
			for n > 1 && width(string(runes[:n]), size) > most {
				n--
			}
			if line != "" {
				out = append(out, line)
				line = ""
			}
			out = append(out, string(runes[:n]))
			word = string(runes[n:])
		}
		switch {
		case line == "":
			line = word
		case width(line+" "+word, size) <= most:
			line += " " + word
		default:
			out = append(out, line)
			line = word
		}
	}
	if line != "" {
		out = append(out, line)
	}
	if len(out) > lines {
		out = out[:lines]
		last := []rune(out[lines-1])
		for len(last) > 0 && width(string(last)+"…", size) > most {
			last = last[:len(last)-1]
		}
		out[lines-1] = strings.TrimRight(string(last), " ") + "…"
	}
	return out
}
