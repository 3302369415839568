package store

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"
)

// lockName is the file in the locked folder that carries the lock. It stays
// there unlocked: whoever removed it could lock a file that others no longer see.
const lockName = "lock"

// lockPoll is how often a second process tries again. A blocking wait could not
// be given up when the user interrupts.
const lockPoll = 50 * time.Millisecond

var errLocked = errors.New("store: locked by another process")

// Lock takes the one lock of the folder dir, which it creates if it is missing. If
// another process (or another Lock of this one) holds it, wait is called once
// with words for the holder, such as "process 1234", and Lock waits until it is
// free or ctx ends. The system frees the lock of a process that dies. Unlock may
// be called more than once.
func Lock(ctx context.Context, dir string, wait func(holder string)) (unlock func(), err error) {
	fault := func(err error) error {
		return fmt.Errorf("store: cannot lock %s: %w; make the folder writable, or work on a copy of the study", dir, err)
	}
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return nil, fault(err)
	}
	name := filepath.Join(dir, lockName)
	told := false
	for {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		f, err := tryLock(name)
		if err == nil {
			writeHolder(f)
			return func() { release(f) }, nil
		}
		if !errors.Is(err, errLocked) {
			return nil, fault(err)
		}
		if !told {
			told = true
			if wait != nil {
				wait(readHolder(name))
			}
		}
		timer := time.NewTimer(lockPoll)
		select {
		case <-ctx.Done():
			timer.Stop()
			return nil, ctx.Err()
		case <-timer.C:
		}
	}
}

// tryLock opens and locks the file. If the folder was deleted and made anew while
// it was opened, the lock would be on a file that nobody else can see; then it is
// opened again.
func tryLock(name string) (*os.File, error) {
	for {
		f, err := os.OpenFile(name, os.O_RDWR|os.O_CREATE, 0o666)
		if err != nil {
			return nil, err
		}
		if err := lockFile(f); err != nil {
			f.Close()
			return nil, err
		}
		mine, err := f.Stat()
		if err != nil {
			f.Close()
			return nil, err
		}
		if visible, err := os.Stat(name); err == nil && os.SameFile(mine, visible) {
			return f, nil
		}
		f.Close()
	}
}

// writeHolder and release do not fail: the text is for a message only, and
// closing the file frees the lock whatever else happens.
func writeHolder(f *os.File) {
	if f.Truncate(0) == nil {
		f.WriteAt([]byte(strconv.Itoa(os.Getpid())+"\n"), 0)
	}
}

func release(f *os.File) {
	f.Truncate(0) // fails on the second call, when f is closed
	f.Close()
}

func readHolder(name string) string {
	f, err := os.Open(name)
	if err != nil {
		return "another process"
	}
	defer f.Close()
	b, _ := io.ReadAll(io.LimitReader(f, 32))
	pid, err := strconv.Atoi(strings.TrimSpace(string(b)))
	if err != nil || pid <= 0 {
		return "another process"
	}
	return "process " + strconv.Itoa(pid)
}
