package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"fascicle/catalog"
	"fascicle/pipeline"
)

// number writes one value of an item: value(u) unit, with marks for its flags and for what u lacks. full adds what a card has
// room for.
func (p *page) number(c column, r *row, v *pipeline.Value, full bool) {
	if v == nil || v.Value == nil && v.Text == "" && v.Bound == "" {
		p.raw(`<span class="none">–</span>`)
		p.marks(r, false)
		return
	}
	if v.Value == nil && v.Text != "" {
		p.text(v.Text)
		p.marks(r, false)
		return
	}
	p.value(v)
	switch {
	case v.Bound == "interval" || v.U != nil || v.Exact || v.Own != nil && len(v.Unknown) > 0:
	case full || c.u: // else the head of the column says it
		p.raw(` <small class="none">u unknown</small>`)
	}
	p.marks(r, len(v.Unknown) > 0)
}

// value writes value(u) unit, or a limit.
func (p *page) value(v *pipeline.Value) {
	one := func(x *float64, u float64) {
		if x == nil {
			p.raw("?")
			return
		}
		p.text(catalog.Format(*x, u, catalog.Unit{}))
	}
	switch u := knownU(v); v.Bound {
	case "lower":
		p.raw("&gt; ")
		one(v.Value, u)
	case "upper":
		p.raw("&lt; ")
		one(v.Value, u)
	case "interval":
		one(v.Lo, math.NaN())
		p.raw(" to ")
		one(v.Hi, math.NaN())
	default:
		one(v.Value, u)
	}
	if symbol := p.w.symbol(v.Unit); symbol != "" {
		if symbol != "°" {
			p.raw(" ")
		}
		p.raw(`<span class="un">`)
		p.text(symbol)
		p.raw("</span>")
	}
}

// marks are the signs behind a number: † and its flag's number, ‡ where u is incomplete.
func (p *page) marks(r *row, incomplete bool) {
	if r != nil && r.source != nil {
		for _, k := range p.flagOf[r.source] {
			p.raw(`<a class="mark" href="#flag-`)
			p.int(k)
			p.raw(`">†`)
			p.int(k)
			p.raw("</a>")
		}
	}
	if incomplete {
		p.raw(`<a class="mark" href="#uncertainty">‡</a>`)
	}
}

// missingSentence says which parts u lacks.
func missingSentence(sources []string) string {
	if len(sources) == 0 {
		return ""
	}
	return "u incomplete: " + lowered(partsOf(sources)) + isAre(len(sources)) + "not in it."
}

const (
	mostFields  = 3  // of the sheet, in the table of samples
	mostColumns = 36 // of numbers there; samples.csv has all
)

