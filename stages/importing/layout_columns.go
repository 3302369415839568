package importing

import (
	"fmt"
	"math"
)

// wideOrPairs tells from the numbers of the largest run how curves lie side by side.
func (f *layoutFile) wideOrPairs() Layout {
	o := &f.options
	g, err := f.read(&f.spans[f.main])
	if err != nil {
		return Wide // which meets the same error
	}
	n := g.cells
	rows := f.headRows(f.main, g)
	heads, _ := f.heads(rows, n)
	p := f.period()
	if !o.named() && (p == n || o.Own == 0 && len(o.Heads) > 0 && onceEach(heads, o.Heads)) {
		return Single
	}
	if p < 2 {
		p = 2
	}
	if n%p == 0 && n/p > 1 && f.axes(g, p, heads) {
		return Pairs
	}
	if !o.named() && n <= MaxColumns && o.Own <= n {
		return Single
	}
	return Wide
}

// period is the number of columns that the study names of a curve, 0 when it names none.
func (f *layoutFile) period() int { return max(f.options.Own, f.options.Count) }

// repeating says that the heads come again every p columns.
func (f *layoutFile) repeating(heads []Head, p int) bool {
	if len(heads) < 2*p || len(heads)%p != 0 || heads[0].Text == "" {
		return false
	}
	for k := p; k < len(heads); k++ {
		if k%p == 0 && heads[k].Text != heads[0].Text {
			return false
		}
	}
	return true
}

// onceEach says that each of the wanted heads stands above one column.
func onceEach(heads []Head, want []string) bool {
	for _, w := range want {
		hits := 0
		for _, h := range heads {
			if h.Text == w || h.Name == w {
				hits++
			}
		}
		if hits != 1 {
			return false
		}
	}
	return true
}

// axes says that every p-th column is an axis like the first one: it rises or falls throughout, and is headed as the first, or runs over the same
// range and has the same step or end, or ends where its values end though others go on.
func (f *layoutFile) axes(g *grid, p int, heads []Head) bool {
	alike := f.repeating(heads, p)
	first, ok := axisEnds(g, 0)
	if !ok {
		return false
	}
	for k := p; k < g.cells; k += p {
		a, ok := axisEnds(g, k)
		if !ok {
			return false
		}
		short := g.filled(k) < g.rows && g.filled(k) == g.filled(k+1)
		step := math.Abs(a.step-first.step) <= 0.01*math.Abs(first.step)
		lo, hi := max(min(a.first, a.last), min(first.first, first.last)), min(max(a.first, a.last), max(first.first, first.last))
		overlap := hi-lo >= 0.5*min(math.Abs(a.last-a.first), math.Abs(first.last-first.first))
		if !alike && (!overlap || !short && !step && a.first != first.first && a.last != first.last) {
			return false
		}
	}
	return true
}

type ends struct{ first, last, step float64 }

// axisEnds gives the ends of a column whose numbers rise or fall throughout, without a gap before their end.
func axisEnds(g *grid, k int) (e ends, ok bool) {
	n := g.filled(k)
	if n < 2 || g.words[k] != nil {
		return e, false
	}
	c := g.cols[k]
	from := 0
	if drop, _ := parameterRows(c[:n]); drop > 0 {
		from = drop
	}
	for i := from; i < n; i++ {
		if g.valid[k] != nil && !g.valid[k][i] {
			return e, false
		}
		if i > from+1 && (c[i]-c[i-1])*(c[from+1]-c[from]) <= 0 {
			return e, false
		}
	}
	if n-from < 2 || c[from+1] == c[from] {
		return e, false
	}
	return ends{c[from], c[n-1], (c[n-1] - c[from]) / float64(n-1-from)}, true
}

// parameterRows finds rows of parameters above the data of a table: rows whose first cell holds the same number, where the axis behind them runs on in order.
// It returns how many rows there are to leave out.
func parameterRows(axis []float64) (rows int, ok bool) {
	same := 1
	for same < len(axis) && axis[same] == axis[0] {
		same++
	}
	if same < 2 || len(axis) < same+3 || same > 20 {
		return 0, false
	}
	step := axis[same+1] - axis[same]
	for i := same + 1; i < len(axis); i++ {
		if (axis[i]-axis[i-1])*step <= 0 {
			return 0, false
		}
	}
	if d := axis[same] - axis[same-1]; math.Abs(d-step) <= 1e-6*math.Abs(step) {
		return same - 1, true // the last of the equal ones is where the axis begins
	}
	return same, true
}

