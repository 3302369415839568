package main

import (
	"fmt"
	"io"
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
	return progress{newBar(f)}
}

func newBar(w io.Writer) *progressbar.ProgressBar {
	return progressbar.NewOptions(1,
		progressbar.OptionSetWriter(w),
		progressbar.OptionSetWidth(30),
		progressbar.OptionSetPredictTime(false),
		progressbar.OptionSetElapsedTime(false),
		progressbar.OptionThrottle(100*time.Millisecond),
		progressbar.OptionClearOnFinish(),
	)
}

// show moves the bar. The total grows while groups form, and a bar that has once been full stays so: it is kept one short, and the
// numbers are written beside it.
func (p progress) show(e pipeline.Event) {
	if p.bar == nil {
		return
	}
	p.bar.Describe(fmt.Sprintf("%d/%d %s", e.Done, e.Total, e.Stage))
	p.bar.ChangeMax(e.Total + 1)
	p.bar.Set(e.Done) // fails only when the terminal does, and then there is nobody to tell
}

// done takes the bar away.
func (p progress) done() {
	if p.bar != nil {
		p.bar.Finish()
	}
}
