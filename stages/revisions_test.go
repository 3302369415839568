package stages

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"testing"

	"fascicle/pipeline"
	"fascicle/pipeline/kindtest"
	"fascicle/pipeline/table"

	diff "github.com/google/go-cmp/cmp"
)

// A kind's revision goes up when its numbers change, or stores would go on to hand out the old ones. Here every kind works on fixed
// input, testdata/revisions. items.txt holds the recipe key and the content hash of each item: the same key must give the same hash. A
// recipe names the kind's revision, so a revision that goes up gives new keys, which `go test ./stages -update` accepts; other numbers
// under an old key it does not. numbers.txt holds the numbers themselves, so that a failure shows what moved.
//
// Content hashes are held on amd64 only. Elsewhere a compiler may fuse a product and a sum, and the numbers must agree within 1e-9.
func TestRevisions(t *testing.T) {
	got := runRevisions(t)
	for _, k := range Kinds() {
		if !slices.ContainsFunc(got, func(it fixedItem) bool { return it.kind == k.Name }) {
			t.Errorf("no stage of testdata/revisions/study.yaml is of kind %s: add one", k.Name)
		}
	}
	itemsFile, numbersFile := filepath.Join(revisionsDir, "items.txt"), filepath.Join(revisionsDir, "numbers.txt")
	want, numbers := readItems(t, itemsFile), readNumbers(t, numbersFile)
	if runtime.GOARCH != "amd64" {
		if len(numbers) != len(got) {
			t.Errorf("%d items, want %d", len(got), len(numbers))
		}
		for _, it := range got {
			compareNumbers(t, it, numbers[it.place()])
		}
		return
	}
	moved := false
	for _, it := range got {
		for _, w := range want {
			if w.key == it.key && w.place() == it.place() && w.hash != it.hash {
				moved = true
				t.Errorf("%s: the numbers changed, but kind %s is still at revision %d: raise Revision in its declaration, or find out why they did (-held +now):\n%s",
					it.place(), it.kind, it.revision, diff.Diff(numbers[it.place()], it.numbers))
			}
		}
	}
	if moved {
		return // nothing is written over
	}
	items, text := writeItems(got)
	if *update {
		if err := os.WriteFile(itemsFile, []byte(items), 0o666); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(numbersFile, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
		return
	}
	held, _ := writeItems(want)
	if d := diff.Diff(strings.Split(held, "\n"), strings.Split(items, "\n")); d != "" {
		t.Errorf("recipes changed (-held +now). If a revision went up or the fixed input was added to, `go test ./stages -update` writes them anew:\n%s", d)
	}
}

const revisionsDir = "testdata/revisions"

// fixedItem is an item made from the fixed input.
type fixedItem struct {
	kind     string
	revision int
	stage    string
	output   string
	item     string
	key      string
	hash     string
	numbers  []string // head and rows of its table
}

func (it fixedItem) place() string { return it.stage + " " + it.output + " " + it.item }

// Kinds reuse the choices that they are handed: else shared parts would be differences of calls that differ in more than their source.
func TestChoicesAreReused(t *testing.T) {
	var w kindtest.Choices
	var watched []*pipeline.Kind
	for _, k := range Kinds() {
		watched = append(watched, w.Watch(k))
	}
	runFixed(t, watched)
	for _, p := range w.Problems() {
		t.Error(p)
	}
}

// runFixed runs the fixed study in a folder of its own.
func runFixed(t *testing.T, kinds []*pipeline.Kind) *pipeline.Outcome {
	t.Helper()
	dir := t.TempDir()
	if err := os.CopyFS(dir, os.DirFS(revisionsDir)); err != nil {
		t.Fatal(err)
	}
	p, faults := pipeline.Load(dir, kinds)
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	o, err := pipeline.Run(context.Background(), p, pipeline.Options{})
	if err != nil {
		t.Fatal(err)
	}
	o.Complete()
	return o
}

func runRevisions(t *testing.T) []fixedItem {
	t.Helper()
	o := runFixed(t, Kinds())
	var out []fixedItem
	for _, s := range o.Stages {
		if s.Kind == nil {
			continue
		}
		for _, it := range s.Items {
			if it.State != pipeline.Made {
				t.Fatalf("%s %s is %s: %s", s.Name, it.Name, it.State, it.Message)
			}
			tab, err := o.Load(it)
			if err != nil {
				t.Fatal(err)
			}
			out = append(out, fixedItem{s.Kind.Name, s.Kind.Revision, s.Name, it.Output, it.Name, it.Key.String(), it.Hash.String(), dump(tab)})
		}
	}
	slices.SortFunc(out, func(a, b fixedItem) int {
		return cmp.Or(cmp.Compare(a.kind, b.kind), cmp.Compare(a.place(), b.place()))
	})
	return out
}

// dump writes a table as lines of cells between tabs.
func dump(t *table.Table) []string {
	heads := make([]string, len(t.Columns))
	for i, c := range t.Columns {
		heads[i] = c.Name
		if c.Unit != "" {
			heads[i] += " [" + c.Unit + "]"
		}
	}
	lines := []string{strings.Join(heads, "\t")}
	for r := range t.Len() {
		cells := make([]string, len(t.Columns))
		for i := range t.Columns {
			c := &t.Columns[i]
			switch {
			case c.IsNull(r):
				cells[i] = "null"
			case c.Type == table.Float:
				cells[i] = strconv.FormatFloat(c.Floats[r], 'g', -1, 64)
			case c.Type == table.Int:
				cells[i] = strconv.FormatInt(c.Ints[r], 10)
			default:
				cells[i] = strconv.Quote(c.Texts[r])
			}
		}
		lines = append(lines, strings.Join(cells, "\t"))
	}
	return lines
}

// writeItems gives the two files' text.
func writeItems(items []fixedItem) (list, numbers string) {
	var a, b strings.Builder
	for _, it := range items {
		fmt.Fprintf(&a, "%s r%d\t%s\t%s\t%s\t%s\t%s\n", it.kind, it.revision, it.stage, it.output, it.item, it.key, it.hash)
		fmt.Fprintf(&b, "# %s\n%s\n\n", it.place(), strings.Join(it.numbers, "\n"))
	}
	return a.String(), b.String()
}

func readItems(t *testing.T, name string) []fixedItem {
	t.Helper()
	var out []fixedItem
	for n, line := range fileLines(t, name) {
		f := strings.Split(line, "\t")
		if line == "" {
			continue
		}
		if len(f) != 6 {
			t.Fatalf("%s:%d: found %d cells, want 6", name, n+1, len(f))
		}
		it := fixedItem{stage: f[1], output: f[2], item: f[3], key: f[4], hash: f[5]}
		if _, err := fmt.Sscanf(f[0], "%s r%d", &it.kind, &it.revision); err != nil {
			t.Fatalf("%s:%d: %v", name, n+1, err)
		}
		out = append(out, it)
	}
	return out
}

// readNumbers gives the tables by place.
func readNumbers(t *testing.T, name string) map[string][]string {
	t.Helper()
	out := map[string][]string{}
	place := ""
	for _, line := range fileLines(t, name) {
		if rest, ok := strings.CutPrefix(line, "# "); ok {
			place = rest
		} else if line != "" {
			out[place] = append(out[place], line)
		}
	}
	return out
}

func fileLines(t *testing.T, name string) []string {
	t.Helper()
	data, err := os.ReadFile(name)
	if err != nil {
		if *update && os.IsNotExist(err) {
			return nil
		}
		t.Fatalf("%v; `go test ./stages -update` writes it", err)
	}
	return strings.Split(strings.ReplaceAll(string(data), "\r\n", "\n"), "\n")
}

// compareNumbers holds a table against what is held of it, numbers within 1e-9 of the largest of their column.
func compareNumbers(t *testing.T, it fixedItem, held []string) {
	t.Helper()
	if len(held) != len(it.numbers) || len(held) > 0 && held[0] != it.numbers[0] {
		t.Errorf("%s has other columns or rows (-held +now):\n%s", it.place(), diff.Diff(held, it.numbers))
		return
	}
	var largest []float64
	for _, row := range held[1:] {
		for c, cell := range strings.Split(row, "\t") {
			if c == len(largest) {
				largest = append(largest, 0)
			}
			if x, err := strconv.ParseFloat(cell, 64); err == nil {
				largest[c] = math.Max(largest[c], math.Abs(x))
			}
		}
	}
	for r := 1; r < len(held); r++ {
		now := strings.Split(it.numbers[r], "\t")
		for c, cell := range strings.Split(held[r], "\t") {
			x, errX := strconv.ParseFloat(cell, 64)
			y, errY := strconv.ParseFloat(now[c], 64)
			if errX != nil || errY != nil {
				if cell != now[c] {
					t.Errorf("%s, row %d: found %s, want %s", it.place(), r, now[c], cell)
				}
			} else if math.Abs(x-y) > 1e-9*largest[c] {
				t.Errorf("%s, row %d: found %v, want %v within 1e-9", it.place(), r, y, x)
			}
		}
	}
}
