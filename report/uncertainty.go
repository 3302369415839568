package report

import (
	"slices"
	"strings"

	"fascicle/pipeline"
)

// sourceNote is what the report says of a source of shared uncertainty.
type sourceNote struct {
	name    string
	numbers int             // that it moves, or whose part is not known
	unknown int             // of these, those whose part is not known
	most    float64         // its largest share of u²
	where   *pipeline.Value // the number that has it; nil: none
	noisy   bool            // which has an own part too
}

// findSources lists the sources of the study: those that reach a number, and constants with an uncertainty that reach none.
func (m *model) findSources(constants []string) {
	at := map[string]*sourceNote{}
	get := func(name string) *sourceNote {
		if at[name] == nil {
			at[name] = &sourceNote{name: name}
		}
		return at[name]
	}
	for _, c := range constants {
		get(c)
	}
	for i := range m.values {
		v := &m.values[i]
		if v.Value == nil {
			continue
		}
		for _, s := range parts(v) {
			n := get(s.source)
			n.numbers++
			// Of equal ones the first in the order of values. Numbers without an own part consist of shared ones alone: they tell little.
			noisy := v.Own != nil && *v.Own > 0
			if v.U != nil && (n.where == nil || noisy && !n.noisy || noisy == n.noisy && s.fraction > n.most) {
				n.most, n.where, n.noisy = s.fraction, v, noisy
			}
		}
		for _, s := range v.Unknown {
			n := get(s)
			n.numbers++
			n.unknown++
		}
	}
	for _, n := range at {
		m.sources = append(m.sources, n)
	}
	slices.SortFunc(m.sources, func(a, b *sourceNote) int { return byNature(a.name, b.name) })
	m.sourceAt = map[string]int{}
	for k, n := range m.sources {
		m.sourceAt[n.name] = k
	}
}

// uncertainConstants names the constants of the study that have an uncertainty, as sources.
func (p *page) uncertainConstants() (names []string) {
	if p.study == nil {
		return nil
	}
	for _, c := range p.study.Constants {
		if c.Value != nil && c.Value.HasU && c.Value.U > 0 {
			names = append(names, "constants."+c.Name.Value)
		}
		for _, k := range c.Keys {
			if k.Value.HasU && k.Value.U > 0 {
				names = append(names, "constants."+c.Name.Value+"."+k.Key.Value)
			}
		}
	}
	return names
}

// stated is what the study says of a source, and what it is.
func (p *page) stated(name string) (what, value string) {
	if p.study != nil {
		for _, c := range p.study.Constants {
			if c.Value != nil && name == "constants."+c.Name.Value {
				return "constant", c.Value.Text
			}
			for _, k := range c.Keys {
				if name == "constants."+c.Name.Value+"."+k.Key.Value {
					return "constant", k.Value.Text
				}
			}
		}
	}
	if rest, ok := strings.CutPrefix(name, "sheet."); ok && p.w.Sheet != nil && strings.HasSuffix(rest, "]") {
		column, sample, _ := strings.Cut(strings.TrimSuffix(rest, "]"), "[")
		if k, ok := p.w.Sheet.Column(column); ok {
			if row, ok := p.w.Sheet.Row(sample); ok && k < len(row.Cells) {
				return "cell of the sheet", strings.TrimSpace(row.Cells[k].Text + " " + p.w.Sheet.Columns[k].Unit.Symbol())
			}
		}
	}
	for _, s := range p.w.stages {
		rest, ok := strings.CutPrefix(name, s.Name)
		if !ok || rest == "" || s.Kind == nil {
			continue
		}
		switch {
		case rest[0] == '[' || rest[0] == '.' && strings.Contains(rest, "["):
			return "numbers of an item of " + s.Name, ""
		case rest[0] == '.':
			for _, l := range s.Settings {
				if l.Path == rest[1:] {
					return "setting", l.Value
				}
			}
			return "setting", ""
		}
	}
	return "", ""
}

