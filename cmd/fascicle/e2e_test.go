package main

import (
	"flag"
	"fmt"
	"io/fs"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"fascicle/cmd/fascicle/internal/firstlook"

	"github.com/google/go-cmp/cmp"
)

var update = flag.Bool("update", false, "write the golden files anew; read every line of the difference")

// asProgram makes the test binary the program itself, so that tests can run it as a process of its own.
const asProgram = "FASCICLE_TEST_AS_PROGRAM"

func TestMain(m *testing.M) {
	if os.Getenv(asProgram) != "" {
		main()
	}
	os.Exit(m.Run())
}

// program is the program as a process of its own, with additions to the environment.
func program(t *testing.T, env []string, args ...string) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	c := exec.Command(self, args...)
	c.Env = append(append(os.Environ(), asProgram+"=1"), env...)
	return c
}

// runProgram runs it to its end.
func runProgram(t *testing.T, c *exec.Cmd) call {
	t.Helper()
	var out, errs strings.Builder
	c.Stdout, c.Stderr = &out, &errs
	var exit *exec.ExitError
	if err := c.Run(); err != nil && !asExit(err, &exit) {
		t.Fatal(err)
	}
	return call{c.ProcessState.ExitCode(), out.String(), errs.String()}
}

func asExit(err error, exit **exec.ExitError) bool {
	e, ok := err.(*exec.ExitError)
	*exit = e
	return ok
}

// writeFirstLook writes the files of a small study into a new folder and does not run them.
func writeFirstLook(t *testing.T) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "study")
	writeFirstLookTo(t, dir)
	return dir
}

func writeFirstLookTo(t *testing.T, dir string) {
	t.Helper()
	s, err := firstlook.Make()
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Write(t.Context(), dir); err != nil {
		t.Fatal(err)
	}
}

// outTree gives out/ as names relative to it and contents; folders end in a slash.
func outTree(t *testing.T, dir string) map[string]string {
	t.Helper()
	return relTree(t, filepath.Join(dir, "out"))
}

