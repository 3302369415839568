package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// mutate changes one line of a study file in one of the ways in which files go wrong under people's hands.
func mutate(t *rapid.T, lines []string) []string {
	lines = slices.Clone(lines)
	at := rapid.IntRange(0, len(lines)-1).Draw(t, "line")
	line := []rune(lines[at])
	col := 0
	if len(line) > 0 {
		col = rapid.IntRange(0, len(line)-1).Draw(t, "column")
	}
	apart := func(s string) []string {
		return strings.FieldsFunc(s, func(r rune) bool { return strings.ContainsRune(" {}[],:\"", r) })
	}
	word := rapid.SampledFrom(append(apart(strings.Join(lines, " ")), "", "null", "~", "-", "12", "1_000", "012", "no", "&a", "*a", "!!int", "{}", "[]", "|", ">", "? :", "'", "\"",
		"\t", "\x00", "\ufeff", "µ")).Draw(t, "word")
	switch rapid.IntRange(0, 9).Draw(t, "what") {
	case 0: // a line is lost
		return slices.Delete(lines, at, at+1)
	case 1: // or stands there twice
		return slices.Insert(lines, at, lines[at])
	case 2: // or is exchanged with another
		other := rapid.IntRange(0, len(lines)-1).Draw(t, "other")
		lines[at], lines[other] = lines[other], lines[at]
	case 3: // is indented further
		lines[at] = "  " + lines[at]
	case 4: // or less
		lines[at] = strings.TrimPrefix(lines[at], "  ")
	case 5: // a letter is lost
		if len(line) > 0 {
			line = slices.Delete(line, col, col+1)
		}
		lines[at] = string(line)
	case 6: // or too many
		lines[at] = string(line[:col]) + word + string(line[col:])
	case 7: // a word becomes another
		if own := apart(lines[at]); len(own) > 0 {
			lines[at] = strings.Replace(lines[at], rapid.SampledFrom(own).Draw(t, "own"), word, 1)
		}
	case 8: // the value is another
		if key, _, ok := strings.Cut(lines[at], ":"); ok {
			lines[at] = key + ": " + word
		}
	case 9: // the file is cut off
		return append(lines[:at:at], string(line[:col]))
	}
	return lines
}

// However the demo's study file goes wrong, check either passes it or says at least one fault with its line and column, and what it
// passes a run can be planned from.
func TestCheckOfAnyMutation(t *testing.T) {
	dir := writeFirstLook(t)
	name := filepath.Join(dir, "study.yaml")
	whole, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSuffix(string(whole), "\n"), "\n")
	run := func(args ...string) (status int, out string) {
		var stdout, stderr bytes.Buffer
		status = Main(t.Context(), append(args, "--json", dir), &stdout, &stderr)
		if s := stdout.String() + stderr.String(); strings.Contains(s, "goroutine ") || strings.Contains(s, "panic") {
			t.Fatalf("a panic: %s", s)
		}
		return status, stdout.String()
	}
	passed, refused := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		changed := mutate(t, lines)
		if rapid.Bool().Draw(t, "twice") && len(changed) > 0 {
			changed = mutate(t, changed)
		}
		if !slices.ContainsFunc(changed, func(l string) bool { l = strings.TrimSpace(l); return l != "" && l[0] != '#' }) {
			t.Skip("nothing is left that could have a place")
		}
		text := strings.Join(changed, "\n") + "\n"
		if err := os.WriteFile(name, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
		status, out := run("check")
		switch status {
		case statusGood, statusHoles:
			passed++
			if status, out := run("run", "--plan"); status != statusGood {
				t.Fatalf("passed, but there is no plan: %s", out)
			}
		case statusFault:
			refused++
			placed := false
			for line := range strings.Lines(out) {
				var f faultLine
				if err := json.Unmarshal([]byte(line), &f); err != nil {
					t.Fatalf("%v: %s", err, line)
				}
				if f.Event != "fault" {
					continue
				}
				if f.Message == "" || strings.ContainsAny(f.Message, "\n\t\x00") {
					t.Fatalf("message %q", f.Message)
				}
				placed = placed || f.Line > 0 && f.Col > 0 && (f.File != "study.yaml" || f.Line <= strings.Count(text, "\n")+1)
			}
			if !placed {
				t.Fatalf("no fault has a place: %s", out)
			}
		default:
			t.Fatalf("exit status %d: %s", status, out)
		}
	})
	if passed < 5 || refused < 30 {
		t.Errorf("%d passed, %d were refused: too few to mean anything", passed, refused)
	}
}
