package main

import (
	"context"
	"fmt"

	"fascicle/pipeline"

	"github.com/spf13/cobra"
)

func trimCommand(a *app) *cobra.Command {
	return &cobra.Command{
		Use:   "trim [DIR]",
		Short: "Remove from the store what no kept run needs",
		Long: `Removes from the store what no kept run needs. Kept are the last run, the one before, and all that have a label. Whatever is
removed can be made again.`,
		Args: arguments(0, 1),
		RunE: func(c *cobra.Command, args []string) error {
			a.status = a.trim(c.Context(), folder(args))
			return nil
		},
	}
}

// trim removes what no kept run needs and says how much that was.
func (a *app) trim(ctx context.Context, dir string) int {
	if !isStudy(dir) {
		return a.fail(ctx, fmt.Errorf("%s holds no %s; name the folder of a study", dir, pipeline.StudyFile))
	}
	removed, freed, err := pipeline.Trim(ctx, home(dir), a.waiting)
	if err != nil {
		return a.fail(ctx, err)
	}
	a.line(struct {
		event
		Removed int   `json:"removed"`
		Freed   int64 `json:"freed"`
	}{event{"end"}, removed, freed})
	a.say("removed %s, %s", plural(removed, "object"), size(freed))
	return statusGood
}

// size writes a number of bytes for people.
func size(n int64) string {
	switch {
	case n < 1000:
		return plural(int(n), "byte")
	case n < 1000*1000:
		return fmt.Sprintf("%.1f kB", float64(n)/1e3)
	case n < 1000*1000*1000:
		return fmt.Sprintf("%.1f MB", float64(n)/1e6)
	}
	return fmt.Sprintf("%.1f GB", float64(n)/1e9)
}
