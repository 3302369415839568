package report

import (
	"fmt"
	"slices"
	"strings"

	"fascicle/pipeline"
)

// overviewFigures shows columns over the leading field of the samples.
func (p *page) overviewFigures() {
	if len(p.w.overviews) == 0 {
		return
	}
	p.open("figures", "Numbers over the samples")
	p.raw("<p>Bars are one whole standard uncertainty u on each side. What samples share moves their points together.</p>\n")
	p.figures(p.w.overviews)
	if p.w.more > 0 {
		p.raw(`<p class="small">`)
		p.text(fmt.Sprintf("%s more could be drawn; tables/samples.csv holds their numbers.", counted(p.w.more, "column")))
		p.raw("</p>\n")
	}
	p.close()
}

// figures shows drawings, or links to them where the page does not hold them.
func (p *page) figures(list []*figure) {
	var links []*figure
	open := false
	for _, f := range list {
		switch {
		case f.none != "":
		case f.svg == nil:
			links = append(links, f)
		default:
			if !open {
				p.raw(`<div class="figures">`, "\n")
				open = true
			}
			p.raw("<figure>")
			p.b = append(p.b, f.svg...)
			p.raw(`<figcaption class="screen"><a href="`, pathOf(f.file), `">SVG</a></figcaption></figure>`, "\n")
		}
	}
	if open {
		p.raw("</div>\n")
	}
	if len(links) > 0 {
		p.raw("<p>Figures: ")
		for i, f := range links {
			if i > 0 {
				p.raw(", ")
			}
			p.raw(`<a href="`, pathOf(f.file), `">`)
			p.text(strings.TrimSuffix(f.title+" ("+f.about+")", " ()"))
			p.raw("</a>")
		}
		p.raw("</p>\n")
	}
	for _, f := range list {
		if f.none != "" {
			p.raw(`<p class="small none">`)
			p.text(f.title + " of " + f.about + ": " + f.none + ".")
			p.raw("</p>\n")
		}
	}
}

// fewCards are all shown open.
const fewCards = 3

// cards shows all that there is of each sample.
func (p *page) cards() {
	if len(p.w.samples) == 0 {
		return
	}
	p.open("cards", "Sample by sample")
	if !p.w.budgets {
		p.raw("<p class=\"small\">There are too many numbers to say here what the u of each consists of; the tables of the stages hold all parts.</p>\n")
	}
	fields := p.w.sheetFields()
	for i := range fields {
		fields[i] = p.w.short(fields[i])
	}
	files := map[string][]int{} // raw files of a sample
	byPath := map[string][]int{}
	for i, r := range p.w.Raw {
		byPath[r.Path] = append(byPath[r.Path], i)
		if r.Sample != "" {
			files[r.Sample] = append(files[r.Sample], i)
		}
	}
	for _, sm := range p.w.samples {
		p.card(sm, fields, p.filesOf(sm, files, byPath))
	}
	p.close()
}

// filesOf are a sample's raw files: those that bear its name and those that hold items of it.
func (p *page) filesOf(sm *sample, files, byPath map[string][]int) (list []int) {
	seen := map[string]bool{}
	add := func(i int) {
		if path := p.w.Raw[i].Path; !seen[path] {
			seen[path] = true
			list = append(list, i)
		}
	}
	for _, i := range files[sm.name] {
		add(i)
	}
	for _, it := range sm.items {
		for _, f := range it.Files {
			for _, i := range byPath[f] {
				add(i)
			}
		}
	}
	return list
}

