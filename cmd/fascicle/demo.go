package main

import (
	"context"

	"fascicle/cmd/fascicle/internal/invented"
	"fascicle/cmd/fascicle/internal/mixing"
	"fascicle/pipeline"

	"github.com/spf13/cobra"
)

func demoCommand(a *app) *cobra.Command {
	return &cobra.Command{
		Use:   "demo DIR",
		Short: "Write a study with invented data of known truth, and run it",
		Long: `Writes a study with invented data of known truth into DIR, which must be new or empty, and runs it: two polymers, mixed over ratios and
salts, seen by absorbance, emission, decays, scattering and turbidity. In each family one sample is broken on purpose, so that the report
has something to say of it; the exit status is 0 when exactly that went wrong. DIR/truth.json holds what the data were made from.`,
		Args: arguments(1, 1),
		RunE: func(c *cobra.Command, args []string) error {
			a.status = a.demo(c.Context(), args[0])
			return nil
		},
	}
}

// demoLine says what was written.
type demoLine struct {
	event
	Dir    string   `json:"dir"`
	Files  int      `json:"files"`
	Broken []string `json:"broken"` // what is broken on purpose
}

// truthLine holds what was found against what the data were made from.
type truthLine struct {
	event
	Values   int      `json:"values"`
	Found    int      `json:"found"`
	LargestZ float64  `json:"largest_z"`
	Surprise []string `json:"surprises"` // what ended otherwise than planned
}

// demo writes the study and runs it.
func (a *app) demo(ctx context.Context, dir string) int {
	study, err := mixing.Make()
	if err != nil {
		return a.fail(ctx, err)
	}
	if err := study.Write(ctx, dir); err != nil {
		return a.fail(ctx, err)
	}
	a.say("wrote %s: %d mixtures and %d controls, solvents and standards in %d files", dir, study.Mixtures, study.Others, len(study.Files))
	for _, b := range mixing.Broken() {
		a.say("broken on purpose: %s", b)
	}
	a.line(demoLine{event{"demo"}, dir, len(study.Files), mixing.Broken()})
	p, faults := pipeline.Load(dir, a.kinds)
	if len(faults) > 0 {
		return a.faults(faults)
	}
	o, status := a.execute(ctx, p, runOptions{})
	if o == nil {
		return status
	}
	surprises := mixing.Surprises(o)
	for _, s := range surprises {
		a.warn("not as planned: %s", s)
	}
	values, err := o.ReadValues(ctx)
	if err != nil {
		return a.fail(ctx, err)
	}
	a.truth(study.Truth, values, surprises)
	a.end(o)
	if len(surprises) > 0 {
		return statusHoles
	}
	return statusGood
}

// truth says how near the run came to the truth.
func (a *app) truth(t invented.Truth, values []pipeline.Value, surprises []string) {
	scores, missing := t.Scores(values)
	line := truthLine{event: event{"truth"}, Values: len(t.Values), Found: len(t.Values) - len(missing), Surprise: append([]string{}, surprises...)}
	if len(scores) == 0 {
		a.say("none of the %d values of truth.json was found", len(missing))
	} else {
		worst := invented.Largest(scores)
		line.LargestZ = worst.Z
		a.say("%d of %d values of truth.json were found; farthest from it is %s of %s, %.1f of its own uncertainties away",
			line.Found, len(t.Values), worst.Name, worst.Sample+worst.Series, worst.Z)
	}
	a.line(line)
}
