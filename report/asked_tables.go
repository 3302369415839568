package report

import (
	"fmt"
	"slices"
	"strings"

	"fascicle/pipeline"
	"fascicle/pipeline/store"
	"fascicle/pipeline/table"
)

// askedTable is a table of the study: out/tables/NAME.csv and NAME.tex, and all of it on the page.
type askedTable struct {
	pipeline.ShownTable
	number  int
	files   []string
	columns []askedColumn
	rows    []entryRow
	cells   [][]*pipeline.Value // by row and column; nil: nothing
	missing []string
	notes   []string
	flags   []pipeline.ItemOutcome
}

// askedColumn is a column with what its cells need.
type askedColumn struct {
	column
	label string // for people
}

// makeTable reads what a table shows and writes its files.
func (w *writer) makeTable(t *askedTable) error {
	r := &reader{m: w.model, have: map[*pipeline.ItemOutcome]*table.Table{}}
	sel, err := w.selected(r, t.Stage, t.Output, t.Where)
	if err != nil {
		return err
	}
	if len(sel.unjudged) > 0 {
		t.notes = append(t.notes, "`where: "+t.Where.String()+"` could not be judged, because a field is empty, for "+someOf(sel.unjudged, mostNames)+".")
	}
	names := w.expanded(t.Stage, t.Output, sel.all, t.Columns)
	if len(t.Columns) == 0 {
		names = w.usualColumns(r, t, sel.rows)
	}
	t.rows = w.sorted(t, sel.rows, names)
	if len(t.Columns) == 0 {
		names = slices.DeleteFunc(names, func(n string) bool { // what no row has says nothing
			return !slices.ContainsFunc(t.rows, func(x entryRow) bool { return w.entry(t.Stage, x, n) != nil })
		})
	}
	var gaps lacking
	t.cells = make([][]*pipeline.Value, len(t.rows))
	for i := range t.rows {
		t.cells[i] = make([]*pipeline.Value, len(names))
	}
	for k, name := range names {
		c := askedColumn{column{name: name, exact: true}, w.nameFor(t.Stage, name)}
		for i, x := range t.rows {
			v := w.entry(t.Stage, x, name)
			t.cells[i][k] = v
			if v == nil {
				gaps.add(w.why(x, name), shortItem(x.it))
				continue
			}
			c.number = c.number || v.Value != nil || v.Bound != ""
			c.u = c.u || v.U != nil
			c.exact = c.exact && v.Exact
			c.unknown = c.unknown || len(v.Unknown) > 0
			c.bound = c.bound || v.Bound != ""
			c.limits = c.limits || v.Lo != nil || v.Hi != nil
			if v.Value != nil || v.Bound != "" {
				c.unit = v.Unit
			}
		}
		t.columns = append(t.columns, c)
	}
	t.missing = gaps.lines()
	for _, x := range t.rows {
		if slices.ContainsFunc(x.it.Flags, func(f store.Flag) bool { return raises(f.Level) }) && !slices.ContainsFunc(t.flags, func(it pipeline.ItemOutcome) bool { return it.Name == x.it.Name && it.Output == x.it.Output }) {
			t.flags = append(t.flags, *x.it)
		}
	}
	for _, file := range t.files {
		data := t.csv()
		switch {
		case strings.HasSuffix(file, ".tex"):
			data = w.tex(t)
		case strings.HasSuffix(file, ".xlsx"):
			var err error
			if data, err = workbook(data); err != nil {
				return fmt.Errorf("%s: %w", file, err)
			}
		}
		if err := w.out.put(file, data); err != nil {
			return err
		}
	}
	return nil
}

// usualColumns are those of a table that names none: what its items are grouped by, and all columns but those that say how sure another is.
func (w *writer) usualColumns(r *reader, t *askedTable, rows []entryRow) (names []string) {
	s := w.byStage[t.Stage]
	if s == nil {
		return nil
	}
	if s.Kind == nil { // the sheet
		for _, f := range w.sheetFields() {
			if f.name != "also" {
				names = append(names, f.name)
			}
		}
		return append([]string{"sample"}, names...)
	}
	for _, x := range rows {
		for _, part := range strings.Split(x.it.Name, ",") {
			if name, _, ok := strings.Cut(part, "="); ok && !slices.Contains(names, name) {
				names = append(names, name)
			}
		}
	}
	if t.Output == "" {
		for _, c := range s.columns {
			names = append(names, c.name)
		}
		return names
	}
	for i := range s.Items {
		it := &s.Items[i]
		if it.Output != t.Output || !it.State.Good() {
			continue
		}
		if tab, err := r.read(it); err == nil { // it was read before
			for _, c := range tab.Columns {
				if !auxiliary(c.Name) && !slices.Contains(names, c.Name) {
					names = append(names, c.Name)
				}
			}
		}
	}
	return names
}

