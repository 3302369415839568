package correction

import (
	"context"
	"fmt"
	"math"

	"fascicle/catalog"
	"fascicle/pipeline"
	"fascicle/pipeline/table"
)

// ScaleKind applies calibrations: a factor to the values, an offset and a scale to the axis.
var ScaleKind = pipeline.Kind{
	Name:     "correct.scale",
	Revision: 1,
	Doc:      "Applies a calibration factor to the values of a curve, a calibrated axis to its axis, or both.",
	Formula:  "y' = offset + factor·y (inverse: y' = (y − offset)/factor), u(y') = |dy'/dy|·u(y); x' = offset + scale·x",
	Source:   "linear calibration, common practice, no source",
	Methods:  "Calibration factors and axes of the instrument were applied (inverse: {inverse}).",
	Parts:    pipeline.Shift,
	Ports: []pipeline.Port{
		{Name: "curve", Lead: true, Forms: []pipeline.Form{pipeline.Curve}, Doc: "the curve to scale",
			Columns: []pipeline.Column{{Name: pipeline.AxisColumn, Unit: "*"}, {Name: pipeline.ValueColumn, Unit: "*"}}},
		{Name: "factor", Optional: true, Pair: pipeline.ByMatch, Forms: []pipeline.Form{pipeline.Values}, Doc: "a calibration of the values; its u enters as a source that all curves share",
			Columns: []pipeline.Column{{Name: "factor", Unit: "*", Doc: "what values are multiplied by"},
				{Name: "offset", Unit: "*", Optional: true, Doc: "what is then added, in the unit of the result"}}},
		{Name: "axis", Optional: true, Pair: pipeline.ByMatch, Forms: []pipeline.Form{pipeline.Values}, Doc: "a calibration of the axis",
			Columns: []pipeline.Column{{Name: "offset", Unit: "=curve.axis", Doc: "what is added to the axis"}, {Name: "scale", Unit: "1", Doc: "what the axis is multiplied by before"}}},
	},
	Outputs: []pipeline.Output{{Name: "corrected", Doc: "the calibrated curve", Form: pipeline.Curve, Like: "curve", Shape: scaledShape}},
	Figures: []pipeline.Figure{{
		Name: "scaled", Title: "Calibrated curve", Minor: true,
		Series: []pipeline.Series{{Output: "corrected", X: pipeline.AxisColumn, Y: pipeline.ValueColumn, Role: pipeline.Points, Label: "calibrated"}},
	}},
	Settings: func() any { return &scaleSettings{} },
	Run:      runScale,
}

type scaleSettings struct {
	Inverse bool `set:"inverse" default:"false" doc:"divide by the factor (after taking its offset off) instead of multiplying; the axis is not concerned"`
}

// scaledUnit is the unit of a scaled value as it is kept inside, and what (value)·(factor), or (value)/(factor), is multiplied by to come to it.
func scaledUnit(value, factor catalog.Unit, inverse bool) (catalog.Unit, float64) {
	if inverse {
		return inside(value.Div(factor))
	}
	return inside(value.Mul(factor))
}

func scaledShape(s pipeline.ShapeCall) ([]pipeline.Column, error) {
	_, factor := s.Ports["factor"]
	_, axis := s.Ports["axis"]
	if !factor && !axis {
		return nil, fmt.Errorf("neither port `factor` nor port `axis` is fed; there is nothing to apply; feed one, or take the stage out")
	}
	if !factor {
		return nil, nil
	}
	v, known := arriving(s, "curve", pipeline.ValueColumn)
	f, knownFactor := arriving(s, "factor", "factor")
	if !known || !knownFactor {
		return []pipeline.Column{{Name: pipeline.ValueColumn, Unit: "*", U: true}}, nil
	}
	kept, _ := scaledUnit(v, f, s.Settings.(*scaleSettings).Inverse)
	return []pipeline.Column{{Name: pipeline.ValueColumn, Unit: kept.Code(), U: true}}, nil
}

