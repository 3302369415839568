package pipeline

import (
	"maps"
	"slices"
	"strings"

	"fascicle/catalog"
	"fascicle/catalog/fault"
	"fascicle/catalog/workbook"
	"fascicle/pipeline/formula"
)

// lookAt names the raw files of an item, for messages.
func (r *runner) lookAt(it *item) string {
	if it.stage.sheet {
		return ": look at its row in " + r.p.Sheet.File
	}
	files := it.files()
	if len(files) == 0 {
		return ""
	}
	return ": look at " + shortList(files, 3)
}

// lookAtField says where to look when a field of an item has no value, or a wrong one: at its cell in the sheet, else at the item's raw files.
func (r *runner) lookAtField(name string, it *item) string {
	if place := r.p.sheetCell(name, &it.fields); place != "" {
		return ": look at " + place
	}
	return r.lookAt(it)
}

// badSetting blocks a group whose Field setting cannot be worked out for an item, or comes out of bounds, and says where to look: at the cells of
// the sheet that its expression reads, at the empty ones where there are any.
func (r *runner) badSetting(g *group, f *Field, it *item, n Evaluated, err error) bool {
	if err == nil && (n.Known || f.tag.Get("null") == "ok") {
		return false
	}
	ids := map[int]bool{}
	if f.formula != nil {
		r.p.fieldsRead(f.formula, ids)
	}
	var empty, cells []string
	file := false // an empty field that the sheet does not say
	for _, id := range slices.Sorted(maps.Keys(ids)) {
		v, _ := it.fields.get(id)
		place := r.p.sheetCell(r.p.fields.names[id], &it.fields)
		switch {
		case place == "":
			_, derived := r.p.defs.byName[r.p.fields.names[id]]
			file = file || v.Null && !derived
		case v.Null:
			empty = append(empty, place)
		default:
			cells = append(cells, place)
		}
	}
	look := r.lookAt(it)
	switch {
	case err != nil && len(cells) > 0:
		look = ": look at " + strings.Join(cells, ", ")
	case err == nil && len(empty) > 0:
		look = ": look at " + strings.Join(empty, ", ")
	case err == nil && !file && len(cells) > 0: // such as a key that a constant does not have
		look = ": look at " + strings.Join(cells, ", ")
	}
	switch {
	case err != nil:
		g.block("%s: %v%s", it.who(), err, look)
	case len(empty) > 0 || file:
		g.block("%s: setting `%s` (%s) cannot be worked out, because a field is empty%s", it.who(), f.Path, f.text, look)
	default:
		g.block("%s: setting `%s` (%s) cannot be worked out from its fields%s", it.who(), f.Path, f.text, look)
	}
	return true
}

// fieldsRead collects the fields that an expression reads, through derived columns and conditions as well.
func (p *Project) fieldsRead(f *formula.Formula, ids map[int]bool) {
	for _, n := range slices.Concat(f.Names(), f.Maps()) {
		id, isField := p.fields.id(n)
		if isField && ids[id] {
			continue
		}
		if isField {
			ids[id] = true
		}
		if d := p.defs.byName[n]; d != nil && d.formula != nil {
			p.fieldsRead(d.formula, ids)
		}
	}
}

// sheetCell names the cell of the sheet that says an item's field: "column salt at samples.csv:3:5", or `… at samples.xlsx!Runs:B4`; "" where a
// file says the field, or nothing does.
func (p *Project) sheetCell(name string, f *Fields) string {
	id, known := p.fields.id(name)
	column, ok := p.Sheet.Column(name)
	if !known || !ok || column == 0 || f.row == nil || slices.ContainsFunc(f.own, func(o ownField) bool { return o.id == id }) {
		return ""
	}
	row, ok := p.Sheet.Row(f.row.sample)
	if !ok {
		return ""
	}
	cell := row.Cells[column]
	at := fault.Fault{File: p.Sheet.File, Line: cell.Line, Col: cell.Col}
	if _, tab := catalog.SheetFile(p.Sheet.File); tab != "" {
		at.Cell = workbook.Name(cell.Line, cell.Col)
	}
	return "column " + name + " at " + at.Place()
}
