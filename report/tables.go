package report

import (
	"bytes"
	"cmp"
	"encoding/csv"
	"slices"
	"strconv"
	"strings"

	"fascicle/pipeline"
)

// csvFile makes a CSV of rows: commas, quotes where needed, lines that end in LF, UTF-8 without a mark.
func csvFile(rows [][]string) []byte {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	_ = w.WriteAll(rows) // a bytes.Buffer takes everything
	return b.Bytes()
}

// head is a column's name with its unit, as the sheet of samples is written; a bare number has none.
func head(name, unit string) string {
	if unit == "" || unit == "1" {
		return name
	}
	return name + " [" + unit + "]"
}

func decimalOf(v *float64) string {
	if v == nil {
		return ""
	}
	return shortest(*v)
}

func shortest(v float64) string {
	if v == 0 {
		return "0" // not -0
	}
	return strconv.FormatFloat(v, 'g', -1, 64)
}

// valueHead is the head of the cells that valueCells gives.
func valueHead(prefix string, c column) []string {
	if !c.number {
		return []string{prefix + c.name}
	}
	cells := []string{head(prefix+c.name, c.unit), head("u_"+prefix+c.name, c.unit)}
	if c.own {
		cells = append(cells, head("own_"+prefix+c.name, c.unit))
	}
	if c.bound {
		cells = append(cells, prefix+c.name+"_bound")
	}
	if c.limits {
		cells = append(cells, head(prefix+c.name+"_lo", c.unit), head(prefix+c.name+"_hi", c.unit))
	}
	return cells
}

// valueCells are a number, its whole u, its own part where that is another number, and what censors it; all empty for nil.
func valueCells(c column, v *pipeline.Value) []string {
	var none pipeline.Value
	if v == nil {
		v = &none
	}
	if !c.number {
		return []string{v.Text}
	}
	value, u := decimalOf(v.Value), decimalOf(v.U)
	if v.Value == nil && v.Text != "" {
		value = v.Text
	}
	cells := []string{value, u}
	if c.own {
		cells = append(cells, decimalOf(v.Own))
	}
	if c.bound {
		cells = append(cells, v.Bound)
	}
	if c.limits {
		cells = append(cells, decimalOf(v.Lo), decimalOf(v.Hi))
	}
	return cells
}

// partHead names the column of a source's parts. Sources end in brackets too, so that the unit always stands behind.
func partHead(name, source, unit string) string {
	if unit == "" {
		unit = "1"
	}
	return name + "@" + source + " [" + unit + "]"
}

// partCell is a number's part of a source: 0 where the source does not move it, empty where that is not known or there is no number.
func partCell(v *pipeline.Value, source string) string {
	if v == nil || v.Value == nil || slices.Contains(v.Unknown, source) {
		return ""
	}
	return shortest(v.Parts[source])
}

// stageTable is a stage's numbers: a row an item, also one that failed or is blocked, with the reason in `remark`.
func (m *model) stageTable(s *stage) []byte {
	first := append([]string{"item", "sample"}, s.fields...)
	for _, c := range s.columns {
		first = append(first, valueHead("", c)...)
		for _, src := range c.parts {
			first = append(first, partHead(c.name, src, c.unit))
		}
	}
	rows := [][]string{append(first, "remark")}
	for _, r := range s.rows {
		cells := []string{r.item, r.sample}
		for _, f := range s.fields {
			cells = append(cells, fieldOf(r.source, f))
		}
		for k, c := range s.columns {
			cells = append(cells, valueCells(c, r.values[k])...)
			for _, src := range c.parts {
				cells = append(cells, partCell(r.values[k], src))
			}
		}
		rows = append(rows, append(cells, remarks(r.source)))
	}
	return csvFile(rows)
}

func fieldOf(it *pipeline.ItemOutcome, name string) string {
	if it == nil {
		return ""
	}
	for _, f := range it.Fields {
		if f.Name == name {
			return f.Text
		}
	}
	return ""
}

// A joined column is a stage's number beside the samples. label is what tells several items of one sample apart.
type joined struct {
	s     *stage
	k     int // column of the stage
	label string
}