func (p *page) card(sm *sample, fields []sheetField, raw []int) {
	open := ""
	if len(p.w.samples) <= fewCards {
		open = ` open="open"`
	}
	p.raw(`<details class="card" id="sample-`)
	p.int(sm.number)
	p.raw(`"`, open, `><summary><b>`)
	p.name(sm.name)
	p.raw("</b>")
	var words []string
	for _, f := range fields {
		if t := f.text[sm.name]; t != "" && f.name != "also" && len(words) < 5 {
			words = append(words, strings.TrimSpace(t+" "+f.unit.Symbol()))
		}
	}
	p.raw(` <small>`)
	p.text(strings.Join(words, " · "))
	p.raw(`</small>`)
	failed, blocked, flagged := p.tallies(sm)
	for _, x := range []struct {
		n    int
		word string
	}{{failed, "failed"}, {blocked, "blocked"}, {flagged, "flagged"}} {
		if x.n > 0 {
			p.raw(`<span class="pill `, x.word, `">`)
			p.int(x.n)
			p.raw(" ", x.word, "</span>")
		}
	}
	p.raw("</summary>\n", `<div class="inside">`, "\n")
	if sm.sheet == nil {
		p.raw(`<p class="none">Not in the sheet of samples.</p>`)
	}
	p.missing(sm)
	p.facts(sm, fields)
	for _, s := range p.w.stages {
		if rows := sm.rows[s.Name]; len(rows) > 0 {
			p.stageNumbers(s, rows, sm.name)
		}
	}
	p.itemRemarks(sm)
	if len(sm.figures) > 0 {
		p.figures(sm.figures)
	}
	if len(raw) > 0 {
		p.raw("<h4>Raw files</h4>\n", `<ul class="notes">`)
		for _, i := range raw {
			p.raw("<li><code>")
			p.name(p.w.Raw[i].Path)
			p.raw("</code> ")
			p.sha(p.w.Raw[i].SHA256)
			p.raw("</li>")
		}
		p.raw("</ul>\n")
	}
	p.raw("</div></details>\n")
}

// tallies counts a sample's items, each once whatever the number of its outputs.
func (p *page) tallies(sm *sample) (failed, blocked, flagged int) {
	seen := map[[2]string]bool{}
	for _, it := range sm.items {
		key := [2]string{it.Stage, it.Name}
		if !seen[key] {
			switch {
			case it.State == pipeline.Failed:
				failed++
				seen[key] = true
			case it.State == pipeline.Blocked:
				blocked++
				seen[key] = true
			}
		}
		if len(p.flagOf[it]) > 0 {
			flagged++
		}
	}
	return failed, blocked, flagged
}

// missing says what a sample lacks and why.
func (p *page) missing(sm *sample) {
	seen := map[[2]string]bool{}
	open := false
	for _, it := range sm.items {
		key := [2]string{it.Stage, it.Name}
		if it.State.Good() || seen[key] {
			continue
		}
		seen[key] = true
		if !open {
			p.raw(`<ul class="notes">`, "\n")
			open = true
		}
		p.raw("<li>")
		p.state(it.State)
		p.raw(" <b>")
		p.text(it.Stage)
		p.raw("</b>")
		if r := rest(it.Name, it.Sample); r != "" {
			p.text(" (" + strings.ReplaceAll(r, ",", ", ") + ")")
		}
		p.raw(": ")
		p.text(it.Message)
		p.raw("</li>\n")
	}
	if open {
		p.raw("</ul>\n")
	}
}

// facts shows the sample's row of the sheet and its derived columns.
func (p *page) facts(sm *sample, fields []sheetField) {
	open := false
	for _, f := range fields {
		t, ok := f.text[sm.name]
		if !ok || t == "" {
			continue
		}
		if !open {
			p.raw(`<dl class="facts">`, "\n")
			open = true
		}
		p.raw("<div><dt>")
		p.text(f.name)
		p.raw("</dt><dd>")
		p.text(t)
		if u := f.unit.Symbol(); u != "" {
			p.raw(` <span class="un">`)
			p.text(u)
			p.raw("</span>")
		}
		p.raw("</dd></div>\n")
	}
	if open {
		p.raw("</dl>\n")
	}
}

