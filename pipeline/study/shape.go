package study

import (
	"fmt"
	"slices"
	"strings"

	"fascicle/catalog/fault"
)

// Describe says what stands at n, for a message where something else was expected, and, where YAML probably read it
// otherwise than it was meant, what to do about it ("" when there is nothing to say).
func Describe(n *Node) (found, remedy string) {
	switch {
	case n == nil || n.Kind == Scalar && n.Text.IsNull():
		return "nothing", "write a value behind the colon, or delete the line"
	case n.Kind == Scalar:
		return quoteShort(n.Text.Value), ""
	case n.Kind == List:
		words, plain := plainItems(n)
		if !plain {
			return "a list", ""
		}
		s := "[" + strings.Join(words, ", ") + "]"
		return "the list " + s, fmt.Sprintf("if the brackets are meant as text, put them in quotes: %q", s)
	}
	var bare []string
	for _, e := range n.Entries {
		if e.Value.Kind == Scalar && e.Value.Text.IsNull() {
			bare = append(bare, e.Key.Value)
		}
		if e.Key.Quoted || e.Value.Kind != Scalar || e.Value.Text.IsNull() {
			continue
		}
		s := e.Key.Value + " : " + e.Value.Text.Value
		if strings.Contains(e.Key.Value, "?") {
			return "a map, since YAML splits at the colon", fmt.Sprintf("put the whole expression in quotes: '%s'", s)
		}
	}
	if len(bare) > 0 && len(bare) == len(n.Entries) && len(bare) <= 8 {
		return "a map", fmt.Sprintf("write a list in square brackets: [%s]", strings.Join(bare, ", "))
	}
	return "a map", ""
}

// plainItems returns the words of a list that a person may have meant as one text: few, unquoted, not nested.
func plainItems(n *Node) ([]string, bool) {
	if len(n.Items) == 0 || len(n.Items) > 4 {
		return nil, false
	}
	var words []string
	for _, it := range n.Items {
		if it.Kind != Scalar || it.Text.Quoted {
			return nil, false
		}
		words = append(words, it.Text.Value)
	}
	return words, true
}

// quoteShort quotes a text for a message, shortened when it is long.
func quoteShort(s string) string {
	const most = 60
	if c := []rune(s); len(c) > most {
		s = string(c[:most-1]) + "…"
	}
	return fmt.Sprintf("%q", s)
}

// misfit records that something else than expected stands at n; usual is the remedy unless YAML misread the place.
func (r *reader) misfit(n *Node, expected, usual string) {
	found, remedy := Describe(n)
	if n.Kind == Scalar && n.Text.IsNull() {
		if f, m, ok := r.lostToComment(n.Pos); ok {
			found, remedy = f, m
		}
	} else if remedy == "" {
		remedy = usual
	}
	r.add(n.Pos, found, expected, remedy)
}

// lostToComment looks for a colour that YAML took for a comment: `NaCl: #2b5c8a`.
func (r *reader) lostToComment(p Pos) (found, remedy string, ok bool) {
	rest := strings.TrimLeft(r.src.from(p), ": \t")
	if c := colour(rest); c != "" {
		return fmt.Sprintf("nothing, since #%s is a comment to YAML", c), fmt.Sprintf("write the colour without #: %s, or in quotes", c), true
	}
	return "", "", false
}

// colour returns the digits of a colour at the beginning of s, "" when there is none.
func colour(s string) string {
	if !strings.HasPrefix(s, "#") {
		return ""
	}
	s = s[1:]
	n := 0
	for n < len(s) && strings.IndexByte("0123456789abcdefABCDEF", s[n]) >= 0 {
		n++
	}
	if n != 3 && n != 6 && n != 8 || n < len(s) && strings.IndexByte(" \t,]}", s[n]) < 0 {
		return ""
	}
	return s[:n]
}

// text wants a text that is not empty.
func (r *reader) text(n *Node, expected, usual string) (Text, bool) {
	if n.Kind != Scalar || strings.TrimSpace(n.Text.Value) == "" {
		r.misfit(n, expected, usual)
		return Text{}, false
	}
	return n.Text, true
}

// anyText wants a text; an empty pair of quotes is one.
func (r *reader) anyText(n *Node, expected string) {
	if n.Kind != Scalar || n.Text.IsNull() {
		r.misfit(n, expected, "")
	}
}

