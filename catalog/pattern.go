package catalog

import (
	"slices"
	"strconv"
	"strings"

	"fascicle/catalog/fault"
)

// A Capture is a field that a pattern takes from a name.
type Capture struct {
	Name    string
	Type    ColumnType
	Unit    Unit // of a number; 1 where the pattern says [1]
	HasUnit bool // true for every number
}

// A Pattern describes names, mostly of files: literal text, captures in angle brackets, and stars.
type Pattern struct {
	text     string
	prefix   string // literal text before the first gap; all of it when there are no gaps
	gaps     []gap
	between  []string // literal text behind each gap; the last is the suffix
	captures []Capture
	path     bool // no gap reaches across a /
	shortest int  // bytes of the shortest name that can match
}

// A gap is a capture (its index) or a star (-1).
type gap struct{ capture int }

const (
	mostGaps       = 16
	longestPattern = 1000
)

// ParsePattern reads a pattern for paths of files, with `/` between folders, relative to the study:
//
//	raw/decay/<sample>_<rep>.csv       captures text, never empty and never across a /
//	raw/<sample>_<ex [nm]>_*.txt       captures a number in nm ([1]: a bare number); * is any text, perhaps none
//	raw/<taken [date]>.csv             captures a date
//	raw/d2.zip!/<sample>.dat           members of an archive
//
// Between two gaps there must be literal text. The error is a *fault.Fault without a place.
func ParsePattern(s string) (*Pattern, error) {
	p, f := parsePattern(s, true)
	if f == nil {
		f = p.checkPath()
	}
	if f != nil {
		return nil, f
	}
	return p, nil
}

// ParseNamePattern reads a pattern for other names, such as those that curves bear inside a file: as ParsePattern, but
// `/` is a character like others and captures may hold it.
func ParseNamePattern(s string) (*Pattern, error) {
	p, f := parsePattern(s, false)
	if f != nil {
		return nil, f
	}
	return p, nil
}

func parsePattern(s string, path bool) (*Pattern, *fault.Fault) {
	p := &Pattern{text: s, path: path}
	bad := func(found, expected, remedy string) (*Pattern, *fault.Fault) {
		return nil, &fault.Fault{Found: "pattern " + strconv.Quote(s) + found, Expected: expected, Remedy: remedy}
	}
	switch {
	case s == "":
		return bad("", "a name such as raw/<sample>_<rep>.csv", "")
	case len(s) > longestPattern:
		s = s[:20] + "…"
		return bad("", "at most "+strconv.Itoa(longestPattern)+" characters", "")
	}
	literal := func(text string) {
		if len(p.gaps) == 0 {
			p.prefix = text
		} else {
			p.between = append(p.between, text)
		}
	}
	rest := s
	for {
		i := strings.IndexAny(rest, "<>*")
		if i < 0 {
			literal(rest)
			break
		}
		if i == 0 && len(p.gaps) > 0 {
			return bad(" with nothing between two gaps", "text between them", "part captures and stars by a character that names hold there")
		}
		literal(rest[:i])
		g, inside := gap{-1}, ""
		switch rest[i] {
		case '>':
			return bad(" with > without <", "captures such as <sample> or <ex [nm]>", "")
		case '*':
			rest = rest[i+1:]
		case '<':
			end := strings.IndexByte(rest[i:], '>')
			if end < 0 {
				return bad(" with < without >", "captures such as <sample> or <ex [nm]>", "")
			}
			inside, rest = rest[i+1:i+end], rest[i+end+1:]
			c, f := parseCapture(inside)
			if f != nil {
				f.Found = "pattern " + strconv.Quote(s) + ", " + f.Found
				return nil, f
			}
			if slices.ContainsFunc(p.captures, func(d Capture) bool { return d.Name == c.Name }) {
				return bad(" that captures "+c.Name+" twice", "each field once", "write * for the second")
			}
			g.capture = len(p.captures)
			p.captures = append(p.captures, c)
			p.shortest++
		}
		if len(p.gaps) == mostGaps {
			return bad("", "at most "+strconv.Itoa(mostGaps)+" captures and stars", "")
		}
		p.gaps = append(p.gaps, g)
	}
	p.shortest += len(p.prefix)
	for _, text := range p.between {
		p.shortest += len(text)
	}
	return p, nil
}

