package main

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// block gives the README's first fenced block of a language that holds a text.
func block(t *testing.T, readme, language, with string) string {
	t.Helper()
	for rest := readme; ; {
		_, after, found := strings.Cut(rest, "\n```"+language+"\n")
		body, next, closed := strings.Cut(after, "\n```\n")
		if !found || !closed {
			t.Fatalf("README.md has no block of %s with %q", language, with)
		}
		if strings.Contains(body, with) {
			return body + "\n"
		}
		rest = next
	}
}

// The small study that README explains line by line is one that runs.
func TestReadme(t *testing.T) {
	data, err := os.ReadFile(filepath.Join(root, "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	readme := strings.ReplaceAll(string(data), "\r\n", "\n")
	for _, command := range []string{"\n    go run ./cmd/fascicle demo my-study ", "\n    go test ./... "} {
		if !strings.Contains(readme, command) {
			t.Errorf("README does not begin with %q, which .ci/run tries", strings.TrimSpace(command))
		}
	}
	dir := t.TempDir()
	write := func(name, text string) {
		t.Helper()
		name = filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(name), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(name, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	write("study.yaml", block(t, readme, "yaml", "graph:"))
	write("samples.csv", block(t, readme, "csv", "sample,"))
	for name, i0 := range map[string]float64{"A1": 0.4, "A2": 0.3, "W1": 0, "W2": 0} {
		var curve strings.Builder
		for k := range 60 {
			q := 0.005 + 0.0005*float64(k)
			fmt.Fprintf(&curve, "%.5f %.6f %.6f\n", q, 0.05+i0*math.Exp(-q*q*30*30/3), 0.001)
		}
		write("raw/d1/"+name+".dat", curve.String())
	}
	fascicle(t, "check", dir).want(t, 0, []string{"in order: 3 stages, 4 samples, 4 files"}, nil)
	fascicle(t, "run", dir).want(t, 0, []string{"0 failed, 0 blocked"}, nil)
	fascicle(t, "trace", dir, "A1/guinier/Rg_1").want(t, 0, []string{"raw/d1/W1.dat", "/Rg_1/day=d1,sample=A1 = 3.0"}, nil)
}