func relTree(t *testing.T, root string) map[string]string {
	t.Helper()
	files := map[string]string{}
	err := filepath.WalkDir(root, func(name string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(root, name)
		if err != nil {
			return err
		}
		if d.IsDir() {
			files[filepath.ToSlash(rel)+"/"] = ""
			return nil
		}
		data, err := os.ReadFile(name)
		files[filepath.ToSlash(rel)] = string(data)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return files
}

// sameTree compares two trees, naming files and the first line that differs rather than printing whole pages.
func sameTree(t *testing.T, want, got map[string]string) {
	t.Helper()
	names := map[string]bool{}
	for n := range want {
		names[n] = true
	}
	for n := range got {
		names[n] = true
	}
	for _, n := range slices.Sorted(keys(names)) {
		w, inWant := want[n]
		g, inGot := got[n]
		switch {
		case !inGot:
			t.Errorf("%s is missing", n)
		case !inWant:
			t.Errorf("%s is there, and should not be", n)
		case w != g:
			wl, gl := strings.Split(w, "\n"), strings.Split(g, "\n")
			for i := range min(len(wl), len(gl)) {
				if wl[i] != gl[i] {
					t.Errorf("%s, line %d:\n%.300s\n%.300s", n, i+1, wl[i], gl[i])
					break
				}
			}
			if len(wl) != len(gl) {
				t.Errorf("%s has %d lines, not %d", n, len(gl), len(wl))
			}
		}
	}
}

func keys[V any](m map[string]V) func(yield func(string) bool) {
	return func(yield func(string) bool) {
		for k := range m {
			if !yield(k) {
				return
			}
		}
	}
}

// items runs the study and gives its items, as "stage item", by state.
func items(t *testing.T, args ...string) map[string][]string {
	t.Helper()
	out := map[string][]string{}
	for _, l := range fascicle(t, append([]string{"run", "--json"}, args...)...).lines(t) {
		if l["event"] != "item" {
			continue
		}
		state := l["state"].(string)
		name := l["stage"].(string) + " " + l["item"].(string)
		if !slices.Contains(out[state], name) { // several outputs of one item
			out[state] = append(out[state], name)
		}
	}
	for _, names := range out {
		slices.Sort(names)
	}
	return out
}

// wantMade holds the names of the items that were made against what is expected; anything else is kept, or as it was before.
func wantMade(t *testing.T, got map[string][]string, want ...string) {
	t.Helper()
	slices.Sort(want)
	if d := cmp.Diff(want, got["made"]); d != "" && len(want)+len(got["made"]) > 0 {
		t.Errorf("made (-want +got):\n%s", d)
	}
}

// A smallStudy is a folder with a study of three samples: A and B in the solvent S, subtracted and fitted.
type smallStudy struct{ dir string }

const smallStudyFile = `study: Three samples
samples: samples.csv
constants:
  ratio: 1.002
  cell: 1.003(4) mm
conditions:
  mixture: role == "mixture"
graph:
  curves:
    kind: import
    set:
      files: raw/<sample>.dat
      columns: {q: "1 [1/Å]", I: "2 [1/cm]", u_I: "3 [1/cm]"}
  particles:
    kind: correct.subtract
    from:
      curve: {stage: curves, where: mixture}
      background: {stage: curves, where: not mixture, match: [salt]}
    set: {scale: ratio}
  sizes:
    kind: scattering.guinier
    from: {curve: particles}
  joined:
    kind: relation.join
    from:
      sample: {stage: samples, where: mixture}
      values: sizes
`

const smallSheet = `sample,role,salt,amount [mol/L]
A,mixture,NaCl,0.1
B,mixture,NaCl,0.2
S,solvent,NaCl,
`

// newSmallStudy writes it.
func newSmallStudy(t *testing.T) smallStudy {
	t.Helper()
	s := smallStudy{filepath.Join(t.TempDir(), "study")}
	s.write(t, "study.yaml", smallStudyFile)
	s.write(t, "samples.csv", smallSheet)
	s.write(t, "raw/A.dat", smallCurve(1, 3, 0.02))
	s.write(t, "raw/B.dat", smallCurve(2, 4, 0.02))
	s.write(t, "raw/S.dat", smallCurve(0, 1, 0.02))
	return s
}

func (s smallStudy) path(name string) string { return filepath.Join(s.dir, filepath.FromSlash(name)) }

func (s smallStudy) write(t *testing.T, name, text string) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(s.path(name)), 0o777); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(s.path(name), []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
}

func (s smallStudy) remove(t *testing.T, name string) {
	t.Helper()
	if err := os.Remove(s.path(name)); err != nil {
		t.Fatal(err)
	}
}

// smallCurve is exp(-q²·Rg²/3) with a flat level, q in 1/Å, Rg in nm; its noise is a fixed ripple of the size of its u.
func smallCurve(i0, rg, level float64) string {
	return smallCurveOf(func(q float64) float64 { return i0*math.Exp(-q*q*rg*rg/3) + level })
}

// smallCurveOf tabulates f over q in 1/nm as three columns, q in 1/Å.
func smallCurveOf(f func(q float64) float64) string {
	var b strings.Builder
	b.WriteString("# bench camera\n")
	for k := range 60 {
		q := 0.08 * math.Exp(float64(k)*0.055)
		y := f(q)
		u := 0.01 * math.Abs(y)
		fmt.Fprintf(&b, "%.6f %.6e %.3e\n", q/10, y+u*math.Sin(float64(k*k)), u)
	}
	return b.String()
}

// longAgo is a time that is past in every time zone.
var longAgo = time.Date(2020, 3, 4, 12, 0, 0, 0, time.UTC)

// age moves the raw files' times of change well into the past, so that their hashes may be remembered.
func age(t *testing.T, dir string) {
	t.Helper()
	err := filepath.WalkDir(filepath.Join(dir, "raw"), func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		return os.Chtimes(name, longAgo, longAgo)
	})
	if err != nil {
		t.Fatal(err)
	}
}
