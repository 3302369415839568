package importing

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"fascicle/catalog"
	"fascicle/pipeline"
	"fascicle/pipeline/table"
)

// reading turns a text into a table.
type reading struct {
	settings *importSettings
	text     *Text
	names    []string
	at       []int // columns of the text
	units    []catalog.Unit
	flags    []pipeline.Remark

	axisHasUnit bool    // the study or the file says the unit of the axis
	channel     float64 // width of a channel of the axis in ns; 0: the axis counts none

	joined *joinedRows // what repeated rows say, when they were joined
}

// table gives the curve: rows without an axis left out, the axis rising, units as inside, uncertainties beside their columns.
func (r *reading) table() (*table.Table, error) {
	if err := r.findColumns(); err != nil {
		return nil, err
	}
	if r.settings.lines() {
		return r.values()
	}
	if err := r.knowsQ(); err != nil {
		return nil, err
	}
	if err := r.joinRepeats(); err != nil {
		return nil, err
	}
	x := r.text
	rows := make([]int, 0, x.Rows())
	axisAt := r.at[0]
	for i := range x.Rows() {
		if v := x.Valid[axisAt]; v == nil || v[i] {
			rows = append(rows, i)
		}
	}
	if n := x.Rows() - len(rows); n > 0 {
		r.flag("%d rows without a number on the axis are left out", n)
	}
	axis := make([]float64, len(rows))
	for i, row := range rows {
		axis[i] = x.Columns[axisAt][row]
	}
	rising, err := CheckAxis(axis, nil, func(i int) int { return x.Line(rows[i]) })
	if err != nil {
		return nil, err
	}
	if !rising {
		slices.Reverse(rows)
	}
	t, err := r.columns(rows)
	if err != nil {
		return nil, err
	}
	return t, r.possible(t, rows)
}

// columns gives some rows as a table, with units as inside, uncertainties beside their columns, and the file's header.
func (r *reading) columns(rows []int) (*table.Table, error) {
	t := &table.Table{Header: map[string]string{}}
	for _, p := range r.text.Pairs {
		if len(p.Key) <= 200 && len(p.Value) <= 2000 {
			t.Header[p.Key] = p.Value
		}
	}
	for i, name := range r.names {
		if err := r.addColumn(t, i, name, rows); err != nil {
			return nil, err
		}
	}
	if err := r.addNoise(t, rows); err != nil {
		return nil, err
	}
	for _, n := range r.text.Notes {
		r.flags = append(r.flags, n.remark())
	}
	return t, nil
}

// values gives the one row of an item of values.
func (r *reading) values() (*table.Table, error) {
	rows := make([]int, r.text.Rows())
	for i := range rows {
		rows[i] = i
	}
	return r.columns(rows)
}

// flag remarks on the item what a person must judge.
func (r *reading) flag(format string, args ...any) {
	r.flags = append(r.flags, pipeline.Remark{Level: pipeline.Flagged, Text: fmt.Sprintf(format, args...)})
}

// note remarks on the item what is worth reading.
func (r *reading) note(format string, args ...any) {
	r.flags = append(r.flags, pipeline.Remark{Level: pipeline.Note, Text: fmt.Sprintf(format, args...)})
}

// isAxis says that a column is the axis of a curve.
func (r *reading) isAxis(i int) bool { return i == 0 && !r.settings.lines() }

// knowsQ refuses an axis of scattering vectors whose unit nobody says: the two in use differ by ten.
func (r *reading) knowsQ() error {
	head := ""
	if h := r.text.Heads; h != nil {
		head = h[r.at[0]].Name
	}
	if !strings.EqualFold(r.names[0], "q") && !strings.EqualFold(head, "q") || r.axisHasUnit {
		return nil
	}
	lo, hi := math.Inf(1), 0.0
	for i, x := range r.text.Columns[r.at[0]] {
		if v := r.text.Valid[r.at[0]]; x > 0 && (v == nil || v[i]) {
			lo, hi = min(lo, x), max(hi, x)
		}
	}
	if hi == 0 {
		return nil // there is another fault to tell
	}
	size := func(q float64) string { return strconv.FormatFloat(2*math.Pi/q, 'g', 2, 64) }
	return fmt.Errorf("line %d: found the axis %s without a unit; expected 1/nm (then its sizes 2π/q are %s to %s nm) or 1/Å (%s to %s nm); say in the study which: `columns: {%s: \"1 [1/nm]\", …}`",
		r.text.FirstLine, r.names[0], size(hi), size(lo), size(hi*10), size(lo*10), r.names[0])
}

