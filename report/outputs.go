package report

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"fascicle/pipeline"
	"fascicle/pipeline/table"
)

// outputTable is all items of an output of form table, one below the other. As everywhere, u_NAME is the whole u; where sources move a
// column, own_NAME is its own part and NAME@SOURCE its parts.
func (m *model) outputTable(items []*pipeline.ItemOutcome) ([]byte, error) {
	tables := make([]*table.Table, len(items))
	units := map[string]string{}
	var names []string // columns in order of appearance, parts apart
	parts := map[string][]string{}
	for i, it := range items {
		if !it.State.Good() {
			continue
		}
		t, err := m.load(it)
		if err != nil {
			return nil, err
		}
		tables[i] = t
		for _, c := range t.Columns {
			unit, seen := units[c.Name]
			if seen && unit != c.Unit {
				return nil, fmt.Errorf("report: stage %s, output %s: column %q has unit %q in item %s and %q in another; one table needs one unit",
					it.Stage, it.Output, c.Name, c.Unit, it.Name, unit)
			}
			if seen {
				continue
			}
			units[c.Name] = c.Unit
			if name, source, ok := strings.Cut(c.Name, "@"); ok {
				parts[name] = append(parts[name], source)
			} else {
				names = append(names, c.Name)
			}
		}
	}
	list := outputColumns(names, units, parts)
	first := []string{"item", "sample"}
	for _, c := range list {
		first = append(first, c.head)
	}
	rows := [][]string{append(first, "remark")}
	for i, it := range items {
		t, note := tables[i], remarks(it)
		if t == nil {
			cells := make([]string, len(list)+3)
			cells[0], cells[1], cells[len(cells)-1] = it.Name, it.Sample, note
			rows = append(rows, cells)
			continue
		}
		cellsOf := make([]func(int) string, len(list))
		for k, c := range list {
			cellsOf[k] = c.of(t)
		}
		for r := range t.Len() {
			cells := make([]string, 0, len(list)+3)
			cells = append(cells, it.Name, it.Sample)
			for _, cell := range cellsOf {
				cells = append(cells, cell(r))
			}
			rows = append(rows, append(cells, note))
		}
	}
	return csvFile(rows), nil
}

// outputColumn is a column of the file: how it is headed, and its cells from an item's table.
type outputColumn struct {
	head string
	of   func(t *table.Table) func(row int) string
}

func outputColumns(names []string, units map[string]string, parts map[string][]string) (list []outputColumn) {
	plain := func(t *table.Table, name string) func(int) string {
		c := t.Col(name)
		return func(r int) string { return entry(c, r) }
	}
	add := func(head string, of func(t *table.Table) func(int) string) {
		list = append(list, outputColumn{head, of})
	}
	addParts := func(name string) {
		slices.SortFunc(parts[name], byNature)
		for _, source := range parts[name] {
			add(partHead(name, source, units[name]), func(t *table.Table) func(int) string {
				c, part := t.Col(name), t.Col(name+"@"+source)
				return func(r int) string {
					switch {
					case c == nil || c.IsNull(r):
						return ""
					case part == nil: // of another item: it does not move this one
						return "0"
					}
					return entry(part, r)
				}
			})
		}
	}
	for _, n := range names {
		of, isU := strings.CutPrefix(n, "u_")
		switch {
		case isU && len(parts[of]) > 0:
			add(head(n, units[n]), func(t *table.Table) func(int) string {
				u := wholeU(t, of)
				return func(r int) string { return entry(u, r) }
			})
			add(head("own_"+of, units[n]), func(t *table.Table) func(int) string { return plain(t, n) })
			addParts(of)
		default:
			add(head(n, units[n]), func(t *table.Table) func(int) string { return plain(t, n) })
			if len(parts[n]) > 0 && !slices.Contains(names, "u_"+n) {
				addParts(n)
			}
		}
	}
	return list
}

// wholeU is the whole standard uncertainty of a column: u² = own² + Σ part². It is null where the own part or the part of a source is
// not known; nil when the column has no own part.
func wholeU(t *table.Table, name string) *table.Column {
	own := t.Col("u_" + name)
	if own == nil || own.Type != table.Float {
		return nil
	}
	var parts []*table.Column
	for i := range t.Columns {
		if c := &t.Columns[i]; strings.HasPrefix(c.Name, name+"@") && c.Type == table.Float {
			parts = append(parts, c)
		}
	}
	if len(parts) == 0 {
		return own
	}
	n := own.Len()
	whole := &table.Column{Name: own.Name, Unit: own.Unit, Floats: make([]float64, n), Valid: make([]bool, n)}
	for r := range n {
		known := !own.IsNull(r)
		uu := own.Floats[r] * own.Floats[r]
		for _, p := range parts {
			known = known && !p.IsNull(r)
			uu += p.Floats[r] * p.Floats[r]
		}
		if whole.Valid[r] = known; known {
			whole.Floats[r] = math.Sqrt(uu)
		}
	}
	return whole
}

// entry is one cell of a column as text; empty where it is missing.
func entry(c *table.Column, i int) string {
	if c == nil || c.IsNull(i) {
		return ""
	}
	switch c.Type {
	case table.Float:
		return shortest(c.Floats[i])
	case table.Int:
		return strconv.FormatInt(c.Ints[i], 10)
	}
	return c.Texts[i]
}
