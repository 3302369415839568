package study

import (
	"fmt"
	"strings"

	"gopkg.in/yaml.v3"
)

const quotedStyles = yaml.DoubleQuotedStyle | yaml.SingleQuotedStyle | yaml.LiteralStyle | yaml.FoldedStyle

// tree turns a YAML node into ours. It refuses what a reader of the file would have to resolve in the head (anchors,
// aliases, merges, tags), what would silently lose a value (a key given twice), and nesting that no study needs.
func (r *reader) tree(n *yaml.Node, depth int) *Node {
	p := Pos{n.Line, n.Column}
	out := &Node{Pos: p}
	if depth > maxDepth {
		r.add(p, fmt.Sprintf("nesting more than %d deep", maxDepth), "a study file, which is seldom 8 deep",
			"check the brackets and the indentation here")
		return out
	}
	r.properties(n)
	switch n.Kind {
	case yaml.ScalarNode:
		out.Text = scalar(n)
	case yaml.MappingNode:
		out.Kind = Map
		r.entries(out, n, depth)
	case yaml.SequenceNode:
		out.Kind = List
		out.Items = make([]*Node, 0, len(n.Content))
		for _, c := range n.Content {
			out.Items = append(out.Items, r.tree(c, depth+1))
		}
	case yaml.AliasNode:
		r.add(p, fmt.Sprintf("the alias %q", "*"+n.Value), "values written out, no aliases",
			"write the value out; if it is meant as text, put it in quotes")
	}
	return out
}

// properties refuses tags and anchors. It looks at the text as well as at the node, since the parser drops a bare "!".
func (r *reader) properties(n *yaml.Node) {
	p := Pos{n.Line, n.Column}
	rest := r.src.from(p)
	word := firstWord(rest)
	switch {
	case n.Anchor != "":
		r.add(p, fmt.Sprintf("the anchor %q", "&"+n.Anchor), "values written out, no anchors",
			"delete the anchor, and write the value out where it is used")
	case n.Style&yaml.TaggedStyle != 0, strings.HasPrefix(rest, "!"):
		remedy := "delete the tag; if it is meant as text, put it in quotes"
		if len(word) > 1 && word[1] != '!' {
			remedy = fmt.Sprintf("delete the tag; for a negation write `not %s`, or put the whole in quotes", strings.TrimLeft(word, "!"))
		}
		r.add(p, fmt.Sprintf("the tag %q", word), "values without tags", remedy)
	}
}

func firstWord(s string) string {
	if i := strings.IndexAny(s, " \t,]}"); i >= 0 {
		s = s[:i]
	}
	return s
}

func (r *reader) entries(out *Node, n *yaml.Node, depth int) {
	seen := make(map[string]Pos, len(n.Content)/2)
	out.Entries = make([]Entry, 0, len(n.Content)/2)
	for i := 0; i+1 < len(n.Content); i += 2 {
		k := n.Content[i]
		kp := Pos{k.Line, k.Column}
		value := r.tree(n.Content[i+1], depth+1)
		r.properties(k)
		switch {
		case k.Kind == yaml.AliasNode:
			r.tree(k, depth+1)
			continue
		case k.Kind != yaml.ScalarNode:
			r.add(kp, fmt.Sprintf("a %s as a key", kindOf(k)), "a word as a key",
				"write one word in front of the colon; if brackets are meant as text, put the key in quotes")
			continue
		}
		key := scalar(k)
		if key.Value == "<<" && !key.Quoted {
			r.add(kp, `the merge key "<<"`, "values written out, no merges", "write the merged entries out")
			continue
		}
		if key.Value == "" {
			r.add(kp, "an empty key", "a word in front of the colon", "write the key, or delete the entry")
			continue
		}
		if first, dup := seen[key.Value]; dup {
			r.add(kp, fmt.Sprintf("the key %q on line %d and again on line %d", key.Value, first.Line, kp.Line), "each key once",
				"delete or rename one of the two")
			continue
		}
		seen[key.Value] = kp
		out.Entries = append(out.Entries, Entry{Key: key, Value: value})
	}
}

func kindOf(n *yaml.Node) NodeKind {
	switch n.Kind {
	case yaml.MappingNode:
		return Map
	case yaml.SequenceNode:
		return List
	}
	return Scalar
}

// scalar keeps the text as written. Of a block of text it drops the line end behind it, which nobody means.
func scalar(n *yaml.Node) Text {
	t := Text{Value: n.Value, Pos: Pos{n.Line, n.Column}, Quoted: n.Style&quotedStyles != 0}
	if n.Style&(yaml.LiteralStyle|yaml.FoldedStyle) != 0 {
		t.Value = strings.TrimRight(t.Value, "\n")
	}
	return t
}
