// Package pipelines holds the ready-made studies. Each folder is a study without its raw files.
package pipelines

import (
	"embed"
	"io/fs"
)

//go:embed first-look/study.yaml first-look/samples.csv mixing-ratio/study.yaml mixing-ratio/samples.csv
var files embed.FS

// FirstLook gives study.yaml and samples.csv of the study first-look: twelve mixtures and their scattering.
func FirstLook() fs.FS { return study("first-look") }

// MixingRatio gives study.yaml and samples.csv of the study mixing-ratio, which uses all instruments.
func MixingRatio() fs.FS { return study("mixing-ratio") }

func study(name string) fs.FS {
	sub, err := fs.Sub(files, name)
	if err != nil {
		panic("pipelines: " + err.Error()) // the folder's name is fixed when this is compiled
	}
	return sub
}
