package pipeline_test

import (
	"bufio"
	"context"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"testing"
	"time"

	"fascicle/pipeline"
)

// Names of the variables by which a test tells a process that it started what to do.
const (
	childDir   = "FASCICLE_TEST_CHILD"
	childDelay = "FASCICLE_TEST_DELAY" // of each call of a kind
	childJobs  = "FASCICLE_TEST_JOBS"
)

// childReport is what such a process says of its run.
type childReport struct {
	Digest, Values string
	Counts         pipeline.Counts
	Notices        []string
	Failures       []string
}

// TestChild is no test: it is what a process does that another test started.
func TestChild(t *testing.T) {
	dir := os.Getenv(childDir)
	if dir == "" {
		t.Skip("for processes that other tests start")
	}
	delay, _ := time.ParseDuration(os.Getenv(childDelay))
	jobs, _ := strconv.Atoi(os.Getenv(childJobs))
	var rep childReport
	kinds := slowed(fixtureKinds(nil), delay)
	p := load(t, dir, kinds)
	fmt.Println("begin")
	out, err := pipeline.Run(context.Background(), p, pipeline.Options{
		Jobs:    jobs,
		Waiting: func(holder string) { fmt.Println("waiting", holder) },
		Event: func(e pipeline.Event) {
			if !e.State.Good() {
				rep.Failures = append(rep.Failures, e.Stage+" "+e.Item+": "+e.Message)
			}
		},
	})
	if err != nil {
		t.Fatal(err)
	}
	rep.Digest, rep.Counts, rep.Notices = out.Digest, out.Counts, out.Notices
	rep.Values = fmt.Sprintf("%x", sha256.Sum256([]byte(jsonValues(t, out))))
	b, err := json.Marshal(rep)
	if err != nil {
		t.Fatal(err)
	}
	fmt.Printf("end %s\n", b)
}

// slowed kinds take at least so long for each call.
func slowed(kinds []*pipeline.Kind, delay time.Duration) []*pipeline.Kind {
	for _, k := range kinds {
		run := k.Run
		k.Run = func(ctx context.Context, call *pipeline.Call) (pipeline.Choices, error) {
			select {
			case <-ctx.Done():
				return nil, ctx.Err()
			case <-time.After(delay):
			}
			return run(ctx, call)
		}
	}
	return kinds
}

// child is a process that runs a study.
type child struct {
	cmd   *exec.Cmd
	lines *bufio.Scanner
	said  []string
}

func startChild(t testing.TB, dir string, delay time.Duration, env ...string) *child {
	t.Helper()
	exe, err := os.Executable()
	if err != nil {
		t.Skip(err)
	}
	cmd := exec.Command(exe, "-test.run=^TestChild$", "-test.count=1")
	cmd.Env = append(os.Environ(), childDir+"="+dir, childDelay+"="+delay.String(), childJobs+"=2")
	cmd.Env = append(cmd.Env, env...)
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	c := &child{cmd: cmd, lines: bufio.NewScanner(out)}
	c.lines.Buffer(nil, 1<<20)
	t.Cleanup(func() {
		_ = cmd.Process.Kill() // it has ended long since, unless the test failed
		_, _ = io.Copy(io.Discard, out)
		_ = cmd.Wait()
	})
	return c
}

// until reads lines until one begins with a word.
func (c *child) until(word string) (line string, ok bool) {
	for c.lines.Scan() {
		c.said = append(c.said, c.lines.Text())
		if strings.HasPrefix(c.lines.Text(), word) {
			return c.lines.Text(), true
		}
	}
	return "", false
}

// report waits for the end of a process whose run must end well.
func (c *child) report(t testing.TB) (rep childReport) {
	t.Helper()
	if rep = c.outcome(t); len(rep.Failures) > 0 {
		t.Fatal(rep.Failures)
	}
	return rep
}

// outcome waits for the end of a process.
func (c *child) outcome(t testing.TB) (rep childReport) {
	t.Helper()
	line, ok := c.until("end ")
	if !ok {
		t.Fatalf("the process did not end its run: %q", c.said)
	}
	if err := json.Unmarshal([]byte(strings.TrimPrefix(line, "end ")), &rep); err != nil {
		t.Fatal(err)
	}
	return rep
}
