package report

import (
	_ "embed"
	"encoding/hex"
	"fmt"
	"strings"

	"crypto/sha256"

	"fascicle/pipeline"
	"fascicle/pipeline/study"
)

//go:embed style.css
var styleSheet string

// page is report.html while it is written: a single file, well-formed as XML too, that asks for nothing from elsewhere.
type page struct {
	pen
	w        *writer
	study    *study.Study // nil: the study file could not be read again
	contents []section
	flagOf   map[*pipeline.ItemOutcome][]int // numbers of its raised flags
	flagged  []flagNote                      // raised flags, in order of number
	shown    map[string]bool                 // figures (NAME) and tables (NAME#) of the study that stand on the page already
}

type section struct{ id, title string }

// page makes report.html.
func (w *writer) page() []byte {
	p := &page{w: w, flagOf: map[*pipeline.ItemOutcome][]int{}}
	p.b = make([]byte, 0, 1<<20)
	if st, faults := study.Read("study.yaml", w.Study); len(faults) == 0 {
		p.study = st
	}
	for _, f := range w.flags {
		if raises(f.level) {
			p.flagged = append(p.flagged, f)
			for _, it := range f.items {
				p.flagOf[it] = append(p.flagOf[it], len(p.flagged))
			}
		}
	}
	w.findSources(p.uncertainConstants())
	n := 0
	for i := range w.values {
		if budgeted(&w.values[i]) {
			n++
		}
	}
	w.budgets = n <= mostBudgets
	body := &page{w: w, study: p.study, flagOf: p.flagOf, flagged: p.flagged, shown: map[string]bool{}}
	body.b = make([]byte, 0, 1<<20)
	body.sections()

	title := w.Title
	if title == "" {
		title = "Report"
	}
	p.raw("<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\"/>\n<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\"/>\n<title>")
	p.text(title)
	p.raw("</title>\n<link rel=\"icon\" href=\"data:,\"/>\n<style>\n", styleSheet, "</style>\n</head>\n<body>\n<div class=\"sheet\">\n<header>\n<p class=\"kicker\">Report of a study</p>\n<h1>")
	p.text(title)
	p.raw("</h1>\n")
	p.counts()
	p.raw("</header>\n<nav aria-label=\"Contents\"><ol>\n")
	for _, s := range body.contents {
		p.raw(`<li><a href="#`, s.id, `">`)
		p.text(s.title)
		p.raw("</a></li>\n")
	}
	p.raw("</ol></nav>\n<main>\n")
	p.b = append(p.b, body.b...)
	p.raw("</main>\n</div>\n</body>\n</html>\n")
	return p.b
}

// counts says how many items ended how. Made and kept are one here: which of them it was depends on what was run before.
func (p *page) counts() {
	c := p.w.Counts
	p.raw(`<ul class="counts">`)
	one := func(n int, word, class string) {
		if n == 0 {
			class = ""
		}
		p.raw(`<li class="`, class, `"><b>`)
		p.int(n)
		p.raw(`</b> `, word, `</li>`)
	}
	one(c.Made+c.Kept, "good", "good")
	one(c.Failed, "failed", "failed")
	one(c.Blocked, "blocked", "blocked")
	n := 0
	for _, f := range p.flagged {
		n += len(f.items)
	}
	if n > 0 {
		one(n, "flagged", "flagged")
	}
	p.raw("</ul>\n")
}

// open begins a section and enters it in the contents.
func (p *page) open(id, title string) {
	p.contents = append(p.contents, section{id, title})
	p.raw("<section>\n<h2 id=\"", id, "\">")
	p.text(title)
	p.raw("</h2>\n")
}

func (p *page) close() { p.raw("</section>\n") }

func (p *page) sections() {
	p.questions()
	p.aboutStudy()
	p.troubles()
	p.flagList()
	p.sampleTable()
	p.askedFor()
	p.overviewFigures()
	p.cards()
	p.series()
	p.methods()
	p.uncertainty()
	p.constants()
	p.files()
	p.remarks()
}

// aboutStudy says what the study is: its size, its people, its stages.
func (p *page) aboutStudy() {
	p.open("study", "The study")
	p.raw(`<dl class="facts big">`)
	fact := func(name, value string) {
		if value == "" {
			return
		}
		p.raw("<div><dt>", name, "</dt><dd>")
		p.text(value)
		p.raw("</dd></div>\n")
	}
	if p.w.Sheet != nil {
		fact("samples", fmt.Sprintf("%d, listed in %s", len(p.w.Sheet.Rows), p.w.Sheet.File))
	} else {
		fact("samples", fmt.Sprint(len(p.w.samples)))
	}
	files := map[string]bool{}
	for _, r := range p.w.Raw {
		files[r.Path] = true
	}
	fact("raw files", fmt.Sprint(len(files)))
	stages := 0
	for _, s := range p.w.stages {
		if s.Kind != nil {
			stages++
		}
	}
	fact("stages", fmt.Sprint(stages))
	numbers := 0
	for _, v := range p.w.values {
		if v.Value != nil {
			numbers++
		}
	}
	fact("numbers", fmt.Sprint(numbers))
	if p.study != nil {
		p.people(fact)
	}
	p.raw("</dl>\n")
	if p.study != nil && len(p.study.Conditions) > 0 {
		p.raw("<details><summary>Conditions that the study names</summary>\n<ul>\n")
		for _, c := range p.study.Conditions {
			p.raw("<li><b>")
			p.text(c.Name.Value)
			p.raw("</b>: <code>")
			p.text(c.Expr.Value)
			p.raw("</code></li>\n")
		}
		p.raw("</ul></details>\n")
	}
	p.stageList()
	p.tableList()
	p.close()
}