// headRows collects the lines above a run that may head its columns, those of the run itself that hold no number on the axis among them.
func (f *layoutFile) headRows(i int, g *grid) []headRow {
	part, line := f.aboveTable(i)
	rows := headRows(part, line, f.layout, g.cells)
	if f.layout.sep == 0 {
		for _, r := range headRows(part, line, f.layout, g.cells-1) {
			r.cells = append([]string{""}, r.cells...)
			rows = append(rows, r)
		}
	}
	for r := 0; r < g.rows && r < 10 && g.valid[0] != nil && !g.valid[0][r]; r++ {
		at := g.start
		for range r {
			at = lineEnd(f.data, at)
		}
		rows = append(rows, headRows(f.data[at:lineEnd(f.data, at)], g.line(r), f.layout, g.cells)...)
	}
	return rows
}

// eachColumn reads curves that lie side by side.
func (f *layoutFile) eachColumn(l Layout, yield func(*Text) error) error {
	f.as = l
	g, err := f.read(&f.spans[f.main])
	if err != nil {
		return err
	}
	n, p := g.cells, f.period()
	if g.mixed() {
		return &LineError{g.firstLine, "words beside the numbers", "numbers alone in the layout " + string(l), "correct `layout`, or leave it out"}
	}
	if n < 2 {
		return &LineError{g.firstLine, "one column of numbers", "an axis and at least one column of values", "export the axis too"}
	}
	rows := f.headRows(f.main, g)
	from := 0
	for from < g.rows && from < 10 && g.valid[0] != nil && !g.valid[0][from] {
		from++
	}
	if from >= g.filled(0) {
		return &LineError{g.firstLine, "no number in the first column", "the axis of the curves", "correct `layout`, or the file"}
	}
	if drop, ok := parameterRows(g.cols[0][from:g.filled(0)]); ok && from+drop < g.rows {
		f.notes = append(f.notes, Note{fmt.Sprintf("%s above the data, with the same number in the first cell, left out", count(drop, "row")), []int{g.line(from), g.line(from + drop - 1)}, true})
		from += drop
	}
	var curves [][]int
	switch l {
	case Single:
		one := make([]int, n)
		for k := range one {
			one[k] = k
		}
		curves = [][]int{one}
	case Pairs:
		if p = max(p, 2); n%p != 0 {
			return &LineError{g.firstLine, count(n, "column"), "a multiple of " + itoa(p) + ", the columns of each curve", "correct the numbers under `columns`, or the layout"}
		}
		for k := 0; k < n; k += p {
			curves = append(curves, sequence(k, p))
		}
	default:
		p = max(p-1, 1)
		if (n-1)%p != 0 {
			return &LineError{g.firstLine, count(n, "column"), "the axis and a multiple of " + itoa(p) + ", the other columns of each curve", "correct the numbers under `columns`, or the layout"}
		}
		for k := 1; k < n; k += p {
			curves = append(curves, append([]int{0}, sequence(k, p)...))
		}
	}
	heads, headLine := f.heads(rows, n)
	own := curves
	if l == Wide {
		own = make([][]int, len(curves))
		for i, c := range curves {
			own[i] = c[1:]
		}
	}
	names := f.rank(f.columnNames(rows, own))
	f.aside()
	part, line := f.aboveTable(f.main)
	h := header{data: f.data, layout: f.layout}
	h.read(part, line)
	h.read(f.data[g.end:], g.lastLine+1)
	pairs := h.pairsBut(headLine)
	for i, cols := range curves {
		to := g.rows
		if l != Single {
			to = g.padded(cols, l == Wide, from)
		}
		if to-from < 1 {
			f.notes = append(f.notes, Note{Text: fmt.Sprintf("column %d is empty and left out", cols[len(cols)-1]+1), Minor: true})
			continue
		}
		t := g.curve(cols, from, to)
		t.Pairs = pairs
		if heads != nil {
			for _, c := range cols {
				t.Heads = append(t.Heads, heads[c])
			}
		}
		for _, l := range names {
			if l.names[i] != "" {
				t.Names = append(t.Names, Name{l.names[i], l.line})
			}
		}
		if len(curves) == 1 {
			t.Names = append(t.Names, lineNames(part, line)...)
		}
		if err := f.give(t, yield); err != nil {
			return err
		}
	}
	return nil
}

func sequence(from, n int) []int {
	out := make([]int, n)
	for k := range out {
		out[k] = from + k
	}
	return out
}
