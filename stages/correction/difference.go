package correction

import (
	"errors"
	"fmt"
	"math"

	"fascicle/pipeline"
	"fascicle/pipeline/table"
)

// difference is the work of a kind that takes another curve off each lead item.
type difference struct {
	call         *pipeline.Call
	lead         int
	curve, other curve
	scale        float64
	keep         pipeline.Range // the zero range with a word keeps all
	what, off    string         // how messages call both: "the curve", "the background"
	earlier      *differenceChoices
}

// differenceChoices is what a first call decided of one curve: which points meet, and which rows are kept.
type differenceChoices struct {
	met         Subtracted // without its numbers
	first, last int
}

// run gives the corrected table, remarks on it, and says what it decided.
func (d *difference) run(t *table.Table) (differenceChoices, error) {
	x, y, bx, by := d.curve.axis, d.curve.value, d.other.axis, d.other.value
	if d.earlier != nil {
		r := d.earlier.met.Again(d.curve.x, d.curve.y, d.other.x, d.other.y, d.scale)
		d.give(t, &r, d.earlier.first, d.earlier.last)
		return *d.earlier, nil
	}
	if x.Unit != bx.Unit || y.Unit != by.Unit {
		return differenceChoices{}, fmt.Errorf("%s is %s over an axis %s, %s %s over an axis %s: one cannot be taken off the other; measure both in one unit, or correct the units under `columns` of the imports",
			d.what, inUnit(y.Unit), inUnit(x.Unit), d.off, inUnit(by.Unit), inUnit(bx.Unit))
	}
	if d.keep.Word == "" && d.keep.Unit != x.Unit {
		return differenceChoices{}, fmt.Errorf("setting `range` is in %s, the axis of %s in %s", d.keep.Unit, d.what, x.Unit)
	}
	r, err := Subtract(d.curve.x, d.curve.y, d.curve.u, d.other.x, d.other.y, d.other.u, d.scale)
	switch {
	case errors.Is(err, ErrNoOverlap):
		return differenceChoices{}, fmt.Errorf("%w: %s goes from %s %s, %s from %s; measure both over one range, or correct the unit of an axis", ErrNoOverlap, d.what, span(d.curve.x), x.Unit, d.off, span(d.other.x))
	case errors.Is(err, ErrBackgroundAxis):
		return differenceChoices{}, fmt.Errorf("%s cannot be taken off: %w; mend its file", d.off, err)
	case err != nil:
		return differenceChoices{}, err
	}
	first, last := r.First, r.Last
	for first <= last && !d.keep.Contains(d.curve.x[first]) {
		first++
	}
	for last >= first && !d.keep.Contains(d.curve.x[last]) {
		last--
	}
	if last < first {
		return differenceChoices{}, fmt.Errorf("no point of %s is left: it and %s have numbers in common from %g to %g %s at most", d.what, d.off, r.Coverage[0], r.Coverage[1], x.Unit)
	}
	d.remark(&r)
	d.give(t, &r, first, last)
	return differenceChoices{r, first, last}, nil
}

func (d *difference) flag(level pipeline.FlagLevel, format string, args ...any) {
	d.call.Flag(level, "corrected", d.lead, format, args...)
}

// remark says what a person should know of the difference.
func (d *difference) remark(r *Subtracted) {
	if r.Outside > 0 {
		d.flag(pipeline.Flagged, "%d points beyond the range of %s (%.4g to %.4g %s) are left out", r.Outside, d.off, r.Coverage[0], r.Coverage[1], d.curve.axis.Unit)
	}
	if r.U == nil {
		d.flag(pipeline.Note, "the uncertainty of %s or of %s is unknown, and so is the difference's", d.what, d.off)
	}
	if r.Between > 0 {
		d.flag(pipeline.Note, "%s was interpolated at %d points; the noise that neighbours share by it is neglected", d.off, r.Between)
	}
}

// give hands over the curve's table, cut to the rows that are kept, with the difference as its value. What else it holds stays as it is.
func (d *difference) give(t *table.Table, r *Subtracted, first, last int) {
	y := d.curve.value
	out := copyColumns(t)
	replace(out, y.Name, y.Unit, r.Y)
	u := r.U
	if u == nil {
		u = Affine(make([]float64, len(r.Y)), r.Y, 0, math.NaN()) // unknown throughout
	}
	replace(out, "u_"+y.Name, y.Unit, u)
	bounds(out, y.Name, func(i int, v float64) float64 { return v + (r.Y[i] - d.curve.y[i]) })
	d.call.Give("corrected", d.lead, cut(out, first, last))
}

// span says from where to where an axis goes.
func span(x []float64) string {
	if len(x) == 0 {
		return "no point"
	}
	return fmt.Sprintf("%.4g to %.4g", x[0], x[len(x)-1])
}

func withNaN(c *table.Column) []float64 {
	if c == nil {
		return nil
	}
	return pipeline.WithNaN(c)
}
