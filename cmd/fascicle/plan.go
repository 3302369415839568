package main

import (
	"strings"

	"fascicle/pipeline"
)

// planLine is a stage as `run --plan` knows it.
type planLine struct {
	event
	Stage   string   `json:"stage"`
	Kind    string   `json:"kind,omitempty"`
	Items   []string `json:"items"`
	Unknown string   `json:"unknown,omitempty"` // why the items are not known yet
}

// plan prints which stages would work on what. It makes nothing.
func (a *app) plan(p *pipeline.Project) int {
	planned := p.Plan()
	for _, s := range planned {
		a.line(planLine{event{"stage"}, s.Name, s.Kind, append([]string{}, s.Items...), s.Unknown})
		what := plural(len(s.Items), "item")
		if s.Unknown != "" {
			what = s.Unknown
		}
		a.say("%s", strings.TrimRight(s.Name+"  "+s.Kind, " ")+": "+what)
		for _, item := range s.Items {
			a.say("  %s", item)
		}
	}
	a.line(struct {
		event
		Stages int `json:"stages"`
	}{event{"end"}, len(planned)})
	return statusGood
}
