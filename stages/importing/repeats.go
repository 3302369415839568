package importing

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"fascicle/pipeline/table"
)

// joinedRows is what rows with the same place on the axis say of each column, by row of the joined text.
type joinedRows struct {
	scatter [][]float64 // per column of the text: the standard uncertainty of the mean, s/√n; 0 where n < 2
	counts  [][]int     // how many numbers the mean is of
}

// JoinRows replaces rows that have the same number on the axis by their means, in the order of the axis, which may rise or fall. For each column it gives
// the standard uncertainty of the mean from the scatter, u = s/√n with s² = Σ(x − mean)²/(n − 1) (JCGM 100:2008, 4.2.2 and 4.2.3), and n. Rows without a number
// on the axis are left out. The columns in uncertain hold standard uncertainties: theirs is √Σu²/n, that of a mean of independent numbers (JCGM 100:2008, 5.1.2).
func JoinRows(t *Text, axis int, uncertain []bool) (joined *Text, scatter [][]float64, counts [][]int) {
	order := make([]int, 0, t.Rows())
	for i := range t.Rows() {
		if v := t.Valid[axis]; v == nil || v[i] {
			order = append(order, i)
		}
	}
	x := t.Columns[axis]
	slices.SortStableFunc(order, func(a, b int) int {
		switch {
		case x[a] < x[b]:
			return -1
		case x[a] > x[b]:
			return 1
		}
		return 0
	})
	var starts []int
	for k, row := range order {
		if k == 0 || x[row] != x[order[k-1]] {
			starts = append(starts, k)
		}
	}
	n := len(starts)
	out := *t
	out.Columns, out.Valid, out.rowLines = make([][]float64, len(t.Columns)), make([][]bool, len(t.Columns)), make([]int, n)
	scatter, counts = make([][]float64, len(t.Columns)), make([][]int, len(t.Columns))
	for c := range t.Columns {
		out.Columns[c], scatter[c], counts[c] = make([]float64, n), make([]float64, n), make([]int, n)
		for g, start := range starts {
			end := len(order)
			if g+1 < n {
				end = starts[g+1]
			}
			out.rowLines[g] = t.Line(order[start])
			v, u, k := mean(t.Columns[c], t.Valid[c], order[start:end], uncertain[c])
			out.Columns[c][g], scatter[c][g], counts[c][g] = v, u, k
			if k == 0 {
				if out.Valid[c] == nil {
					out.Valid[c] = allTrue(n)
				}
				out.Valid[c][g] = false
			}
		}
	}
	return &out, scatter, counts
}

// mean gives the mean of some rows of a column, its standard uncertainty from their scatter, and their number. Of uncertainties it gives that of the mean
// that belongs to them.
func mean(col []float64, valid []bool, rows []int, uncertain bool) (m, u float64, n int) {
	for _, r := range rows {
		if valid != nil && !valid[r] {
			continue
		}
		n++
		if uncertain {
			m += col[r] * col[r]
		} else {
			m += (col[r] - m) / float64(n)
		}
	}
	switch {
	case uncertain && n < len(rows):
		return 0, 0, 0 // one of them is not known
	case uncertain:
		return math.Sqrt(m) / float64(n), 0, n
	case n < 2:
		return m, 0, n
	}
	var s float64
	for _, r := range rows {
		if valid == nil || valid[r] {
			s += (col[r] - m) * (col[r] - m)
		}
	}
	return m, math.Sqrt(s / float64(n-1) / float64(n)), n
}

