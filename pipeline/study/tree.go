package study

import (
	"fmt"
	"strings"
	"unicode/utf8"

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
	at := r.offset(p)
	switch {
	case n.Anchor != "":
		r.add(p, fmt.Sprintf("the anchor %q", "&"+n.Anchor), "values written out, no anchors",
			"delete the anchor, and write the value out where it is used")
	case n.Style&yaml.TaggedStyle != 0, strings.HasPrefix(r.src.text[at:], "!"):
		word := firstWord(r.src.text[at:])
		remedy := "delete the tag; if it is meant as text, put it in quotes"
		if len(word) > 1 && word[1] != '!' {
			remedy = fmt.Sprintf("delete the tag; for a negation write `not %s`, or put the whole in quotes", strings.TrimLeft(word, "!"))
		}
		r.add(p, fmt.Sprintf("the tag %q", word), "values without tags", remedy)
	}
}

// firstWord returns what stands in front of the first blank, line end, comma or closing bracket.
func firstWord(s string) string {
	if i := strings.IndexAny(s, " \t\r\n,]}"); i >= 0 {
		s = s[:i]
	}
	return s
}

// offset returns the byte offset of a place. The nodes of a file come in its order, so it goes on from where it was last:
// counting each time from the beginning of a line would take hours for a long line.
func (r *reader) offset(p Pos) int {
	if p.Line != r.cursor.Line || p.Col < r.cursor.Col || p.Line < 1 {
		r.cursor, r.cursorAt = Pos{p.Line, 1}, r.src.offset(Pos{p.Line, 1})
	}
	for r.cursor.Col < p.Col && r.cursorAt < len(r.src.text) {
		_, n := utf8.DecodeRuneInString(r.src.text[r.cursorAt:])
		r.cursorAt += n
		r.cursor.Col++
	}
	return r.cursorAt
}

func (r *reader) entries(out *Node, n *yaml.Node, depth int) {
	seen := make(map[string]Pos, len(n.Content)/2)
	out.Entries = make([]Entry, 0, len(n.Content)/2)
	for i := 0; i+1 < len(n.Content); i += 2 {
		k := n.Content[i]
		kp := Pos{k.Line, k.Column}
		r.properties(k)
		at := r.offset(kp)
		value := r.tree(n.Content[i+1], depth+1)
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
		if value.Kind == Scalar && value.Text.IsNull() {
			value.Pos = r.behindColon(key, at, value.Pos)
			value.Text.Pos = value.Pos
		}
		out.Entries = append(out.Entries, Entry{Key: key, Value: value})
	}
}

// behindColon returns the place behind the colon of a key that begins at a byte offset. The parser puts an empty value
// where it noticed that there is none, which may be lines below.
func (r *reader) behindColon(key Text, at int, otherwise Pos) Pos {
	end := at + len(key.Value)
	if key.Quoted {
		end += 2
	}
	if end > len(r.src.text) {
		return otherwise
	}
	rest := strings.TrimLeft(r.src.text[end:], " \t")
	if !strings.HasPrefix(rest, ":") {
		return otherwise
	}
	end = len(r.src.text) - len(rest) + 1
	return Pos{key.Pos.Line, key.Pos.Col + utf8.RuneCountInString(r.src.text[at:end])}
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
