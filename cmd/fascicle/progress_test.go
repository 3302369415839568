package main

import (
	"bytes"
	"strings"
	"testing"

	"fascicle/pipeline"
)

func TestBarGrowsAndGoes(t *testing.T) {
	var out bytes.Buffer
	p := progress{newBar(&out)}
	p.show(pipeline.Event{Stage: "day_one", Done: 2, Total: 2}) // all that is known so far has ended, and then more becomes known
	p.show(pipeline.Event{Stage: "guinier", Done: 3, Total: 10})
	if p.bar.IsFinished() {
		t.Error("the bar ended before the run")
	}
	p.done()
	text := out.String()
	if !strings.Contains(text, "2/2 day_one") {
		t.Errorf("got %q", text)
	}
	last := text[strings.LastIndex(strings.TrimRight(text, "\r"), "\r")+1:]
	if strings.TrimSpace(last) != "" {
		t.Errorf("the bar is left behind: %q", last)
	}
	if strings.Contains(text, "\x1b") {
		t.Errorf("colours: %q", text)
	}
}

func TestNoBarWithoutATerminal(t *testing.T) {
	a := &app{err: &bytes.Buffer{}}
	p := a.progress()
	p.show(pipeline.Event{Done: 1, Total: 2}) // must do nothing
	p.done()
	if p.bar != nil {
		t.Error("a bar is shown to nobody")
	}
}
