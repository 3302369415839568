package main

import (
	"context"

	"fascicle/pipeline"

	"github.com/spf13/cobra"
)

func traceCommand(a *app) *cobra.Command {
	return &cobra.Command{
		Use:   "trace [DIR] VALUE",
		Short: "Follow one number back to raw files, calibrations and settings",
		Long: `Follows one number of the last run back to the raw files (with their SHA-256), calibrations and settings that it was made from.

VALUE is SAMPLE/STAGE/NAME/ITEM, or any shorter form that is unique, such as SAMPLE/STAGE/NAME.`,
		Args: arguments(1, 2),
		RunE: func(c *cobra.Command, args []string) error {
			dir, rest := split(args, 1, 1)
			a.status = a.trace(c.Context(), dir, rest[0])
			return nil
		},
	}
}

// trace prints the lineage of the number at an address.
func (a *app) trace(ctx context.Context, dir, address string) int {
	lineage, err := pipeline.Trace(home(dir), a.kinds, address)
	if err != nil {
		return a.fail(ctx, err)
	}
	a.line(struct {
		event
		Lineage *pipeline.Lineage `json:"lineage"`
	}{event{"lineage"}, lineage})
	a.text(lineage.Text())
	return statusGood
}
