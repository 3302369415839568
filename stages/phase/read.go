package phase

import (
	"fmt"
	"math"
	"strings"

	"fascicle/pipeline"
	"fascicle/pipeline/table"
)

// reading is a number at the wavelength that was asked for, with its own standard uncertainty (NaN: not known).
type reading struct {
	y, u float64
}

// Words of the setting `signal`.
const (
	signalByName      = "by name"
	signalTransmitted = "transmittance"
	signalAbsorbed    = "absorbance"
)

// readTransmittance takes a transmittance (a fraction) out of an item: its one column that is named as one, or the value of a curve over the
// wavelength (NaN: none is set). An absorbance is turned into one, T = 10^−A, u(T) = ln 10·T·u(A). signal says which of both the number is.
// y is NaN where the item has none there.
func readTransmittance(t *table.Table, wavelength float64, signal string) (reading, error) {
	axis, value := pipeline.CurveColumns(t)
	if axis == nil {
		return reading{}, fmt.Errorf("the item has no numbers; expected a column transmittance, or a curve over the wavelength")
	}
	var r reading
	var err error
	if value != nil && axis.Unit == "nm" {
		if math.IsNaN(wavelength) {
			return r, fmt.Errorf("the item is a curve over the wavelength; expected the setting `wavelength` to say where it is read")
		}
		if r, err = readAt(t, axis, value, wavelength); err != nil {
			return r, err
		}
	} else {
		if value = signalColumn(t, signal); value == nil || t.Len() != 1 {
			return r, fmt.Errorf("the item has the columns %s; expected one row with a column transmittance or absorbance, or a curve over the wavelength in nm", strings.Join(t.Names(), ", "))
		}
		r = reading{pipeline.WithNaN(value)[0], ownAt(t, value.Name, 0)}
	}
	if signal == signalByName {
		if signal = signalOf(value.Name, value.Unit); signal == "" {
			return r, fmt.Errorf("whether %s is a transmittance or an absorbance is not clear from its name; say so by `signal: transmittance` or `signal: absorbance`", value.Name)
		}
	}
	switch {
	case signal == signalAbsorbed && value.Unit != "1" && value.Unit != "":
		return r, fmt.Errorf("%s is in %s; expected an absorbance without a unit: give the unit under `columns` of the import, such as `absorbance: \"2 [1]\"`", value.Name, value.Unit)
	case signal == signalAbsorbed:
		r.y = math.Pow(10, -r.y)
		r.u *= math.Ln10 * r.y
	case value.Unit == "%":
		r.y, r.u = r.y/100, r.u/100
	case value.Unit != "1" && value.Unit != "":
		return r, fmt.Errorf("%s is in %s; expected a fraction or %%: give the unit under `columns` of the import, such as `transmittance: \"1 [%%]\"`", value.Name, value.Unit)
	}
	return r, nil
}

// signalOf tells what a column holds by its name, and where that says nothing by its unit; "": neither tells. Common practice, no source.
func signalOf(name, unit string) string {
	name = strings.ToLower(name)
	for _, p := range [...]string{"abs", "extinc", "optical"} {
		if strings.HasPrefix(name, p) {
			return signalAbsorbed
		}
	}
	od := strings.TrimRight(name, "0123456789_")
	switch {
	case od == "a" || od == "od":
		return signalAbsorbed
	case od == "t" || od == "%t" || od == "t%" || strings.HasPrefix(name, "trans"), unit == "%":
		return signalTransmitted
	}
	return ""
}

// signalColumn finds the one column of numbers of a row that is named as the signal; nil: none is, or several are.
func signalColumn(t *table.Table, signal string) (found *table.Column) {
	if c := t.Col("transmittance"); c != nil && c.Type == table.Float && signal != signalAbsorbed {
		return c
	}
	for i := range t.Columns {
		c := &t.Columns[i]
		if s := signalOf(c.Name, ""); c.Type != table.Float || s == "" || signal != signalByName && s != signal {
			continue
		}
		if found != nil {
			return nil
		}
		found = c
	}
	return found
}

// readAt reads a curve at a wavelength, on the straight line between the two points around it; u as far as both points' noise goes.
func readAt(t *table.Table, axis, value *table.Column, wavelength float64) (reading, error) {
	x, y := pipeline.WithNaN(axis), pipeline.WithNaN(value)
	lo, hi := -1, -1
	for i, v := range x {
		switch {
		case math.IsNaN(v) || math.IsNaN(y[i]):
		case v <= wavelength && (lo < 0 || v > x[lo]):
			lo = i
		case v > wavelength && (hi < 0 || v < x[hi]):
			hi = i
		}
	}
	if lo >= 0 && wavelength-x[lo] <= 1e-9*wavelength {
		return reading{y[lo], ownAt(t, value.Name, lo)}, nil
	}
	if lo < 0 || hi < 0 {
		least, most := math.Inf(1), math.Inf(-1)
		for i, v := range x {
			if !math.IsNaN(y[i]) {
				least, most = math.Min(least, v), math.Max(most, v)
			}
		}
		if least > most {
			return reading{math.NaN(), math.NaN()}, nil
		}
		return reading{}, fmt.Errorf("the curve goes from %.5g to %.5g nm; expected it to reach %g nm: correct `wavelength`, or measure further", least, most, wavelength)
	}
	p := (wavelength - x[lo]) / (x[hi] - x[lo])
	return reading{(1-p)*y[lo] + p*y[hi], math.Hypot((1-p)*ownAt(t, value.Name, lo), p*ownAt(t, value.Name, hi))}, nil
}

// ownAt gives the own standard uncertainty of a column's entry, NaN where it is not known.
func ownAt(t *table.Table, name string, i int) float64 {
	u := t.Col("u_" + name)
	if u == nil || u.Type != table.Float || u.IsNull(i) {
		return math.NaN()
	}
	return u.Floats[i]
}

// addNumbers adds a column of numbers that may be bounds, with what accompanies it. nu is their degrees of freedom, 0 where they are infinite.
func addNumbers(t *table.Table, name, unit string, nu int, numbers ...Number) {
	n := len(numbers)
	x, u, lo, hi, dof := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	words, known, bounded, free := make([]string, n), make([]bool, n), false, false
	for i, v := range numbers {
		x[i], u[i], lo[i], hi[i] = v.X, v.U, v.Lo, v.Hi
		words[i] = v.Bound.String()
		known[i] = words[i] != ""
		bounded = bounded || known[i]
		dof[i] = math.NaN()
		if nu > 0 && v.Bound == Measured && v.U > 0 {
			dof[i], free = float64(nu), true
		}
	}
	pipeline.AddWithNaN(t, name, unit, x)
	pipeline.AddWithNaN(t, "u_"+name, unit, u)
	if free {
		pipeline.AddWithNaN(t, "nu_"+name, "1", dof)
	}
	if bounded {
		c := t.AddText(name+"_bound", words)
		c.Valid = known
		pipeline.AddWithNaN(t, name+"_lo", unit, lo)
		pipeline.AddWithNaN(t, name+"_hi", unit, hi)
	}
}
