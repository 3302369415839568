package correction

import (
	"context"

	"fascicle/pipeline"
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
	choices := make([]differenceChoices, len(call.Leads))
	earlier, _ := call.Choices.([]differenceChoices)
	for i, lead := range call.Leads {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		d := difference{call: call, lead: i, scale: call.Number(s.Scale, i).Value, keep: s.Range, what: "the curve", off: "the background"}
		var err error
		if f := call.Partner("factor", i); f != nil {
			factor, _, err := number(f.Table, "factor", "factor")
			if err != nil {
				return nil, err
			}
			d.scale *= factor
		}
		if d.curve, err = readCurve(lead.Table, d.what); err != nil {
			return nil, err
		}
		if d.other, err = readCurve(call.Partner("background", i).Table, d.off); err != nil {
			return nil, err
		}
		if earlier != nil {
			d.earlier = &earlier[i]
		}
		if choices[i], err = d.run(lead.Table); err != nil {
			return nil, err
		}
	}
	return choices, nil
}
