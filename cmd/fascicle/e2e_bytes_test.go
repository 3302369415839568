package main

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"fascicle/cmd/fascicle/internal/firstlook"
)

// What leaves a study is the same to the byte, however, where and after what it was made.
func TestSameBytes(t *testing.T) {
	dir := writeFirstLook(t)
	age(t, dir)
	fascicle(t, "run", "--jobs", "1", dir).want(t, 1, nil, nil)
	want := outTree(t, dir)
	if len(want) < 20 {
		t.Fatalf("out/ holds %d files and folders: %v", len(want), slices.Sorted(keys(want)))
	}
	fresh := func(t *testing.T, args ...string) {
		d := writeFirstLook(t)
		fascicle(t, append(append([]string{"run"}, args...), d)...).want(t, 1, nil, nil)
		sameTree(t, want, outTree(t, d))
	}
	t.Run("in parallel", func(t *testing.T) {
		for _, jobs := range []string{"2", "8"} {
			t.Run(jobs+" jobs", func(t *testing.T) { t.Parallel(); fresh(t, "--jobs", jobs) })
		}
		t.Run("another order of files on disk", func(t *testing.T) {
			t.Parallel()
			d := filepath.Join(t.TempDir(), "study")
			s, err := firstlook.Make()
			if err != nil {
				t.Fatal(err)
			}
			slices.Reverse(s.Files)
			if err := s.Write(t.Context(), d); err != nil {
				t.Fatal(err)
			}
			fascicle(t, "run", d).want(t, 1, nil, nil)
			sameTree(t, want, outTree(t, d))
		})
		for _, zone := range []string{"Pacific/Kiritimati", "America/St_Johns"} { // 14 h before and 3½ h behind UTC
			t.Run("time zone "+zone, func(t *testing.T) {
				t.Parallel()
				d := writeFirstLook(t)
				runProgram(t, program(t, []string{"TZ=" + zone, "LANG=de_DE.UTF-8", "LC_ALL=de_DE.UTF-8"}, "run", d)).want(t, 1, nil, nil)
				sameTree(t, want, outTree(t, d))
			})
		}
		t.Run("one processor, from within the folder", func(t *testing.T) {
			t.Parallel()
			d := filepath.Join(t.TempDir(), "a folder of another name", "é")
			writeFirstLookTo(t, d)
			c := program(t, []string{"GOMAXPROCS=1"}, "run")
			c.Dir = d
			runProgram(t, c).want(t, 1, nil, nil)
			sameTree(t, want, outTree(t, d))
		})
	})

	// From here on the one study is run again and again.
	again := func(t *testing.T, args ...string) {
		t.Helper()
		fascicle(t, append(append([]string{"run"}, args...), dir)...).want(t, 1, nil, nil)
		sameTree(t, want, outTree(t, dir))
	}
	remove := func(t *testing.T, name string) {
		t.Helper()
		if err := os.RemoveAll(filepath.Join(dir, name)); err != nil {
			t.Fatal(err)
		}
	}
	t.Run("nothing to do", func(t *testing.T) { again(t) })
	t.Run("made again", func(t *testing.T) { again(t, "--remake", "--jobs", "8") })
	t.Run("without .fascicle", func(t *testing.T) { remove(t, ".fascicle"); again(t) })
	t.Run("without out", func(t *testing.T) { remove(t, "out"); again(t) })
	t.Run("half of the objects lost", func(t *testing.T) {
		for _, name := range everySecond(t, filepath.Join(dir, ".fascicle/store/objects/*/*")) {
			if err := os.Remove(name); err != nil {
				t.Fatal(err)
			}
		}
		remove(t, "out")
		again(t)
	})
	t.Run("half of the index lost", func(t *testing.T) {
		name := filepath.Join(dir, ".fascicle/store/index")
		data, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		var kept strings.Builder
		n := 0
		for line := range strings.Lines(string(data)) {
			if n++; n%2 == 0 {
				kept.WriteString(line)
			}
		}
		if n < 40 {
			t.Fatalf("the index has %d lines", n)
		}
		if err := os.WriteFile(name, []byte(kept.String()), 0o666); err != nil {
			t.Fatal(err)
		}
		remove(t, "out")
		c := fascicle(t, "run", "--json", dir)
		sameTree(t, want, outTree(t, dir))
		lines := c.lines(t)
		counts := lines[len(lines)-1]["counts"].(map[string]any)
		if made, kept := counts["made"].(float64), counts["kept"].(float64); made < 10 || kept < 10 {
			t.Errorf("%v made, %v kept: half of each was expected", made, kept)
		}
	})
	t.Run("stale files in out", func(t *testing.T) {
		for _, name := range []string{"out/figures/old.svg", "out/old.csv", "out/old folder/old.csv"} {
			full := filepath.Join(dir, name)
			if err := os.MkdirAll(filepath.Dir(full), 0o777); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(full, []byte("old"), 0o666); err != nil {
				t.Fatal(err)
			}
		}
		again(t)
	})
	t.Run("edited and lost files in out", func(t *testing.T) {
		files := everySecond(t, filepath.Join(dir, "out/*/*"))
		for i, name := range append(files, filepath.Join(dir, "out/report.html"), filepath.Join(dir, "out/values.json")) {
			if i%2 == 0 {
				if err := os.Remove(name); err != nil {
					t.Fatal(err)
				}
				continue
			}
			data, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			data[len(data)/2]++ // of the same size
			if err := os.WriteFile(name, data, 0o666); err != nil {
				t.Fatal(err)
			}
		}
		again(t)
	})
	t.Run("after another study in this folder", func(t *testing.T) {
		study := filepath.Join(dir, "study.yaml")
		edit(t, study, "monitor_ratio: 1.004", "monitor_ratio: 1.010")
		fascicle(t, "run", dir).want(t, 1, nil, nil)
		if fmt.Sprint(outTree(t, dir)) == fmt.Sprint(want) {
			t.Error("out/ does not depend on the study")
		}
		edit(t, study, "monitor_ratio: 1.010", "monitor_ratio: 1.004")
		again(t)
	})
}

// everySecond gives every second file that a pattern matches.
func everySecond(t *testing.T, pattern string) []string {
	t.Helper()
	names, err := filepath.Glob(pattern)
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for i := 0; i < len(names); i += 2 {
		out = append(out, names[i])
	}
	if len(out) < 5 {
		t.Fatalf("%s matches %d files", pattern, len(names))
	}
	return out
}
