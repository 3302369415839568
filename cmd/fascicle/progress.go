package main

import (
	"os"
	"time"

	"fascicle/pipeline"

	"github.com/schollz/progressbar/v3"
	"golang.org/x/term"
)

// progress is a bar on a terminal, and nothing anywhere else.
type progress struct{ bar *progressbar.ProgressBar }

// progress starts a bar when a person looks on: errors go to a terminal, and no machine-readable lines are asked for.
func (a *app) progress() progress {
	f, ok := a.err.(*os.File)
	if !ok || a.json || !term.IsTerminal(int(f.Fd())) || os.Getenv("TERM") == "dumb" {
		return progress{}
	}
	return progress{progressbar.NewOptions(1,
		progressbar.OptionSetWriter(f),
		progressbar.OptionSetWidth(30),
		progressbar.OptionShowCount(),
		progressbar.OptionSetPredictTime(false),
		progressbar.OptionThrottle(100*time.Millisecond),
		progressbar.OptionClearOnFinish(),
	)}
}

// show moves the bar. The total grows while groups form, and a bar that has once been full stays so: it is kept one short.
func (p progress) show(e pipeline.Event) {
	if p.bar == nil {
		return
	}
	p.bar.Describe(e.Stage)
	p.bar.ChangeMax(e.Total + 1)
	p.bar.Set(e.Done) // fails only when the terminal does, and then there is nobody to tell
}

// done takes the bar away.
func (p progress) done() {
	if p.bar != nil {
		p.bar.Finish()
	}
}
