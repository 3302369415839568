package pipeline

import (
	"fmt"
	"os"
	"path/filepath"

	"fascicle/catalog"
	"fascicle/catalog/fault"
	"fascicle/pipeline/formula"
	"fascicle/pipeline/study"
)

// readSheet reads the sheet that a study names: a file, or a sheet of a workbook.
func readSheet(dir, studyName string, st *study.Study) (*catalog.Sheet, fault.List) {
	file, _ := catalog.SheetFile(st.Samples.Value)
	data, err := os.ReadFile(filepath.Join(dir, filepath.FromSlash(file)))
	if err != nil {
		return nil, fault.List{{File: studyName, Line: st.Samples.Pos.Line, Col: st.Samples.Pos.Col, Found: fmt.Sprintf("the sheet %q: %s", file, reason(err)),
			Expected: "a CSV file or a workbook with a row a sample", Remedy: "correct the name, or write the sheet"}}
	}
	sheet, faults := catalog.ReadSheet(st.Samples.Value, data)
	if len(faults) > 0 {
		return nil, faults
	}
	return sheet, nil
}

// sheetNotes words what is worth knowing of the sheet as remarks.
func sheetNotes(sheet *catalog.Sheet) []string {
	var out []string
	for _, n := range sheet.Notes {
		out = append(out, n.Place()+": "+n.Found+"; "+n.Remedy)
	}
	return out
}

func sheetType(c catalog.SheetColumn) formula.Type {
	switch c.Type {
	case catalog.Numeric:
		return formula.Type{Sort: formula.Number, Unit: c.Unit}
	case catalog.Date:
		return formula.Type{Sort: formula.Date}
	}
	return formula.Type{Sort: formula.Text}
}

// sheetFields makes the sheet's columns fields. The first column is known as `sample`, whatever its head.
func (l *loader) sheetFields() {
	l.sampleID, _ = l.fields.add("sample", formula.Type{Sort: formula.Text})
	l.taken = map[string]string{}
	taken := l.taken
	for _, c := range l.Study.Constants {
		taken[c.Name.Value] = "constant"
	}
	for _, c := range l.Study.Conditions {
		taken[c.Name.Value] = "condition"
	}
	for _, s := range l.Study.Graph {
		taken[s.Name.Value] = "stage"
	}
	for i, c := range l.Sheet.Columns {
		if i == 0 || c.Name == "also" {
			continue
		}
		if what := taken[c.Name]; what != "" {
			l.faults.Add(&fault.Fault{File: l.Sheet.File, Line: 1, Found: fmt.Sprintf("a column %q, which is also the name of a %s in %s", c.Name, what, l.file),
				Expected: "one meaning for a name", Remedy: "rename one of the two"})
		}
		l.fields.add(c.Name, sheetType(c))
	}
}

// makeRows works out the fields of each sample, derived columns included.
func (l *loader) makeRows() {
	n := len(l.fields.names)
	rows := len(l.Sheet.Rows)
	slab := make([]sampleRow, rows)
	values, has, us := make([]FieldValue, rows*n), make([]bool, rows*n), make([]float64, 2*rows*n)
	for i := range l.Sheet.Rows {
		r := &l.Sheet.Rows[i]
		row, from, to := &slab[i], i*n, (i+1)*n
		row.sample, row.values, row.has, row.u, row.nu = r.Sample, values[from:to:to], has[from:to:to], us[from:to:to], us[rows*n+from:rows*n+to]
		for id := range row.values {
			row.values[id].Null = true
		}
		row.values[l.sampleID], row.has[l.sampleID] = FieldValue{Text: r.Sample}, true
		for c, col := range l.Sheet.Columns {
			id, ok := l.fields.id(col.Name)
			if c == 0 || !ok {
				continue
			}
			cell := r.Cells[c]
			row.has[id] = true
			switch {
			case cell.Null:
			case col.Type == catalog.Numeric:
				row.values[id] = numberField(cell.Value)
				if cell.HasU {
					row.u[id], row.nu[id] = cell.U, cell.Nu
				}
			default:
				row.values[id] = FieldValue{Text: cell.Text}
			}
		}
		l.rows[row.sample] = row
		l.order = append(l.order, row)
	}
	if len(l.faults) > 0 {
		return
	}
	for _, row := range l.order {
		l.defs.derive(l.Project, row)
	}
}

// findSample finds the sample that a name means, by its spelling in the sheet or another one. Where the name may mean several samples, sample
// is "" and others lists them.
func (p *Project) findSample(name string) (sample string, others []string) {
	if row := p.rows[name]; row != nil {
		return name, nil
	}
	sample, ok, others := p.Sheet.Find(name)
	if !ok {
		return "", others
	}
	return sample, nil
}

// spellSample writes a sample that a file names as the sheet does, so that it has one name, and its items one address, whatever files call it.
// A name that the sheet does not have, or that may mean several samples, stays: joinSample says so.
func (p *Project) spellSample(v *FieldValue) {
	if v.Null {
		return
	}
	if sample, _ := p.findSample(v.Text); sample != "" {
		v.Text = sample
	}
}

// joinSample joins the row of an item's sample to its fields. A captured field may repeat a column of the sheet: equal is one field,
// an empty cell takes the file's, two values are refused.
func (p *Project) joinSample(f *Fields) string {
	v, ok := f.get(p.sampleID)
	if !ok || v.Null {
		return ""
	}
	row := f.row
	if row == nil {
		row = p.rows[v.Text]
	}
	if row == nil {
		return p.noSample(v.Text)
	}
	f.row = row
	for _, o := range f.own {
		if o.id == p.sampleID || o.id >= len(row.values) || !row.has[o.id] || row.values[o.id].Null || o.value.Null {
			continue
		}
		sheet := row.values[o.id]
		if sheet.Text != o.value.Text {
			return fmt.Sprintf("sample %s has `%s` = %s in %s, but the file says %s; correct one of them", row.sample, p.fields.names[o.id],
				fieldText(p.fields, o.id, sheet), p.Sheet.File, fieldText(p.fields, o.id, o.value))
		}
	}
	return ""
}

// noSample says why a name is no sample's.
func (p *Project) noSample(name string) string {
	if _, others := p.findSample(name); len(others) > 0 {
		return fmt.Sprintf("%q may mean sample %s of %s; write it as the sheet does, or put it into the sheet's column `also`", name, joinOr(others), p.Sheet.File)
	}
	hint := ""
	if near := fault.Nearest(name, p.Sheet.Samples()); near != "" {
		hint = fmt.Sprintf("; did you mean %s?", near)
	}
	return fmt.Sprintf("sample %q is not in %s%s; add its row, or correct the name", name, p.Sheet.File, hint)
}

// sourceNu gives the degrees of freedom of the number that a shift moves, 0: infinite, or not known.
func (p *Project) sourceNu(s *fieldShift) float64 {
	if s.column < 0 {
		return p.constants[s.constant].number.Nu
	}
	if row := p.rows[s.sample]; row != nil && s.column < len(row.nu) {
		return row.nu[s.column]
	}
	return 0
}
