package main

import (
	"cmp"
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"fascicle/pipeline"
	"fascicle/pipeline/study"
	"fascicle/report"

	"github.com/spf13/cobra"
)

// listed is how many failed and blocked items a run prints; the report lists all of them.
const listed = 20

// runOptions are the flags of `fascicle run`.
type runOptions struct {
	jobs              int
	why, remake, plan bool
	label             string
	longest           time.Duration
}

func runCommand(a *app) *cobra.Command {
	var opt runOptions
	c := &cobra.Command{
		Use:   "run [DIR]",
		Short: "Make what is missing or out of date, then the report",
		Args:  arguments(0, 1),
		RunE: func(c *cobra.Command, args []string) error {
			if opt.jobs < 0 || c.Flags().Changed("jobs") && opt.jobs == 0 {
				return fmt.Errorf("found --jobs %d; expected 1 or more; leave it out for one a processor", opt.jobs)
			}
			if opt.longest < 0 {
				return fmt.Errorf("found --longest %v; expected a time such as 30s or 5m", opt.longest)
			}
			if c.Flags().Changed("label") {
				if err := pipeline.CheckLabel(opt.label); err != nil {
					return err
				}
			}
			a.status = a.run(c.Context(), folder(args), opt)
			return nil
		},
	}
	c.Flags().IntVar(&opt.jobs, "jobs", 0, "how many items are worked on at once (default: one a processor)")
	c.Flags().BoolVar(&opt.why, "why", false, "say of each item that was made what is new")
	c.Flags().BoolVar(&opt.remake, "remake", false, "make everything again, whatever the store holds")
	c.Flags().BoolVar(&opt.plan, "plan", false, "print which stages would work on which items, and make nothing")
	c.Flags().StringVar(&opt.label, "label", "", "keep a record of this run under a name, to compare with later")
	c.Flags().DurationVar(&opt.longest, "longest", 0, "give up on an item that takes longer, such as 5m (default: never)")
	return c
}

// run reads the study in dir, runs it and writes the report.
func (a *app) run(ctx context.Context, dir string, opt runOptions) int {
	p, faults := pipeline.Load(dir, a.kinds)
	if len(faults) > 0 {
		return a.faults(faults)
	}
	if opt.plan {
		return a.plan(p)
	}
	o, status := a.execute(ctx, p, opt)
	if o != nil {
		a.end(o)
	}
	return status
}

// itemLine is an item of a run, as soon as its state is known.
type itemLine struct {
	event
	Stage   string         `json:"stage"`
	Item    string         `json:"item"`
	State   pipeline.State `json:"state"`
	Message string         `json:"message"`
	Why     []string       `json:"why,omitempty"` // with --why
}

// endLine is the last line of a run.
type endLine struct {
	event
	Counts      pipeline.Counts `json:"counts"`
	Report      string          `json:"report,omitempty"`
	Interrupted bool            `json:"interrupted,omitempty"`
}

// noticeLine is something that happened on the way, such as a damaged object that was made again.
type noticeLine struct {
	event
	Message string `json:"message"`
}

// waitLine says that another run has the study.
type waitLine struct {
	event
	Holder string `json:"holder"`
}

