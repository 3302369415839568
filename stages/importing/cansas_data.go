package importing

import (
	"cmp"
	"encoding/xml"
	"slices"
	"strconv"
	"strings"
)

// curve reads the points of a data block whose start was read.
func (r *sasReader) curve(columns []sasColumn) (*Text, error) {
	n := len(columns)
	t := &Text{}
	cols, valid := make([][]float64, n), make([][]bool, n)
	units, said := make([]string, n), make([]bool, n)
	for {
		tok, err := r.next()
		if err != nil {
			return nil, err
		}
		e, start := tok.(xml.StartElement)
		if _, end := tok.(xml.EndElement); end {
			break
		}
		if !start {
			continue
		}
		if e.Name.Local != "Idata" && e.Name.Local != "Tdata" {
			if err := r.discard(); err != nil {
				return nil, err
			}
			continue
		}
		line := r.line()
		for k := range cols {
			cols[k], valid[k] = append(cols[k], 0), append(valid[k], false)
		}
		t.rowLines = append(t.rowLines, line)
		if err := r.point(columns, cols, valid, units, said); err != nil {
			return nil, err
		}
		for k := range 2 {
			if i := len(valid[k]) - 1; !valid[k][i] {
				return nil, &LineError{line, "a point without " + columns[k].element, "a number", "mend the point or take it out"}
			}
		}
	}
	if len(t.rowLines) == 0 {
		return nil, &LineError{r.line(), "a data block without points", "points", "take the block out"}
	}
	t.FirstLine, t.LastLine = t.rowLines[0], t.rowLines[len(t.rowLines)-1]
	if n := sortPoints(cols, valid, t.rowLines); n > 0 {
		t.Notes = append(t.Notes, Note{Text: count(n, "point") + " out of order: the points were sorted by " + columns[0].element, Minor: true})
	}
	for k, c := range columns {
		have := known(valid[k], len(t.rowLines))
		switch {
		case have == 0 && !said[k]:
			continue
		case have == 0:
			t.Notes = append(t.Notes, Note{Text: c.element + " is empty in all points and left out", Minor: true})
			continue
		case have == len(t.rowLines):
			valid[k] = nil
		default:
			t.Notes = append(t.Notes, Note{Text: c.element + " is missing in " + count(len(t.rowLines)-have, "point")})
		}
		switch units[k] {
		case "none":
			units[k] = ""
		case "A":
			units[k] = "Å" // as the format writes it
		}
		t.Columns, t.Valid = append(t.Columns, cols[k]), append(t.Valid, valid[k])
		t.Heads = append(t.Heads, Head{Name: c.name, Unit: units[k], Text: c.element})
	}
	return t, nil
}

// point reads one point into the last row of the columns.
func (r *sasReader) point(columns []sasColumn, cols [][]float64, valid [][]bool, units []string, said []bool) error {
	at := -1
	var text strings.Builder
	unit := ""
	for depth := 1; depth > 0; {
		tok, err := r.next()
		if err != nil {
			return err
		}
		switch tok := tok.(type) {
		case xml.StartElement:
			depth++
			if depth > 2 {
				return &LineError{r.line(), "<" + tok.Name.Local + "> within a number", "a number", "mend the point"}
			}
			at = -1
			for k, c := range columns {
				if c.element == tok.Name.Local {
					at = k
				}
			}
			text.Reset()
			unit = attribute(tok, "unit")
		case xml.CharData:
			if depth == 2 {
				text.Write(tok)
			}
		case xml.EndElement:
			depth--
			if depth != 1 || at < 0 {
				continue
			}
			i := len(cols[at]) - 1
			name := columns[at].element
			if valid[at][i] {
				return &LineError{r.line(), "two " + name + " in a point", "one", "mend the point"}
			}
			if said[at] && units[at] != unit {
				return &LineError{r.line(), name + " in " + strconv.Quote(unit), strconv.Quote(units[at]) + " as in the points before", "convert the block to one unit"}
			}
			units[at], said[at] = unit, true
			s := strings.TrimSpace(text.String())
			if s == "" || markOf([]byte(s)) != 0 {
				continue
			}
			v, end, ok := scanNumber([]byte(s), 0, '.')
			if !ok || end != len(s) || v-v != 0 {
				return &LineError{r.line(), name + " " + strconv.Quote(clip([]byte(s))), "a number", "mend the point or take it out"}
			}
			cols[at][i], valid[at][i] = v, true
			at = -1
		}
	}
	return nil
}

// sortPoints puts the points of a block in the order of the first column and returns how many were not: each point says its place itself. A block that
// falls throughout is left as it is.
func sortPoints(cols [][]float64, valid [][]bool, lines []int) (moved int) {
	x := cols[0]
	up, down := 0, 0
	for i := 1; i < len(x); i++ {
		switch {
		case x[i] < x[i-1]:
			down++
		case x[i] > x[i-1]:
			up++
		}
	}
	if up == 0 || down == 0 {
		return 0
	}
	order := make([]int, len(x))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(x[a], x[b]) })
	for k := range cols {
		c, v := make([]float64, len(x)), make([]bool, len(x))
		for i, o := range order {
			c[i], v[i] = cols[k][o], valid[k][o]
		}
		cols[k], valid[k] = c, v
	}
	at := slices.Clone(lines)
	for i, o := range order {
		lines[i] = at[o]
	}
	return min(up, down)
}
