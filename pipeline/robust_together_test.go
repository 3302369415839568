package pipeline_test

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"fascicle/pipeline"
	"fascicle/pipeline/store"
)

func TestTwoProcessesRunOneStudy(t *testing.T) {
	// On a machine that is busy the first may have ended before the second begins: then it works more slowly the next time.
	for delay := 30 * time.Millisecond; ; delay *= 5 {
		waits, first := twoProcesses(t, delay)
		if len(waits) == 0 && delay < 3*time.Second {
			continue
		}
		if want := fmt.Sprintf("waiting process %d", first); len(waits) != 1 || waits[0] != want {
			t.Errorf("the second process says %q, want %q once", waits, want)
		}
		return
	}
}

// twoProcesses runs a study in two processes, the second begun while the first is at work. It gives what the second says of waiting, and the number
// of the first process.
func twoProcesses(t *testing.T, delay time.Duration) (waits []string, process int) {
	t.Helper()
	dir := fixture(t, 4)
	a := startChild(t, dir, delay)
	if _, ok := a.until("begin"); !ok {
		t.Fatal("the first process did not begin")
	}
	b := startChild(t, dir, delay)
	first, second := a.report(t), b.report(t)
	if first.Digest != second.Digest || first.Values != second.Values {
		t.Error("two runs of one study differ")
	}
	if first.Counts.Made == 0 || second.Counts.Made != 0 || second.Counts.Kept != first.Counts.Made+first.Counts.Kept {
		t.Errorf("the first made %+v, the second %+v", first.Counts, second.Counts)
	}
	for _, l := range b.said {
		if strings.HasPrefix(l, "waiting ") {
			waits = append(waits, l)
		}
	}
	return waits, a.cmd.Process.Pid
}

func TestTwoGoroutinesRunOneStudy(t *testing.T) {
	dir := fixture(t, 4)
	waiting := make(chan string, 2)
	kinds := fixtureKinds(nil)
	for _, k := range kinds {
		if k.Name == "t.less" {
			run := k.Run
			var told sync.Once
			k.Run = func(ctx context.Context, call *pipeline.Call) (pipeline.Choices, error) {
				// the first of them works until the second run waits for it
				told.Do(func() {
					select {
					case <-waiting:
					case <-time.After(30 * time.Second):
						t.Error("nobody waits for the study")
					}
				})
				return run(ctx, call)
			}
		}
	}
	outs := make([]*pipeline.Outcome, 2)
	errs := make([]error, 2)
	var calls atomic.Int64
	var wg sync.WaitGroup
	p := load(t, dir, kinds) // a project is read-only: two runs may share it
	for i := range 2 {
		wg.Add(1)
		go func() {
			defer wg.Done()
			outs[i], errs[i] = pipeline.Run(context.Background(), p, pipeline.Options{Jobs: 2, Waiting: func(holder string) {
				calls.Add(1)
				waiting <- holder
			}})
		}()
	}
	wg.Wait()
	if err := errors.Join(errs...); err != nil {
		t.Fatal(err)
	}
	if calls.Load() != 1 {
		t.Errorf("Waiting was called %d times", calls.Load())
	}
	if outs[0].Digest != outs[1].Digest || jsonValues(t, outs[0]) != jsonValues(t, outs[1]) {
		t.Error("two runs of one study differ")
	}
	if a, b := outs[0].Counts, outs[1].Counts; a.Failed+a.Blocked+b.Failed+b.Blocked > 0 || a.Made+a.Kept != b.Made+b.Kept || a.Made > 0 == (b.Made > 0) {
		t.Errorf("counts %+v and %+v", a, b)
	}
}

// TestWaitingCanBeGivenUp cancels a run that waits for another.
func TestWaitingCanBeGivenUp(t *testing.T) {
	dir := fixture(t, 2)
	unlock, err := store.Lock(t.Context(), filepath.Join(dir, pipeline.StateDir), nil)
	if err != nil {
		t.Fatal(err)
	}
	defer unlock()
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	_, err = pipeline.Run(ctx, load(t, dir, fixtureKinds(nil)), pipeline.Options{Waiting: func(string) { cancel() }})
	if !errors.Is(err, context.Canceled) {
		t.Error(err)
	}
}

