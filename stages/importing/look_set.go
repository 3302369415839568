package importing

import (
	"context"
	"fmt"
	"math"
	"strconv"
	"strings"

	"fascicle/catalog"
	"fascicle/pipeline"
	"fascicle/pipeline/table"
)

// suggest finds settings that import a file, tries them, and writes them as lines of a study.
func (v *Seen) suggest(s *importSettings, data []byte, texts []seenText) {
	if len(texts) == 0 {
		return
	}
	if v.axisMissing(s, data, texts) {
		return
	}
	c := v.Curves[0]
	s.Columns = nil
	plain := v.Reader == "text" || v.Reader == "workbook"
	channel := ""
	for k, col := range c.Columns {
		value := itoa(k + 1)
		said := texts[0].Heads != nil && texts[0].Heads[k].Unit != ""
		if said {
			_, err := catalog.ParseUnit(texts[0].Heads[k].Unit)
			said = err == nil
		}
		switch {
		case texts[0].Heads != nil && texts[0].Heads[k].Unit != "" && !said && !onlyDigits(texts[0].Heads[k].Unit):
			v.Ask = fmt.Sprintf("the unit of %s, which the file calls %q: write it in place of ?", col.Name, clipText(texts[0].Heads[k].Unit, 30))
			value += " [?]"
		case col.Unit != "" && col.Unit != "1" && !said:
			value += " [" + unitText(col.Unit) + "]"
		case col.Name == "q" && col.Unit == "":
			v.Ask = "the unit of q: " + sizesOf(texts[0], k) + "write it in place of ?"
			value += " [?]"
		case col.Name == "channel" && k == 0:
			channel = "the width of a channel: write it in place of ?"
		}
		s.Columns = append(s.Columns, pipeline.Named[string]{Key: col.Name, Value: value})
	}
	if !plain && !s.image() && v.Ask == "" && identifiers(texts[0].Heads) {
		s.Columns = nil
	}
	if len(s.Columns) > 1 && c.Columns[1].Quantity == "counts" && c.Columns[1].counts && s.Layout == string(Found) {
		s.U = pipeline.Map[string]{{Key: c.Columns[1].Name, Value: "poisson"}}
	}
	if v.Items > 1 && len(texts[0].names) > 0 && !s.image() || s.Layout == string(Plate) {
		s.Curves = "<sample>"
	}
	wells := s.Layout == string(Plate) && len(texts[0].names) > 0 && isWell(texts[0].names[0])
	if wells {
		v.Ask = "what the wells hold: write it in place of ?, for wells or ranges of them"
	}
	if v.Layout == Long && v.Items > 1 && len(texts[0].Keyed) == 0 {
		s.Curves = "<sample>"
	}
	s.Files = v.Path
	if v.Ask == "" {
		err := v.try(s, data)
		if err != nil && s.Curves != "" && s.Layout != string(Plate) {
			s.Curves = ""
			err = v.try(s, data)
		}
		if err != nil && strings.Contains(err.Error(), "on the axis, as on line") {
			s.Duplicates = "mean"
			if again := v.try(s, data); again == nil {
				v.Ask = "several rows have the same place on the axis: whether their mean is meant (`duplicates: mean`)"
				err = nil
			}
		}
		if err != nil && s.Curves == "" && v.Items > 1 {
			s.Columns = nil
			if again := v.try(s, data); again == nil {
				err = nil
			}
		}
		if err != nil {
			v.Error = err.Error()
		}
	}
	if channel != "" && v.Ask == "" {
		v.Ask = channel
	}
	v.Set = setLines(s, channel != "")
	if wells {
		v.Set = append(v.Set, "  wells: {"+texts[0].names[0]+": \"?\"}")
	}
}

// sizesOf says what sizes 2π/q two units of q would mean.
func sizesOf(x seenText, k int) string {
	lo, hi := math.Inf(1), 0.0
	for i, q := range x.Columns[k] {
		if v := x.Valid[k]; q > 0 && (v == nil || v[i]) {
			lo, hi = min(lo, q), max(hi, q)
		}
	}
	if hi == 0 {
		return ""
	}
	size := func(q float64) string {
		two, err := strconv.ParseFloat(strconv.FormatFloat(2*math.Pi/q, 'g', 2, 64), 64)
		if err != nil {
			return "?"
		}
		return strconv.FormatFloat(two, 'f', -1, 64)
	}
	return fmt.Sprintf("with 1/nm its sizes 2π/q are %s to %s nm, with 1/Å %s to %s nm; ", size(hi), size(lo), size(hi*10), size(lo*10))
}