// parseCapture reads what stands inside the angle brackets: `name`, `name [unit]`, `name [1]`, `name [date]`.
func parseCapture(inside string) (Capture, *fault.Fault) {
	name, unit, hasUnit := CutUnit(strings.TrimSpace(inside))
	found := "capture <" + inside + ">"
	switch {
	case !IsIdentifier(name):
		return Capture{}, &fault.Fault{Found: found, Expected: "a field such as <rep>, <ex [nm]> or <taken [date]>",
			Remedy: "name it in letters a-z, digits and _, not beginning with a digit"}
	case Reserved(name) && name != "sample":
		return Capture{}, &fault.Fault{Found: found, Expected: "a name that is not reserved", Remedy: "rename the field"}
	case hasUnit && name == "sample":
		return Capture{}, &fault.Fault{Found: found, Expected: "<sample>", Remedy: "samples are named by text"}
	case !hasUnit:
		return Capture{Name: name}, nil
	case unit == "date":
		return Capture{Name: name, Type: Date}, nil
	case unit == "":
		return Capture{}, &fault.Fault{Found: found, Expected: "a unit in the brackets", Remedy: "write [1] for a bare number"}
	}
	u, err := ParseUnit(unit)
	if err != nil {
		return Capture{}, &fault.Fault{Found: found, Err: err}
	}
	return Capture{Name: name, Type: Numeric, Unit: u, HasUnit: true}, nil
}

// checkPath refuses what leaves the folder of the study, and what no listing of it can hold.
func (p *Pattern) checkPath() *fault.Fault {
	bad := func(expected, remedy string) *fault.Fault {
		return &fault.Fault{Found: "pattern " + strconv.Quote(p.text), Expected: expected, Remedy: remedy}
	}
	// the pattern with its gaps, whose units may hold a /, made opaque
	bare := p.prefix
	for _, text := range p.between {
		bare += "*" + text
	}
	if strings.Contains(bare, `\`) {
		return bad("folders parted by /", "")
	}
	if strings.HasPrefix(bare, "/") || len(bare) > 1 && bare[1] == ':' && IsIdentifier(bare[:1]) {
		return bad("a path relative to the study", "put the files into a folder of the study")
	}
	for element := range strings.SplitSeq(bare, "/") {
		switch element {
		case "", "!":
			return bad("a name between any two /, and behind the last", "")
		case ".", "..":
			return bad("a path without . and .. as folders", "put the files into a folder of the study")
		}
	}
	if strings.Count(bare, "!/") > 1 {
		return bad("one archive", "unpack the outer one")
	}
	return nil
}

// String is the pattern as it was written.
func (p *Pattern) String() string { return p.text }

// Captures gives the captures in the order in which Match gives their texts.
func (p *Pattern) Captures() []Capture { return slices.Clone(p.captures) }

// Literal tells whether the pattern has neither captures nor stars, and so names one file.
func (p *Pattern) Literal() bool { return len(p.gaps) == 0 }

// Dir is the longest folder that all matching files lie in, with `/` between folders; "" is the folder of the study. A
// member of an archive lies in the archive's folder.
func (p *Pattern) Dir() string {
	literal, _, _ := strings.Cut(p.prefix, "!/")
	return literal[:max(strings.LastIndexByte(literal, '/'), 0)]
}

// Archive splits the pattern at `!/` into that of the archive and that of its members; ok is false where there is none.
func (p *Pattern) Archive() (archive, members string, ok bool) {
	return strings.Cut(p.text, "!/")
}
