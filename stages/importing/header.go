package importing

import (
	"fmt"
	"strconv"
	"strings"

	"fascicle/catalog"
	"fascicle/pipeline"
)

// headerFields finds the fields that the study wants of a file's header.
// Dates are turned into the form of the program, and numbers of texts that write decimal commas get points.
func headerFields(want pipeline.Map[string], dates string, x *Text) ([]pipeline.Captured, error) {
	var out []pipeline.Captured
	pairs := x.Pairs
	for _, h := range want {
		key, unit, has := catalog.CutUnit(h.Value)
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
		text := hit.Value
		switch {
		case has && unit == "date":
			d, err := headerDate(text, dates)
			if err != nil {
				return nil, fmt.Errorf("line %d: field `%s`: found %w", hit.Line, h.Key, err)
			}
			text = d
		case has && strings.HasSuffix(x.Separator, "decimal comma"):
			text = decimalPoint(text)
		}
		out = append(out, pipeline.Captured{Name: h.Key, Text: text})
	}
	return out, nil
}

// decimalPoint writes a number that begins a text with a decimal point, if it has a comma with digits on both sides.
func decimalPoint(s string) string {
	_, next, ok := scanNumber([]byte(s), 0, ',')
	at := strings.IndexByte(s, ',')
	if !ok || at < 1 || at+1 >= next || strings.Contains(s[:next], ".") {
		return s
	}
	return s[:at] + "." + s[at+1:]
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

// remark gives a note as what is said of an item.
func (n Note) remark() pipeline.Remark {
	level := pipeline.Flagged
	if n.Minor {
		level = pipeline.Note
	}
	return pipeline.Remark{Level: level, Text: n.say()}
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