func runScale(ctx context.Context, call *pipeline.Call) (pipeline.Choices, error) {
	s := call.Settings.(*scaleSettings)
	for i, lead := range call.Leads {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		c, err := readCurve(lead.Table, "the curve")
		if err != nil {
			return nil, err
		}
		out := copyColumns(lead.Table)
		if f := call.Partner("factor", i); f != nil {
			if err := scaleValues(out, &c, f.Table, s.Inverse); err != nil {
				return nil, err
			}
		}
		if a := call.Partner("axis", i); a != nil {
			if err := scaleAxis(out, &c, a.Table); err != nil {
				return nil, err
			}
		}
		call.Give("corrected", i, out)
	}
	return nil, nil
}

// scaleValues applies a factor, and its offset if it has one, to the value and what accompanies it.
func scaleValues(out *table.Table, c *curve, calibration *table.Table, inverse bool) error {
	f, unit, err := number(calibration, "factor", "factor")
	if err != nil {
		return err
	}
	if f == 0 {
		return fmt.Errorf("the calibration at port `factor` has factor 0; expected another number; look at the standard that it comes from")
	}
	kept, toInside := scaledUnit(parsed(c.value.Unit), parsed(unit), inverse)
	offset := 0.0
	if calibration.Col("offset") != nil {
		var offsetUnit string
		if offset, offsetUnit, err = number(calibration, "factor", "offset"); err != nil {
			return err
		}
		want := kept.Code() // of y' = offset + factor·y
		if inverse {
			want = c.value.Unit // y = offset + factor·y', so of what was measured
		}
		if offsetUnit != want {
			return fmt.Errorf("the calibration at port `factor` has its offset %s where the curve asks for one %s; calibrate with curves of the same quantity", inUnit(offsetUnit), inUnit(want))
		}
	}
	if inverse {
		turn(out, c.value.Name, kept.Code(), -offset/f*toInside, toInside/f)
	} else {
		turn(out, c.value.Name, kept.Code(), offset, f*toInside)
	}
	return nil
}

// scaleAxis applies offset and scale to the axis. The scale must be positive, so that the points keep their order.
func scaleAxis(out *table.Table, c *curve, calibration *table.Table) error {
	offset, unit, err := number(calibration, "axis", "offset")
	if err != nil {
		return err
	}
	scale, scaleUnit, err := number(calibration, "axis", "scale")
	if err != nil {
		return err
	}
	if unit != c.axis.Unit {
		return fmt.Errorf("the calibration at port `axis` has its offset %s, the axis %s of the curve is %s: they do not go together; feed a calibration of this axis", inUnit(unit), c.axis.Name, inUnit(c.axis.Unit))
	}
	if scaleUnit != "1" {
		return fmt.Errorf("the calibration at port `axis` has its scale in %s; a pure number is expected", scaleUnit)
	}
	if !(scale > 0) {
		return fmt.Errorf("the calibration at port `axis` has scale %v, which would turn the axis round; a number above 0 is expected; look at the standard that it comes from", scale)
	}
	turn(out, c.axis.Name, c.axis.Unit, offset, scale)
	x := out.Col(c.axis.Name).Floats
	for i := 1; i < len(x); i++ {
		if x[i] == x[i-1] && c.axis.Floats[i] != c.axis.Floats[i-1] {
			return fmt.Errorf("the calibration at port `axis` (offset %v, scale %v) makes the points %d and %d of the axis one; look at the standard that it comes from", offset, scale, i, i+1)
		}
	}
	return nil
}

// number takes a number out of a calibration's one row.
func number(t *table.Table, port, name string) (x float64, unit string, err error) {
	c := t.Col(name)
	if c == nil || c.Type != table.Float {
		return 0, "", fmt.Errorf("the calibration at port `%s` has no number `%s`; its columns are %v", port, name, t.Names())
	}
	if c.Len() == 0 || c.IsNull(0) {
		return 0, "", fmt.Errorf("the calibration at port `%s` has no value for `%s`; look at the item that it comes from", port, name)
	}
	if x = c.Floats[0]; math.IsNaN(x) || math.IsInf(x, 0) {
		return 0, "", fmt.Errorf("the calibration at port `%s` has %s = %v; a finite number is expected", port, name, x)
	}
	return x, c.Unit, nil
}
