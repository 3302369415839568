package report

import (
	"fmt"
	"slices"
	"strings"

	"fascicle/pipeline"
)

const (
	mostFailures = 25 // shown at once; the rest unfolds
	mostNames    = 10
)

// trouble is one reason and the items it concerns. Several outputs of one name are one in items, and each counts.
type trouble struct {
	message string
	items   []*pipeline.ItemOutcome
	count   int
}

// troublesOf gathers items of a state by reason, in order of appearance. Items of one name in one stage (several outputs of a group) count once.
func (m *model) troublesOf(state pipeline.State) (list []*trouble) {
	type itemKey struct{ stage, item string }
	byMessage, seen := map[string]*trouble{}, map[itemKey]*trouble{}
	for _, s := range m.stages {
		for i := range s.Items {
			it := &s.Items[i]
			key := itemKey{it.Stage, it.Name}
			if it.State != state {
				continue
			}
			if t := seen[key]; t != nil {
				t.count++
				continue
			}
			t := byMessage[it.Message]
			if s.Kind == nil && t != nil && slices.ContainsFunc(t.items, func(x *pipeline.ItemOutcome) bool { return x.Name == it.Name }) {
				continue // a stage taken together with others: said already
			}
			if t == nil {
				t = &trouble{message: it.Message}
				byMessage[it.Message] = t
				list = append(list, t)
			}
			t.items = append(t.items, it)
			t.count++
			seen[key] = t
		}
	}
	return list
}

// troubles says first and short what is missing and why.
func (p *page) troubles() {
	p.open("missing", "What failed or is blocked")
	failed, blocked := p.w.troublesOf(pipeline.Failed), p.w.troublesOf(pipeline.Blocked)
	if len(failed)+len(blocked) == 0 {
		p.raw("<p>Nothing failed and nothing is blocked.</p>\n")
		p.close()
		return
	}
	if len(failed) > 0 {
		p.raw(`<h3 class="failed">Failed: tried, and refused or gone wrong</h3>`, "\n")
		p.troubleTable(failed)
	}
	if len(blocked) > 0 {
		p.raw(`<h3 class="blocked">Blocked: not tried, because something that is needed failed or is missing</h3>`, "\n")
		p.troubleTable(blocked)
	}
	p.close()
}

func (p *page) troubleTable(list []*trouble) {
	show := func(list []*trouble) {
		p.raw(`<div class="scroll"><table class="words"><thead><tr><th>item</th><th>stage</th><th>why</th></tr></thead><tbody>`, "\n")
		for _, t := range list {
			p.raw("<tr><td>")
			p.itemNames(t.items)
			p.raw("</td><td>")
			var stages []string
			seen := map[string]bool{}
			for _, it := range t.items {
				if !seen[it.Stage] {
					seen[it.Stage] = true
					stages = append(stages, it.Stage)
				}
			}
			p.text(someOf(stages, mostNames))
			if t.count > 1 {
				p.raw(" <small>")
				p.text(counted(t.count, "item"))
				p.raw("</small>")
			}
			p.raw("</td><td>")
			p.text(t.message)
			p.raw("</td></tr>\n")
		}
		p.raw("</tbody></table></div>\n")
	}
	show(list[:min(len(list), mostFailures)])
	if len(list) > mostFailures {
		p.raw("<details><summary>")
		p.text(fmt.Sprintf("%d more", len(list)-mostFailures))
		p.raw("</summary>\n")
		show(list[mostFailures:])
		p.raw("</details>\n")
	}
}

// someOf joins the first n words and counts the rest.
func someOf(words []string, n int) string {
	if len(words) > n {
		return fmt.Sprintf("%s and %d more", strings.Join(words[:n], ", "), len(words)-n)
	}
	return strings.Join(words, ", ")
}

// itemNames lists items, each once, with links to their samples.
func (p *page) itemNames(items []*pipeline.ItemOutcome) {
	seen := map[string]bool{}
	shown := 0
	for _, it := range items {
		name := plainItem(it)
		if seen[name] {
			continue
		}
		seen[name] = true
		if shown++; shown > mostNames {
			continue
		}
		if shown > 1 {
			p.raw(", ")
		}
		if it.Sample != "" && p.w.bySample[it.Sample] != nil {
			p.sampleLink(it.Sample)
			if r := rest(it.Name, it.Sample); r != "" {
				p.text(" (" + strings.ReplaceAll(r, ",", ", ") + ")")
			}
		} else {
			p.name(name)
		}
	}
	if shown > mostNames {
		p.text(fmt.Sprintf(" and %d more", shown-mostNames))
	}
}

// flagList explains the marks beside numbers.
func (p *page) flagList() {
	if len(p.flagged) == 0 {
		return
	}
	p.open("flags", "Flagged")
	p.raw("<p>Numbers with the mark † were made, but a person must judge them.</p>\n")
	p.raw(`<div class="scroll`)
	if len(p.flagged) > 25 {
		p.raw(" tall")
	}
	p.raw(`"><table class="words"><thead><tr><th>mark</th><th>item</th><th>stage</th><th>what was seen</th></tr></thead><tbody>`, "\n")
	for k, f := range p.flagged {
		p.raw(`<tr id="flag-`)
		p.int(k + 1)
		p.raw(`"><td class="flagged">†`)
		p.int(k + 1)
		p.raw("</td><td>")
		p.itemNames(f.items)
		p.raw("</td><td>")
		p.text(f.stage)
		p.raw("</td><td>")
		p.text(levelWord(f.level))
		p.text(f.text)
		p.raw("</td></tr>\n")
	}
	p.raw("</tbody></table></div>\n")
	p.close()
}

// levelWord introduces the findings of checks; other flags speak for themselves.
func levelWord(level string) string {
	switch pipeline.FlagLevel(level) {
	case pipeline.Notice:
		return "beyond notice: "
	case pipeline.Tolerance:
		return "beyond tolerance: "
	}
	return ""
}
