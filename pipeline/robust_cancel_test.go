package pipeline_test

import (
	"context"
	"errors"
	"fmt"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"fascicle/pipeline"
)

// goroutines waits until no more run than did before, and says what still does.
func goroutines(t *testing.T, before int) {
	t.Helper()
	for range 100 {
		if runtime.NumGoroutine() <= before {
			return
		}
		time.Sleep(20 * time.Millisecond)
	}
	b := make([]byte, 1<<16)
	t.Errorf("%d goroutines, %d before:\n%s", runtime.NumGoroutine(), before, b[:runtime.Stack(b, true)])
}

// TestInterruptedRunKeepsWhatIsFinished cancels a run after each of its items in turn.
func TestInterruptedRunKeepsWhatIsFinished(t *testing.T) {
	first := fixture(t, 2)
	dir := copyStudy(t, first)
	want := run(t, dir, fixtureKinds(nil), pipeline.Options{})
	before := runtime.NumGoroutine()
	for after := range len(want.made) {
		dir := copyStudy(t, first)
		ctx, cancel := context.WithCancel(t.Context())
		var finished []string
		n := 0
		out, err := pipeline.Run(ctx, load(t, dir, slowed(fixtureKinds(nil), time.Millisecond)), pipeline.Options{Jobs: 3, Event: func(e pipeline.Event) {
			if e.State.Good() {
				finished = append(finished, e.Stage+" "+e.Item)
			}
			if e.State == pipeline.Failed {
				t.Errorf("%s %s failed: %s", e.Stage, e.Item, e.Message)
			}
			if n++; n == after+1 {
				cancel()
			}
		}})
		cancel()
		if !errors.Is(err, context.Canceled) && after+1 < len(want.made) {
			t.Fatalf("cancelled after %d items: %v", after+1, err)
		}
		if out == nil || out.Counts.Made+out.Counts.Kept != len(finished) {
			t.Errorf("cancelled after %d items: the outcome has other counts than the %d items that were told", after+1, len(finished))
		}
		got := run(t, dir, fixtureKinds(nil), pipeline.Options{})
		sameAs(t, want, got)
		for _, id := range finished {
			if !slices.Contains(got.kept, id) {
				t.Errorf("cancelled after %d items: %s was finished and is not kept", after+1, id)
			}
		}
	}
	goroutines(t, before)
}

// TestInterruptedRunReturnsWhileKindsWork cancels kinds that would take a minute, but listen.
func TestInterruptedRunReturnsWhileKindsWork(t *testing.T) {
	dir := fixture(t, 4)
	kinds := fixtureKinds(nil)
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	var working sync.WaitGroup
	working.Add(2)
	for _, k := range kinds {
		if k.Name != "t.less" {
			continue
		}
		k.Run = func(ctx context.Context, _ *pipeline.Call) (pipeline.Choices, error) {
			working.Done() // a third would panic: nothing is handed out after the end
			select {
			case <-ctx.Done():
				return nil, fmt.Errorf("not finished: %w", ctx.Err())
			case <-time.After(time.Minute):
				return nil, errors.New("nobody told it to end")
			}
		}
	}
	before := runtime.NumGoroutine()
	go func() {
		working.Wait()
		cancel()
	}()
	states := map[string]int{}
	begin := time.Now()
	_, err := pipeline.Run(ctx, load(t, dir, kinds), pipeline.Options{Jobs: 2, Event: func(e pipeline.Event) {
		states[e.Stage+" "+string(e.State)]++
		if e.Stage == "net" && !strings.Contains(e.Message, "interrupted") {
			t.Errorf("net %s is %s: %q", e.Item, e.State, e.Message)
		}
	}})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("the run ended with %v", err)
	}
	if time.Since(begin) > 30*time.Second {
		t.Error("the run waited for kinds that were told to end")
	}
	if states["curves made"] != 6 || states["net blocked"] != 2 || states["net failed"] != 0 {
		t.Errorf("states: %v", states)
	}
	goroutines(t, before)
}

// TestInterruptedRunLeavesDeafKinds cancels a kind that does not listen: the run leaves it behind.
func TestInterruptedRunLeavesDeafKinds(t *testing.T) {
	t.Parallel() // it waits
	dir := fixture(t, 2)
	kinds := fixtureKinds(nil)
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	deaf := make(chan struct{})
	defer close(deaf)
	for _, k := range kinds {
		if k.Name == "t.less" {
			k.Run = func(context.Context, *pipeline.Call) (pipeline.Choices, error) {
				cancel()
				<-deaf
				return nil, nil
			}
		}
	}
	_, err := pipeline.Run(ctx, load(t, dir, kinds), pipeline.Options{Jobs: 2})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("the run ended with %v", err)
	}
	if got := run(t, dir, fixtureKinds(nil), pipeline.Options{}); len(got.failed)+len(got.blocked) > 0 || !slices.Contains(got.kept, "curves day=d1,sample=S1") {
		t.Errorf("the next run: kept %v, failed %v, blocked %v", got.kept, got.failed, got.blocked)
	}
}

func TestRunThatIsCancelledBeforeItBegins(t *testing.T) {
	dir := fixture(t, 2)
	c := &calls{}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := pipeline.Run(ctx, load(t, dir, fixtureKinds(c)), pipeline.Options{}); !errors.Is(err, context.Canceled) {
		t.Error(err)
	}
	if c.n.Load() != 0 {
		t.Error("items were made")
	}
}
