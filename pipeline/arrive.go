package pipeline

import (
	"fmt"
	"slices"
	"strings"

	"fascicle/catalog"
	"fascicle/pipeline/table"
)

// checkArrived holds the tables of a group's inputs against what the ports need, where the check of the study could not: the columns of some
// files, or their units, are known only when the files have been read. It is here that a wrong unit is still a message, and no number yet.
func (r *runner) checkArrived(c *carrier) error {
	s := c.g.stage
	for _, l := range c.leads {
		if err := r.arrived(c, s.lead.decl, l); err != nil {
			return err
		}
	}
	for _, b := range s.ports {
		for _, all := range c.partners[b.decl.Name] {
			for _, l := range all {
				if err := r.arrived(c, b.decl, l); err != nil {
					return err
				}
			}
		}
	}
	return nil
}

// columnsKnown tells whether the check of the study knew all columns of an item and their units.
func (it *item) columnsKnown() bool {
	shape, ok := it.stage.shapes[it.output]
	return ok && !shape.Unknown && !slices.ContainsFunc(shape.Columns, func(c ColumnShape) bool { return c.Any })
}

func (r *runner) arrived(c *carrier, p *Port, l *loaded) error {
	alike := slices.ContainsFunc(p.Columns, func(need Column) bool { return strings.HasPrefix(need.Unit, "=") })
	if len(p.Columns) == 0 || !alike && l.it.columnsKnown() {
		return nil
	}
	at := fmt.Sprintf("%s at port `%s` of stage %s", l.it.who(), p.Name, c.g.stage.name)
	have := tableShape(l.table)
	if why := misfit(p, Arriving{Form: l.it.form, Columns: have}); why != "" {
		return fmt.Errorf("%s: %s%s", at, why, r.lookAt(l.it))
	}
	for _, need := range p.Columns {
		col := findColumn(have, need.Name)
		if col == nil || need.Text || need.Unit == "*" {
			continue
		}
		want, word, known := needUnit(c, need)
		found, err := catalog.ParseUnit(l.table.Col(col.Name).Unit)
		if err != nil {
			return fmt.Errorf("%s: column %s: %w%s", at, col.Name, err, r.lookAt(l.it))
		}
		if known && found.Dim() != want.Dim() {
			return fmt.Errorf("%s: found column %s in %s; expected %s%s%s", at, col.Name, unitWord(found), word, importHint(l.it, col.Name, want), r.lookAt(l.it))
		}
	}
	return nil
}

// needUnit resolves the unit that a port needs in a column, that of another port's by what arrived there. known is false when nothing did.
func needUnit(c *carrier, need Column) (u catalog.Unit, word string, known bool) {
	if !strings.HasPrefix(need.Unit, "=") {
		u = mustUnit(need.Unit)
		if u.IsOne() {
			return u, "a pure number", true
		}
		return u, u.Symbol() + " or a unit like it", true
	}
	port, column, has := strings.Cut(need.Unit[1:], ".")
	switch {
	case !has:
		column = ValueColumn
	case column == "axis":
		column = AxisColumn
	}
	var first *loaded
	if lead := c.g.stage.lead; lead != nil && lead.decl.Name == port && len(c.leads) > 0 {
		first = c.leads[0]
	}
	for _, all := range c.partners[port] {
		if first == nil && len(all) > 0 {
			first = all[0]
		}
	}
	if first == nil {
		return u, "", false
	}
	col := findColumn(tableShape(first.table), column)
	if col == nil {
		return u, "", false
	}
	u, err := catalog.ParseUnit(first.table.Col(col.Name).Unit)
	return u, fmt.Sprintf("%s, the unit of %s in %s at port `%s`", unitWord(u), col.Name, first.it.who(), port), err == nil
}

// tableShape gives the columns of a table without their units.
func tableShape(t *table.Table) []ColumnShape {
	out := make([]ColumnShape, len(t.Columns))
	for i := range t.Columns {
		out[i] = ColumnShape{Name: t.Columns[i].Name, Text: t.Columns[i].Type == table.Text, Any: true}
	}
	return out
}

// importHint says where the unit of an item's column can be given, when a file may have been silent about it.
func importHint(it *item, column string, want catalog.Unit) string {
	for it.group != nil && len(it.group.leads) > 0 {
		it = it.group.leads[max(it.lead, 0)]
	}
	if it.group == nil || it.group.stage.kind == nil || !it.group.stage.kind.Reads {
		return ""
	}
	return fmt.Sprintf("; if the file does not say its unit, give it in stage %s, as in `columns: {%s: \"HEAD [%s]\"}`", it.group.stage.name, column, want.Code())
}
