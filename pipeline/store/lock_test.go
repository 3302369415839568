package store

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"
)

// TestMain makes the test's own program the other process: with the variable set
// it locks the folder, says so, and holds the lock until its input ends.
func TestMain(m *testing.M) {
	dir := os.Getenv("FASCICLE_TEST_LOCK")
	if dir == "" {
		os.Exit(m.Run())
	}
	unlock, err := Lock(context.Background(), dir, func(holder string) { fmt.Println("waits for", holder) })
	if err != nil {
		fmt.Println(err)
		os.Exit(1)
	}
	fmt.Println("locked")
	io.Copy(io.Discard, os.Stdin)
	unlock()
	fmt.Println("unlocked")
	os.Exit(0)
}

type other struct {
	cmd *exec.Cmd
	in  io.WriteCloser
	out *bufio.Scanner
}

// startOther starts the other process and waits for its first line.
func startOther(t *testing.T, dir, want string) *other {
	t.Helper()
	cmd := exec.Command(os.Args[0], "-test.run=^$")
	cmd.Env = append(os.Environ(), "FASCICLE_TEST_LOCK="+dir)
	in, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	o := &other{cmd, in, bufio.NewScanner(out)}
	t.Cleanup(func() {
		in.Close()
		cmd.Process.Kill()
		cmd.Wait()
	})
	o.says(t, want)
	return o
}

func (o *other) says(t *testing.T, want string) {
	t.Helper()
	if !o.out.Scan() || o.out.Text() != want {
		t.Fatalf("the other process says %q (%v), want %q", o.out.Text(), o.out.Err(), want)
	}
}

// patience ends a test that would otherwise hang; nothing is timed by it.
func patience(t *testing.T) context.Context {
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	t.Cleanup(cancel)
	return ctx
}

func TestLockFreedByDeath(t *testing.T) {
	dir := t.TempDir()
	o := startOther(t, dir, "locked")
	waits := 0
	unlock, err := Lock(patience(t), dir, func(holder string) {
		waits++
		if want := fmt.Sprint("process ", o.cmd.Process.Pid); holder != want {
			t.Errorf("holder is %q, want %q", holder, want)
		}
		o.cmd.Process.Kill()
	})
	if err != nil {
		t.Fatal(err)
	}
	if waits != 1 {
		t.Errorf("wait was called %d times, want once", waits)
	}
	unlock()
}

func TestLockHandedOver(t *testing.T) {
	dir := t.TempDir()
	unlock, err := Lock(patience(t), dir, func(string) { t.Error("waits though the lock is free") })
	if err != nil {
		t.Fatal(err)
	}
	o := startOther(t, dir, fmt.Sprint("waits for process ", os.Getpid()))
	unlock()
	o.says(t, "locked")
	if b := readFile(t, filepath.Join(dir, lockName)); strings.TrimSpace(string(b)) != fmt.Sprint(o.cmd.Process.Pid) {
		t.Errorf("the lock file holds %q", b)
	}
	unlock() // a second time does nothing, in particular to the other's lock
	o.in.Close()
	o.says(t, "unlocked")
	unlock, err = Lock(patience(t), dir, nil)
	if err != nil {
		t.Fatal(err)
	}
	unlock()
}

func TestLockGivenUp(t *testing.T) {
	dir := t.TempDir()
	startOther(t, dir, "locked")
	ctx, cancel := context.WithCancel(patience(t))
	_, err := Lock(ctx, dir, func(string) { cancel() })
	if !errors.Is(err, context.Canceled) {
		t.Errorf("got %v, want context.Canceled", err)
	}
	if _, err := Lock(ctx, t.TempDir(), nil); !errors.Is(err, context.Canceled) {
		t.Errorf("with a context that has ended: got %v, want context.Canceled", err)
	}
}

// TestLockExcludes: goroutines of one process exclude each other too.
func TestLockExcludes(t *testing.T) {
	dir := t.TempDir()
	var wg sync.WaitGroup
	var inside atomic.Int32
	for range 4 {
		wg.Go(func() {
			unlock, err := Lock(patience(t), dir, nil)
			if err != nil {
				t.Error(err)
				return
			}
			defer unlock()
			if n := inside.Add(1); n != 1 {
				t.Errorf("%d are inside", n)
			}
			time.Sleep(time.Millisecond)
			inside.Add(-1)
		})
	}
	wg.Wait()
}

// TestLockFolderDeleted: a lock on a file that is gone would exclude nobody.
func TestLockFolderDeleted(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "study")
	unlock, err := Lock(patience(t), dir, nil)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.RemoveAll(dir); err != nil {
		t.Skip("an open file cannot be removed here")
	}
	second, err := Lock(patience(t), dir, nil)
	if err != nil {
		t.Fatal(err)
	}
	unlock()
	if _, err := os.Stat(filepath.Join(dir, lockName)); err != nil {
		t.Errorf("the second lock has no file: %v", err)
	}
	second()
}

func TestLockFaults(t *testing.T) {
	dir := t.TempDir()
	writeFile(t, filepath.Join(dir, "file"), nil)
	if _, err := Lock(patience(t), filepath.Join(dir, "file"), nil); err == nil || !strings.Contains(err.Error(), "cannot lock") {
		t.Errorf("a file where the folder should be: got %v", err)
	}
	if err := os.Mkdir(filepath.Join(dir, lockName), 0o777); err != nil {
		t.Fatal(err)
	}
	if _, err := Lock(patience(t), dir, nil); err == nil || !strings.Contains(err.Error(), "cannot lock") {
		t.Errorf("a folder where the lock should be: got %v", err)
	}
}

func TestReadHolder(t *testing.T) {
	name := filepath.Join(t.TempDir(), "lock")
	if got := readHolder(name); got != "another process" {
		t.Errorf("without a file: %q", got)
	}
	for text, want := range map[string]string{"": "another process", "12\n": "process 12", "-3": "another process", "x": "another process"} {
		writeFile(t, name, []byte(text))
		if got := readHolder(name); got != want {
			t.Errorf("%q: got %q, want %q", text, got, want)
		}
	}
}