// TestReadersDuringRuns reads records and the store in eight goroutines while a study is run again and again.
func TestReadersDuringRuns(t *testing.T) {
	dir := copyStudy(t, fixture(t, 3))
	kinds := fixtureKinds(nil)
	study := func(path int) {
		// another path is another recipe, another factor another value
		write(t, dir, "study.yaml", strings.Replace(fixtureStudy, "{scale: factor, path: 10 mm}", fmt.Sprintf("{scale: factor * %d, path: %d mm}", path, path), 1))
	}
	study(1)
	r := run(t, dir, kinds, pipeline.Options{})
	nValues := strings.Count(jsonValues(t, r.Outcome), `"stage"`)
	study(2)
	run(t, dir, kinds, pipeline.Options{})

	end := make(chan struct{})
	var reads atomic.Int64
	var wg sync.WaitGroup
	read := func(last int) (int, error) {
		rec, err := pipeline.LoadRecord(dir, "")
		if err != nil {
			return 0, err
		}
		if rec.Run < last || rec.Digest == "" || len(rec.Values) != nValues || len(rec.Raw) != 5 {
			return 0, fmt.Errorf("a record that is not whole: run %d after %d, %d values, %d files", rec.Run, last, len(rec.Values), len(rec.Raw))
		}
		if _, err := pipeline.Trace(dir, kinds, "S1/sums/total"); err != nil {
			return 0, fmt.Errorf("trace: %w", err)
		}
		if _, err := pipeline.Compare(dir, "", ""); err != nil {
			return 0, fmt.Errorf("compare: %w", err)
		}
		s, err := store.OpenRead(filepath.Join(dir, pipeline.StateDir, "store"), store.OS{})
		if err != nil {
			return 0, err
		}
		for _, st := range rec.Stages {
			for _, g := range st.Groups {
				k, err := store.ParseRecipeKey(g.Key)
				if err != nil {
					continue
				}
				e, ok := s.Lookup(k)
				if !ok {
					return 0, fmt.Errorf("the store does not know %s %s of run %d", st.Name, g.Name, rec.Run)
				}
				for _, o := range e.Objects {
					if _, err := s.Get(o.Hash, o.Size); err != nil {
						return 0, fmt.Errorf("%s %s: %w", st.Name, g.Name, err)
					}
				}
			}
		}
		return rec.Run, nil
	}
	for range 8 {
		wg.Add(1)
		go func() {
			defer wg.Done()
			last := 0
			for {
				n, err := read(last)
				if err != nil {
					t.Error(err)
					return
				}
				last = n
				reads.Add(1)
				select {
				case <-end:
					return
				default:
				}
			}
		}()
	}
	for i := range 8 {
		study(i + 3)
		if r := run(t, dir, kinds, pipeline.Options{}); len(r.made) == 0 {
			t.Error("a run made nothing")
		}
	}
	close(end)
	wg.Wait()
	if reads.Load() < 8 {
		t.Errorf("only %d reads", reads.Load())
	}
}

// TestReadersOfNothing reads a study that was never run.
func TestReadersOfNothing(t *testing.T) {
	dir := fixture(t, 1)
	if _, err := pipeline.LoadRecord(dir, ""); !errors.Is(err, pipeline.ErrNoRun) {
		t.Error(err)
	}
	if _, err := pipeline.Trace(dir, nil, "S1/sums/total"); !errors.Is(err, pipeline.ErrNoRun) {
		t.Error(err)
	}
	if _, err := pipeline.Compare(dir, "", ""); !errors.Is(err, pipeline.ErrNoRun) {
		t.Error(err)
	}
	if _, err := store.OpenRead(filepath.Join(dir, pipeline.StateDir, "store"), store.OS{}); !errors.Is(err, fs.ErrNotExist) {
		t.Error(err)
	}
	if _, err := os.Stat(filepath.Join(dir, pipeline.StateDir)); !errors.Is(err, fs.ErrNotExist) {
		t.Error("reading made a folder")
	}
}