// people shows what the study file says about its authors and licence.
func (p *page) people(fact func(name, value string)) {
	about := p.study.About
	if about == nil {
		return
	}
	for _, e := range about.Entries {
		fact(escaped(e.Key.Value), plainNode(e.Value))
	}
}

// plainNode writes a node of the study file as words; entries that were left empty are left out.
func plainNode(n *study.Node) string {
	if n == nil {
		return ""
	}
	var parts []string
	switch n.Kind {
	case study.Scalar:
		return n.Text.Value
	case study.List:
		for _, x := range n.Items {
			if s := plainNode(x); s != "" {
				parts = append(parts, s)
			}
		}
		return strings.Join(parts, "; ")
	default:
		for _, e := range n.Entries {
			if s := plainNode(e.Value); s != "" {
				parts = append(parts, s)
			}
		}
		return strings.Join(parts, ", ")
	}
}

// stageList shows the graph: each stage, what feeds it, how its items ended.
func (p *page) stageList() {
	if len(p.w.stages) == 0 {
		return
	}
	p.raw("<details><summary>Stages, in the order in which they ran</summary>\n")
	p.raw(`<div class="scroll"><table class="num"><thead><tr><th>stage</th><th>kind</th><th>fed by</th><th>good</th><th>failed</th><th>blocked</th></tr></thead><tbody>`, "\n")
	for _, s := range p.w.stages {
		var from []string
		for _, f := range s.From {
			from = append(from, f.Port+": "+strings.Join(f.Stages, ", "))
		}
		var good, failed, blocked int
		for i := range s.Items {
			switch st := s.Items[i].State; {
			case st.Good():
				good++
			case st == pipeline.Failed:
				failed++
			default:
				blocked++
			}
		}
		p.raw("<tr><th>")
		p.stageLink(s)
		p.raw("</th><td>")
		switch {
		case s.Kind != nil:
			p.text(s.Kind.Name)
		case s.Name == "samples":
			p.raw(`<span class="none">rows of the sheet</span>`)
		default:
			p.raw(`<span class="none">taken together</span>`)
		}
		p.raw("</td><td>")
		p.text(strings.Join(from, "; "))
		p.raw("</td>")
		for _, n := range []struct {
			n     int
			class string
		}{{good, ""}, {failed, "failed"}, {blocked, "blocked"}} {
			if n.n == 0 {
				n.class = "none"
			}
			p.raw(`<td class="`, n.class, `">`)
			p.int(n.n)
			p.raw("</td>")
		}
		p.raw("</tr>\n")
	}
	p.raw("</tbody></table></div></details>\n")
}

func (p *page) stageLink(s *stage) {
	if s.Kind == nil {
		p.text(s.Name)
		return
	}
	p.raw(`<a href="#stage-`)
	p.text(s.Name)
	p.raw(`">`)
	p.text(s.Name)
	p.raw("</a>")
}

// tableList links to the numbers as files.
func (p *page) tableList() {
	p.raw("<details><summary>All numbers as files</summary>\n<ul>\n", `<li><a href="values.json">values.json</a>: every number with its uncertainty, own and shared parts</li>`, "\n")
	for _, t := range p.w.tables {
		p.raw(`<li><a href="`, pathOf(t.file), `">`)
		p.text(t.file)
		p.raw("</a>")
		if t.about != "" {
			p.raw(": ")
			p.text(t.about)
		}
		p.raw("</li>\n")
	}
	p.raw("</ul></details>\n")
}

// pathOf is a file name in a link. Names hold letters, digits and . _ = - / alone, see fileNames.
func pathOf(file string) string { return escaped(file) }

