package main

import (
	"context"
	"fmt"

	"fascicle/catalog/fault"
	"fascicle/pipeline"

	"github.com/spf13/cobra"
)

func kindsCommand(a *app) *cobra.Command {
	return &cobra.Command{
		Use:   "kinds [NAME]",
		Short: "List the stage kinds, or explain one",
		Args:  arguments(0, 1),
		RunE: func(c *cobra.Command, args []string) error {
			a.status = a.listKinds(c.Context(), args)
			return nil
		},
		ValidArgsFunction: func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
			return kindNames(a.kinds), cobra.ShellCompDirectiveNoFileComp
		},
	}
}

// listKinds prints all kinds, or the one that args names.
func (a *app) listKinds(ctx context.Context, args []string) int {
	if len(args) == 0 {
		for _, k := range a.kinds {
			a.line(lineOf(k))
		}
		a.text(pipeline.KindsTable(a.kinds))
		return statusGood
	}
	for _, k := range a.kinds {
		if k.Name == args[0] {
			a.line(lineOf(k))
			a.text(pipeline.KindHelp(k))
			return statusGood
		}
	}
	found, remedy := fault.Unknown("kind", args[0], kindNames(a.kinds))
	if remedy == "" {
		remedy = "`fascicle kinds` lists them"
	}
	return a.fail(ctx, fmt.Errorf("%s; %s", found, remedy))
}

func kindNames(kinds []*pipeline.Kind) []string {
	names := make([]string, len(kinds))
	for i, k := range kinds {
		names[i] = k.Name
	}
	return names
}

// kindLine is a kind's declaration.
type kindLine struct {
	event
	Name     string        `json:"name"`
	Revision int           `json:"revision"`
	Doc      string        `json:"doc"`
	Formula  string        `json:"formula"`
	Source   string        `json:"source"`
	By       string        `json:"by"`
	Ports    []portLine    `json:"ports"`
	Outputs  []outputLine  `json:"outputs"`
	Settings []settingLine `json:"settings"`
}

type portLine struct {
	Name     string   `json:"name"`
	Doc      string   `json:"doc,omitempty"`
	Forms    []string `json:"forms"`
	Lead     bool     `json:"lead"`
	Optional bool     `json:"optional"`
	Many     bool     `json:"many"`
	Gather   bool     `json:"gather"`
}

type outputLine struct {
	Name string `json:"name"`
	Doc  string `json:"doc,omitempty"`
	Form string `json:"form"`
}

type settingLine struct {
	Name     string   `json:"name"`
	Doc      string   `json:"doc"`
	Shape    string   `json:"shape"`
	Unit     string   `json:"unit,omitempty"`
	Default  string   `json:"default,omitempty"`
	Required bool     `json:"required"`
	Words    []string `json:"words,omitempty"`
	Bounds   string   `json:"bounds,omitempty"`
}

func lineOf(k *pipeline.Kind) kindLine {
	by := k.By
	if by == "" {
		by = "item"
	}
	l := kindLine{event: event{"kind"}, Name: k.Name, Revision: k.Revision, Doc: k.Doc, Formula: k.Formula, Source: k.Source, By: by,
		Ports: []portLine{}, Outputs: []outputLine{}, Settings: []settingLine{}}
	for _, p := range k.Ports {
		forms := make([]string, len(p.Forms))
		for i, f := range p.Forms {
			forms[i] = f.String()
		}
		l.Ports = append(l.Ports, portLine{p.Name, p.Doc, forms, p.Lead, p.Optional, p.Many, p.Gather})
	}
	for _, o := range k.Outputs {
		l.Outputs = append(l.Outputs, outputLine{o.Name, o.Doc, o.Form.String()})
	}
	for _, s := range pipeline.SettingDocs(k) {
		l.Settings = append(l.Settings, settingLine{s.Path, s.Doc, s.Shape, s.Unit, s.Default, s.Required, s.Words, s.Bounds})
	}
	return l
}
