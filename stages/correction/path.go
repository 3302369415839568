package correction

import (
	"context"
	"fmt"

	"fascicle/catalog"
	"fascicle/pipeline"
)

// PathKind divides a curve by the length that the light went through.
var PathKind = pipeline.Kind{
	Name:     "correct.path",
	Revision: 1,
	Doc:      "Divides an absorbance or a turbidity by the length of its cell; decadic stays decadic, napierian napierian.",
	Formula:  "a = A/l, u(a) = u(A)/l",
	Source:   "Beer-Lambert law; names and definitions of attenuation coefficients: IUPAC Gold Book, attenuance and absorption coefficient (from memory)",
	Methods:  "Absorbances were divided by the length of the cell ({path}).",
	Parts:    pipeline.Shift,
	Ports: []pipeline.Port{{
		Name: "curve", Lead: true, Forms: []pipeline.Form{pipeline.Curve},
		Doc:     "what was measured through the cell: a decadic absorbance −log10 T gives a decadic coefficient, −ln T a napierian one; their ratio ln 10 is not applied",
		Columns: []pipeline.Column{{Name: pipeline.AxisColumn, Unit: "*"}, {Name: pipeline.ValueColumn, Unit: "*"}},
	}},
	Outputs: []pipeline.Output{{Name: "per_length", Doc: "the curve for each cm of cell; a pure number comes out in 1/cm", Form: pipeline.Curve, Like: "curve", Shape: pathShape}},
	Figures: []pipeline.Figure{{
		Name: "per_length", Title: "Per length of cell", Minor: true,
		Series: []pipeline.Series{{Output: "per_length", X: pipeline.AxisColumn, Y: pipeline.ValueColumn, Role: pipeline.Points, Label: "per length"}},
	}},
	Settings: func() any { return &pathSettings{} },
	Run:      runPath,
}

type pathSettings struct {
	Path pipeline.Field `set:"path" unit:"mm" above:"0" doc:"length of the cell"`
}

// perLength is the unit of u/l as it is kept inside, and what (number in u)/(length in mm) is multiplied by to come to it.
func perLength(u catalog.Unit) (kept catalog.Unit, factor float64, err error) {
	if u.Dim() == parsed("1/cm").Dim() {
		return kept, 0, fmt.Errorf("the curve is in %s, which is per length already; expected a value that was not yet divided by a length; take this stage out, or feed it the absorbance itself", u.Symbol())
	}
	kept, factor = inside(u.Div(parsed("mm")))
	return kept, factor, nil
}

func pathShape(s pipeline.ShapeCall) ([]pipeline.Column, error) {
	u, known := arriving(s, "curve", pipeline.ValueColumn)
	if !known {
		return []pipeline.Column{{Name: pipeline.ValueColumn, Unit: "*", U: true}}, nil
	}
	kept, _, err := perLength(u)
	if err != nil {
		return nil, err
	}
	return []pipeline.Column{{Name: pipeline.ValueColumn, Unit: kept.Code(), U: true}}, nil
}

func runPath(ctx context.Context, call *pipeline.Call) (pipeline.Choices, error) {
	s := call.Settings.(*pathSettings)
	for i, lead := range call.Leads {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		c, err := readCurve(lead.Table, "the curve")
		if err != nil {
			return nil, err
		}
		kept, factor, err := perLength(parsed(c.value.Unit))
		if err != nil {
			return nil, err
		}
		path := call.Number(s.Path, i).Value
		if !(path > 0) || path-path != 0 {
			return nil, fmt.Errorf("setting `path` is %v mm; a length above 0 is expected; correct the length of the cell in the study or the sheet", path)
		}
		out := copyColumns(lead.Table)
		turn(out, c.value.Name, kept.Code(), 0, factor/path)
		call.Give("per_length", i, out)
	}
	return nil, nil
}