// stageNumbers shows one stage's numbers of a sample or series: a grid for one item, a table for several.
func (p *page) stageNumbers(s *stage, rows []*row, sampleName string) {
	p.raw("<h4>")
	p.stageLink(s)
	p.raw(" <small>")
	p.text(s.Kind.Doc)
	p.raw("</small></h4>\n")
	var good []*row
	for _, r := range rows {
		if r.source == nil || r.source.State.Good() {
			good = append(good, r)
		}
	}
	var list []budgetOf
	switch {
	case len(good) == 0:
		p.raw(`<p class="none">no numbers: `)
		p.state(rows[0].source.State)
		p.raw("</p>\n")
		return
	case len(good) == 1 && len(rows) == 1:
		p.raw(`<dl class="facts big">`, "\n")
		for k, c := range s.columns {
			v := good[0].values[k]
			if v == nil {
				continue
			}
			list = append(list, budgetOf{c.name, "", v})
			p.raw("<div><dt>")
			p.text(c.name)
			p.raw("</dt><dd>")
			p.number(c, good[0], v, true)
			p.raw("</dd></div>\n")
		}
		p.raw("</dl>\n")
	default:
		p.raw(`<div class="scroll"><table class="num"><thead><tr><th>item</th>`)
		for _, c := range s.columns {
			p.raw("<th>")
			p.text(c.name)
			if c.anyValue && !c.u && !c.noise && !c.exact {
				p.raw(" <small>u unknown</small>")
			}
			p.raw("</th>")
		}
		p.raw("</tr></thead><tbody>\n")
		for _, r := range rows {
			name := strings.ReplaceAll(orWord(rest(r.item, sampleName), "all"), ",", ", ")
			p.raw("<tr>", nameCell(name))
			p.name(name)
			p.raw("</th>")
			if r.source != nil && !r.source.State.Good() {
				p.raw(`<td colspan="`)
				p.int(len(s.columns))
				p.raw(`">`)
				p.state(r.source.State)
				p.raw("</td></tr>\n")
				continue
			}
			for k, c := range s.columns {
				v := r.values[k]
				list = append(list, budgetOf{c.name, name, v})
				p.raw("<td>")
				p.number(c, r, v, false)
				p.raw("</td>")
			}
			p.raw("</tr>\n")
		}
		p.raw("</tbody></table></div>\n")
	}
	var unknown []string
	for _, b := range list {
		for _, x := range unknownOf(b.v) {
			if !slices.Contains(unknown, x) {
				unknown = append(unknown, x)
			}
		}
	}
	if len(unknown) > 0 {
		slices.SortFunc(unknown, byNature)
		p.raw(`<p class="small">‡ `)
		p.text(missingSentence(unknown))
		p.raw("</p>\n")
	}
	p.budgets(list)
}

func orWord(s, word string) string {
	if s == "" {
		return word
	}
	return s
}

// itemRemarks lists what was said of a sample's items, flags with their marks.
func (p *page) itemRemarks(sm *sample) { p.remarksOf(sm.items) }

func (p *page) remarksOf(items []*pipeline.ItemOutcome) {
	open := false
	for _, it := range items {
		for _, f := range it.Flags {
			if !open {
				p.raw("<h4>Remarks</h4>\n", `<ul class="notes">`, "\n")
				open = true
			}
			p.raw("<li>")
			if raises(f.Level) {
				p.raw(`<span class="flagged">†`)
				for _, k := range p.flagOf[it] {
					if p.flagged[k-1].text == f.Text && string(p.flagged[k-1].level) == f.Level {
						p.int(k)
						break
					}
				}
				p.raw("</span> ")
			}
			p.raw("<b>")
			p.text(it.Stage)
			p.raw("</b>")
			if r := rest(it.Name, it.Sample); r != "" {
				p.text(" (" + strings.ReplaceAll(r, ",", ", ") + ")")
			}
			p.raw(": ")
			p.text(levelWord(f.Level) + f.Text)
			p.raw("</li>\n")
		}
	}
	if open {
		p.raw("</ul>\n")
	}
}

// series shows what belongs to no one sample: series, calibrations, controls.
func (p *page) series() {
	type group struct {
		s       *stage
		rows    []*row
		figures []*figure
		items   []*pipeline.ItemOutcome
	}
	figuresOf := map[*stage][]*figure{}
	for _, j := range p.w.jobs {
		for _, f := range j.figures {
			if f.base.Sample == "" {
				figuresOf[f.stage] = append(figuresOf[f.stage], f)
			}
		}
	}
	var groups []group
	for _, s := range p.w.stages {
		if s.Kind == nil {
			continue
		}
		g := group{s: s, figures: figuresOf[s]}
		for _, r := range s.rows {
			if r.sample == "" {
				g.rows = append(g.rows, r)
			}
		}
		for i := range s.Items {
			if s.Items[i].Sample == "" {
				g.items = append(g.items, &s.Items[i])
			}
		}
		said := false
		for _, it := range g.items {
			said = said || len(it.Flags) > 0
		}
		if len(g.rows)+len(g.figures) > 0 || said {
			groups = append(groups, g)
		}
	}
	if len(groups) == 0 {
		return
	}
	p.open("series", "Series, calibrations and controls")
	p.raw("<p>What belongs to several samples or to none.</p>\n")
	for _, g := range groups {
		p.raw("<article>\n")
		if len(g.rows) > 0 {
			p.stageNumbers(g.s, g.rows, "")
		} else {
			p.raw("<h4>")
			p.stageLink(g.s)
			p.raw(" <small>")
			p.text(g.s.Kind.Doc)
			p.raw("</small></h4>\n")
		}
		p.remarksOf(g.items)
		p.figures(g.figures)
		p.raw("</article>\n")
	}
	p.close()
}
