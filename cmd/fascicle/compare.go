package main

import (
	"context"

	"fascicle/pipeline"

	"github.com/spf13/cobra"
)

func compareCommand(a *app) *cobra.Command {
	return &cobra.Command{
		Use:   "compare [DIR] [RUN] [RUN]",
		Short: "Say what moved between two runs, and because of what",
		Long: `Says value by value what moved between two runs, and because of which input or setting.

RUN is a run's number or its label. Without any, the last two runs are compared; with one, that run and the last.`,
		Args: arguments(0, 3),
		RunE: func(c *cobra.Command, args []string) error {
			dir, runs := split(args, 0, 2)
			runs = append(runs[:len(runs):len(runs)], "", "")
			a.status = a.compare(c.Context(), dir, runs[0], runs[1])
			return nil
		},
	}
}

// compare prints what moved from run first to run second; "" stands for the last ones.
func (a *app) compare(ctx context.Context, dir, first, second string) int {
	comparison, err := pipeline.Compare(home(dir), first, second)
	if err != nil {
		return a.fail(ctx, err)
	}
	a.line(struct {
		event
		Comparison *pipeline.Comparison `json:"comparison"`
	}{event{"comparison"}, comparison})
	a.text(comparison.Text())
	return statusGood
}
