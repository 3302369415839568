package importing

import (
	"slices"
	"strings"

	"fascicle/catalog"
)

// Name is a text of a file that may be the name of a curve.
type Name struct {
	Text string
	Line int
}

// nameLine is a line of a file's header, as far as it may name the curves: a text for each of them.
type nameLine struct {
	names []string
	line  int
}

// rank puts lines that may name curves in order: first the one whose texts fit most curves and differ most; of equals, the nearest to the data.
func (f *layoutFile) rank(lines []nameLine) []nameLine {
	type ranked struct {
		nameLine
		fits, distinct int
	}
	var all []ranked
	for _, l := range lines {
		r := ranked{nameLine: l}
		seen := map[string]bool{}
		for _, n := range l.names {
			if n == "" {
				continue
			}
			if f.options.Fits == nil || f.options.Fits(n) {
				r.fits++
			}
			seen[n] = true
		}
		r.distinct = len(seen)
		if r.distinct > 0 {
			all = append(all, r)
		}
	}
	slices.SortStableFunc(all, func(a, b ranked) int {
		if a.fits != b.fits {
			return b.fits - a.fits
		}
		if a.distinct != b.distinct {
			return b.distinct - a.distinct
		}
		return b.line - a.line
	})
	out := make([]nameLine, len(all))
	for i, r := range all {
		out[i] = r.nameLine
	}
	return out
}

// columnNames collects what stands above the columns that belong to each curve.
func (f *layoutFile) columnNames(rows []headRow, curves [][]int) []nameLine {
	var out []nameLine
	for _, r := range rows {
		if slices.Contains(r.cells, "[]") || allBracketed(r.cells) {
			continue // units
		}
		deepest := 0
		for _, c := range curves {
			deepest = max(deepest, len(c))
		}
		for k := range deepest {
			l := nameLine{line: r.line, names: make([]string, len(curves))}
			for i, c := range curves {
				if k < len(c) && c[k] < len(r.cells) {
					l.names[i] = headName(r.cells[c[k]])
				}
			}
			out = append(out, l)
		}
	}
	return out
}

// headName takes a unit in square brackets off a head, where it is one.
func headName(s string) string {
	name, unit, ok := catalog.CutUnit(s)
	if !ok || name == "" {
		return s
	}
	if _, err := catalog.ParseUnit(unit); err != nil {
		return s
	}
	return name
}

// lineNames gives the lines of a header as names, the nearest to the data first: as they are, and without a comment mark.
func lineNames(part []byte, line int) []Name {
	var out []Name
	for i := 0; i < len(part); line++ {
		next := lineEnd(part, i)
		text := strings.Trim(plainWords(part[i:next]), " \t\r\n")
		i = next
		if text == "" {
			continue
		}
		if bare := strings.Trim(text, "#%;!,\t\" "); bare != text && bare != "" {
			out = append(out, Name{bare, line})
		}
		out = append(out, Name{text, line})
	}
	slices.Reverse(out)
	return out
}

// heads gives each of n columns its head, and the line: the nearest one with words; units come from a line of bracketed units between that and the
// data.
func (f *layoutFile) heads(rows []headRow, n int) (heads []Head, line int) {
	out := make([]Head, n)
	var units []string
	for i := len(rows) - 1; i >= 0; i-- {
		cells := rows[i].cells
		if len(cells) > n {
			cells = cells[:n]
		}
		filled := 0
		for _, c := range cells {
			if c != "" {
				filled++
			}
		}
		if filled < 2 {
			continue // a title
		}
		if units == nil && len(cells) == n && allBracketed(cells) {
			units = cells
			continue
		}
		for k, c := range cells {
			out[k] = splitHead(c)
			if h := &out[k]; h.Unit != "" && k > 0 {
				if _, err := catalog.ParseUnit(h.Unit); err != nil || onlyDigits(h.Unit) {
					*h = Head{Name: c, Text: c} // part of a name
				}
			}
			if units != nil && out[k].Unit == "" {
				out[k].Unit = strings.TrimSpace(units[k][1 : len(units[k])-1])
			}
		}
		return out, rows[i].line
	}
	return nil, 0
}

func onlyDigits(s string) bool { return strings.Trim(s, "0123456789") == "" }
