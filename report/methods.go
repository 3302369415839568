package report

import (
	"strings"

	"fascicle/pipeline"
)

// methods writes what was done, from the kinds' declarations and the settings used.
func (p *page) methods() {
	var kinds []*pipeline.Kind
	stages := map[string][]*stage{}
	for _, s := range p.w.stages {
		if s.Kind == nil {
			continue
		}
		if stages[s.Kind.Name] == nil {
			kinds = append(kinds, s.Kind)
		}
		stages[s.Kind.Name] = append(stages[s.Kind.Name], s)
	}
	if len(kinds) == 0 {
		return
	}
	p.open("methods", "Methods")
	p.raw("<p>In the order of the stages. Settings that the study does not write are the program's own and are shown in grey.</p>\n")
	for _, k := range kinds {
		p.raw("<article>\n<h3>")
		p.text(k.Name)
		p.raw(" <small>")
		p.text(k.Doc)
		p.raw("</small></h3>\n")
		if k.Formula != "" {
			p.raw(`<p class="formula code">`)
			p.text(k.Formula)
			p.raw("</p>\n")
		}
		if k.Source != "" {
			p.raw(`<p class="small">Source: `)
			p.text(k.Source)
			p.raw("</p>\n")
		}
		for _, s := range stages[k.Name] {
			p.method(s)
		}
		p.raw("</article>\n")
	}
	p.close()
}

// method is one stage's sentence with its settings.
func (p *page) method(s *stage) {
	p.raw(`<div class="method" id="stage-`)
	p.text(s.Name)
	p.raw("\"><h4>")
	p.text(s.Name)
	var fed []string
	for _, f := range s.From {
		fed = append(fed, f.Port+" from "+strings.Join(f.Stages, ", "))
	}
	if len(s.By) > 0 && s.By[0] != "item" && s.By[0] != "" {
		fed = append(fed, "by "+strings.Join(s.By, ", "))
	}
	if len(fed) > 0 {
		p.raw(" <small>")
		p.text(strings.Join(fed, "; "))
		p.raw("</small>")
	}
	p.raw("</h4>\n")
	if s.Kind.Methods != "" {
		p.raw("<p>")
		p.text(filled(s.Kind.Methods, s.Settings))
		p.raw("</p>\n")
	}
	if len(s.Settings) > 0 {
		p.raw(`<p class="set">`)
		for _, l := range s.Settings {
			p.raw("<span")
			if l.Default {
				p.raw(` class="default"`)
			}
			p.raw("><code>")
			p.text(l.Path)
			p.raw("</code> ")
			p.text(orWord(l.Value, "none"))
			if l.Default {
				p.raw(" (default)")
			}
			p.raw("</span> ")
		}
		p.raw("</p>\n")
	}
	if len(s.MissingParts) > 0 {
		p.raw(`<p class="small">‡ `)
		p.text(missingSentence(s.MissingParts) + " What is shown in brackets is what is known of u without it.")
		p.raw("</p>\n")
	}
	p.raw("</div>\n")
}

// filled puts the values of settings in the place of their names in braces. A name that no setting bears stays as it is, so that a reader
// sees that something is missing.
func filled(sentence string, settings []pipeline.SettingLine) string {
	var b strings.Builder
	for {
		before, after, ok := strings.Cut(sentence, "{")
		b.WriteString(before)
		if !ok {
			return b.String()
		}
		name, left, closed := strings.Cut(after, "}")
		if !closed {
			b.WriteString("{" + after)
			return b.String()
		}
		b.WriteString(valueOf(name, settings))
		sentence = left
	}
}

func valueOf(path string, settings []pipeline.SettingLine) string {
	var members []string
	for _, l := range settings {
		if l.Path == path {
			return orWord(l.Value, "none")
		}
		if rest, ok := strings.CutPrefix(l.Path, path+"."); ok { // of a setting with keys: all of them
			members = append(members, rest+" "+l.Value)
		}
	}
	if len(members) > 0 {
		return strings.Join(members, ", ")
	}
	return "{" + path + "}"
}
