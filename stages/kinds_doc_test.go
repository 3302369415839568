package stages

import (
	"bytes"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"fascicle/catalog"
	"fascicle/pipeline"

	"github.com/google/go-cmp/cmp"
)

// `go test ./stages -update` writes docs/kinds.md and testdata/revisions anew.
var update = flag.Bool("update", false, "write docs/kinds.md and testdata/revisions anew")

// Every declaration is whole: docs, sources, units, defaults that can be read.
func TestKindsAreWhole(t *testing.T) {
	if err := pipeline.CheckKinds(Kinds()); err != nil {
		t.Error(err)
	}
}

// docs/kinds.md is what the declarations say, and nothing else.
func TestKindsDoc(t *testing.T) {
	name := filepath.Join("..", "docs", "kinds.md")
	want := kindsDoc(Kinds())
	if *update {
		if err := os.WriteFile(name, want, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	got, err := os.ReadFile(name)
	if err != nil {
		t.Fatalf("%v; `go test ./stages -update` writes it", err)
	}
	got = bytes.ReplaceAll(got, []byte("\r\n"), []byte("\n")) // a checkout may have changed the line ends
	if d := cmp.Diff(strings.Split(string(want), "\n"), strings.Split(string(got), "\n")); d != "" {
		t.Errorf("docs/kinds.md is not what the kinds declare (-declared +docs); `go test ./stages -update` writes it anew:\n%s", d)
	}
}

// kindsDoc writes all kinds as one page of Markdown, in the order of the list.
func kindsDoc(kinds []*pipeline.Kind) []byte {
	b := &doc{}
	b.line("# Kinds")
	b.line("")
	b.line("Written from the declarations in `stages/` by `go test ./stages -update`; do not edit. `fascicle kinds NAME` prints the same.")
	b.line("")
	b.line("What the words mean (kind, port, partner, group, item, output, setting) stands in [architecture.md](architecture.md).")
	b.line("")
	b.line("| kind | what it does |")
	b.line("| --- | --- |")
	for _, k := range kinds {
		b.line("| [%s](#%s) | %s |", k.Name, anchor(k.Name), cell(k.Doc))
	}
	for _, k := range kinds {
		b.kind(k)
	}
	return b.Bytes()
}

type doc struct{ bytes.Buffer }

func (b *doc) line(format string, args ...any) { fmt.Fprintf(b, format+"\n", args...) }

// table writes a head and rows, or nothing when there are no rows.
func (b *doc) table(title string, head []string, rows [][]string) {
	if len(rows) == 0 {
		return
	}
	b.line("")
	b.line("**%s**", title)
	b.line("")
	b.line("| %s |", strings.Join(head, " | "))
	b.line("|%s", strings.Repeat(" --- |", len(head)))
	for _, r := range rows {
		for i := range r {
			r[i] = cell(r[i])
		}
		b.line("| %s |", strings.Join(r, " | "))
	}
}

func (b *doc) kind(k *pipeline.Kind) {
	b.line("")
	b.line("## %s", k.Name)
	b.line("")
	b.line("%s", k.Doc)
	b.line("")
	if k.Formula != "" {
		b.line("- Formula: `%s`", k.Formula)
	}
	b.line("- Source: %s", k.Source)
	if !k.Reads {
		b.line("- Grouped by: %s, unless the stage says `by`", by(k))
	}
	b.line("- Shared parts of uncertainties: %s", partsWord(k.Parts))
	b.line("- Revision: %d", k.Revision)
	var ports, outputs, settings, figures [][]string
	for _, p := range k.Ports {
		ports = append(ports, []string{code(p.Name), forms(p.Forms), portRole(&p), p.Doc, needs(p.Columns)})
	}
	for _, o := range k.Outputs {
		outputs = append(outputs, []string{code(o.Name), o.Form.String(), perWord(o.Per), o.Doc, gives(&o)})
	}
	for _, s := range pipeline.SettingDocs(k) {
		shape := s.Shape
		if s.Unit != "" {
			shape += " in " + strings.Replace(s.Unit, "any", "any unit", 1)
		}
		if len(s.Words) > 0 {
			link := ", or "
			if s.Shape == "a word" {
				link = ": "
			}
			shape += link + "`" + strings.Join(s.Words, "`, `") + "`"
		}
		if s.Bounds != "" {
			shape += "; " + s.Bounds
		}
		def := "required"
		if !s.Required {
			def = code(s.Default)
		}
		settings = append(settings, []string{code(s.Path), shape, def, s.Doc})
	}
	for _, f := range k.Figures {
		var series []string
		for _, s := range f.Series {
			series = append(series, s.Label)
		}
		figures = append(figures, []string{code(f.Name), f.Title, strings.Join(series, "; ")})
	}
	b.table("Ports", []string{"port", "takes", "how", "what it is", "columns it needs"}, ports)
	b.table("Outputs", []string{"output", "form", "one for each", "what it is", "columns"}, outputs)
	b.table("Settings", []string{"setting", "is", "default", "meaning"}, settings)
	b.table("Figures", []string{"figure", "title", "shows"}, figures)
}

// cell keeps a text in its cell.
func cell(s string) string { return strings.NewReplacer("|", `\|`, "\n", " ", "<", "&lt;").Replace(s) }

func code(s string) string {
	if s == "" {
		return ""
	}
	return "`" + s + "`"
}

// anchor is the link that a heading gets.
func anchor(name string) string {
	return strings.Map(func(r rune) rune {
		if r == '.' {
			return -1
		}
		return r
	}, strings.ToLower(name))
}

func by(k *pipeline.Kind) string {
	switch k.By {
	case "":
		return "item"
	case "list":
		return "fields that the study names"
	}
	return k.By
}

func partsWord(m pipeline.PartsMode) string {
	switch m {
	case pipeline.Shift:
		return "`shift` (the kind is called on shifted input)"
	case pipeline.Reads:
		return "`reads` (the kind is given the joint covariance of its inputs)"
	}
	return "`none` (its outputs lack them, and say so)"
}

func perWord(p pipeline.Per) string {
	switch p {
	case pipeline.PerLead:
		return "lead item"
	case pipeline.PerGroup:
		return "group"
	}
	return "curve in a file"
}

func forms(all []pipeline.Form) string {
	var words []string
	for _, f := range all {
		words = append(words, f.String())
	}
	if len(words) == 0 {
		return "anything"
	}
	return strings.Join(words, " or ")
}

func portRole(p *pipeline.Port) string {
	words := []string{"leads"}
	if !p.Lead {
		switch p.Pair {
		case pipeline.ByMatch:
			words[0] = "partner: fields must be named"
		case pipeline.BySample:
			words[0] = "partner: same sample"
		case pipeline.ByOnly:
			words[0] = "partner: the only one"
		case pipeline.ByAll:
			words[0] = "partners: every item"
		}
	}
	for _, w := range []struct {
		is   bool
		word string
	}{{p.Optional, "may stay unfed"}, {p.Many, "may be many"}, {p.Gather, "gathers what succeeded"}} {
		if w.is {
			words = append(words, w.word)
		}
	}
	return strings.Join(words, "; ")
}

func columnWord(c pipeline.Column) string {
	name := code(c.Name)
	switch c.Name {
	case pipeline.AxisColumn:
		name = "axis"
	case pipeline.ValueColumn:
		name = "value"
	}
	switch {
	case c.Unit == "*":
		return name + " in any unit"
	case strings.HasPrefix(c.Unit, "="):
		return name + " in the unit of " + strings.TrimPrefix(c.Unit, "=")
	case c.Unit == "" || c.Unit == "1":
		return name
	}
	u, err := catalog.ParseUnit(c.Unit)
	if err != nil {
		return name + " in " + c.Unit // CheckKinds has refused it
	}
	return name + " in " + u.Symbol()
}

func needs(columns []pipeline.Column) string {
	var words []string
	for _, c := range columns {
		w := columnWord(c)
		if c.Optional {
			w += " (if it has it)"
		}
		words = append(words, w)
	}
	return strings.Join(words, "; ")
}

func gives(o *pipeline.Output) string {
	var words []string
	if o.Like != "" {
		words = append(words, "those of "+code(o.Like))
	}
	for _, c := range o.Columns {
		w := columnWord(c)
		if c.U {
			w += " ± u"
		}
		if c.Doc != "" {
			w += ": " + c.Doc
		}
		words = append(words, w)
	}
	if o.Shape != nil {
		words = append(words, "more by settings and inputs")
	}
	if o.Open {
		words = append(words, "known when the items are")
	}
	return strings.Join(words, "; ")
}
