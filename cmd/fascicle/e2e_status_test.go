package main

import (
	"bufio"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"syscall"
	"testing"

	"fascicle/pipeline/store"

	"github.com/google/go-cmp/cmp"
)

// The program as a process: its exit status says how a run ended.
func TestExitStatus(t *testing.T) {
	s := newSmallStudy(t)
	status := func(t *testing.T, want int, args ...string) {
		t.Helper()
		if c := runProgram(t, program(t, nil, append(args, s.dir)...)); c.status != want {
			t.Errorf("exit status %d, want %d: %s%s", c.status, want, c.out, c.err)
		}
	}
	status(t, 0, "run")
	status(t, 0, "run", "--remake")
	s.write(t, "raw/A.dat", "")
	status(t, 1, "run")
	status(t, 1, "run") // and so it stays
	status(t, 0, "check")
	s.write(t, "raw/stranger.dat", "")
	status(t, 1, "check")
	s.remove(t, "raw/stranger.dat")
	edit(t, s.path("study.yaml"), "scale: ratio", "scale: ration")
	status(t, 2, "run")
	status(t, 2, "check")
	status(t, 2, "run", "--jobs", "none")
	if c := runProgram(t, program(t, nil, "demo", filepath.Join(t.TempDir(), "demo"))); c.status != 0 {
		t.Errorf("demo ends with %d: %s", c.status, c.err)
	}
}

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

// The lines of `run --json`, to the letter.
func TestRunLines(t *testing.T) {
	s := newSmallStudy(t)
	s.write(t, "raw/A.dat", "")
	c := fascicle(t, "run", "--json", s.dir)
	text := regexp.MustCompile(`"(?:[^"\\]|\\.)*"`).String()
	item := regexp.MustCompile(`^\{"event":"item","stage":` + text + `,"item":` + text + `,"state":"(made|kept|failed|blocked)","message":` + text + `(,"output":` + text + `)?\}$`)
	end := regexp.MustCompile(`^\{"event":"end","counts":\{"made":9,"kept":0,"failed":1,"blocked":3\},"report":"out/report\.html"\}$`)
	lines := strings.Split(strings.TrimSuffix(c.out, "\n"), "\n")
	for i, l := range lines {
		if form := item; i < len(lines)-1 && !form.MatchString(l) || i == len(lines)-1 && !end.MatchString(l) {
			t.Errorf("line %d of %d: %s", i+1, len(lines), l)
		}
	}
	if len(lines) != 9+1+3+1 || c.status != 1 || c.err != "" {
		t.Errorf("%d lines, exit status %d, stderr %q", len(lines), c.status, c.err)
	}
}

// With --json, every command prints lines of JSON and nothing else on stdout, whether it succeeds or not.
func TestJSONOfEveryCommand(t *testing.T) {
	s := newSmallStudy(t)
	odd := newSmallStudy(t)
	odd.write(t, "raw/A\n\x1b[31m.dat", "")
	odd.write(t, "raw/A.dat", "")
	bad := newSmallStudy(t)
	edit(t, bad.path("study.yaml"), "scale: ratio", "scale: ration")
	for _, c := range []struct {
		status int
		args   []string
	}{
		{0, []string{"demo", filepath.Join(t.TempDir(), "demo")}}, {2, []string{"demo", s.dir}},
		{0, []string{"check", s.dir}}, {1, []string{"check", odd.dir}}, {2, []string{"check", bad.dir}},
		{2, []string{"trace", s.dir, "A/sizes/Rg_1"}}, {2, []string{"compare", s.dir}}, // before any run
		{0, []string{"run", "--plan", s.dir}}, {0, []string{"run", "--why", s.dir}}, {1, []string{"run", odd.dir}}, {2, []string{"run", bad.dir}},
		{0, []string{"run", "--label", "first", "--remake", s.dir}}, {2, []string{"run", "--label", "1", s.dir}}, {2, []string{"run", "--jobs", "0", s.dir}},
		{0, []string{"kinds"}}, {0, []string{"kinds", "import"}}, {2, []string{"kinds", "imports"}},
		{0, []string{"trace", s.dir, "A/sizes/Rg_1"}}, {2, []string{"trace", s.dir, "A"}}, {2, []string{"trace", s.dir, "B/sizes/Rg"}},
		{0, []string{"compare", s.dir, "first", "1"}}, {2, []string{"compare", s.dir, "first", "second"}},
		{0, []string{"trim", s.dir}}, {2, []string{"trim", filepath.Join(s.dir, "nowhere")}},
	} {
		t.Run(strings.Join(c.args[:min(2, len(c.args))], " "), func(t *testing.T) {
			ran := fascicle(t, append([]string{"--json"}, c.args...)...)
			if ran.status != c.status {
				t.Errorf("exit status %d, want %d: %s%s", ran.status, c.status, ran.out, ran.err)
			}
			lines := ran.lines(t)
			if c.status == 2 && lines[0]["event"] != "fault" {
				t.Errorf("no fault: %s", ran.out)
			}
			if message, _ := lines[0]["message"].(string); c.status == 2 && message == "" {
				t.Errorf("a fault without a message: %s", ran.out)
			}
		})
	}
}
