package pipeline

import (
	"fmt"
	"strings"
)

// KindsTable lists kinds with their one sentence.
func KindsTable(kinds []*Kind) string {
	width := 0
	for _, k := range kinds {
		width = max(width, len(k.Name))
	}
	var b strings.Builder
	for _, k := range kinds {
		fmt.Fprintf(&b, "%-*s  %s\n", width, k.Name, k.Doc)
	}
	return b.String()
}

var pairingWords = [...]string{
	ByMatch:  "fields must be named (match, nearest, or serves at its stage)",
	BySample: "the same sample",
	ByOnly:   "the only one there is",
	ByAll:    "every item",
}

// KindHelp explains a kind: what it does, its ports, outputs, settings, formula and source, all from its declaration.
func KindHelp(k *Kind) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s (revision %d)\n%s\n", k.Name, k.Revision, k.Doc)
	if k.Formula != "" {
		fmt.Fprintf(&b, "\nformula   %s\n", k.Formula)
	}
	fmt.Fprintf(&b, "source    %s\n", k.Source)
	by := k.By
	switch by {
	case "":
		by = "item"
	case "list":
		by = "fields that the study names"
	}
	if !k.Reads {
		fmt.Fprintf(&b, "by        %s\n", by)
	}
	fmt.Fprintf(&b, "parts     %s\n", [...]string{Shift: "shared parts of uncertainties pass through (shifted calls)", Reads: "shared parts pass through (it reads the joint covariance)", NoParts: "shared parts do not pass: its outputs lack them"}[k.Parts])
	if len(k.Ports) > 0 {
		b.WriteString("\nports\n")
	}
	for _, p := range k.Ports {
		var words []string
		if p.Lead {
			words = append(words, "leads")
		} else {
			words = append(words, "partner: "+pairingWords[p.Pair])
		}
		if p.Optional {
			words = append(words, "may stay unfed")
		}
		if p.Many {
			words = append(words, "may be many")
		}
		if p.Gather {
			words = append(words, "gathers what succeeded")
		}
		fmt.Fprintf(&b, "  %s: %s (%s)\n      %s\n", p.Name, portWord(&p), strings.Join(words, "; "), p.Doc)
		for _, c := range p.Columns {
			opt := ""
			if c.Optional {
				opt = ", if it has it"
			}
			fmt.Fprintf(&b, "      needs %s%s\n", needWord(c), opt)
		}
	}
	b.WriteString("\noutputs\n")
	for _, o := range k.Outputs {
		per := [...]string{PerLead: "one for each lead item", PerGroup: "one for each group", PerAny: "any number"}[o.Per]
		fmt.Fprintf(&b, "  %s: %s, %s\n      %s\n", o.Name, o.Form, per, o.Doc)
		if o.Like != "" {
			fmt.Fprintf(&b, "      columns as those of %s\n", o.Like)
		}
		for _, c := range o.Columns {
			unit := ""
			if c.Unit != "" && c.Unit != "1" && c.Unit != "*" {
				unit = " [" + strings.TrimPrefix(c.Unit, "=") + "]"
			}
			fmt.Fprintf(&b, "      %s%s  %s\n", c.Name, unit, c.Doc)
		}
	}
	docs := SettingDocs(k)
	if len(docs) > 0 {
		b.WriteString("\nsettings\n")
	}
	for _, d := range docs {
		def := "default " + d.Default
		if d.Required {
			def = "required"
		}
		words := []string{d.Shape}
		if d.Unit != "" {
			words[0] += " in " + d.Unit
		}
		if len(d.Words) > 0 {
			words = append(words, joinOr(d.Words))
		}
		if d.Bounds != "" {
			words = append(words, d.Bounds)
		}
		fmt.Fprintf(&b, "  %s: %s (%s)\n      %s\n", d.Path, strings.Join(words, "; "), def, d.Doc)
	}
	return b.String()
}
