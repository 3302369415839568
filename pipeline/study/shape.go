package study

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"fascicle/catalog"
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
	if words := bareWords(n); words != nil {
		return "a map", fmt.Sprintf("write a list in square brackets: [%s]", strings.Join(words, ", "))
	}
	for _, e := range n.Entries {
		if e.Key.Quoted || e.Value.Kind != Scalar || e.Value.Text.IsNull() {
			continue
		}
		s := e.Key.Value + " : " + e.Value.Text.Value
		if strings.Contains(e.Key.Value, "?") {
			return "a map, since YAML splits at the colon", fmt.Sprintf("put the whole expression in quotes: '%s'", s)
		}
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

// bareWords returns the keys of a map without any values, such as {donor, acceptor}; nil for other maps.
func bareWords(n *Node) []string {
	var words []string
	for _, e := range n.Entries {
		if e.Value.Kind != Scalar || !e.Value.Text.IsNull() || colonWord(e.Key) {
			return nil
		}
		words = append(words, e.Key.Value)
	}
	if len(words) < 2 || len(words) > 8 {
		return nil
	}
	return words
}

// quoteShort quotes a text for a message, shortened when it is long, in single quotes when it has double ones inside.
func quoteShort(s string) string {
	const most = 60
	if c := []rune(s); len(c) > most {
		s = string(c[:most-1]) + "…"
	}
	if q := strconv.Quote(s); strings.Contains(s, `"`) && strings.ReplaceAll(s, `"`, `\"`) == q[1:len(q)-1] {
		return "'" + s + "'"
	} else {
		return q
	}
}

// misfit records that something else than expected stands at n; usual is the remedy unless YAML misread the place.
func (r *reader) misfit(n *Node, expected, usual string) {
	if len(r.faults) >= maxFaults { // nobody will read it
		r.more++
		return
	}
	found, remedy := Describe(n)
	switch {
	case n.Kind == Scalar && n.Text.IsNull():
		if f, m, ok := r.lostToComment(n.Pos); ok {
			found, remedy = f, m
		}
	case n.Kind == Scalar && strings.TrimSpace(n.Text.Value) == "":
		remedy = "write it between the quotes, or delete the entry"
	case usual != "" && (remedy == "" || n.Kind == List):
		remedy = usual
	case remedy == "":
		remedy = "write a single value"
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

// oneName is the remedy where a name is due.
const oneName = "write one name, without brackets"

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
	if t, ok := r.text(n, expected, oneName); ok {
		return []Text{t}
	}
	return nil
}

func (r *reader) items(n *Node, expected string) []Text {
	out := make([]Text, 0, len(n.Items))
	seen := make(map[string]bool, len(n.Items))
	for _, it := range n.Items {
		t, ok := r.text(it, expected, "write one list without brackets inside")
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
		usual := "write `key: value` entries"
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
		remedy := "correct or delete it"
		if e.Value.Kind == Scalar && e.Value.Text.IsNull() {
			remedy = "correct or delete it; if it belongs to the value before, put both in square brackets"
		} else if near := fault.Nearest(e.Key.Value, keys); near != "" {
			remedy = fmt.Sprintf("did you mean %q?", near)
		}
		r.add(e.Key.Pos, fmt.Sprintf("unknown key %s %s", quoteShort(e.Key.Value), place), expected, remedy)
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
		if bareWords(n) != nil {
			r.misfit(n, expected, "")
			return
		}
		for _, e := range n.Entries {
			if e.Value.Kind == Scalar && e.Value.Text.IsNull() && colonWord(e.Key) {
				r.add(e.Key.Pos, fmt.Sprintf("the key %s without a value", quoteShort(e.Key.Value)), expected, "put a space behind the colon")
				continue
			}
			r.full(e.Value, expected)
		}
	case List:
		if u := loneUnit(n); u != "" {
			r.add(n.Pos, "the list ["+u+"], whose only item is a unit", expected, fmt.Sprintf("if the brackets are meant as text, put them in quotes: \"[%s]\"", u))
			return
		}
		for _, it := range n.Items {
			r.full(it, expected)
		}
	}
}

// loneUnit returns the unit in a list such as [mmol/L], which can only be meant as text: it is neither a name nor a
// quantity. A unit that could be a name ([nm]) is left to whoever knows what the place expects.
func loneUnit(n *Node) string {
	if len(n.Items) != 1 || n.Items[0].Kind != Scalar || n.Items[0].Text.Quoted {
		return ""
	}
	s := n.Items[0].Text.Value
	if s == "" || catalog.IsIdentifier(s) {
		return ""
	}
	if _, err := catalog.ParseUnit(s); err != nil {
		return ""
	}
	if _, err := catalog.ParseNumber(s); err == nil {
		return ""
	}
	return s
}
