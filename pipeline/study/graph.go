package study

import (
	"fmt"
	"slices"
	"strings"

	"fascicle/catalog/fault"
)

// graph reads the stages.
func (r *reader) graph(n *Node) []Stage {
	var out []Stage
	for _, e := range r.mapOf(n, "a map of stages", false) {
		out = append(out, r.stage(e))
	}
	return out
}

func (r *reader) stage(e Entry) Stage {
	s := Stage{Name: e.Key}
	place := fmt.Sprintf("in stage %q", e.Key.Value)
	body := r.mapOf(e.Value, fmt.Sprintf("the entries of stage %q, at least kind or items", e.Key.Value), false)
	if len(body) == 0 {
		return s
	}
	has := r.known(body, place, stageKeys...)
	switch {
	case has["kind"] != nil && has["items"] != nil:
		r.add(keyPos(body, "items"), `both "kind" and "items" `+place, "one of them", "delete items, or give the stages taken together a name of their own")
	case has["kind"] == nil && has["items"] == nil:
		r.add(e.Key.Pos, fmt.Sprintf("the stage %q without a kind", e.Key.Value), `"kind", or "items" for several stages taken together`,
			"add `kind: NAME` below it; `fascicle kinds` lists the kinds")
	case has["items"] != nil:
		for _, key := range []string{"from", "by", "set"} {
			if has[key] != nil {
				r.add(keyPos(body, key), fmt.Sprintf(`%q beside "items" %s`, key, place), "only serves and trusts beside items", "delete it")
			}
		}
	}
	for _, b := range body {
		switch v := b.Value; b.Key.Value {
		case "kind":
			s.Kind, _ = r.text(v, "the name of a kind", oneName)
		case "items":
			s.Items = r.texts(v, "a list of stages, such as [one, other]")
		case "from":
			s.From = r.ports(v, place)
		case "by":
			s.By = r.by(v)
		case "serves":
			s.Serves = r.fields(v, "a list of fields, such as [day, band]", "sample")
		case "trusts":
			s.Trusts = r.texts(v, "a list of stages, such as [one, other]")
		case "set":
			s.Set = r.settings(v)
		}
	}
	return s
}

func keyPos(entries []Entry, key string) Pos {
	for _, e := range entries {
		if e.Key.Value == key {
			return e.Key.Pos
		}
	}
	return Pos{}
}

// by reads item, sample, all, a field, or a list of fields.
func (r *reader) by(n *Node) []Text {
	const expected = "item, sample, all, a field, or a list of fields such as [chain, salt]"
	if n.Kind == List {
		return r.fields(n, expected, "sample")
	}
	t, ok := r.text(n, expected, "write a name, or names in square brackets")
	if !ok {
		return nil
	}
	if t.Value == "item" || t.Value == "all" {
		return []Text{t}
	}
	if strings.Contains(t.Value, ",") {
		r.add(t.Pos, quoteShort(t.Value), expected, fmt.Sprintf("put it in brackets: [%s]", t.Value))
		return nil
	}
	if !r.field(t, "sample") {
		return nil
	}
	return []Text{t}
}

// fields wants a list of fields; allowed is the reserved word that is one here.
func (r *reader) fields(n *Node, expected, allowed string) []Text {
	list := r.texts(n, expected)
	return slices.DeleteFunc(list, func(t Text) bool {
		if t.Value == "item" || t.Value == "all" {
			r.add(t.Pos, fmt.Sprintf("%q in a list of fields", t.Value), "fields alone", "delete it from the list; `by: "+t.Value+"` stands alone")
			return true
		}
		return !r.field(t, allowed)
	})
}

func (r *reader) field(t Text, allowed string) bool {
	return r.identifier(t, "a field", "correct it: fields are named in the sheet and in the patterns of imports", allowed)
}

// settings checks of the settings what can be known without the kind: a map with names and without empty values.
func (r *reader) settings(n *Node) *Node {
	if r.mapOf(n, "a map of settings", false) == nil {
		return nil
	}
	r.full(n, "the value of a setting")
	return n
}