// texts wants a list of texts, at least one and none twice.
func (r *reader) texts(n *Node, expected string) []Text {
	if n.Kind != List {
		usual := ""
		if n.Kind == Scalar {
			usual = fmt.Sprintf("put it in brackets: [%s]", n.Text.Value)
		}
		r.misfit(n, expected, usual)
		return nil
	}
	if len(n.Items) == 0 {
		r.add(n.Pos, "an empty list", expected, "name at least one, or delete the entry")
		return nil
	}
	return r.items(n, expected)
}

// textOrTexts wants a text or a list of texts.
func (r *reader) textOrTexts(n *Node, expected string) []Text {
	if n.Kind == List {
		return r.texts(n, expected)
	}
	if t, ok := r.text(n, expected, ""); ok {
		return []Text{t}
	}
	return nil
}

func (r *reader) items(n *Node, expected string) []Text {
	out := make([]Text, 0, len(n.Items))
	seen := make(map[string]bool, len(n.Items))
	for _, it := range n.Items {
		t, ok := r.text(it, expected, "")
		switch {
		case !ok:
		case seen[t.Value]:
			r.add(t.Pos, fmt.Sprintf("%s twice in one list", quoteShort(t.Value)), "each once", "delete one of the two")
		default:
			seen[t.Value] = true
			out = append(out, t)
		}
	}
	return out
}

// mapOf wants a map. An empty value counts as an empty map where the place
// allows one: then all its entries may be commented out.
func (r *reader) mapOf(n *Node, expected string, mayBeEmpty bool) []Entry {
	if mayBeEmpty && n.Kind == Scalar && n.Text.IsNull() {
		if _, _, lost := r.lostToComment(n.Pos); !lost {
			return nil
		}
	}
	if n.Kind != Map {
		usual := ""
		if n.Kind == Scalar && colonWord(n.Text) {
			usual = "put a space behind the colon"
		}
		r.misfit(n, expected, usual)
		return nil
	}
	if len(n.Entries) == 0 && !mayBeEmpty {
		r.add(n.Pos, "an empty map", expected, "write an entry, or delete the key")
	}
	return n.Entries
}

// colonWord reports whether a text looks like `key:value` without the space that YAML wants.
func colonWord(t Text) bool {
	i := strings.IndexByte(t.Value, ':')
	return !t.Quoted && i > 0 && i+1 < len(t.Value) && !strings.ContainsAny(t.Value[:i], " /")
}

// known refuses keys that the place does not know. It returns the values by key.
func (r *reader) known(entries []Entry, place string, keys ...string) map[string]*Node {
	out := make(map[string]*Node, len(entries))
	for _, e := range entries {
		if slices.Contains(keys, e.Key.Value) {
			out[e.Key.Value] = e.Value
			continue
		}
		expected := "one of " + strings.Join(keys, ", ")
		if e.Value.Kind == Scalar && e.Value.Text.IsNull() && colonWord(e.Key) {
			r.add(e.Key.Pos, fmt.Sprintf("the key %s %s", quoteShort(e.Key.Value), place), expected, "put a space behind the colon")
			continue
		}
		remedy := "delete it, or see the rules of the study file"
		if near := fault.Nearest(e.Key.Value, keys); near != "" {
			remedy = fmt.Sprintf("did you mean %q?", near)
		}
		r.add(e.Key.Pos, fmt.Sprintf("the unknown key %s %s", quoteShort(e.Key.Value), place), expected, remedy)
	}
	return out
}

// full refuses empty values anywhere below n.
func (r *reader) full(n *Node, expected string) {
	switch n.Kind {
	case Scalar:
		if n.Text.IsNull() {
			r.misfit(n, expected, "")
		}
	case Map:
		for _, e := range n.Entries {
			if e.Value.Kind == Scalar && e.Value.Text.IsNull() && colonWord(e.Key) {
				r.add(e.Key.Pos, fmt.Sprintf("the key %s without a value", quoteShort(e.Key.Value)), expected, "put a space behind the colon")
				continue
			}
			r.full(e.Value, expected)
		}
	case List:
		for _, it := range n.Items {
			r.full(it, expected)
		}
	}
}
