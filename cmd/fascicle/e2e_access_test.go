//go:build unix

package main

import (
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// nobody makes the program run as a user whom file permissions bind, and gives the study to that user. Root, whom they do not bind,
// becomes another one for it.
func nobody(t *testing.T, s smallStudy, args ...string) *exec.Cmd {
	t.Helper()
	c := program(t, nil, append(args, s.dir)...)
	if os.Geteuid() != 0 {
		return c
	}
	const user = 65534
	bin := filepath.Join(filepath.Dir(s.dir), "program") // the test binary lies where only root may go
	if err := copyFile(c.Path, bin, 0o755); err != nil {
		t.Fatal(err)
	}
	c.Path, c.Dir = bin, s.dir
	c.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: user, Gid: user, NoSetGroups: true}}
	for dir := filepath.Dir(s.dir); dir != filepath.Dir(dir) && dir != os.TempDir(); dir = filepath.Dir(dir) {
		if err := os.Chmod(dir, 0o755); err != nil {
			t.Fatal(err)
		}
	}
	err := filepath.WalkDir(s.dir, func(name string, _ os.DirEntry, err error) error {
		if err != nil {
			return err
		}
		return os.Lchown(name, user, user)
	})
	if err != nil {
		t.Skip("files cannot be given away here: ", err)
	}
	probe := exec.Command(bin, "--version")
	probe.Env, probe.Dir, probe.SysProcAttr = c.Env, c.Dir, c.SysProcAttr
	if out, err := probe.CombinedOutput(); err != nil {
		t.Skipf("the program cannot be run as another user here: %v %s", err, out)
	}
	return c
}

func copyFile(from, to string, mode os.FileMode) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, mode)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	if cerr := out.Close(); err == nil {
		err = cerr
	}
	return err
}

// What may not be read or written to is said, with what to do.
func TestPermissions(t *testing.T) {
	chmod := func(t *testing.T, s smallStudy, name string, mode os.FileMode) {
		t.Helper()
		if err := os.Chmod(s.path(name), mode); err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _ = os.Chmod(s.path(name), 0o755) }) // so that the folder can be removed
	}
	for _, c := range []struct {
		name     string
		command  string
		change   func(t *testing.T, s smallStudy)
		status   int
		out, err []string
	}{
		{"raw file", "run", func(t *testing.T, s smallStudy) { chmod(t, s, "raw/A.dat", 0) }, 1,
			[]string{"failed   curves  sample=A: raw/A.dat: cannot be ", "permission denied; see that it", "may be read"}, nil},
		{"folder of raw files", "check", func(t *testing.T, s smallStudy) { chmod(t, s, "raw", 0) }, 0,
			[]string{"remark: stage curves: folder raw of the pattern", "permission denied"}, nil},
		{"folder among the raw files", "run", func(t *testing.T, s smallStudy) {
			s.write(t, "raw/deeper/C.dat", "")
			chmod(t, s, "raw/deeper", 0)
		}, 0, []string{"13 made", "remark: the folder raw/deeper cannot be read (permission denied), and nothing in it is taken"}, nil},
		{"study file", "check", func(t *testing.T, s smallStudy) { chmod(t, s, "study.yaml", 0) }, 2, nil,
			[]string{"study.yaml: found permission denied", "expected the study file"}},
		{"sheet", "check", func(t *testing.T, s smallStudy) { chmod(t, s, "samples.csv", 0) }, 2, nil,
			[]string{"study.yaml:2:10: ", `the sheet "samples.csv": permission denied`}},
		{"read-only folder", "run", func(t *testing.T, s smallStudy) { chmod(t, s, ".", 0o555) }, 2, nil,
			[]string{"the study's folder cannot be written to: permission denied; make it writable, or copy the study elsewhere"}},
		{"read-only folder, to check", "check", func(t *testing.T, s smallStudy) { chmod(t, s, ".", 0o555) }, 0, []string{"in order"}, nil},
		{"read-only out", "run", func(t *testing.T, s smallStudy) {
			fascicle(t, "run", s.dir).want(t, 0, nil, nil)
			s.write(t, "raw/A.dat", smallCurve(5, 3, 0.02))
			for _, name := range []string{"out", "out/tables", "out/figures"} {
				chmod(t, s, name, 0o555)
			}
		}, 2, nil, []string{"the report cannot be written", "permission denied"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			s := newSmallStudy(t)
			c.change(t, s)
			ran := runProgram(t, nobody(t, s, c.command))
			ran.want(t, c.status, c.out, c.err)
			if strings.Contains(ran.out+ran.err, "panic") {
				t.Error("a panic")
			}
		})
	}
}
