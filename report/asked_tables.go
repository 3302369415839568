package report

import (
	"math"
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
		if strings.HasSuffix(file, ".tex") {
			data = w.tex(t)
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

// tex is the table as plain LaTeX: value(u) as text, units in the heads, and below it what a reader must know of its numbers.
func (w *writer) tex(t *askedTable) []byte {
	var b strings.Builder
	b.WriteString("% Needs UTF-8 and no package.\n\\begin{table}\n\\centering\n")
	if t.Caption != "" {
		b.WriteString("\\caption{" + texText(t.Caption) + "}\n")
	}
	b.WriteString("\\label{tab:" + t.Name + "}\n\\begin{tabular}{")
	for _, c := range t.columns {
		if c.number {
			b.WriteByte('r')
		} else {
			b.WriteByte('l')
		}
	}
	b.WriteString("}\n\\hline\n")
	for k, c := range t.columns {
		if k > 0 {
			b.WriteString(" & ")
		}
		b.WriteString(texText(c.label))
		if unit := w.symbol(c.unit); c.number && unit != "" {
			b.WriteString(" (" + texText(unit) + ")")
		}
	}
	b.WriteString(" \\\\\n\\hline\n")
	flagged, incomplete, unsure := false, false, false
	for i, x := range t.rows {
		mark := slices.ContainsFunc(t.flags, func(it pipeline.ItemOutcome) bool { return it.Name == x.it.Name && it.Output == x.it.Output })
		for k, c := range t.columns {
			if k > 0 {
				b.WriteString(" & ")
			}
			v := t.cells[i][k]
			if v == nil {
				b.WriteString("--")
			} else {
				bare := *v
				bare.Unit = ""
				b.WriteString(texText(w.plainValue(&bare)))
				if c.number && len(v.Unknown) > 0 {
					b.WriteString(`$^{\ddagger}$`)
					incomplete = true
				}
				if c.number && !v.Exact && v.Bound == "" && v.Value != nil && math.IsNaN(knownU(v)) {
					unsure = true
				}
			}
			if mark && k == 0 {
				b.WriteString(`$^{\dagger}$`)
				flagged = true
			}
		}
		b.WriteString(" \\\\\n")
	}
	b.WriteString("\\hline\n\\end{tabular}\n")
	for _, note := range w.tableNotes(t, flagged, incomplete, unsure) {
		b.WriteString("\\par\\smallskip{\\footnotesize " + note + "}\n")
	}
	b.WriteString("\\end{table}\n")
	return []byte(b.String())
}

// tableNotes are the notes below a table in LaTeX.
func (w *writer) tableNotes(t *askedTable, flagged, incomplete, unsure bool) (notes []string) {
	if slices.ContainsFunc(t.columns, func(c askedColumn) bool { return c.number && (c.u || c.unknown) }) {
		notes = append(notes, "Brackets hold the standard uncertainty in the last digits.")
	}
	if unsure {
		notes = append(notes, "The uncertainty of numbers without brackets is not known, unless they are counts or set values.")
	}
	if incomplete {
		notes = append(notes, `$^{\ddagger}$ The uncertainty lacks a part that is not known.`)
	}
	if flagged {
		var words []string
		for _, it := range t.flags {
			for _, f := range it.Flags {
				if raises(f.Level) {
					words = append(words, texText(shortItem(&it)+": "+f.Text))
				}
			}
		}
		notes = append(notes, `$^{\dagger}$ `+strings.Join(words, "; ")+".")
	}
	for _, m := range t.missing {
		notes = append(notes, "-- "+texText(m)+".")
	}
	return notes
}

var texSpecial = map[rune]string{
	'\\': `\textbackslash{}`, '{': `\{`, '}': `\}`, '$': `\$`, '&': `\&`, '#': `\#`, '%': `\%`, '_': `\_`, '~': `\textasciitilde{}`, '^': `\textasciicircum{}`,
	'<': `$<$`, '>': `$>$`, '−': `$-$`, '–': `--`, '·': `$\cdot$`, '×': `$\times$`, '±': `$\pm$`, '°': `$^{\circ}$`, 'µ': `$\mu$`, 'μ': `$\mu$`, '‡': `$\ddagger$`, '†': `$\dagger$`,
	'Å': `\AA{}`, 'Ω': `$\Omega$`, '⟨': `$\langle$`, '⟩': `$\rangle$`, '≤': `$\leq$`, '≥': `$\geq$`, '→': `$\to$`, '\u00a0': `~`, '\u2009': `\,`, '…': `\ldots{}`,
	'α': `$\alpha$`, 'β': `$\beta$`, 'χ': `$\chi$`, 'τ': `$\tau$`, 'ε': `$\varepsilon$`, 'λ': `$\lambda$`, 'ν': `$\nu$`, 'ξ': `$\xi$`, 'ρ': `$\rho$`, 'σ': `$\sigma$`, 'φ': `$\varphi$`,
}

// texText writes text so that LaTeX shows it as it is.
func texText(s string) string {
	var b strings.Builder
	runes := []rune(s)
	for i := 0; i < len(runes); i++ {
		r := runes[i]
		if raised := raisedOf(r); raised != 0 {
			b.WriteString(`$^{`)
			for ; i < len(runes) && raisedOf(runes[i]) != 0; i++ {
				b.WriteRune(raisedOf(runes[i]))
			}
			i--
			b.WriteString(`}$`)
			continue
		}
		if k := strings.IndexRune("₀₁₂₃₄₅₆₇₈₉", r); k >= 0 {
			b.WriteString(`$_{` + string(rune('0'+k/3)) + `}$`)
			continue
		}
		if t, ok := texSpecial[r]; ok {
			b.WriteString(t)
			continue
		}
		if r < 0x20 {
			r = ' '
		}
		b.WriteRune(r)
	}
	return b.String()
}

// raisedOf is the digit or sign that a raised one stands for, 0 for any other rune.
func raisedOf(r rune) rune {
	if r == '⁻' {
		return '-'
	}
	for k, d := range []rune("⁰¹²³⁴⁵⁶⁷⁸⁹") {
		if r == d {
			return rune('0' + k)
		}
	}
	return 0
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
	p.raw(` <small>`)
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
