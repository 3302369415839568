package spectra

import (
	"fmt"
	"math"
	"slices"

	"fascicle/catalog"
	"fascicle/pipeline"
	"fascicle/pipeline/table"
)

// spectrum is a curve with a rising axis and without points that have no value.
type spectrum struct {
	x, y, u []float64 // u: nil when unknown everywhere, NaN where unknown
	unit    string    // of y
	name    string    // of y's column
	gaps    []float64 // wavelengths without a value
}

// readSpectrum takes axis, value and uncertainty out of a curve.
func readSpectrum(t *table.Table) (s spectrum, err error) {
	axis, value := pipeline.CurveColumns(t)
	if axis == nil || value == nil {
		return s, fmt.Errorf("the spectrum has no value beside its axis")
	}
	if axis.Unit != "nm" { // known only now where the study leaves units to the files
		return s, fmt.Errorf("the axis %s is in %q; expected a wavelength in nm or a unit like it; give the unit under `columns` of the import, such as `%s: \"1 [nm]\"`", axis.Name, axis.Unit, axis.Name)
	}
	x, y, u := pipeline.WithNaN(axis), pipeline.WithNaN(value), []float64(nil)
	if c := t.Col("u_" + value.Name); c != nil {
		u = pipeline.WithNaN(c)
	}
	known := false
	s.unit, s.name = value.Unit, value.Name
	for i, v := range x {
		switch {
		case !(v > 0):
			return s, fmt.Errorf("point %d: wavelength %v nm; expected a positive number: correct the file or the unit of its axis", i+1, v)
		case math.IsNaN(y[i]):
			s.gaps = append(s.gaps, v)
			continue
		}
		s.x, s.y = append(s.x, v), append(s.y, y[i])
		if u != nil {
			s.u = append(s.u, u[i])
			known = known || !math.IsNaN(u[i])
		}
	}
	if !known {
		s.u = nil
	}
	n := len(s.x)
	if n < 3 {
		return s, fmt.Errorf("the spectrum has %d points with a value; expected at least 3", n)
	}
	if s.x[0] > s.x[n-1] {
		slices.Reverse(s.x)
		slices.Reverse(s.y)
		slices.Reverse(s.u)
	}
	for i := 1; i < n; i++ {
		if !(s.x[i] > s.x[i-1]) {
			return s, fmt.Errorf("wavelength %v nm follows %v nm; expected an axis that rises or falls strictly: remove what was measured twice", s.x[i], s.x[i-1])
		}
	}
	return s, nil
}

var bandNames = [numbers]string{"maximum", "height", "centroid", "width", "area", "onset", "height_ratio", "area_ratio"}

// give hands over the numbers and the curve for the figure.
func (b *bandsRun) give(m *Bands, c *bandsChoices) {
	value, err := catalog.ParseUnit(b.unit)
	if err != nil {
		panic("spectra: " + err.Error())
	}
	area, factor := areaUnit(value)
	units := [numbers]string{"nm", b.unit, "eV", "nm", area.Code(), "nm", "1", "1"}
	scale := [numbers]float64{1, 1, 1, 1, factor, 1, 1, 1}
	count := numbers
	if c.second == nil {
		count = HeightRatio
	}
	t := &table.Table{}
	for k := range count {
		addNumber(t, bandNames[k], units[k], m.N[k], scale[k])
	}
	for j := range count {
		for k := j + 1; k < count; k++ {
			if v := m.Cov[j][k]; !math.IsNaN(v) {
				t.AddFloat("cov_"+bandNames[j]+"_"+bandNames[k], covUnit(units[j], units[k]), []float64{v * scale[j] * scale[k]})
			}
		}
	}
	lo, hi := math.NaN(), math.NaN()
	if c.first.top.some() {
		lo, hi = b.x[c.first.top.first], b.x[c.first.top.last]
	}
	pipeline.AddWithNaN(t, "top_first", "nm", []float64{lo})
	pipeline.AddWithNaN(t, "top_last", "nm", []float64{hi})
	b.call.Give("bands", b.lead, t)
	b.call.Give("curve", b.lead, b.figure(&c.first))
}

// addNumber adds a number with its uncertainty and what bounds it.
func addNumber(t *table.Table, name, unit string, n Number, scale float64) {
	pipeline.AddWithNaN(t, name, unit, []float64{n.Value * scale})
	if !math.IsNaN(n.U) && !math.IsNaN(n.Value) {
		t.AddFloat("u_"+name, unit, []float64{n.U * scale})
		if !math.IsInf(n.Nu, 0) {
			t.AddFloat("nu_"+name, "1", []float64{n.Nu})
		}
	}
	switch n.Bound {
	case Lower:
		t.AddText(name+"_bound", []string{"lower"})
	case Upper:
		t.AddText(name+"_bound", []string{"upper"})
	case Interval:
		t.AddText(name+"_bound", []string{"interval"})
		t.AddFloat(name+"_lo", unit, []float64{n.Lo * scale})
		t.AddFloat(name+"_hi", unit, []float64{n.Hi * scale})
	}
}

// figure is the range with its baseline and the polynomial through the top.
func (b *bandsRun) figure(c *BandChoice) *table.Table {
	n := c.last - c.first + 1
	baseline, model, used := make([]float64, n), make([]float64, n), make([]float64, n)
	fitted := c.State == TopFound || c.State == TopAtShort || c.State == TopAtLong
	for k := range n {
		i := c.first + k
		baseline[k] = b.y[i] - b.w.level[i]
		model[k] = math.NaN()
		if c.top.some() && i >= c.top.first && i <= c.top.last && fitted {
			d := b.w.top.at(b.x[i])
			model[k] = baseline[k] + b.w.top.value(&d, 0)
			used[k] = 1
		}
	}
	f := &table.Table{}
	f.AddFloat("wavelength", "nm", b.x[c.first:c.last+1])
	f.AddFloat("value", b.unit, b.y[c.first:c.last+1])
	if b.u != nil {
		pipeline.AddWithNaN(f, "u_value", b.unit, b.u[c.first:c.last+1])
	}
	f.AddFloat("baseline", b.unit, baseline)
	pipeline.AddWithNaN(f, "model", b.unit, model)
	f.AddFloat("used", "1", used)
	return f
}

// covUnit is the unit of a covariance.
func covUnit(a, b string) string {
	switch {
	case a == "1" || a == "":
		return b
	case b == "1" || b == "":
		return a
	}
	return pipeline.UnitProduct(a, b)
}