// ports reads `port: reference`.
func (r *reader) ports(n *Node, place string) []Port {
	if n.Kind != Map {
		usual := "name the ports that they feed: {PORT: …, PORT: …}"
		if n.Kind == Scalar {
			usual = fmt.Sprintf("name the port that it feeds: {PORT: %s}", n.Text.Value)
		}
		r.misfit(n, "a map of ports, `port: stage`", usual)
		return nil
	}
	var out []Port
	for _, e := range r.mapOf(n, "a map of ports, `port: stage`", false) {
		p := Port{Name: e.Key}
		switch {
		case e.Value.Kind == List && len(e.Value.Items) == 0:
			r.add(e.Value.Pos, "an empty list", "one reference or more", "name a stage, or delete the port")
		case e.Value.Kind == List:
			for _, it := range e.Value.Items {
				p.Refs = r.ref(p.Refs, it, place)
			}
		default:
			p.Refs = r.ref(p.Refs, e.Value, place)
		}
		out = append(out, p)
	}
	return out
}

// ref reads one reference: the name of a stage, or a map.
func (r *reader) ref(refs []Ref, n *Node, place string) []Ref {
	const expected = "a stage, a map {stage: …}, or a list of such"
	if n.Kind != Map {
		t, ok := r.text(n, expected, "write one list without brackets inside")
		if !ok {
			return refs
		}
		return append(refs, Ref{Stages: []Text{t}, Pos: t.Pos})
	}
	if bareWords(n) != nil {
		r.misfit(n, expected, "")
		return refs
	}
	ref := Ref{Pos: n.Pos}
	has := r.known(n.Entries, "in a reference "+place, refKeys...)
	if has["stage"] == nil {
		r.add(n.Pos, "a reference without a stage", expected, "add `stage: NAME`")
	}
	for _, e := range n.Entries {
		switch v := e.Value; e.Key.Value {
		case "stage":
			ref.Stages = r.textOrTexts(v, "a stage or a list of stages")
		case "output":
			ref.Output, _ = r.text(v, "the name of an output", oneName)
		case "where":
			ref.Where, _ = r.text(v, "a condition", "")
		case "match":
			ref.Match, ref.HasMatch = r.match(v), true
		case "nearest":
			ref.Nearest = r.nearest(v)
		case "only":
			ref.Only = r.truth(v)
		case "all":
			ref.All = r.truth(v)
		}
	}
	if ref.Only && ref.All {
		r.add(keyPos(n.Entries, "all"), `both "only" and "all"`, "one of them", "delete the one that is not meant")
	}
	return append(refs, ref)
}

// match reads a list of fields, or a map of the partner's fields to the lead item's.
func (r *reader) match(n *Node) []Pairing {
	const expected = "a list of fields such as [day, band], or a map {partner's field: lead item's field}"
	var out []Pairing
	if n.Kind != Map {
		for _, t := range r.fields(n, expected, "sample") {
			out = append(out, Pairing{Partner: t, Lead: t})
		}
		return out
	}
	if _, remedy := Describe(n); remedy != "" {
		r.misfit(n, expected, "")
		return nil
	}
	for _, e := range r.mapOf(n, expected, false) {
		lead, ok := r.text(e.Value, "a field of the lead item", oneName)
		if ok && r.field(e.Key, "sample") && r.field(lead, "sample") {
			out = append(out, Pairing{Partner: e.Key, Lead: lead})
		}
	}
	return out
}

var directions = []string{"before", "after", "either"}

// nearest reads `{field: before | after | either}`.
func (r *reader) nearest(n *Node) []Nearest {
	const expected = "a map of a field and a direction, such as {taken: before}"
	if n.Kind != Map {
		usual := "say in which direction: {FIELD: either}"
		if n.Kind == Scalar {
			usual = fmt.Sprintf("say in which direction: {%s: either}", n.Text.Value)
		}
		r.misfit(n, expected, usual)
		return nil
	}
	var out []Nearest
	for _, e := range r.mapOf(n, expected, false) {
		d, ok := r.text(e.Value, "before, after or either", oneName)
		switch {
		case !ok || !r.field(e.Key, ""):
		case !slices.Contains(directions, d.Value):
			remedy := "write one of the three"
			if near := fault.Nearest(d.Value, directions); near != "" {
				remedy = fmt.Sprintf("did you mean %q?", near)
			}
			r.add(d.Pos, "the direction "+quoteShort(d.Value), "before, after or either", remedy)
		default:
			out = append(out, Nearest{Field: e.Key, Direction: d})
		}
	}
	return out
}

// truth reads true or false, and no other words that some readers of YAML take for them.
func (r *reader) truth(n *Node) bool {
	t, ok := r.text(n, "true or false", "")
	if ok && t.Value != "true" && t.Value != "false" {
		r.add(t.Pos, quoteShort(t.Value), "true or false", "write one of the two, in small letters")
	}
	return ok && t.Value == "true"
}
