// Package pipelines holds the ready-made studies. Each folder is a study without its raw files.
package pipelines

import (
	"embed"
	"io/fs"
)

//go:embed first-look/study.yaml first-look/samples.csv
var files embed.FS

// FirstLook gives study.yaml and samples.csv of the demo study.
func FirstLook() fs.FS {
	sub, err := fs.Sub(files, "first-look")
	if err != nil {
		panic("pipelines: " + err.Error()) // the folder's name is fixed when this is compiled
	}
	return sub
}