// execute runs a study that was read and writes its report. The outcome is nil when the run did not come to its end; what is to be said
// of that has been said.
func (a *app) execute(ctx context.Context, p *pipeline.Project, opt runOptions) (*pipeline.Outcome, int) {
	bar := a.progress()
	var why []string
	told := map[string]bool{} // outputs of one item have the same to say
	o, err := pipeline.Run(ctx, p, pipeline.Options{
		Jobs: opt.jobs, Remake: opt.remake, Label: opt.label, Longest: opt.longest, Why: opt.why, Disk: a.disk,
		Event: func(e pipeline.Event) {
			bar.show(e)
			if a.json {
				a.line(itemLine{event{"item"}, e.Stage, e.Item, e.State, e.Message, e.Why})
			}
			for _, w := range e.Why {
				if line := fmt.Sprintf("%s %s: %s", e.Stage, e.Item, w); !told[line] {
					told[line] = true
					why = append(why, line)
				}
			}
		},
		Report: func(ctx context.Context, o *pipeline.Outcome) error {
			if _, err := report.Write(ctx, o); err != nil {
				return fmt.Errorf("the report cannot be written: %w", err)
			}
			return nil
		},
		Waiting: a.waiting,
	})
	bar.done()
	rank := func(line string) int {
		stage, _, _ := strings.Cut(line, " ")
		return slices.IndexFunc(p.Study.Graph, func(s study.Stage) bool { return s.Name.Value == stage })
	}
	slices.SortFunc(why, func(a, b string) int { // items end in the order in which workers come to them
		return cmp.Or(cmp.Compare(rank(a), rank(b)), cmp.Compare(a, b))
	})
	for _, w := range why {
		a.say("%s", w)
	}
	switch {
	case ctx.Err() != nil:
		return nil, a.interrupted(o)
	case err != nil:
		return nil, a.fail(ctx, err)
	}
	for _, n := range o.Notices {
		a.warn("notice: %s", n)
		a.line(noticeLine{event{"notice"}, n})
	}
	if o.Counts.Failed+o.Counts.Blocked > 0 {
		return o, statusHoles
	}
	return o, statusGood
}

// waiting says that another run has the study, and that this one goes on when that one has ended.
func (a *app) waiting(holder string) {
	a.warn("waiting: %s works on this study", holder)
	a.line(waitLine{event{"waiting"}, holder})
}

// interrupted says how far a run came. o may be nil.
func (a *app) interrupted(o *pipeline.Outcome) int {
	end := endLine{event: event{"end"}, Interrupted: true}
	if o != nil {
		end.Counts = o.Counts
	}
	a.line(end)
	a.warn("fascicle: interrupted: %s; what was made is kept, and the next run goes on from there", counts(end.Counts))
	return statusInterrupted
}

// counts is "3 made, 10 kept, 0 failed, 0 blocked".
func counts(c pipeline.Counts) string {
	return fmt.Sprintf("%d made, %d kept, %d failed, %d blocked", c.Made, c.Kept, c.Failed, c.Blocked)
}

// end says what a run did, what is missing and why, and where the report is.
func (a *app) end(o *pipeline.Outcome) {
	a.say("%s", counts(o.Counts))
	bad := missing(o)
	for i, m := range bad {
		if i == listed {
			a.say("and %d more, listed in the report", len(bad)-listed)
			break
		}
		name := m.Name
		if len(m.outputs) > 1 {
			name += " (" + strings.Join(m.outputs, ", ") + ")"
		}
		a.say("%-7s  %s  %s: %s", m.State, m.Stage, name, m.Message)
	}
	for _, r := range o.Remarks {
		a.say("remark: %s", r)
		a.line(remarkLine{event{"remark"}, r})
	}
	a.say("report: %s", filepath.Join(o.Dir, "out", "report.html"))
	a.line(endLine{event: event{"end"}, Counts: o.Counts, Report: "out/report.html"})
}

// hole is a failed or blocked item, with all outputs of which the same is to be said.
type hole struct {
	pipeline.ItemOutcome
	outputs []string
}

// missing lists the failed items, then the blocked ones, which mostly are so because of them.
func missing(o *pipeline.Outcome) []hole {
	var holes []hole
	for _, state := range []pipeline.State{pipeline.Failed, pipeline.Blocked} {
		for _, stage := range o.Stages {
			if stage.Kind == nil {
				continue // stages taken together repeat what is said at their members
			}
			place := map[[2]string]int{} // item and message → its place in holes
			for _, item := range stage.Items {
				if item.State != state {
					continue
				}
				key := [2]string{item.Name, item.Message}
				i, ok := place[key]
				if !ok {
					i = len(holes)
					place[key] = i
					holes = append(holes, hole{ItemOutcome: item})
				}
				if !slices.Contains(holes[i].outputs, item.Output) { // two items may bear one name, and are blocked for it
					holes[i].outputs = append(holes[i].outputs, item.Output)
				}
			}
		}
	}
	return holes
}
