package report

import (
	"fmt"
	"slices"
	"strings"

	"fascicle/pipeline"
)

// asked is what the study asks for, while the report is written.
type asked struct {
	figures []*askedFigure
	tables  []*askedTable
}

// planAsked gives figures and tables of the study their file names, before any other takes them.
func (w *writer) planAsked() {
	if w.Shown == nil {
		return
	}
	for i, f := range w.Shown.Figures {
		w.asked.figures = append(w.asked.figures, &askedFigure{ShownFigure: f, number: i + 1, file: w.names.give("figures/", f.Name, "", ".svg")})
	}
	for i, t := range w.Shown.Tables {
		one := &askedTable{ShownTable: t, number: i + 1}
		stem := strings.TrimSuffix(w.names.give("tables/", t.Name, "", ".csv"), ".csv")
		for _, format := range t.Formats {
			one.files = append(one.files, stem+"."+format)
		}
		w.asked.tables = append(w.asked.tables, one)
	}
}

// mostAnswers is the number of figures of a stage that answer a question where it is asked; the others stand further below.
const mostAnswers = 6

// keepAnswers sees that the page holds the first figures of the stages that answer, also where it only links to those of samples.
func (w *writer) keepAnswers() {
	if w.Shown == nil {
		return
	}
	for _, q := range w.Shown.Questions {
		for _, a := range q.Answers {
			if a.Stage == "" {
				continue
			}
			for i, f := range w.figuresOf(a.Stage, a.StageFigure) {
				f.answers = f.answers || i < mostAnswers
			}
		}
	}
}

func (w *writer) figuresOf(stageName, figure string) (list []*figure) {
	for _, j := range w.jobs {
		for _, f := range j.figures {
			if f.stage.Name == stageName && f.decl.Name == figure {
				list = append(list, f)
			}
		}
	}
	return list
}

func (a *asked) figure(name string) *askedFigure {
	for _, f := range a.figures {
		if f.Name == name {
			return f
		}
	}
	return nil
}

func (a *asked) table(name string) *askedTable {
	for _, t := range a.tables {
		if t.Name == name {
			return t
		}
	}
	return nil
}

// questions answers what the study asks, first of all.
func (p *page) questions() {
	if p.w.Shown == nil || len(p.w.Shown.Questions) == 0 {
		return
	}
	p.open("questions", "What the study asks")
	for _, q := range p.w.Shown.Questions {
		p.raw(`<article class="question">`, "\n<h3>")
		p.text(q.Text)
		p.raw("</h3>\n")
		told := map[string]bool{}
		for _, a := range q.Answers {
			switch {
			case a.Figure != "":
				p.answerFigure(p.w.asked.figure(a.Figure), told)
			case a.Table != "":
				p.table(p.w.asked.table(a.Table))
				p.shown[a.Table+"#"] = true
			default:
				p.keyNumbers(a.Stage, told)
				p.stageFigures(a)
			}
		}
		p.raw("</article>\n")
	}
	p.close()
}

// answerFigure shows a figure of the study with what it says in words, or points to where it stands already.
func (p *page) answerFigure(f *askedFigure, told map[string]bool) {
	if p.shown[f.Name] {
		p.raw(`<p>See <a href="#figure-`)
		p.text(f.Name)
		p.raw(`">figure `)
		p.int(f.number)
		p.raw("</a>.</p>\n")
		return
	}
	p.shown[f.Name] = true
	if len(f.facts) > 0 {
		p.raw(`<ul class="says">`, "\n")
		for _, fact := range f.facts {
			p.raw("<li>")
			p.text(fact)
			p.raw("</li>\n")
		}
		p.raw("</ul>\n")
	}
	for _, s := range f.stages {
		p.keyNumbers(s, told)
	}
	p.askedFigure(f)
}