func (j joined) name() string {
	n := j.s.Name + "." + j.s.columns[j.k].name
	if j.label != "" {
		n += " (" + j.label + ")"
	}
	return n
}

// most items of a sample in one stage that are set side by side; the stage's own table holds more.
const mostBeside = 12

// join lists the columns that a row for each sample has, and stages left out because their samples have too many items.
func (m *model) join() (columns []joined, left []string) {
	for _, s := range m.stages {
		var labels []string
		seen := map[string]bool{}
		several := false
		for _, sm := range m.samples {
			rows := sm.rows[s.Name]
			several = several || len(rows) > 1
			for _, r := range rows {
				if l := rest(r.item, r.sample); !seen[l] {
					seen[l] = true
					labels = append(labels, l)
				}
			}
		}
		switch {
		case len(labels) == 0:
			continue
		case !several:
			labels = []string{""}
		case len(labels) > mostBeside:
			left = append(left, s.Name)
			continue
		}
		if several {
			slices.SortFunc(labels, byNature)
		}
		for _, l := range labels {
			for k := range s.columns {
				columns = append(columns, joined{s, k, l})
			}
		}
	}
	return columns, left
}

// at is the row of a sample that a joined column shows, nil if there is none.
func (j joined) at(sm *sample) *row {
	rows := sm.rows[j.s.Name]
	if j.label == "" && len(rows) == 1 {
		return rows[0]
	}
	for _, r := range rows {
		if rest(r.item, r.sample) == j.label {
			return r
		}
	}
	return nil
}

// samplesTable is the sheet, its derived columns and all numbers, a row a sample.
func (m *model) samplesTable(columns []joined) []byte {
	first := []string{"sample"}
	if m.Sheet != nil {
		for _, c := range m.Sheet.Columns[min(1, len(m.Sheet.Columns)):] {
			if c.HasUnit {
				first = append(first, head(c.Name, c.Unit.Code()))
			} else {
				first = append(first, c.Name)
			}
		}
	}
	for _, d := range m.Derived {
		first = append(first, head(d.Name, d.Unit.Code()))
	}
	for _, j := range columns {
		c := j.s.columns[j.k]
		c.name = strings.TrimPrefix(j.name(), j.s.Name+".")
		first = append(first, valueHead(j.s.Name+".", c)...)
	}
	rows := [][]string{first}
	for _, sm := range m.samples {
		cells := []string{sm.name}
		if m.Sheet != nil {
			for k := 1; k < len(m.Sheet.Columns); k++ {
				text := ""
				if sm.sheet != nil && k < len(sm.sheet.Cells) {
					text = sm.sheet.Cells[k].Text
				}
				cells = append(cells, text)
			}
		}
		for _, d := range m.Derived {
			cells = append(cells, d.Values[sm.name].String())
		}
		for _, j := range columns {
			var v *pipeline.Value
			if r := j.at(sm); r != nil {
				v = r.values[j.k]
			}
			cells = append(cells, valueCells(j.s.columns[j.k], v)...)
		}
		rows = append(rows, cells)
	}
	return csvFile(rows)
}

// byNature is compareNatural with equal ones told apart.
func byNature(a, b string) int { return cmp.Or(compareNatural(a, b), strings.Compare(a, b)) }

// compareNatural orders texts so that runs of digits count as numbers: a2 before a10.
func compareNatural(a, b string) int {
	for a != "" && b != "" {
		da, db := leadDigits(a), leadDigits(b)
		if da > 0 && db > 0 {
			x, y := strings.TrimLeft(a[:da], "0"), strings.TrimLeft(b[:db], "0")
			if len(x) != len(y) {
				return len(x) - len(y)
			}
			if c := strings.Compare(x, y); c != 0 {
				return c
			}
			a, b = a[da:], b[db:]
			continue
		}
		if a[0] != b[0] {
			return int(a[0]) - int(b[0])
		}
		a, b = a[1:], b[1:]
	}
	return len(a) - len(b)
}

func leadDigits(s string) int {
	n := 0
	for n < len(s) && s[n] >= '0' && s[n] <= '9' {
		n++
	}
	return n
}
