package importing

import (
	"fmt"
	"slices"
	"sort"
	"strconv"
	"strings"
)

// longTable is a table of which some columns name what the others belong to.
type longTable struct {
	*grid
	keys  []int // columns that name, in the order of Options.Keys when keyed
	own   []int // columns of numbers
	keyed bool
	heads []Head
	pairs []Pair
}

// longTable finds the columns that name: those that are headed like the fields, or all that hold words.
func (f *layoutFile) longTable() (*longTable, error) {
	if err := f.broken(); err != nil {
		return nil, err
	}
	g, err := f.read(&f.spans[f.main])
	if err != nil {
		return nil, err
	}
	t := &longTable{grid: g}
	heads, line := f.heads(f.headRows(f.main, g), g.cells)
	for _, key := range f.options.Keys {
		for k, h := range heads {
			if (strings.EqualFold(h.Name, key) || strings.EqualFold(h.Text, key)) && !slices.Contains(t.keys, k) {
				t.keys = append(t.keys, k)
				break
			}
		}
	}
	t.keyed = len(t.keys) == len(f.options.Keys) && len(t.keys) > 0
	if !t.keyed {
		t.keys = nil
	}
	for k := range g.cells {
		switch {
		case g.words[k] == nil && !slices.Contains(t.keys, k):
			t.own = append(t.own, k)
			if heads != nil {
				t.heads = append(t.heads, heads[k])
			}
		case g.words[k] != nil && !t.keyed:
			t.keys = append(t.keys, k)
		case !slices.Contains(t.keys, k):
			name := "column " + itoa(k+1)
			if heads != nil && heads[k].Text != "" {
				name += " (" + heads[k].Text + ")"
			}
			f.notes = append(f.notes, Note{Text: name + " holds words and is left out", Minor: true})
		}
	}
	f.aside()
	part, first := f.aboveTable(f.main)
	h := header{data: f.data, layout: f.layout}
	h.read(part, first)
	h.read(f.data[g.end:], g.lastLine+1)
	t.pairs = h.pairsBut(line)
	return t, nil
}

// name gives what the naming columns say in a row.
func (t *longTable) name(data []byte, row int) []string {
	out := make([]string, len(t.keys))
	for i, k := range t.keys {
		out[i] = t.text(data, row, k)
	}
	return out
}

// eachLong reads a table of a point a row, whose curves are told apart by what columns say.
func (f *layoutFile) eachLong(yield func(*Text) error) error {
	f.as = Long
	t, err := f.longTable()
	if err != nil {
		return err
	}
	if len(t.keys) == 0 && f.options.named() {
		return &LineError{t.firstLine, "no column that names the curves", "a column of words, or one headed " + strings.Join(f.options.Keys, ", "), "correct `curves` or `layout`"}
	}
	if len(t.own) < 2 {
		return &LineError{t.firstLine, count(len(t.own), "column") + " of numbers", "an axis and at least one column of values", "name the layout of the file if it is another"}
	}
	var order []string
	rows := map[string][]int{}
	for row := range t.rows {
		key := strings.Join(t.name(f.data, row), "\x00")
		if rows[key] == nil {
			order = append(order, key)
		}
		rows[key] = append(rows[key], row)
	}
	for _, key := range order {
		if err := f.give(f.gather(t, rows[key]), yield); err != nil {
			return err
		}
	}
	return nil
}

// gather makes a curve, or an item of values, of some rows.
func (f *layoutFile) gather(t *longTable, rows []int) *Text {
	first := rows[0]
	out := &Text{FirstLine: t.line(first), LastLine: t.line(rows[len(rows)-1]), Pairs: t.pairs, Heads: t.heads, Columns: make([][]float64, len(t.own)),
		Valid: make([][]bool, len(t.own)), rowLines: make([]int, len(rows))}
	for i, row := range rows {
		out.rowLines[i] = t.line(row)
	}
	for j, c := range t.own {
		col := make([]float64, len(rows))
		var valid []bool
		for i, row := range rows {
			col[i] = t.cols[c][row]
			if v := t.valid[c]; v != nil && !v[row] {
				if valid == nil {
					valid = allTrue(len(rows))
				}
				valid[i] = false
			}
		}
		out.Columns[j], out.Valid[j] = col, valid
		if valid != nil {
			out.Notes = append(out.Notes, t.gatherNotes(c, rows)...)
		}
	}
	name := t.name(f.data, first)
	if t.keyed {
		out.Keyed = name
		return out
	}
	sep := " "
	if f.layout.sep != 0 {
		sep = string(f.layout.sep)
	}
	if len(name) > 0 {
		out.Names = []Name{{strings.Join(name, sep), t.line(first)}}
	}
	return out
}