// askedFigure shows the panels of a figure, its caption, and what is not drawn.
func (p *page) askedFigure(f *askedFigure) {
	p.raw(`<figure class="asked" id="figure-`)
	p.text(f.Name)
	p.nums(`" style="max-width:`, f.wide*1.25+20)
	p.raw("px\">")
	if f.none != "" {
		p.raw(`<p class="none">`)
		p.text(f.none)
		p.raw("</p>")
	} else {
		p.raw(`<div class="panels" style="--across:`)
		p.int(f.across)
		p.raw("\">\n")
		for _, svg := range f.svgs {
			p.b = append(p.b, svg...)
		}
		p.raw("</div>")
	}
	p.raw("<figcaption><b>Figure ")
	p.int(f.number)
	p.raw("</b> ")
	p.text(f.Caption)
	if f.none == "" {
		p.raw(` <a class="screen" href="`, pathOf(f.file), `">SVG</a>`)
	}
	p.raw("</figcaption></figure>\n")
	p.lines("Not drawn", f.missing)
	p.noteLines(f.notes)
}

// stageFigures shows the first figures of a stage that answers a question.
func (p *page) stageFigures(a pipeline.Answer) {
	list := p.w.figuresOf(a.Stage, a.StageFigure)
	if len(list) == 0 {
		p.raw(`<p class="none">`)
		p.text("no figure: stage " + a.Stage + " has no item to draw, or too many samples for figures of single steps")
		p.raw("</p>\n")
		return
	}
	p.figures(list[:min(len(list), mostAnswers)])
	if n := len(list) - mostAnswers; n > 0 {
		p.raw(`<p class="small">`)
		p.text(counted(n, "figure") + " more of " + a.Stage + " stand further below, with what they are of.")
		p.raw("</p>\n")
	}
}

const (
	mostKeyRows    = 12 // of a table; more are told in a sentence
	mostKeyColumns = 6
)

// keyNumbers says what a stage found: how many items have numbers, which have none and why, and the numbers themselves or their range.
func (p *page) keyNumbers(stageName string, told map[string]bool) {
	s := p.w.byStage[stageName]
	if s == nil || s.Kind == nil || told[stageName] {
		return
	}
	told[stageName] = true
	var good []*row
	var gaps lacking
	for _, r := range s.rows {
		switch {
		case r.source == nil || r.source.State.Good():
			good = append(good, r)
		default:
			gaps.add(string(r.source.State)+": "+r.source.Message, shortItem(r.source))
		}
	}
	if len(s.rows) == 0 {
		return
	}
	p.raw("<p>")
	p.stageLink(s)
	p.text(": " + fmt.Sprintf("%d of %s with numbers", len(good), counted(len(s.rows), "item")))
	flagged := 0
	for _, r := range good {
		if r.source != nil && len(p.flagOf[r.source]) > 0 {
			flagged++
		}
	}
	if flagged > 0 {
		p.text(fmt.Sprintf(", %d of them flagged", flagged))
	}
	p.raw(".</p>\n")
	columns := keyColumns(s)
	if len(good) > mostKeyRows {
		p.keyRanges(s, good, columns)
	} else if len(good) > 0 && len(columns) > 0 {
		p.keyTable(s, good, columns)
	}
	p.lines("No numbers", gaps.lines())
}

// keyColumns are the columns that say most: those with an uncertainty or a limit, then words; where there are none, the rest.
func keyColumns(s *stage) (list []int) {
	for pass := range 3 {
		if pass == 2 && len(list) > 0 {
			break
		}
		for k, c := range s.columns {
			rank := 2
			switch {
			case c.name == "p": // a probability decides what the other numbers mean
				rank = 0
				if pass == 0 && len(list) == mostKeyColumns && !slices.Contains(list, k) {
					list[len(list)-1] = k
					continue
				}
			case c.u || c.noise || c.bound:
				rank = 0
			case !c.number:
				rank = 1
			}
			if rank == pass && (c.anyValue || !c.number || c.bound) && len(list) < mostKeyColumns && !strings.Contains(c.name, ".") {
				list = append(list, k)
			}
		}
	}
	slices.Sort(list)
	return list
}

