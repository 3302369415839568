package catalog

import "strings"

const (
	// mostWays bounds the ways to split a name: two are already more than a caller can use.
	mostWays = 64
	// patience is the number of steps after which a search remembers its dead ends, which costs memory
	patience = 256
)

// Match gives every way to split the name into the captures, at most 64: `<sample>_<rep>` takes `LN_35_1` apart in two
// ways, and which is right only the sheet can say. Each text is a piece of the name; number captures read as plain numbers,
// dates are written as ParseDate does (names may hold 20310304, 2031-03-04_15-04-05 and the like). Nil means no match; a
// match of a pattern without captures is one empty slice.
func (p *Pattern) Match(name string) [][]string {
	if len(p.gaps) == 0 {
		if name != p.text {
			return nil
		}
		return [][]string{{}}
	}
	suffix := p.between[len(p.between)-1]
	if len(name) < p.shortest || !strings.HasPrefix(name, p.prefix) || !strings.HasSuffix(name, suffix) {
		return nil
	}
	m := matcher{pattern: p, middle: name[len(p.prefix) : len(name)-len(suffix)]}
	m.split(0, 0)
	return m.ways
}

type matcher struct {
	pattern *Pattern
	middle  string // the name without prefix and suffix
	texts   [mostGaps]string
	ways    [][]string
	steps   int
	dead    []bool // gap and place from which nothing matches, once steps exceed patience
}

// split finds the ends of gap g, which starts at the byte start of the middle, and of all gaps behind it.
func (m *matcher) split(g, start int) {
	p, rest := m.pattern, m.middle[start:]
	if g == len(p.gaps)-1 {
		if m.fill(g, rest) {
			m.record()
		}
		return
	}
	if m.steps++; m.steps == patience {
		m.dead = make([]bool, len(p.gaps)*(len(m.middle)+1))
	}
	place := g*(len(m.middle)+1) + start
	if m.dead != nil && m.dead[place] {
		return
	}
	before := len(m.ways)
	literal := p.between[g]
	for end := 0; len(m.ways) < mostWays; end++ {
		i := strings.Index(rest[end:], literal)
		if i < 0 {
			break
		}
		if p.path && strings.IndexByte(rest[end:end+i], '/') >= 0 {
			break
		}
		end += i
		if m.fill(g, rest[:end]) {
			m.split(g+1, start+end+len(literal))
		}
		if p.path && rest[end] == '/' {
			break
		}
	}
	if m.dead != nil && len(m.ways) == before {
		m.dead[place] = true
	}
}

// fill tells whether text can fill gap g, and keeps it if so.
func (m *matcher) fill(g int, text string) bool {
	c := m.pattern.gaps[g].capture
	if m.pattern.path && strings.IndexByte(text, '/') >= 0 {
		return false
	}
	if c < 0 {
		return true
	}
	if text == "" {
		return false
	}
	switch m.pattern.captures[c].Type {
	case Numeric:
		if _, ok := plainNumber(text); !ok {
			return false
		}
	case Date:
		date, ok := dateInName(text)
		if !ok {
			return false
		}
		text = date
	}
	m.texts[c] = text
	return true
}

func (m *matcher) record() {
	texts := make([]string, len(m.pattern.captures))
	copy(texts, m.texts[:])
	m.ways = append(m.ways, texts)
}
