package main

import (
	"path/filepath"
	"regexp"
	"strings"
	"testing"
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
