package study

import (
	"fmt"
	"slices"
	"strings"

	"fascicle/catalog"
)

// The keys that each place knows.
var (
	studyKeys = []string{"study", "samples", "against", "about", "constants", "derive", "conditions", "graph",
		"questions", "figures", "tables", "style"}
	stageKeys = []string{"kind", "from", "by", "serves", "trusts", "set", "items"}
	refKeys   = []string{"stage", "output", "where", "match", "nearest", "only", "all"}
)

// study walks the whole file.
func (r *reader) study(root *Node) *Study {
	if root.Kind != Map {
		r.misfit(root, "a map with the keys study, samples and graph", "begin with a line such as `study: Title of the study`")
		return nil
	}
	top := r.known(root.Entries, "at the top of the study", studyKeys...)
	st := &Study{}
	for _, key := range []string{"study", "samples", "graph"} {
		if top[key] == nil {
			r.add(root.Pos, fmt.Sprintf("no entry %q", key), requiredTop[key].expected, requiredTop[key].remedy)
		}
	}
	for _, e := range root.Entries {
		switch v := e.Value; e.Key.Value {
		case "study":
			st.Title, _ = r.text(v, "the title of the study", "")
		case "samples":
			st.Samples, _ = r.text(v, "the file name of the sheet", "")
		case "against":
			st.Against, _ = r.text(v, "the label of an earlier run", "")
		case "about":
			st.About = r.section(v, r.about)
		case "constants":
			st.Constants = r.constants(v)
		case "derive":
			st.Derive = r.derive(v)
		case "conditions":
			st.Conditions = r.conditions(v)
		case "graph":
			st.Graph = r.graph(v)
		case "questions":
			st.Questions = r.section(v, r.questions)
		case "figures":
			st.Figures = r.section(v, r.figures)
		case "tables":
			st.Tables = r.section(v, r.tables)
		case "style":
			st.Style = r.section(v, r.style)
		}
	}
	r.names(st)
	return st
}

var requiredTop = map[string]struct{ expected, remedy string }{
	"study":   {"the title of the study", "add a line `study: Title of the study`"},
	"samples": {"the file name of the sheet", "add a line `samples: samples.csv`"},
	"graph":   {"the stages of the study", "add `graph:` and below it a stage"},
}

// section checks a part that stays a node. An empty one is as good as none.
func (r *reader) section(n *Node, check func(*Node)) *Node {
	if n.Kind == Scalar && n.Text.IsNull() {
		if _, _, lost := r.lostToComment(n.Pos); !lost {
			return nil
		}
	}
	check(n)
	return n
}

// constants reads `name: quantity` and `name: {value: quantity, …}`.
func (r *reader) constants(n *Node) []Constant {
	const expected = "a quantity such as 10.00(2) mm, or a map of quantities by the values of a field"
	var out []Constant
	for _, e := range r.mapOf(n, "a map of constants", true) {
		c := Constant{Name: e.Key}
		switch {
		case e.Value.Kind == Map && len(e.Value.Entries) == 0:
			r.add(e.Value.Pos, "an empty map", expected, "write a quantity for each value of a field")
		case e.Value.Kind == Map && isQuantities(e.Value):
			for _, k := range e.Value.Entries {
				if q, ok := r.quantity(k.Value, "a quantity such as 10.00(2) mm"); ok {
					c.Keys = append(c.Keys, Keyed{Key: k.Key, Value: q})
				}
			}
		default:
			if q, ok := r.quantity(e.Value, expected); ok {
				c.Value = &q
			}
		}
		out = append(out, c)
	}
	return out
}

// isQuantities tells a map of quantities from a text that YAML split at a colon.
func isQuantities(n *Node) bool {
	_, remedy := Describe(n)
	return remedy == ""
}

func (r *reader) quantity(n *Node, expected string) (catalog.Number, bool) {
	t, ok := r.text(n, expected, "write one quantity, or a map of quantities with a word in front of each")
	if !ok {
		return catalog.Number{}, false
	}
	q, err := catalog.ParseNumber(t.Value)
	if err != nil {
		r.located(t.Pos, err, quoteShort(t.Value), expected, "write a number with a decimal point, its uncertainty in brackets, then its unit")
		return catalog.Number{}, false
	}
	return q, true
}

