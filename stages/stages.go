// Package stages lists the kinds of stages, family by family. Adding a kind is one file in its family's folder and one line here.
package stages

import (
	"fascicle/pipeline"
	"fascicle/stages/correction"
	"fascicle/stages/efficiency"
	"fascicle/stages/importing"
	"fascicle/stages/lifetime"
	"fascicle/stages/phase"
	"fascicle/stages/relation"
	"fascicle/stages/scattering"
	"fascicle/stages/spectra"
)

// Kinds lists every kind, in the order in which `fascicle kinds` shows them.
func Kinds() []*pipeline.Kind {
	return []*pipeline.Kind{
		&importing.ImportKind,
		&correction.SubtractKind,
		&correction.DarkKind,
		&correction.PathKind,
		&correction.ScaleKind,
		&correction.InnerFilterKind,
		&correction.CalibrateScaleKind,
		&scattering.GuinierKind,
		&lifetime.FitKind,
		&spectra.BandsKind,
		&efficiency.QuenchingKind,
		&efficiency.LifetimeKind,
		&phase.SolutionKind,
		&phase.TransitionKind,
		&relation.JoinKind,
		&relation.MeanKind,
		&relation.FitKind,
	}
}