// constants shows what the study took as given.
func (p *page) constants() {
	if (p.study == nil || len(p.study.Constants) == 0) && len(p.w.Derived) == 0 {
		return
	}
	p.open("constants", "Constants and derived columns")
	if p.study != nil && len(p.study.Constants) > 0 {
		p.raw(`<div class="scroll"><table class="num"><thead><tr><th>constant</th><th>value</th></tr></thead><tbody>`, "\n")
		line := func(name, value string) {
			p.raw("<tr><th>")
			p.text(name)
			p.raw("</th><td>")
			p.text(value)
			p.raw("</td></tr>\n")
		}
		for _, c := range p.study.Constants {
			if c.Value != nil {
				line(c.Name.Value, c.Value.Text)
			}
			for _, k := range c.Keys {
				line(c.Name.Value+"."+k.Key.Value, k.Value.Text)
			}
		}
		p.raw("</tbody></table></div>\n")
	}
	if len(p.w.Derived) > 0 {
		p.raw(`<div class="scroll"><table class="num"><thead><tr><th>derived column</th><th>expression</th></tr></thead><tbody>`, "\n")
		for _, d := range p.w.Derived {
			p.raw("<tr><th>")
			p.text(d.Name)
			if u := d.Unit.Symbol(); u != "" {
				p.raw(" <small>")
				p.text(u)
				p.raw("</small>")
			}
			p.raw("</th><td><code>")
			p.text(d.Text)
			p.raw("</code></td></tr>\n")
		}
		p.raw("</tbody></table></div>\n")
	}
	p.close()
}

// files lists every raw file with its SHA-256, the sheet and the study file.
func (p *page) files() {
	p.open("files", "Raw files")
	p.raw("<p>Each file is named with the SHA-256 of its content. Point at a hash, or tap it, to see all of it.</p>\n")
	p.raw(`<p class="small">study file `)
	sum := sha256.Sum256(p.w.Study)
	p.sha(hex.EncodeToString(sum[:]))
	if p.w.Sheet != nil {
		p.raw(" · sheet ")
		p.text(p.w.Sheet.File)
		p.raw(" ")
		p.sha(hex.EncodeToString(p.w.Sheet.SHA256[:]))
	}
	p.raw("</p>\n")
	if len(p.w.Raw) > 0 {
		tall := ""
		if len(p.w.Raw) > 25 {
			tall = " tall"
		}
		p.raw(`<div class="scroll`, tall, `"><table class="num"><thead><tr><th>file</th><th>bytes</th><th>SHA-256</th><th>read by</th><th>sample</th></tr></thead><tbody>`, "\n")
		for _, r := range p.w.Raw {
			p.raw("<tr>", nameCell(r.Path))
			p.name(r.Path)
			p.raw("</th><td>")
			p.int(int(r.Size))
			p.raw("</td><td>")
			p.sha(r.SHA256)
			p.raw("</td><td>")
			p.text(r.Stage)
			p.raw("</td><td>")
			p.sampleLink(r.Sample)
			p.raw("</td></tr>\n")
		}
		p.raw("</tbody></table></div>\n")
	}
	p.raw("<details><summary>The study file as it was read</summary>\n<pre>")
	p.text(string(p.w.Study))
	p.raw("</pre></details>\n")
	p.close()
}

func (p *page) sha(hash string) {
	if hash == "" {
		p.raw(`<span class="none">not read</span>`)
		return
	}
	p.raw(`<code class="sha" tabindex="0">`)
	p.text(hash)
	p.raw("</code>")
}

// nameCell opens the cell of a row's name: a short one stays on its line.
func nameCell(name string) string {
	if len(name) > 28 {
		return `<th class="long">`
	}
	return "<th>"
}

// name writes a name from outside, kept apart from the direction of the text around it.
func (p *page) name(s string) {
	p.raw("<bdi>")
	p.text(s)
	p.raw("</bdi>")
}

func (p *page) sampleLink(name string) {
	s := p.w.bySample[name]
	if name == "" || s == nil {
		return
	}
	p.raw(`<a href="#sample-`)
	p.int(s.number)
	p.raw(`">`)
	p.name(name)
	p.raw("</a>")
}

// cautions are true of every report.
var cautions = [...]string{
	"Numbers from fits are estimates. They hold if the model holds; whether it does, a person must judge from figures and residuals.",
	"A standard uncertainty covers what its parts name, and nothing that nobody thought of.",
	"Numbers that share a source, such as a constant or a calibration, move together: brackets alone do not tell how sure their difference or their mean is. values.json holds the parts from which that follows.",
	"A value beyond a limit (shown with > or <) is no measured number, and must not be averaged with such.",
	"Files in this folder are made anew whenever the study is run. What is changed by hand here is lost.",
}

func (p *page) remarks() {
	p.open("remarks", "Remarks and cautions")
	if len(p.w.Remarks) > 0 {
		p.raw("<h3>Remarks</h3>\n<ul>\n")
		for _, r := range p.w.Remarks {
			p.raw("<li>")
			p.text(r)
			p.raw("</li>\n")
		}
		p.raw("</ul>\n<h3>Cautions</h3>\n")
	}
	p.raw("<ul>\n")
	for _, c := range cautions {
		p.raw("<li>")
		p.text(c)
		p.raw("</li>\n")
	}
	p.raw("</ul>\n<p class=\"small\">")
	p.text("Made by " + pipeline.Program + " from the study file, the sheet and the raw files alone.")
	p.raw("</p>\n")
	p.close()
}
