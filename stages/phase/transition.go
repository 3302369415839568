package phase

import (
	"fascicle/catalog"
	"fascicle/pipeline"
	"fascicle/pipeline/formula"
)

// TransitionKind finds the edges of turbid windows along a series.
var TransitionKind = pipeline.Kind{
	Name:     "phase.transition",
	Revision: 2,
	Doc:      "Finds where a series of samples turns turbid along a field, and where it clears again.",
	Formula:  "T(x) = L0 + Σ (L_j − L_{j−1})/(1 + exp(−(z − m_j)/s_j)), z = x or ln x; an edge lies at m_j, its width from 10 to 90 % is 2·ln 9·s_j; number of edges and gradual or sharp by χ² + p·ln n (u known) or n·ln(χ²/n) + 2q + 2q(q+1)/(n−q−1); turbidity = −ln T/path; T = 10^−A of an absorbance",
	Source:   "logistic steps: common practice, no source; Schwarz, Ann. Stat. 6 (1978) 461; Hurvich and Tsai, Biometrika 76 (1989) 297; limits by profile likelihood: Venzon and Moolgavkar, Appl. Stat. 37 (1988) 87 (all from memory)",
	Methods:  "Edges of turbid windows are the middles of logistic steps of the transmittance along {axis} (wavelength {wavelength}, signal {signal}, scale {scale}, number of edges: {model}); a step steeper than the distance of two samples is given as the interval in which it lies.",
	By:       "list",
	Parts:    pipeline.Shift,
	Ports: []pipeline.Port{
		{Name: "transmittance", Lead: true, Forms: []pipeline.Form{pipeline.Values, pipeline.Curve},
			Doc:     "the samples of the series: each a transmittance or absorbance (a column so named), or a curve of it over the wavelength",
			Columns: []pipeline.Column{{Name: "transmittance", Unit: "1", Optional: true}}},
		{Name: "control", Optional: true, Many: true, Pair: pipeline.ByMatch, Forms: []pipeline.Form{pipeline.Curve},
			Doc:     "absorbances of the components alone, which should not absorb at the wavelength",
			Columns: []pipeline.Column{{Name: pipeline.AxisColumn, Unit: "nm"}, {Name: pipeline.ValueColumn, Unit: "1"}}},
	},
	Outputs: []pipeline.Output{
		{Name: "edges", Doc: "the window of each series: of several, the one that is seen best", Per: pipeline.PerGroup, Form: pipeline.Values,
			Columns: []pipeline.Column{
				{Name: "number", Unit: "1", Doc: "number of edges"},
				{Name: "windows", Unit: "1", Doc: "number of turbid stretches"},
				{Name: "opens", Unit: "*", U: true, Optional: true, Doc: "where the series turns turbid"},
				{Name: "closes", Unit: "*", U: true, Optional: true, Doc: "where it clears"},
				{Name: "middle", Unit: "*", U: true, Optional: true, Doc: "half-way between, on a logarithmic axis in the logarithm"},
				{Name: "width", Unit: "*", U: true, Optional: true, Doc: "closes − opens"},
				{Name: "direction", Text: true, Optional: true, Doc: "heating or cooling, where the study says"},
			}, Shape: alongAxis("opens", "closes", "middle", "width")},
		{Name: "steps", Doc: "all edges, a row each", Per: pipeline.PerGroup, Form: pipeline.TableForm,
			Columns: []pipeline.Column{
				{Name: "change", Text: true, Doc: "turns turbid, or clears"},
				{Name: "at", Unit: "*", U: true, Optional: true, Doc: "where half of the change is done"},
				{Name: "width", Unit: "*", U: true, Optional: true, Doc: "from a tenth to nine tenths of the change"},
				{Name: "before", Unit: "1", U: true, Doc: "transmittance before"},
				{Name: "after", Unit: "1", U: true, Doc: "transmittance behind"},
			}, Shape: alongAxis("at", "width")},
		{Name: "fit", Doc: "the series and its steps, for the figure", Per: pipeline.PerGroup, Form: pipeline.Curve,
			Columns: []pipeline.Column{
				{Name: "x", Unit: "*", Doc: "place along the axis"},
				{Name: "transmittance", Unit: "1", U: true, Optional: true, Doc: "as measured"},
				{Name: "model", Unit: "1", Optional: true, Doc: "the steps; none within a sharp one"},
				{Name: "residual", Unit: "1", Optional: true, Doc: "(measured − model)/u"},
				{Name: "turbidity", Unit: "1/cm", U: true, Optional: true, Doc: "−ln T/path, where the path is given"},
			}, Shape: alongAxis("x")},
	},
	Figures: []pipeline.Figure{{
		Name: "edges", Title: "Edges of the window",
		X: pipeline.Axis{Label: "{axis}", Scale: pipeline.Linear},
		Y: pipeline.Axis{Label: "transmittance", Scale: pipeline.Linear},
		Series: []pipeline.Series{
			{Output: "fit", X: "x", Y: "transmittance", Role: pipeline.Points, Label: "measured"},
			{Output: "fit", X: "x", Y: "model", Role: pipeline.Line, Label: "steps"},
		},
		Residual: &pipeline.Series{Output: "fit", X: "x", Y: "residual", Role: pipeline.Points, Label: "residual / u"},
		Marks:    []pipeline.Mark{{Output: "edges", At: "opens", To: "closes", Label: "window"}},
	}},
	Settings: func() any { return &transitionSettings{} },
	Run:      runTransition,
}