// axisMissing recognises curves that lie along rows without an axis above them: rows that begin with words, each with as many numbers.
func (v *Seen) axisMissing(s *importSettings, data []byte, texts []seenText) bool {
	if v.Layout != Long || len(texts[0].Columns) <= MaxColumns || texts[0].Rows() > 1 || texts[0].Heads != nil {
		return false
	}
	s.Layout, s.Curves = string(Rows), "<sample>"
	s.Columns = pipeline.Map[string]{{Key: "x", Value: "1 to 2"}, {Key: "y", Value: "2"}}
	if v.try(s, data) != nil {
		s.Curves = ""
		if v.try(s, data) != nil {
			return false
		}
	}
	v.Layout = Rows
	v.Curves = v.Curves[:0]
	for i, t := range texts {
		x := &Text{FirstLine: t.FirstLine, LastLine: t.LastLine, Columns: [][]float64{sequenceFrom1(len(t.Columns)), make([]float64, len(t.Columns))}, Valid: make([][]bool, 2), layout: Rows}
		for k := range t.Columns {
			x.Columns[1][k] = t.Columns[k][0]
			if t.Valid[k] != nil && !t.Valid[k][0] {
				if x.Valid[1] == nil {
					x.Valid[1] = allTrue(len(t.Columns))
				}
				x.Valid[1][k] = false
			}
		}
		x.Names = t.Names
		v.Curves = append(v.Curves, seeCurve(x))
		c := &v.Curves[i].Columns[0]
		c.Name, c.Quantity, c.Unit, c.Guessed = "x", "place in the row: the file has no axis", "", false
	}
	s.Columns[0].Value = "? to ? [?]"
	v.Set = setLines(s, false)
	v.Ask = "the axis, which the file lacks: write its first and last value and its unit in place of ?"
	return true
}

func sequenceFrom1(n int) []float64 {
	out := make([]float64, n)
	for k := range out {
		out[k] = float64(k + 1)
	}
	return out
}

// try imports a file with some settings.
func (v *Seen) try(s *importSettings, data []byte) error {
	if err := s.Validate(); err != nil {
		return err
	}
	n := 0
	err := readFile(context.Background(), s, data, v.Path, func(_ []pipeline.Captured, t *table.Table, _ []pipeline.Remark) error {
		n++
		return t.Check()
	})
	if err == nil && n < v.Items {
		return fmt.Errorf("%d of %d curves bear a name", n, v.Items)
	}
	v.Items = n
	return err
}

func isWell(s string) bool {
	_, _, ok := parseWell(s)
	return ok
}

// setLines writes settings as they stand in a study.
func setLines(s *importSettings, channel bool) []string {
	out := []string{"set:", "  files: " + yamlText(s.Files)}
	if s.Layout != string(Found) {
		out = append(out, "  layout: "+s.Layout)
	}
	if s.Curves != "" {
		out = append(out, "  curves: "+yamlText(s.Curves))
	}
	line := func(key string, m pipeline.Map[string]) {
		if len(m) == 0 {
			return
		}
		parts := make([]string, len(m))
		for i, e := range m {
			parts[i] = e.Key + ": " + yamlText(e.Value)
		}
		out = append(out, "  "+key+": {"+strings.Join(parts, ", ")+"}")
	}
	line("columns", s.Columns)
	line("u", s.U)
	if channel {
		out = append(out, "  channel: \"? ps\"")
	}
	if s.Duplicates == "mean" {
		out = append(out, "  duplicates: mean")
	}
	return out
}

// yamlText writes a text so that YAML reads it as it is.
func yamlText(s string) string {
	if s == "" || strings.ContainsAny(s, "\"'[]{}<>:,#&*!|>%@`?\\ \t") || s[0] == '-' {
		return strconv.Quote(s)
	}
	return s
}

// unitText is a unit as a person writes it, where the program reads that back as the same.
func unitText(code string) string {
	u, err := catalog.ParseUnit(code)
	if err != nil {
		return code
	}
	if back, err := catalog.ParseUnit(u.Symbol()); err == nil && back.Equal(u) {
		return u.Symbol()
	}
	return code
}

// identifiers says that heads are names that can be taken as they are.
func identifiers(heads []Head) bool {
	for _, h := range heads {
		if !catalog.IsIdentifier(h.Name) {
			return false
		}
	}
	return len(heads) > 0
}
