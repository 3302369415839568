//go:build unix

package main

import (
	"bufio"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"

	"fascicle/pipeline/store"

	"github.com/google/go-cmp/cmp"
)

// manyFiles is a study with so many files that what a run prints of them does not fit into a pipe: it must wait for its reader.
func manyFiles(t *testing.T, n int) smallStudy {
	t.Helper()
	s := smallStudy{filepath.Join(t.TempDir(), "study")}
	s.write(t, "study.yaml", "study: Many\nsamples: samples.csv\ngraph:\n  curves:\n    kind: import\n    set: {files: raw/<sample>.dat, columns: {q: \"1 [1/nm]\", I: \"2 [1/cm]\"}}\n")
	var sheet strings.Builder
	sheet.WriteString("sample\n")
	for i := range n {
		name := "a_sample_with_a_name_that_makes_the_lines_of_a_run_long_" + strconv.Itoa(i)
		sheet.WriteString(name + "\n")
		s.write(t, "raw/"+name+".dat", "0.1 "+strconv.Itoa(i+1)+"\n0.2 1\n")
	}
	s.write(t, "samples.csv", sheet.String())
	return s
}

// An interrupted run ends with 130 and loses nothing that was finished.
func TestSignals(t *testing.T) {
	const files = 700
	for name, signal := range map[string]os.Signal{"SIGINT": syscall.SIGINT, "SIGTERM": syscall.SIGTERM} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := manyFiles(t, files)
			c := program(t, nil, "run", "--json", "--jobs", "1", s.dir)
			var errs strings.Builder
			c.Stderr = &errs
			out, err := c.StdoutPipe()
			if err != nil {
				t.Fatal(err)
			}
			if err := c.Start(); err != nil {
				t.Fatal(err)
			}
			r := bufio.NewReader(out)
			first, err := r.ReadString('\n') // the run is under way, and stops when the pipe is full
			if err != nil {
				t.Fatal(err, errs.String())
			}
			if err := c.Process.Signal(signal); err != nil {
				t.Fatal(err)
			}
			rest, err := io.ReadAll(r)
			if err != nil {
				t.Fatal(err)
			}
			waitFor(t, c)
			ran := call{c.ProcessState.ExitCode(), first + string(rest), errs.String()}
			ran.want(t, 130, []string{`"interrupted":true`}, []string{"fascicle: interrupted: ", "the next run goes on from there"})
			lines := ran.lines(t)
			last := lines[len(lines)-1]
			if last["event"] != "end" || last["report"] != nil {
				t.Errorf("last line: %v", last)
			}
			made := int(last["counts"].(map[string]any)["made"].(float64))
			if made < 1 || made >= files {
				t.Fatalf("%d of %d made: the signal came too late, or too early", made, files)
			}
			if _, err := os.Stat(s.path("out")); !os.IsNotExist(err) {
				t.Errorf("a report of an interrupted run: %v", err)
			}
			again := fascicle(t, "run", "--json", s.dir).lines(t)
			want := map[string]any{"made": float64(files - made), "kept": float64(made), "failed": 0.0, "blocked": 0.0}
			if d := cmp.Diff(want, again[len(again)-1]["counts"]); d != "" {
				t.Errorf("the next run (-want +got):\n%s", d)
			}
		})
	}
}

// A run that waits for another one can be interrupted too.
func TestSignalWhileWaiting(t *testing.T) {
	s := newSmallStudy(t)
	state := s.path(".fascicle")
	if err := os.Mkdir(state, 0o777); err != nil {
		t.Fatal(err)
	}
	unlock, err := store.Lock(t.Context(), state, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer unlock()
	c := program(t, nil, "run", s.dir)
	errs, err := c.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	r := bufio.NewReader(errs)
	line, err := r.ReadString('\n')
	if err != nil || !strings.HasPrefix(line, "waiting: ") || !strings.Contains(line, strconv.Itoa(os.Getpid())) {
		t.Errorf("got %q, %v", line, err)
	}
	if err := c.Process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
	rest, err := io.ReadAll(r)
	if err != nil || !strings.Contains(string(rest), "interrupted") {
		t.Errorf("got %q, %v", rest, err)
	}
	waitFor(t, c)
	if c.ProcessState.ExitCode() != 130 {
		t.Errorf("exit status %d", c.ProcessState.ExitCode())
	}
}

// waitFor waits for a process that may end with any status.
func waitFor(t *testing.T, c *exec.Cmd) {
	t.Helper()
	var exit *exec.ExitError
	if err := c.Wait(); err != nil && !asExit(err, &exit) {
		t.Fatal(err)
	}
}