type transitionSettings struct {
	Axis       pipeline.Field    `set:"axis" unit:"*" doc:"what the series runs along"`
	Scale      string            `set:"scale" oneof:"linear|log" default:"linear" doc:"how the axis runs"`
	Wavelength pipeline.Quantity `set:"wavelength" unit:"nm" words:"none" default:"none" above:"0" doc:"wavelength of the transmittance; curves are read there, controls looked at; none: the items are values, whose wavelength is not told"`
	Signal     string            `set:"signal" oneof:"by name|transmittance|absorbance" default:"by name" doc:"what the items hold; by name: transmittance, T or what is in % is a transmittance, A, OD, absorbance, extinction or optical density an absorbance, another name is refused, and so is a series that lies near 0 and rises between, as absorbances do"`
	Direction  pipeline.Field    `set:"direction" unit:"text" words:"none" default:"none" literal:"yes" doc:"heating or cooling, or another word that all of a series must share"`
	Model      string            `set:"model" oneof:"evidence|one edge|window" default:"evidence" doc:"number of edges: as many as the series shows, one, or two"`
	Path       pipeline.Field    `set:"path" unit:"mm" words:"none" default:"none" above:"0" doc:"length of the cell, for the turbidity"`
	Contrast   pipeline.Quantity `set:"contrast" unit:"1" default:"10 %" above:"0" below:"1" doc:"least change of the transmittance that is an edge"`
	Clear      pipeline.Quantity `set:"clear" unit:"1" default:"90 %" above:"0" max:"1" doc:"transmittance from which on a series without any edge is clear"`
}

// alongAxis gives columns the unit of what the series runs along.
func alongAxis(names ...string) func(pipeline.ShapeCall) ([]pipeline.Column, error) {
	return func(call pipeline.ShapeCall) ([]pipeline.Column, error) {
		unit := "*"
		if t, ok := call.Settings.(*transitionSettings).Axis.Type(); ok && t.Sort == formula.Number {
			unit = catalog.Canonical(t.Unit.Dim(), false).Code()
		}
		var out []pipeline.Column
		for _, n := range names {
			out = append(out, pipeline.Column{Name: n, Unit: unit, U: n != "x", Optional: n != "x"})
		}
		return out, nil
	}
}
