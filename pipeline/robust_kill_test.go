package pipeline_test

import (
	"bytes"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"fascicle/pipeline"
)

// TestKilledRunLosesNothing kills runs at moments spread evenly over the time that a run takes, and finishes each in a new process.
func TestKilledRunLosesNothing(t *testing.T) {
	moments, atOnce := 20, 4
	if slow {
		moments = 200
	}
	const delay = 20 * time.Millisecond
	first := fixture(t, 4)
	var want childReport
	took := time.Hour
	for range 3 {
		c := startChild(t, copyStudy(t, first), delay)
		c.until("begin")
		begin := time.Now()
		want = c.report(t)
		took = min(took, time.Since(begin))
	}
	if want.Counts.Made < 20 {
		t.Fatalf("an undisturbed run: %+v", want)
	}

	var struck, torn atomic.Int64
	work := make(chan int)
	var wg sync.WaitGroup
	for range atOnce {
		wg.Add(1)
		go func() {
			defer wg.Done()
			for i := range work {
				after := took * time.Duration(2*i+1) / time.Duration(2*moments)
				t.Run(fmt.Sprintf("%d", i), func(t *testing.T) {
					if killAndFinish(t, copyStudy(t, first), delay, after, want, &torn) {
						struck.Add(1)
					}
				})
			}
		}()
	}
	for i := range moments {
		work <- i
	}
	close(work)
	wg.Wait()
	t.Logf("a run takes %v; of %d kills %d struck one still going, and %d left a torn index line", took.Round(time.Millisecond), moments, struck.Load(), torn.Load())
	if int(struck.Load())*10 < moments*9 {
		t.Errorf("only %d of %d kills struck a run that was still going", struck.Load(), moments)
	}
}

// killAndFinish kills a run some time after it began, and holds the run after it against an undisturbed one.
func killAndFinish(t *testing.T, dir string, delay, after time.Duration, want childReport, torn *atomic.Int64) (struck bool) {
	c := startChild(t, dir, delay)
	if _, ok := c.until("begin"); !ok {
		t.Fatal("the process did not begin")
	}
	time.Sleep(after)
	if err := c.cmd.Process.Kill(); err != nil {
		t.Error(err)
	}
	_, ended := c.until("end ")
	_ = c.cmd.Wait() // killed

	whole := map[string]bool{}
	if index, err := filepath.Glob(filepath.Join(dir, pipeline.StateDir, "store", "index")); err == nil && len(index) == 1 {
		b := readFile(t, index[0])
		if len(b) > 0 && b[len(b)-1] != '\n' {
			torn.Add(1)
		}
		for l := range bytes.Lines(b) {
			if bytes.HasSuffix(l, []byte("\"}\n")) {
				whole[string(l)] = true
			}
		}
	}
	got := startChild(t, dir, 0).report(t)
	if got.Digest != want.Digest || got.Values != want.Values {
		t.Errorf("killed after %v: another digest or other values than those of an undisturbed run", after)
	}
	if got.Counts.Kept < len(whole) {
		t.Errorf("killed after %v: %d recipes were finished, and %d items are kept", after, len(whole), got.Counts.Kept)
	}
	if slices.ContainsFunc(got.Notices, func(n string) bool { return !strings.Contains(n, "store's index") }) {
		t.Errorf("killed after %v: something half-written was found: %q", after, got.Notices)
	}
	rec, err := pipeline.LoadRecord(dir, "")
	if err != nil || rec.Digest != want.Digest {
		t.Errorf("killed after %v: the record: %v", after, err)
	}
	return !ended
}