// derive reads `name [unit]: expression`.
func (r *reader) derive(n *Node) []Derived {
	var out []Derived
	for _, e := range r.mapOf(n, "a map of derived columns, `name [unit]: expression`", true) {
		d := Derived{Name: e.Key}
		if i := strings.IndexByte(e.Key.Value, '['); i >= 0 {
			d.Name.Value = strings.TrimRight(e.Key.Value[:i], " ")
			d.Unit = r.bracketed(e.Key, i)
		}
		d.Expr, _ = r.text(e.Value, "an expression", "")
		out = append(out, d)
	}
	return out
}

// bracketed reads the unit that a key bears from byte i on.
func (r *reader) bracketed(key Text, i int) Text {
	p := key.Pos
	p.Col += len([]rune(key.Value[:i]))
	if key.Quoted {
		p.Col++
	}
	inner, closed := strings.CutSuffix(key.Value[i+1:], "]")
	unit := strings.TrimSpace(inner)
	lead := len([]rune(inner)) - len([]rune(strings.TrimLeft(inner, " ")))
	if !closed || unit == "" || strings.ContainsAny(unit, "[]") {
		r.add(p, quoteShort(key.Value[i:]), "one unit in brackets, such as [mmol/L]", "correct the brackets behind the name")
		return Text{}
	}
	p.Col += 1 + lead
	t := Text{Value: unit, Pos: p}
	if _, err := catalog.ParseUnit(unit); err != nil {
		r.located(p, err, "unknown unit "+quoteShort(unit), "a unit such as mmol/L", "correct the unit; [1] is a bare number")
		return Text{}
	}
	return t
}

// conditions reads `name: expression`.
func (r *reader) conditions(n *Node) []Condition {
	var out []Condition
	for _, e := range r.mapOf(n, "a map of conditions, `name: expression`", true) {
		c := Condition{Name: e.Key}
		c.Expr, _ = r.text(e.Value, "a condition such as role == \"donor\"", "")
		out = append(out, c)
	}
	return out
}

// named is a name that the study gives, and to what.
type named struct {
	name Text
	what string
}

// names checks all names that the study gives. They share one name space, since each may stand in an expression.
func (r *reader) names(st *Study) {
	var all []named
	for _, c := range st.Constants {
		all = append(all, named{c.Name, "constant"})
	}
	for _, d := range st.Derive {
		all = append(all, named{d.Name, "derived column"})
	}
	for _, c := range st.Conditions {
		all = append(all, named{c.Name, "condition"})
	}
	for _, s := range st.Graph {
		all = append(all, named{s.Name, "stage"})
	}
	slices.SortStableFunc(all, func(a, b named) int {
		if a.name.Pos.Line != b.name.Pos.Line {
			return a.name.Pos.Line - b.name.Pos.Line
		}
		return a.name.Pos.Col - b.name.Pos.Col
	})
	first := make(map[string]named, len(all))
	for _, n := range all {
		if !r.identifier(n.name, "the name of a "+n.what, "rename it", "") {
			continue
		}
		if f, taken := first[n.name.Value]; taken {
			r.add(n.name.Pos, fmt.Sprintf("the name %q for a %s", n.name.Value, n.what),
				fmt.Sprintf("another name: line %d gives it to a %s", f.name.Pos.Line, f.what), "rename one of the two")
			continue
		}
		first[n.name.Value] = n
	}
}

// identifier wants a name. A reserved word may only be the one named allowed.
func (r *reader) identifier(t Text, what, remedy, allowed string) bool {
	switch {
	case !catalog.IsIdentifier(t.Value):
		r.add(t.Pos, fmt.Sprintf("%s as %s", quoteShort(t.Value), what), "letters, digits and _, not beginning with a digit",
			remedy)
		return false
	case catalog.Reserved(t.Value) && t.Value != allowed:
		r.add(t.Pos, fmt.Sprintf("the reserved word %q as %s", t.Value, what), "another word", remedy)
		return false
	}
	return true
}