// uncertainty explains once how the u of every number is formed, and lists what numbers share.
func (p *page) uncertainty() {
	if !slices.ContainsFunc(p.w.values, func(v pipeline.Value) bool { return v.U != nil || v.Own != nil || len(v.Unknown) > 0 }) && len(p.w.sources) == 0 {
		return
	}
	p.open("uncertainty", "How uncertainties are formed")
	p.raw("<p>The u of a number is its standard uncertainty. It has an <b>own part</b>, which is that number’s alone (noise, counting, the fit), and <b>shared parts</b>, one for each source that may move other numbers as well: a constant, a setting or a cell of the sheet that is uncertain, or the numbers of a calibration, standard or control that serves several items.</p>\n")
	p.raw("<p class=\"formula code\">u² = own² + Σ part²\ncov(x, y) = Σ part(x) · part(y)</p>\n")
	p.raw("<p>A part is the change of the number when its source rises by one standard uncertainty. It is found by computing the number with the source shifted by +u and by −u, all choices kept as they were: part = ½[f(+u) − f(−u)] (JCGM 100:2008, 5.1.4). Its sign is kept, because two numbers that share a source move together: the covariance of the values of two samples is the sum over sources of part times part (JCGM 100:2008, 5.2.2). More samples do not average such a part away.</p>\n")
	reads := slices.ContainsFunc(p.w.stages, func(s *stage) bool { return s.Kind != nil && s.Kind.Parts == pipeline.Reads })
	if reads {
		p.raw("<p>Stages that compare samples, or draw lines through them, are given this covariance.</p>\n")
	}
	p.raw("<p>Bars on numbers are the whole u. Bars along a measured curve are own parts, which show its scatter. Degrees of freedom are combined by the Welch–Satterthwaite formula (JCGM 100:2008, G.4.1); where they are fewer than 30, a number’s budget gives the interval that covers 95 %, by Student’s t.</p>\n")
	if slices.ContainsFunc(p.w.values, func(v pipeline.Value) bool { return len(unknownOf(&v)) > 0 }) {
		p.raw("<p>‡ marks a number to which a source contributes by an amount that is not known. Its bracket holds the rest of u, and values.json holds no u for it.</p>\n")
	}
	if slices.ContainsFunc(p.w.sources, func(n *sourceNote) bool { return strings.Contains(n.name, "].") }) {
		p.raw("<p>Where the numbers of one item are correlated, their own covariance is split into sources that are independent of each other, .1, .2 and so on (its Cholesky factor, column by column).</p>\n")
	}
	p.sourceTable()
	p.close()
}

// sourceTable lists every source with the numbers that it reaches.
func (p *page) sourceTable() {
	if len(p.w.sources) == 0 {
		p.raw("<p>No source that numbers share has an uncertainty in this study: each u is an own part alone. A constant is given one by brackets behind its last digits, as in 1.004(3).</p>\n")
		return
	}
	tall := ""
	if len(p.w.sources) > 25 {
		tall = " tall"
	}
	unknown := slices.ContainsFunc(p.w.sources, func(n *sourceNote) bool { return n.unknown > 0 })
	p.raw(`<div class="scroll`, tall, `"><table class="num sources"><thead><tr><th>source</th><th>what it is</th><th>numbers it reaches</th>`)
	if unknown {
		p.raw("<th>part not known</th>")
	}
	p.raw("<th>largest share of u²</th></tr></thead><tbody>\n")
	for k, n := range p.w.sources {
		p.raw(`<tr id="source-`)
		p.int(k + 1)
		p.raw(`">`, nameCell(n.name))
		p.raw("<code>")
		p.name(n.name)
		p.raw("</code></th><td>")
		what, value := p.stated(n.name)
		p.text(what)
		if value != "" {
			if what != "" {
				p.raw(": ")
			}
			p.text(value)
		}
		p.raw("</td><td>")
		if n.numbers == 0 {
			p.raw(`<span class="none">none</span>`)
		} else {
			p.int(n.numbers)
		}
		if unknown {
			p.raw("</td><td>")
			if n.unknown > 0 {
				p.int(n.unknown)
			}
		}
		p.raw("</td><td>")
		if n.where != nil {
			p.raw(percent(n.most), " of ")
			p.text(n.where.Name)
			if n.where.Sample != "" || n.where.Series != "" {
				p.raw(" of ")
				if n.where.Sample != "" {
					p.sampleLink(n.where.Sample)
				} else {
					p.name(n.where.Series)
				}
			}
			p.raw(" <small>")
			p.text(n.where.Stage)
			p.raw("</small>")
		}
		p.raw("</td></tr>\n")
	}
	p.raw("</tbody></table></div>\n")
}