// sampleTable shows the samples with the fields that tell them apart and their numbers.
func (p *page) sampleTable() {
	if len(p.w.samples) == 0 {
		return
	}
	p.open("samples", "Samples")
	columns, hidden := p.w.chosen(p.w.joined)
	fields := p.w.tellingFields()
	wide, tall := "", ""
	if len(columns)+len(fields) > 8 {
		wide = " wide"
		p.raw(`<p class="paper">The table of samples is too wide for paper. Its numbers stand below, sample by sample, and in tables/samples.csv.</p>`, "\n")
	}
	if len(p.w.samples) > 22 {
		tall = " tall"
	}
	p.legendOfMarks(columns)
	p.raw(`<div class="scroll`, wide, tall, `"><table class="num"><thead><tr><th>sample</th>`)
	for _, f := range fields {
		p.raw("<th>")
		p.text(f.name)
		if u := f.unit.Symbol(); u != "" {
			p.raw(" <small>")
			p.text(u)
			p.raw("</small>")
		}
		p.raw("</th>")
	}
	for i, j := range columns {
		c := j.s.columns[j.k]
		p.raw("<th", firstOf(columns, i), "> <small>")
		p.text(j.s.Name)
		p.raw("</small> ")
		p.text(c.name)
		if j.label != "" {
			p.raw(" <small>")
			p.text(strings.ReplaceAll(j.label, ",", ", "))
			p.raw("</small>")
		}
		switch {
		case !c.anyValue:
		case c.unknown && !c.u && c.noise:
			p.raw(` <small>u incomplete <a class="mark" href="#uncertainty">‡</a></small>`)
		case !c.u && !c.exact:
			p.raw(" <small>u unknown</small>")
		}
		p.raw("</th>")
	}
	p.raw("</tr></thead><tbody>\n")
	for _, sm := range p.w.samples {
		p.raw("<tr>", nameCell(sm.name))
		p.sampleLink(sm.name)
		p.raw("</th>")
		for _, f := range fields {
			p.raw("<td>")
			p.text(f.text[sm.name])
			p.raw("</td>")
		}
		for i, j := range columns {
			p.raw("<td", firstOf(columns, i), ">")
			r := j.at(sm)
			switch {
			case r == nil:
			case r.source != nil && !r.source.State.Good():
				p.state(r.source.State)
			default:
				p.number(j.s.columns[j.k], r, r.values[j.k], false)
			}
			p.raw("</td>")
		}
		p.raw("</tr>\n")
	}
	p.raw("</tbody></table></div>\n")
	switch {
	case hidden > 0:
		p.raw(`<p class="small">`)
		p.text(fmt.Sprintf("%d of %d columns are shown. ", len(columns), len(columns)+hidden))
		p.raw(`<a href="tables/samples.csv">tables/samples.csv</a> holds all.</p>`, "\n")
	default:
		p.raw(`<p class="small"><a href="tables/samples.csv">tables/samples.csv</a> holds these numbers in full.</p>`, "\n")
	}
	if len(p.w.unjoined) > 0 {
		p.raw(`<p class="small">`)
		p.text("Stages with many items a sample have tables of their own: " + strings.Join(p.w.unjoined, ", ") + ".")
		p.raw("</p>\n")
	}
	p.close()
}

func (p *page) legendOfMarks(columns []joined) {
	incomplete := slices.ContainsFunc(columns, func(j joined) bool { return j.s.columns[j.k].unknown })
	p.raw(`<p class="small">Brackets hold the whole standard uncertainty u in the last digits: 1.234(5) stands for 1.234 ± 0.005. <a href="#uncertainty">How u is formed</a>.`)
	if len(p.flagged) > 0 {
		p.raw(` † is <a href="#flags">flagged</a>.`)
	}
	if incomplete {
		p.raw(" ‡ marks an incomplete u: the part of a source is not known, and the bracket holds the rest.")
	}
	p.raw("</p>\n")
}

func firstOf(columns []joined, i int) string {
	if i == 0 || columns[i].s != columns[i-1].s {
		return ` class="first"`
	}
	return ""
}

func (p *page) state(s pipeline.State) {
	p.raw(`<span class="`, string(s), `">`, string(s), "</span>")
}

// chosen takes a column of each stage in turn until the page has enough, those with an uncertainty first.
func (m *model) chosen(all []joined) (columns []joined, hidden int) {
	if len(all) <= mostColumns {
		return all, 0
	}
	turns := map[*stage]int{}
	turn := make([]int, len(all))
	order := make([]int, len(all))
	for i, j := range all {
		order[i], turn[i] = i, turns[j.s]
		turns[j.s]++
		if c := j.s.columns[j.k]; c.number && !c.noise {
			turn[i] += 1000
		}
	}
	slices.SortStableFunc(order, func(a, b int) int { return turn[a] - turn[b] })
	order = order[:mostColumns]
	slices.Sort(order)
	for _, i := range order {
		columns = append(columns, all[i])
	}
	return columns, len(all) - mostColumns
}

// tellingFields are the first fields of the sheet that are not the same for all samples, nor empty for most.
func (m *model) tellingFields() (list []sheetField) {
	for _, f := range m.sheetFields() {
		if f.name == "also" || len(list) == mostFields {
			continue
		}
		seen := map[string]bool{}
		for _, s := range m.samples {
			seen[f.text[s.name]] = true
		}
		if len(seen) > 1 && 2*len(f.text) >= len(m.samples) {
			list = append(list, m.short(f))
		}
	}
	return list
}

// short writes derived numbers with as many digits as people read; those of the sheet stay as they are written.
func (m *model) short(f sheetField) sheetField {
	for _, d := range m.Derived {
		if d.Name == f.name && f.numeric {
			for s, x := range f.number {
				f.text[s] = catalog.Format(x, 0, catalog.Unit{})
			}
		}
	}
	return f
}
