package main

import (
	"os"
	"path/filepath"

	"fascicle/pipeline"
)

// folder gives the study's folder, or study file, from a command's optional only argument.
func folder(args []string) string {
	if len(args) == 0 {
		return "."
	}
	return args[0]
}

// split takes the study's folder off the front of the arguments, where it may be left out. least and most say how many other
// arguments the command takes. Where their number leaves it open the disk decides: what is a study is the folder, whatever else it
// may be called.
func split(args []string, least, most int) (dir string, rest []string) {
	switch {
	case len(args) <= least:
		return ".", args
	case len(args) > most || isStudy(args[0]):
		return args[0], args[1:]
	}
	return ".", args
}

// isStudy tells whether name is a study's folder or its file.
func isStudy(name string) bool {
	info, err := os.Stat(name)
	if err != nil {
		return false
	}
	if info.IsDir() {
		_, err = os.Stat(filepath.Join(name, pipeline.StudyFile))
		return err == nil
	}
	ext := filepath.Ext(name)
	return ext == ".yaml" || ext == ".yml"
}

// home gives the study's folder where the study file may have been named.
func home(dir string) string {
	if info, err := os.Stat(dir); err == nil && !info.IsDir() {
		return filepath.Dir(dir)
	}
	return dir
}