// sorted orders rows by the fields with which the table begins. Rows of one item's table stay in their order.
func (w *writer) sorted(t *askedTable, rows []entryRow, names []string) []entryRow {
	out := slices.Clone(rows)
	lead := 0
	for lead < len(names) && !slices.ContainsFunc(rows, func(x entryRow) bool { return x.value(names[lead]) != nil }) {
		lead++
	}
	keys := map[*pipeline.ItemOutcome][]*pipeline.Value{}
	for _, x := range out {
		if keys[x.it] == nil {
			for _, n := range names[:lead] {
				keys[x.it] = append(keys[x.it], w.entry(t.Stage, entryRow{x.it, nil, func(string) *pipeline.Value { return nil }}, n))
			}
		}
	}
	slices.SortStableFunc(out, func(a, b entryRow) int {
		for k := range names[:lead] {
			if c := compareEntries(keys[a.it][k], keys[b.it][k]); c != 0 {
				return c
			}
		}
		return 0
	})
	return out
}

// csv is the table with full decimals: a number is followed by its whole u, unless all of the column are exact, and by what censors it.
func (t *askedTable) csv() []byte {
	var first []string
	for _, c := range t.columns {
		first = append(first, c.heads()...)
	}
	rows := [][]string{first}
	for i := range t.rows {
		var cells []string
		for k, c := range t.columns {
			cells = append(cells, c.cells(t.cells[i][k])...)
		}
		rows = append(rows, cells)
	}
	return csvFile(rows)
}

func (c askedColumn) heads() []string {
	list := valueHead("", c.column)
	if c.number && c.exact {
		list = slices.Delete(list, 1, 2)
	}
	return list
}

func (c askedColumn) cells(v *pipeline.Value) []string {
	list := valueCells(c.column, v)
	if c.number && c.exact {
		list = slices.Delete(list, 1, 2)
	}
	return list
}

// bareCell writes a cell of a table on the page, whose unit stands in the head.
func (p *page) bareCell(c askedColumn, x entryRow, v *pipeline.Value, mark bool) {
	if v == nil {
		if !x.it.State.Good() {
			p.state(x.it.State)
		} else {
			p.raw(`<span class="none">–</span>`)
		}
	} else {
		bare := *v
		bare.Unit = ""
		if bare.Value == nil && bare.Bound == "" {
			p.text(bare.Text)
		} else {
			p.value(&bare)
		}
	}
	var flags *row
	if mark {
		flags = x.r
		if flags == nil {
			flags = &row{source: x.it}
		}
	}
	p.marks(flags, v != nil && c.number && len(v.Unknown) > 0)
}

// table shows a table of the study in full.
func (p *page) table(t *askedTable) {
	p.raw(`<div class="asked" id="table-`)
	p.text(t.Name)
	p.raw(`"><p class="caption"><b>Table `)
	p.int(t.number)
	p.raw("</b> ")
	p.text(t.Caption)
	p.raw(` <small class="screen">`)
	for i, file := range t.files {
		if i > 0 {
			p.raw(" · ")
		}
		p.raw(`<a href="`, pathOf(file), `">`, strings.ToUpper(file[strings.LastIndexByte(file, '.')+1:]), `</a>`)
	}
	p.raw("</small></p>\n")
	tall := ""
	if len(t.rows) > 25 {
		tall = " tall"
	}
	if len(t.rows) == 0 {
		p.raw(`<p class="none">no rows</p>`, "\n")
	} else {
		p.raw(`<div class="scroll`, tall, `"><table class="num"><thead><tr>`)
		for _, c := range t.columns {
			p.raw("<th>")
			p.text(c.label)
			if unit := p.w.symbol(c.unit); c.number && unit != "" {
				p.raw(" <small>")
				p.text(unit)
				p.raw("</small>")
			}
			if c.number && !c.u && !c.exact && !c.bound {
				p.raw(" <small>u unknown</small>")
			}
			p.raw("</th>")
		}
		p.raw("</tr></thead><tbody>\n")
		for i, x := range t.rows {
			p.raw("<tr>")
			for k, c := range t.columns {
				tag := "td"
				if k == 0 {
					tag = "th"
				}
				p.raw("<", tag, ">")
				p.bareCell(c, x, t.cells[i][k], k == 0)
				p.raw("</", tag, ">")
			}
			p.raw("</tr>\n")
		}
		p.raw("</tbody></table></div>\n")
	}
	p.lines("Empty cells", t.missing)
	p.noteLines(t.notes)
	p.raw("</div>\n")
}

// lines lists reasons below a figure or table: folded when they are many.
func (p *page) lines(what string, list []string) {
	if len(list) == 0 {
		return
	}
	p.raw(`<details class="gaps"`)
	if len(list) <= 2 {
		p.raw(` open="open"`)
	}
	p.raw("><summary>", what, "</summary><ul class=\"notes\">\n")
	for _, line := range list {
		p.raw("<li>")
		p.text(line)
		p.raw("</li>\n")
	}
	p.raw("</ul></details>\n")
}

func (p *page) noteLines(notes []string) {
	for _, n := range notes {
		p.raw(`<p class="small">`)
		p.text(n)
		p.raw("</p>\n")
	}
}