// joinRepeats joins rows of the same place, where the study asks for it: by `duplicates: mean`, or by a column whose uncertainty comes from repeats.
func (r *reading) joinRepeats() error {
	s := r.settings
	if s.Duplicates != "mean" && !s.repeats() {
		return nil
	}
	x := r.text
	before := known(x.Valid[r.at[0]], x.Rows())
	if !s.repeats() {
		if err := r.adjacent(); err != nil {
			return err
		}
	}
	uncertain := make([]bool, len(x.Columns))
	for i, name := range r.names {
		uncertain[r.at[i]] = strings.HasPrefix(name, "u_")
		if !uncertain[r.at[i]] {
			continue
		}
		for row, u := range x.Columns[r.at[i]] {
			if u < 0 {
				return fmt.Errorf("line %d: found a negative uncertainty, %v in column %s; expected a standard uncertainty; correct the file or name another column", x.Line(row), u, name)
			}
		}
	}
	joined, scatter, counts := JoinRows(x, r.at[0], uncertain)
	r.text, r.joined = joined, &joinedRows{scatter, counts}
	if n := joined.Rows(); n < before {
		r.note("%d rows are means of %d: those with the same place on the axis were joined", n, before)
	} else if s.repeats() {
		return fmt.Errorf("line %d: found no place on the axis twice; expected repeats, which `u` says that the uncertainty comes from; correct `u`, or `curves`, which says what belongs together", x.FirstLine)
	}
	return nil
}

// adjacent refuses an axis that turns back: only rows that follow one another are joined without being called repeats.
func (r *reading) adjacent() error {
	x := r.text
	var axis []float64
	var rows []int
	for i, v := range x.Columns[r.at[0]] {
		if ok := x.Valid[r.at[0]]; ok != nil && !ok[i] {
			continue
		}
		if n := len(axis); n == 0 || axis[n-1] != v {
			axis, rows = append(axis, v), append(rows, i)
		}
	}
	_, err := CheckAxis(axis, nil, func(i int) int { return x.Line(rows[i]) })
	return err
}

// addScatter adds the uncertainty that the scatter of repeats gives, with its degrees of freedom.
func (r *reading) addScatter(t *table.Table, name string, rows []int) {
	i := slices.Index(r.names, name)
	conv, err := r.inside(i)
	if err != nil {
		panic("importing: a column that was converted before cannot be")
	}
	u, nu, valid := make([]float64, len(rows)), make([]float64, len(rows)), make([]bool, len(rows))
	unknown := 0
	for k, row := range rows {
		n := r.joined.counts[r.at[i]][row]
		if valid[k] = n > 1; !valid[k] {
			unknown++
			continue
		}
		u[k], nu[k] = conv.Delta(r.joined.scatter[r.at[i]][row]), float64(n-1)
	}
	if unknown == 0 {
		valid = nil
	} else {
		r.flag("%s of column %s without repeats: its uncertainty is not known there", count(unknown, "row"), name)
	}
	t.AddFloatValid("u_"+name, t.Col(name).Unit, u, valid)
	t.AddFloatValid("nu_"+name, "1", nu, slices.Clone(valid))
}

// repeats says that the uncertainty of some column comes from repeats.
func (s *importSettings) repeats() bool {
	for _, u := range s.U {
		if strings.TrimSpace(u.Value) == "repeats" {
			return true
		}
	}
	return false
}

// together collects curves of one name, rows behind rows, in the order of their first appearance, where their scatter is to give an uncertainty.
type together struct {
	order []string
	texts map[string]*Text
}

func (g *together) add(key string, x *Text) error {
	if g.texts == nil {
		g.texts = map[string]*Text{}
	}
	have := g.texts[key]
	if have == nil {
		c := *x
		c.rowLines = nil
		for i := range x.Rows() {
			c.rowLines = append(c.rowLines, x.Line(i))
		}
		for k := range c.Columns {
			c.Columns[k] = slices.Clone(x.Columns[k])
			c.Valid[k] = filledValid(x, k)
		}
		g.order, g.texts[key] = append(g.order, key), &c
		return nil
	}
	if len(have.Columns) != len(x.Columns) {
		return &LineError{x.FirstLine, count(len(x.Columns), "column"), itoa(len(have.Columns)) + " as its repeat has that begins on line " + itoa(have.FirstLine), "correct the file"}
	}
	for k := range x.Columns {
		have.Columns[k] = append(have.Columns[k], x.Columns[k]...)
		have.Valid[k] = append(have.Valid[k], filledValid(x, k)...)
	}
	for i := range x.Rows() {
		have.rowLines = append(have.rowLines, x.Line(i))
	}
	have.Notes = append(have.Notes, x.Notes...)
	return nil
}

func filledValid(x *Text, k int) []bool {
	if x.Valid[k] != nil {
		return slices.Clone(x.Valid[k])
	}
	return allTrue(x.Rows())
}