// addColumn converts one column into the unit used inside.
func (r *reading) addColumn(t *table.Table, i int, name string, rows []int) error {
	unit := r.units[i]
	inside := insideUnit(unit, r.isAxis(i))
	of, isU := strings.CutPrefix(name, "u_")
	if isU {
		at := slices.Index(r.names, of)
		if unit.IsOne() && !r.units[at].IsOne() {
			unit = r.units[at] // the file gives both in one unit
		}
		inside = insideUnit(r.units[at], r.isAxis(at))
	}
	conv, err := catalog.Convert(unit, inside)
	if err != nil {
		return fmt.Errorf("column %s: %w", name, err)
	}
	channels := r.channel > 0 && r.isAxis(i)
	if channels && !unit.IsOne() {
		return fmt.Errorf("column %s is in %s, while `channel` is for an axis that counts channels; leave `channel` out, or correct the unit", name, unit.Symbol())
	}
	src, valid := r.text.Columns[r.at[i]], r.text.Valid[r.at[i]]
	v := make([]float64, len(rows))
	var ok []bool
	if valid != nil {
		ok = make([]bool, len(rows))
	}
	zeros := 0
	for k, row := range rows {
		if ok != nil {
			ok[k] = valid[row]
			if !ok[k] {
				continue
			}
		}
		if channels {
			if err := r.channelNumber(src[row], row); err != nil {
				return err
			}
			v[k] = src[row] * r.channel
			continue
		}
		if !isU {
			v[k] = src[row]
			continue
		}
		if src[row] < 0 {
			return fmt.Errorf("line %d: found a negative uncertainty, %v in column %s; expected a standard uncertainty; correct the file or name another column", r.text.Line(row), src[row], name)
		}
		if src[row] == 0 {
			zeros++
		}
		v[k] = src[row]
	}
	if isU {
		if zeros > 0 && zeros == known(ok, len(rows)) {
			return fmt.Errorf("line %d: found a column of zeros, %s; expected standard uncertainties; leave it out, or say under `u` how the uncertainty is known", r.text.Line(rows[0]), name)
		}
		if zeros > 0 {
			if ok == nil {
				ok = make([]bool, len(rows))
				for k := range ok {
					ok[k] = true
				}
			}
			for k := range v {
				ok[k] = ok[k] && v[k] != 0
			}
			r.flag("%d of %d uncertainties in column %s are zero: they are taken as unknown", zeros, len(rows), name)
		}
		for k := range v {
			v[k] = conv.Delta(v[k])
		}
	} else if channels {
		t.AddFloatValid(name, "ns", v, ok)
		return nil
	} else {
		conv.Slice(v, v)
	}
	t.AddFloatValid(name, inside.Code(), v, ok)
	return nil
}

// inside converts a column's numbers, as the file has them, into the unit used inside.
func (r *reading) inside(i int) (catalog.Conversion, error) {
	return catalog.Convert(r.units[i], insideUnit(r.units[i], r.isAxis(i)))
}

// insideUnit is the unit in which the program keeps a column. An axis in 1/cm is one of wavenumbers and stays so: scattering vectors are given in 1/nm or 1/Å.
func insideUnit(u catalog.Unit, axis bool) catalog.Unit {
	if axis && u.Code() == "1/cm" {
		return u
	}
	return catalog.Canonical(u.Dim(), axis)
}

// known counts the entries that are there.
func known(valid []bool, n int) int {
	if valid == nil {
		return n
	}
	k := 0
	for _, ok := range valid {
		if ok {
			k++
		}
	}
	return k
}

// possible refuses axes that no instrument can have.
func (r *reading) possible(t *table.Table, rows []int) error {
	c := &t.Columns[0]
	if c.Unit != "1/nm" && c.Unit != "nm" && c.Unit != "K" && c.Unit != "eV" {
		return nil
	}
	for i, x := range c.Floats {
		if x < 0 || x == 0 && c.Unit != "1/nm" {
			return fmt.Errorf("line %d: found %s = %v %s; expected a positive number; correct the file, or the unit of the column", r.text.Line(rows[i]), c.Name, x, c.Unit)
		}
	}
	return nil
}
