package correction

import (
	"context"
	"errors"
	"fmt"

	"fascicle/pipeline"
	"fascicle/pipeline/table"
)

// SubtractKind takes a solvent's, a dark or an empty curve off another.
var SubtractKind = pipeline.Kind{
	Name:     "correct.subtract",
	Revision: 1,
	Doc:      "Takes a background (solvent, dark, empty) off a curve, interpolated with its noise where the axes differ.",
	Formula:  "y = y_curve − s·y_background, u² = u_curve² + s²·u_background²",
	Source:   "linear interpolation; JCGM 100:2008, 5.1.2",
	Methods:  "The background, scaled by {scale}, was subtracted point by point (range {range}).",
	Parts:    pipeline.Shift,
	Ports: []pipeline.Port{
		{Name: "curve", Lead: true, Forms: []pipeline.Form{pipeline.Curve}, Doc: "the curve to correct",
			Columns: []pipeline.Column{{Name: pipeline.AxisColumn, Unit: "*"}, {Name: pipeline.ValueColumn, Unit: "*"}}},
		{Name: "background", Pair: pipeline.ByMatch, Forms: []pipeline.Form{pipeline.Curve}, Doc: "what is taken off: solvent, dark or empty measurement",
			Columns: []pipeline.Column{{Name: pipeline.AxisColumn, Unit: "=curve.axis"}, {Name: pipeline.ValueColumn, Unit: "=curve"}}},
		{Name: "factor", Pair: pipeline.ByOnly, Optional: true, Forms: []pipeline.Form{pipeline.Values}, Doc: "a further factor on the background, from a calibration",
			Columns: []pipeline.Column{{Name: "factor", Unit: "1"}}},
	},
	Outputs: []pipeline.Output{{Name: "corrected", Doc: "the curve less its background", Form: pipeline.Curve, Like: "curve"}},
	Figures: []pipeline.Figure{{
		Name: "curves", Title: "Curve and background", Minor: true,
		Series: []pipeline.Series{
			{Port: "curve", X: pipeline.AxisColumn, Y: pipeline.ValueColumn, Role: pipeline.Line, Label: "measured"},
			{Port: "background", X: pipeline.AxisColumn, Y: pipeline.ValueColumn, Role: pipeline.Line, Label: "background, unscaled"},
			{Output: "corrected", X: pipeline.AxisColumn, Y: pipeline.ValueColumn, Role: pipeline.Points, Label: "difference"},
		},
	}},
	Settings: func() any { return &subtractSettings{} },
	Run:      runSubtract,
}

type subtractSettings struct {
	Scale pipeline.Field `set:"scale" unit:"1" default:"1" above:"0" doc:"factor on the background"`
	Range pipeline.Range `set:"range" unit:"*" words:"all" default:"all" doc:"part of the axis to keep"`
}

func runSubtract(ctx context.Context, call *pipeline.Call) (pipeline.Choices, error) {
	s := call.Settings.(*subtractSettings)
	for i, lead := range call.Leads {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		scale := call.Number(s.Scale, i).Value
		if f := call.Partner("factor", i); f != nil {
			c := f.Table.Col("factor")
			if c.IsNull(0) {
				return nil, fmt.Errorf("the calibration factor at port `factor` has no value")
			}
			scale *= c.Floats[0]
		}
		t, err := subtractTables(call, i, lead.Table, call.Partner("background", i).Table, scale, s.Range)
		if err != nil {
			return nil, err
		}
		call.Give("corrected", i, t)
	}
	return nil, nil
}

// subtractTables adapts Subtract to tables. Of the curve it keeps axis and value (with u) alone: what else the file held is not corrected.
func subtractTables(call *pipeline.Call, lead int, curve, background *table.Table, scale float64, keep pipeline.Range) (*table.Table, error) {
	x, y := pipeline.CurveColumns(curve)
	bx, by := pipeline.CurveColumns(background)
	if x == nil || y == nil || bx == nil || by == nil {
		return nil, fmt.Errorf("curve and background need an axis and a value each")
	}
	if x.Unit != bx.Unit || y.Unit != by.Unit {
		return nil, fmt.Errorf("the curve is in %s over %s, its background in %s over %s: they cannot be subtracted", y.Unit, x.Unit, by.Unit, bx.Unit)
	}
	if keep.Word == "" && keep.Unit != x.Unit {
		return nil, fmt.Errorf("setting `range` is in %s, the axis of the curve in %s", keep.Unit, x.Unit)
	}
	u, bu := curve.Col("u_"+y.Name), background.Col("u_"+by.Name)
	r, err := Subtract(x.Floats, pipeline.WithNaN(y), withNaN(u), bx.Floats, pipeline.WithNaN(by), withNaN(bu), scale)
	if errors.Is(err, ErrNoOverlap) {
		return nil, fmt.Errorf("%w: the curve goes from %s %s, the background from %s; measure both over one range, or correct the unit of an axis",
			ErrNoOverlap, span(x.Floats), x.Unit, span(bx.Floats))
	}
	if err != nil {
		return nil, err
	}
	first, last := r.First, r.Last
	for first <= last && !keep.Contains(x.Floats[first]) {
		first++
	}
	for last >= first && !keep.Contains(x.Floats[last]) {
		last--
	}
	if last < first {
		return nil, fmt.Errorf("no point of the curve is left: it and its background have numbers in common from %g to %g %s at most", r.Coverage[0], r.Coverage[1], x.Unit)
	}
	if r.Outside > 0 {
		call.Flag(pipeline.Flagged, "corrected", lead, "%d points beyond the background's range (%.4g to %.4g %s) are left out", r.Outside, r.Coverage[0], r.Coverage[1], x.Unit)
	}
	if r.U == nil {
		call.Flag(pipeline.Note, "corrected", lead, "the uncertainty of curve or background is unknown, and so is the difference's")
	}
	if r.Between > 0 {
		call.Flag(pipeline.Note, "corrected", lead, "the background was interpolated at %d points; the noise that neighbours share by it is neglected", r.Between)
	}
	t := &table.Table{}
	t.AddFloat(x.Name, x.Unit, x.Floats[first:last+1])
	pipeline.AddWithNaN(t, y.Name, y.Unit, r.Y[first:last+1])
	if r.U != nil {
		pipeline.AddWithNaN(t, "u_"+y.Name, y.Unit, r.U[first:last+1])
	}
	return t, nil
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