func (t *longTable) gatherNotes(c int, rows []int) []Note {
	var mine []gapMark
	gaps := t.gaps[c]
	k := 0
	for _, m := range gaps[sort.Search(len(gaps), func(i int) bool { return gaps[i].row >= rows[0] }):] { // both in rising order
		if m.row > rows[len(rows)-1] {
			break
		}
		for k < len(rows) && rows[k] < m.row {
			k++
		}
		if k < len(rows) && rows[k] == m.row {
			mine = append(mine, m)
		}
	}
	return gapNotes(mine, 0, t.rows, t.line)
}

// eachLine reads a table of values: a row for each item.
func (f *layoutFile) eachLine(yield func(*Text) error) error {
	f.as = Lines
	t, err := f.longTable()
	if err != nil {
		return err
	}
	if len(t.own) == 0 {
		return &LineError{t.firstLine, "no column of numbers", "at least one", "look at the file"}
	}
	for row := range t.rows {
		if err := f.give(f.gather(t, []int{row}), yield); err != nil {
			return err
		}
	}
	return nil
}

// numberText writes a number that is a name: whole numbers without a point.
func (g *grid) numberText(row, k int) string {
	if g.valid[k] != nil && !g.valid[k][row] {
		return ""
	}
	return strconv.FormatFloat(g.cols[k][row], 'f', -1, 64)
}

// eachBlock reads curves that stand one below the other.
func (f *layoutFile) eachBlock(blocks []int, yield func(*Text) error) error {
	f.as = Blocks
	if len(blocks) == 0 {
		return &LineError{f.spans[f.main].firstLine, "no block of at least three rows", "blocks of numbers", "correct `layout`, or leave it out"}
	}
	last := &f.spans[blocks[len(blocks)-1]]
	foot := header{data: f.data, layout: f.layout}
	foot.read(f.data[last.end:], last.lastLine+1)
	global, own := f.blockPairs(blocks)
	global = append(global, foot.pairs()...)
	from, line := 0, 1
	for i, b := range blocks {
		s := &f.spans[b]
		part := f.data[from:s.start]
		h := header{data: f.data, layout: f.layout}
		h.read(part, line)
		g, err := f.read(s)
		if err != nil {
			return err
		}
		if g.cells < 2 {
			return &LineError{s.firstLine, "one column of numbers", "an axis and at least one column of values", "export the axis too"}
		}
		t := g.curve(sequence(0, g.cells), 0, g.rows)
		t.Heads = h.heads(g.cells, s.cells)
		local := h.pairs()
		if i == 0 {
			local = own
		}
		t.Pairs = over(global, local)
		t.Names = lineNames(part, line)
		if r := f.skipped(from, s.start); r != nil {
			t.Notes = append(t.Notes, Note{fmt.Sprintf("numbers in %s outside the data are left out", count(r.cells, "column")), []int{r.firstLine}, false})
		}
		if err := f.give(t, yield); err != nil {
			return err
		}
		from, line = s.end, s.lastLine+1
	}
	return nil
}

// blockPairs parts the statements above the first block into those of the file and those of the block: what other blocks state too, and what stands
// behind the line that names the block, is the block's own.
func (f *layoutFile) blockPairs(blocks []int) (global, own []Pair) {
	said := map[string]bool{}
	for k, b := range blocks[1:] {
		before := &f.spans[blocks[k]]
		h := header{data: f.data, layout: f.layout}
		h.read(f.data[before.end:f.spans[b].start], before.lastLine+1)
		for _, p := range h.pairs() {
			said[strings.ToLower(p.Key)] = true
		}
	}
	part, line := f.data[:f.spans[blocks[0]].start], 1
	named := 1 << 30
	if f.options.Fits != nil {
		for _, n := range lineNames(part, line) {
			if f.options.Fits(n.Text) {
				named = n.Line
				break
			}
		}
	}
	h := header{data: f.data, layout: f.layout}
	h.read(part, line)
	for _, p := range h.pairs() {
		if said[strings.ToLower(p.Key)] || p.Line > named {
			own = append(own, p)
		} else {
			global = append(global, p)
		}
	}
	return global, own
}

// skipped finds numbers between two places that belong to no block.
func (f *layoutFile) skipped(from, to int) *span {
	for i := range f.spans {
		if s := &f.spans[i]; s.start >= from && s.end <= to && !s.mixed() && s.rows > 1 {
			return s
		}
	}
	return nil
}

// over gives the statements of the file's header, those that a block makes itself in their stead.
func over(global, local []Pair) []Pair {
	var out []Pair
	for _, p := range global {
		if !slices.ContainsFunc(local, func(q Pair) bool { return strings.EqualFold(p.Key, q.Key) }) {
			out = append(out, p)
		}
	}
	return append(out, local...)
}
