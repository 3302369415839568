package study

import (
	"fmt"
	"strings"
)

// What the report alone reads. Its form is checked here, so that a fault is found by `check` and not after a night of
// computing; what it refers to is looked up by the report.

// about: who, under which licence, paid by whom, when.
func (r *reader) about(n *Node) {
	entries := r.mapOf(n, "a map with authors, licence, funding or dates", true)
	r.known(entries, "in about", "authors", "licence", "funding", "dates")
	for _, e := range entries {
		switch e.Key.Value {
		case "authors":
			r.authors(e.Value)
		case "dates":
			r.full(e.Value, "a date such as 2026-03-01")
		case "licence", "funding":
			r.anyText(e.Value, "a text")
		}
	}
}

func (r *reader) authors(n *Node) {
	const expected = `a list of authors, such as [{name: "…", orcid: "…"}]`
	if n.Kind != List {
		r.misfit(n, expected, "put it in square brackets")
		return
	}
	for _, a := range n.Items {
		entries := r.mapOf(a, "an author, {name: …, orcid: …}", false)
		r.known(entries, "of an author", "name", "orcid")
		for _, e := range entries {
			if e.Key.Value == "name" || e.Key.Value == "orcid" {
				r.anyText(e.Value, `a text (an empty one is "")`)
			}
		}
	}
}

// questions: what the report answers first, and the figures that answer.
func (r *reader) questions(n *Node) {
	for _, e := range r.mapOf(n, "a map of questions, `question: [figures]`", true) {
		r.texts(e.Value, "a list of figures, such as [window, STAGE/FIGURE]")
	}
}

var panelKeys = []string{"figure", "stage", "where", "each", "x", "y", "series", "scale"}

// figures: each of panels, which show a figure of a stage or columns of its items.
func (r *reader) figures(n *Node) {
	for _, e := range r.mapOf(n, "a map of figures", true) {
		place := fmt.Sprintf("in figure %q", e.Key.Value)
		r.fileName(e.Key, "figure")
		body := r.mapOf(e.Value, "the entries "+place, false)
		has := r.known(body, place, "caption", "width", "across", "panels")
		if len(body) > 0 && has["panels"] == nil {
			r.add(e.Key.Pos, fmt.Sprintf("the figure %q without panels", e.Key.Value), "panels, a list", "add `panels:` below it")
		}
		for _, b := range body {
			switch b.Key.Value {
			case "panels":
				r.panels(b.Value, place)
			case "caption", "width", "across":
				r.text(b.Value, "the "+b.Key.Value+" "+place, "")
			}
		}
	}
}

func (r *reader) panels(n *Node, place string) {
	const expected = "a list of panels, {figure: STAGE/FIGURE} or {stage: …, x: …, y: …}"
	if n.Kind != List || len(n.Items) == 0 {
		r.misfit(n, expected, "put panels in square brackets, or each on a line that begins with `- `")
		return
	}
	for _, p := range n.Items {
		entries := r.mapOf(p, "a panel, {figure: STAGE/FIGURE} or {stage: …, x: …, y: …}", false)
		if len(entries) == 0 {
			continue
		}
		has := r.known(entries, "in a panel "+place, panelKeys...)
		if (has["figure"] == nil) == (has["stage"] == nil) {
			found := "a panel with neither figure nor stage"
			if has["figure"] != nil {
				found = "a panel with both figure and stage"
			}
			r.add(p.Pos, found, "one of them", "name a figure of a stage (STAGE/FIGURE), or a stage with x and y")
		}
		for _, e := range entries {
			switch e.Key.Value {
			case "y", "series", "each":
				r.textOrTexts(e.Value, "a name or a list of names")
			case "figure", "stage", "where", "x", "scale":
				r.text(e.Value, "the "+e.Key.Value+" of a panel", oneName)
			}
		}
	}
}

// tables: each of a stage, with the columns and the file formats asked for.
func (r *reader) tables(n *Node) {
	for _, e := range r.mapOf(n, "a map of tables", true) {
		place := fmt.Sprintf("in table %q", e.Key.Value)
		r.fileName(e.Key, "table")
		body := r.mapOf(e.Value, "the entries "+place, false)
		has := r.known(body, place, "caption", "stage", "where", "columns", "formats")
		if len(body) > 0 && has["stage"] == nil {
			r.add(e.Key.Pos, fmt.Sprintf("the table %q without a stage", e.Key.Value), "stage, the one whose items are its rows",
				"add `stage: NAME` below it")
		}
		for _, b := range body {
			switch b.Key.Value {
			case "columns":
				r.texts(b.Value, "a list of columns")
			case "formats":
				r.texts(b.Value, "a list of file formats, such as [csv, tex]")
			case "caption", "stage", "where":
				r.text(b.Value, "the "+b.Key.Value+" "+place, "")
			}
		}
	}
}

// style: how figures look.
func (r *reader) style(n *Node) {
	entries := r.mapOf(n, "a map with font-size, colours, marks, names or units", true)
	r.known(entries, "in style", "font-size", "colours", "marks", "names", "units")
	for _, e := range entries {
		switch e.Key.Value {
		case "font-size":
			r.text(e.Value, "a size such as 8 pt", "")
		case "colours", "marks", "names", "units":
			what := strings.TrimSuffix(e.Key.Value, "s")
			for _, v := range r.mapOf(e.Value, fmt.Sprintf("a map of %s, `name: %s`", e.Key.Value, what), true) {
				r.text(v.Value, "a "+what, "")
			}
		}
	}
}

// fileName wants a name that can be a file's everywhere: it becomes out/figures/NAME.svg.
func (r *reader) fileName(t Text, what string) {
	for _, c := range t.Value {
		if c == '_' || c == '-' || c >= '0' && c <= '9' || c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' {
			continue
		}
		r.add(t.Pos, fmt.Sprintf("%s as the name of a %s", quoteShort(t.Value), what), "letters a to z, digits, _ and -",
			"rename it: its file is called so")
		return
	}
}