func (p *page) keyTable(s *stage, rows []*row, columns []int) {
	p.raw(`<div class="scroll"><table class="num"><thead><tr><th>item</th>`)
	for _, k := range columns {
		c := s.columns[k]
		p.raw("<th>")
		p.text(p.w.nameFor(s.Name, c.name))
		if c.anyValue && !c.u && !c.noise && !c.exact {
			p.raw(" <small>u unknown</small>")
		}
		p.raw("</th>")
	}
	p.raw("</tr></thead><tbody>\n")
	samples := map[string]int{}
	for _, r := range rows {
		samples[r.sample]++
	}
	for _, r := range rows {
		name := shortRow(r)
		if r.sample != "" && samples[r.sample] == 1 {
			name = r.sample
		}
		p.raw("<tr>", nameCell(name))
		p.name(name)
		p.marks(r, false)
		p.raw("</th>")
		for _, k := range columns {
			p.raw("<td>")
			p.number(s.columns[k], nil, p.w.inUnit(r.values[k], s.Name, s.columns[k].name), false)
			p.raw("</td>")
		}
		p.raw("</tr>\n")
	}
	p.raw("</tbody></table></div>\n")
}

// keyRanges tells of many rows from where to where their numbers run, and how often words occur.
func (p *page) keyRanges(s *stage, rows []*row, columns []int) {
	p.raw(`<ul class="says">`, "\n")
	for _, k := range columns {
		c := s.columns[k]
		var low, high *row
		limits, n := 0, 0
		words := map[string]int{}
		var order []string
		for _, r := range rows {
			v := r.values[k]
			switch {
			case v == nil:
			case v.Bound != "":
				limits++
			case v.Value != nil:
				n++
				if low == nil || *v.Value < *low.values[k].Value {
					low = r
				}
				if high == nil || *v.Value > *high.values[k].Value {
					high = r
				}
			case v.Text != "":
				if words[v.Text]++; words[v.Text] == 1 {
					order = append(order, v.Text)
				}
			}
		}
		var parts []string
		if n > 0 {
			text := counted(n, "number")
			if low != high {
				at := func(r *row) string {
					return p.w.plainValue(p.w.inUnit(r.values[k], s.Name, c.name)) + " (" + shortRow(r) + ")"
				}
				text += ", from " + at(low) + " to " + at(high)
			}
			parts = append(parts, text)
		}
		if limits > 0 {
			parts = append(parts, counted(limits, "limit or interval"))
		}
		slices.SortFunc(order, func(a, b string) int { return words[b] - words[a] })
		for i, word := range order {
			if i == mostNames {
				parts = append(parts, fmt.Sprintf("%d other words", len(order)-i))
				break
			}
			parts = append(parts, fmt.Sprintf("%s %d times", word, words[word]))
		}
		if len(parts) == 0 {
			continue
		}
		p.raw("<li>")
		p.text(p.w.nameFor(s.Name, c.name) + ": " + strings.Join(parts, "; ") + ".")
		p.raw("</li>\n")
	}
	p.raw("</ul>\n")
}

func shortRow(r *row) string {
	if r.source != nil {
		return shortItem(r.source)
	}
	return r.item
}

// askedFor shows figures and tables of the study that answer no question.
func (p *page) askedFor() {
	var figures []*askedFigure
	var tables []*askedTable
	for _, f := range p.w.asked.figures {
		if !p.shown[f.Name] {
			figures = append(figures, f)
		}
	}
	for _, t := range p.w.asked.tables {
		if !p.shown[t.Name+"#"] {
			tables = append(tables, t)
		}
	}
	if len(figures)+len(tables) == 0 {
		return
	}
	p.open("asked", "Figures and tables of the study")
	for _, f := range figures {
		p.askedFigure(f)
	}
	for _, t := range tables {
		p.table(t)
	}
	p.close()
}
