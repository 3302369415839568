package importing

import (
	"fmt"
	"strconv"
	"strings"

	"fascicle/catalog"
	"fascicle/pipeline"
)

// headerFields finds the fields that the study wants of a file's header.
func headerFields(want pipeline.Map[string], pairs []Pair) ([]pipeline.Captured, error) {
	var out []pipeline.Captured
	for _, h := range want {
		key, _, _ := catalog.CutUnit(h.Value)
		var hit *Pair
		for i := range pairs {
			if strings.EqualFold(pairs[i].Key, key) {
				if hit != nil && hit.Value != pairs[i].Value {
					return nil, fmt.Errorf("the header says %q twice: %q on line %d and %q on line %d; take one out", key, hit.Value, hit.Line, pairs[i].Value, pairs[i].Line)
				}
				hit = &pairs[i]
			}
		}
		if hit == nil {
			var keys []string
			for _, p := range pairs {
				keys = append(keys, p.Key)
			}
			return nil, fmt.Errorf("the header has no key %q for the field `%s`; it has %s; correct the key under `header`, or leave the field out", key, h.Key, shortKeys(keys))
		}
		out = append(out, pipeline.Captured{Name: h.Key, Text: hit.Value})
	}
	return out, nil
}

func shortKeys(keys []string) string {
	if len(keys) == 0 {
		return "no keys at all"
	}
	if len(keys) > 12 {
		return strings.Join(keys[:12], ", ") + ", …"
	}
	return strings.Join(keys, ", ")
}

// say gives a note as text, with the first of its lines.
func (n Note) say() string {
	if len(n.Lines) == 0 {
		return n.Text
	}
	var lines []string
	for _, l := range n.Lines[:min(len(n.Lines), 6)] {
		lines = append(lines, strconv.Itoa(l))
	}
	more := ""
	if len(n.Lines) > 6 {
		more = fmt.Sprintf(" and %d more", len(n.Lines)-6)
	}
	return fmt.Sprintf("%s (lines %s%s)", n.Text, strings.Join(lines, ", "), more)
}
