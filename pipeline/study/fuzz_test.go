package study

import (
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// FuzzRead: no input panics; each gives either a study or faults, whose places lie in the file, and gives them again.
func FuzzRead(f *testing.F) {
	for _, c := range readCases(f, filepath.Join("testdata", "wrong.txt")) {
		f.Add([]byte(completed(c)))
	}
	small, err := os.ReadFile(filepath.Join("testdata", "small.yaml"))
	if err != nil {
		f.Fatal(err)
	}
	f.Add(small)
	f.Add([]byte("study: x\r\nsamples: \"\\u00b5\"\r\n"))
	f.Add([]byte("a: |2-\n   x\n b: 'y''\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		st, faults := Read("study.yaml", data)
		if (st == nil) == (len(faults) == 0) {
			t.Fatalf("study %v, faults %v", st, faults)
		}
		lines := newSource(data).lines()
		for _, x := range faults {
			if x.Line < 0 || x.Line > lines || x.Col < 0 || x.Line == 0 && x.Col != 0 {
				t.Errorf("a place outside the %d lines: %v", lines, x)
			}
			if x.File != "study.yaml" || x.Found == "" || x.Remedy == "" {
				t.Errorf("a fault without file, finding or remedy: %v", x)
			}
		}
		_, again := Read("study.yaml", data)
		if again.Error() != faults.Error() {
			t.Errorf("faults differ from reading to reading:\n%v\n%v", faults, again)
		}
		if st == nil {
			return
		}
		if st.Title.IsNull() || st.Samples.IsNull() || len(st.Graph) == 0 {
			t.Error("a study without title, sheet or graph")
		}
		for _, s := range st.Graph {
			if s.Kind.IsNull() == (len(s.Items) == 0) {
				t.Errorf("stage %q has both kind and items, or neither", s.Name.Value)
			}
			for _, p := range s.From {
				if len(p.Refs) == 0 {
					t.Errorf("port %q has no reference", p.Name.Value)
				}
				for _, r := range p.Refs {
					if len(r.Stages) == 0 || r.HasMatch != (len(r.Match) > 0) {
						t.Errorf("reference %+v", r)
					}
				}
			}
		}
		for _, c := range st.Constants {
			if (c.Value == nil) == (len(c.Keys) == 0) {
				t.Errorf("constant %q has both a value and keys, or neither", c.Name.Value)
			}
		}
	})
}

// TestSettingsRoundTrip writes settings of any form and reads them back, key by key and text by text.
func TestSettingsRoundTrip(t *testing.T) {
	const head = "study: x\nsamples: y\ngraph:\n  a:\n    kind: k\n    set: "
	texts := rapid.StringMatching(`[ -~µÅ°äöü→]{0,12}`)
	var node func(t *rapid.T, depth int) *Node
	node = func(t *rapid.T, depth int) *Node {
		kind := NodeKind(rapid.IntRange(0, 2).Draw(t, "kind"))
		switch n := rapid.IntRange(0, 3).Draw(t, "length"); {
		case depth == 0 || kind == Scalar:
			return &Node{Text: Text{Value: texts.Draw(t, "text")}}
		case kind == List:
			out := &Node{Kind: List}
			for range n {
				out.Items = append(out.Items, node(t, depth-1))
			}
			return out
		default:
			return mapNode(t, n, func() *Node { return node(t, depth-1) })
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		want := mapNode(t, rapid.IntRange(1, 4).Draw(t, "settings"), func() *Node { return node(t, 4) })
		st, faults := Read("study.yaml", []byte(head+written(want)+"\n"))
		if len(faults) > 0 {
			t.Fatal(faults)
		}
		if d := cmp.Diff(written(want), written(st.Graph[0].Set)); d != "" {
			t.Fatalf("settings (-want +got):\n%s", d)
		}
	})
}

func mapNode(t *rapid.T, n int, value func() *Node) *Node {
	out := &Node{Kind: Map}
	keys := rapid.SliceOfNDistinct(rapid.StringMatching(`[ -~µ]{1,8}`), n, n, rapid.ID[string]).Draw(t, "keys")
	for _, k := range keys {
		out.Entries = append(out.Entries, Entry{Key: Text{Value: k}, Value: value()})
	}
	return out
}

// written writes a node in brackets with every text in double quotes.
func written(n *Node) string {
	var parts []string
	switch n.Kind {
	case Map:
		for _, e := range n.Entries {
			parts = append(parts, strconv.Quote(e.Key.Value)+": "+written(e.Value))
		}
		return "{" + strings.Join(parts, ", ") + "}"
	case List:
		for _, it := range n.Items {
			parts = append(parts, written(it))
		}
		return "[" + strings.Join(parts, ", ") + "]"
	}
	return strconv.Quote(n.Text.Value)
}

func BenchmarkRead(b *testing.B) {
	_, data := readSmall(b)
	b.SetBytes(int64(len(data)))
	for b.Loop() {
		if _, faults := Read("small.yaml", data); len(faults) > 0 {
			b.Fatal(faults)
		}
	}
}
