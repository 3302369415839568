package main

import (
	"context"
	"fmt"
	"strings"

	"fascicle/pipeline"

	"github.com/spf13/cobra"
)

func checkCommand(a *app) *cobra.Command {
	return &cobra.Command{
		Use:   "check [DIR]",
		Short: "Report every fault of study, sheet and file list; compute nothing",
		Args:  arguments(0, 1),
		RunE: func(c *cobra.Command, args []string) error {
			a.status = a.check(c.Context(), folder(args))
			return nil
		},
	}
}

// check reads study, sheet and the list of files, and says what is wrong with them and which files each stage takes. Its status is 2
// when the study cannot be run, 1 when it can but a file cannot be taken.
func (a *app) check(ctx context.Context, dir string) int {
	p, faults := pipeline.Load(dir, a.kinds)
	if len(faults) > 0 {
		status := a.faults(faults)
		a.say("%s", plural(len(faults), "fault"))
		a.line(checkEnd{event: event{"end"}, Faults: len(faults)})
		return status
	}
	if ctx.Err() != nil {
		return a.fail(ctx, ctx.Err())
	}
	files, remarks := p.Files()
	perStage := map[string]int{}
	var order []string
	problems := 0
	for _, f := range files {
		if perStage[f.Stage]++; perStage[f.Stage] == 1 {
			order = append(order, f.Stage)
		}
		a.line(fileLine{event{"file"}, f.Stage, f.Path, f.Sample, f.Problem})
		if f.Problem != "" {
			problems++
			a.warn("%s: %s", f.Path, strings.TrimPrefix(f.Problem, f.Path+": "))
		}
	}
	for _, stage := range order {
		a.say("%s takes %s", stage, plural(perStage[stage], "file"))
	}
	for _, r := range remarks {
		a.say("remark: %s", r)
		a.line(remarkLine{event{"remark"}, r})
	}
	a.sources(p.SharedSources())
	end := checkEnd{event{"end"}, 0, problems, len(p.Study.Graph), len(p.Sheet.Rows), len(files)}
	a.line(end)
	what := fmt.Sprintf("%s, %s, %s", plural(end.Stages, "stage"), plural(end.Samples, "sample"), plural(end.Files, "file"))
	if problems > 0 {
		a.say("the study is in order, but not all of its files: %s, %s", what, plural(problems, "problem"))
		return statusHoles
	}
	a.say("in order: %s", what)
	return statusGood
}

// sources lists the uncertain numbers that samples share, and how far each reaches.
func (a *app) sources(list []pipeline.SharedSource) {
	for _, s := range list {
		a.line(sourceLine{event{"source"}, s})
		text := fmt.Sprintf("uncertain: %s, %s; reaches %s", s.Name, s.Value, strings.Join(s.Stages, ", "))
		if len(s.Stages) == 0 {
			text = fmt.Sprintf("uncertain: %s, %s; reaches no stage", s.Name, s.Value)
		}
		if len(s.Lost) > 0 {
			text += "; its part is not carried by " + strings.Join(s.Lost, ", ")
		}
		if s.Remark != "" {
			text += "; " + s.Remark
		}
		a.say("%s", text)
	}
}

type sourceLine struct {
	event
	pipeline.SharedSource
}

type fileLine struct {
	event
	Stage  string `json:"stage"`
	File   string `json:"file"`
	Sample string `json:"sample,omitempty"`
	// Problem says why the file cannot be taken, such as that its sample is not in the sheet.
	Problem string `json:"problem,omitempty"`
}

type remarkLine struct {
	event
	Message string `json:"message"`
}

type checkEnd struct {
	event
	Faults   int `json:"faults"`
	Problems int `json:"problems"`
	Stages   int `json:"stages"`
	Samples  int `json:"samples"`
	Files    int `json:"files"`
}
