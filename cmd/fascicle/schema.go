package main

import (
	"fascicle/pipeline"

	"github.com/spf13/cobra"
)

func schemaCommand(a *app) *cobra.Command {
	return &cobra.Command{
		Use:   "schema",
		Short: "Print a JSON Schema of the study file, for editors",
		Long: `Prints a JSON Schema (draft 2020-12) of the study file, made from the kinds of this program. An editor that is given it completes
the names of kinds, ports and settings, shows what they mean, and marks what is misspelt:

    fascicle schema > study.schema.json

and, as the first line of study.yaml, for editors that use yaml-language-server:

    # yaml-language-server: $schema=study.schema.json

It does not replace check, which knows the study's own stages, fields and units.`,
		Args: arguments(0, 0),
		RunE: func(*cobra.Command, []string) error {
			_, err := a.out.Write(pipeline.Schema(a.kinds)) // JSON with and without --json
			return err
		},
		ValidArgsFunction: cobra.NoFileCompletions,
	}
}
