package relation

import (
	"context"

	"fascicle/catalog"
	"fascicle/pipeline"
)

// FitKind fits a line, or two lines that meet, through the numbers of several samples.
var FitKind = pipeline.Kind{
	Name:     "relation.fit",
	Revision: 5,
	Doc:      "Fits a line, or two lines that meet at a break, through one number over another, both with their uncertainties and what they share.",
	Formula: "line: least rᵀS⁻¹r, r = y − intercept − slope·x, S = Vyy − b(Vxy + Vyx) + b²Vxx, b = slope, V of what each point has to itself, since shared factors in the weights pull a slope below the data; breakpoint: y = level + before·(x − at) below at, level + after·(x − at) above, " +
		"S with each side's slope; u from (AᵀS⁻¹A)⁻¹ at the adjusted points and from what the points share, of a break not less than draws about the fit show; χ²: least by the whole covariance, a shared factor's parts taken at the fit; p: line: χ² of a constant less χ² of the line, with the slope's whole u; breakpoint: as much gain over a line in draws about the line",
	Source: "errors in x and y: York et al., Am. J. Phys. 72 (2004) 367, eqs. 13; whole covariance: JCGM 100:2008, 5.2.2, and Aitken, Proc. R. Soc. Edinb. 55 (1936) 42; shared factors: D'Agostini, Nucl. Instrum. Methods A 346 (1994) 306; two lines that meet: Hudson, J. Am. Stat. Assoc. 61 (1966) 1097; " +
		"draws: Davison and Hinkley, Bootstrap Methods (Cambridge, 1997), 4.2; parabola or break: Schwarz, Ann. Stat. 6 (1978) 461; ratio: Birge, Phys. Rev. 40 (1932) 207 (all from memory)",
	Methods: "{y} over {x} was fitted by least squares with the uncertainties of both as weights, and what the points share in the uncertainties of the fit (model: {model}); a break was claimed where a straight line gives as much evidence for one in less than 5 % of {draws} draws.",
	Parts:   pipeline.Reads,
	By:      "list",
	Names:   true,
	Ports: []pipeline.Port{{
		Name: "point", Lead: true, Gather: true, Forms: []pipeline.Form{pipeline.Values}, Doc: "the numbers, each a point",
	}},
	Outputs: []pipeline.Output{
		{Name: "fit", Doc: "the line, or the two lines", Per: pipeline.PerGroup, Form: pipeline.Values,
			Columns: fitColumns("*", "*", "*"), Shape: shaped(fitColumns)},
		{Name: "band", Doc: "the model along x, with where it lies at 95 %", Per: pipeline.PerGroup, Form: pipeline.Curve,
			Columns: bandColumns("*", "*", "*"), Shape: shaped(bandColumns)},
		{Name: "residuals", Doc: "the points", Per: pipeline.PerGroup, Form: pipeline.TableForm,
			Columns: residualColumns("*", "*", "*"), Shape: shaped(residualColumns)},
	},
	Figures: []pipeline.Figure{{
		Name: "fit", Title: "Points and fit",
		Series: []pipeline.Series{
			{Output: "residuals", X: "x", Y: "y", Role: pipeline.Points, Label: "points", Used: "used"},
			{Output: "band", X: "x", Y: "model", Role: pipeline.Line, Label: "fit"},
			{Output: "band", X: "x", Y: "lower", Role: pipeline.Line, Label: "95 %, lower"},
			{Output: "band", X: "x", Y: "upper", Role: pipeline.Line, Label: "95 %, upper"},
		},
		Residual: &pipeline.Series{Output: "residuals", X: "x", Y: "residual", Role: pipeline.Points, Label: "residual / u"},
		Marks:    []pipeline.Mark{{Output: "fit", At: "at", Label: "break"}},
	}},
	Settings: func() any { return &fitSettings{} },
	Run:      runFit,
}

type fitSettings struct {
	X       pipeline.ColumnName `set:"x" unit:"*" doc:"what the line runs along: a number, a field, or an expression of both"`
	Y       pipeline.ColumnName `set:"y" unit:"*" doc:"what is fitted: a number, or an expression over numbers and fields"`
	Model   string              `set:"model" oneof:"line|breakpoint" default:"line" doc:"line: a straight line; breakpoint: two lines that meet, if there is evidence for it, and else a line"`
	Control pipeline.ColumnName `set:"control" unit:"*" words:"none" default:"none" doc:"a number of the same point that is taken off y, such as the same quantity of a sample without what is looked at; what both share goes out"`
	Draws   pipeline.Quantity   `set:"draws" unit:"1" whole:"yes" min:"100" max:"1000000" default:"1000" doc:"draws for the evidence of a break and for its interval"`
}

// fitUnits are the units of x and y where they are known before the items are, else "*".
func fitUnits(c pipeline.ShapeCall) (x, y, slope string) {
	s := c.Settings.(*fitSettings)
	x, y, slope = columnUnit(c, s.X), columnUnit(c, s.Y), "*"
	if x != "*" && y != "*" {
		slope = unitQuotient(y, x)
	}
	return x, y, slope
}

// columnUnit is the unit of what a setting names at the port `point`, "*" where it is not known or not the same for all.
func columnUnit(c pipeline.ShapeCall, n pipeline.ColumnName) string {
	if t, ok := n.Type(); ok {
		return t.Unit.Code()
	}
	unit := ""
	for _, a := range c.Ports["point"] {
		u := ""
		for _, col := range a.Columns {
			if (col.Name == n.Name || a.Stage+"."+col.Name == n.Name) && !col.Any {
				u = col.Unit.Code()
			}
		}
		if u == "" || unit != "" && u != unit {
			return "*"
		}
		unit = u
	}
	if unit == "" {
		return "*"
	}
	return unit
}

// unitQuotient is the unit of a quotient, from UCUM codes.
func unitQuotient(a, b string) string {
	x, errA := catalog.ParseUnit(a)
	y, errB := catalog.ParseUnit(b)
	if errA != nil || errB != nil {
		panic("relation: no units: " + a + ", " + b)
	}
	return x.Div(y).Code()
}

// shaped gives columns their units once they are known.
func shaped(columns func(x, y, slope string) []pipeline.Column) func(pipeline.ShapeCall) ([]pipeline.Column, error) {
	return func(c pipeline.ShapeCall) ([]pipeline.Column, error) { return columns(fitUnits(c)), nil }
}

func fitColumns(x, y, slope string) []pipeline.Column {
	return []pipeline.Column{
		{Name: "slope", Unit: slope, U: true, Optional: true, Doc: "slope of the line; none where a break is claimed"},
		{Name: "intercept", Unit: y, U: true, Optional: true, Doc: "y of the line at x = 0"},
		{Name: "at", Unit: x, U: true, Optional: true, Doc: "place of the break, none where none is claimed, with at_lo and at_hi, which hold it with 95 % (none where the points do not bound it); " +
			"a limit where it may lie before the second or behind the last but one x"},
		{Name: "before", Unit: slope, U: true, Optional: true, Doc: "slope below the break"},
		{Name: "after", Unit: slope, U: true, Optional: true, Doc: "slope above the break"},
		{Name: "level", Unit: y, U: true, Optional: true, Doc: "y at the break"},
		{Name: "p", Unit: "1", Optional: true, Doc: "probability of as much evidence by chance, if there were no slope (line) or no break (breakpoint: at least 1/(draws + 1))"},
		{Name: "points", Unit: "1", Doc: "points in the fit"},
		{Name: "chi2_nu", Unit: "1", Optional: true, Doc: "χ²/ν of the points about the fit"},
		{Name: "chi2_p", Unit: "1", Optional: true, Doc: "probability of a greater χ², if the uncertainties and the model are right"},
		{Name: "birge", Unit: "1", Optional: true, Doc: "√(χ²/ν): above 1 where the points scatter more than their uncertainties say"},
	}
}

func bandColumns(x, y, _ string) []pipeline.Column {
	return []pipeline.Column{
		{Name: "x", Unit: x, Doc: "along the line"},
		{Name: "model", Unit: y, U: true, Doc: "y of the fit"},
		{Name: "lower", Unit: y, Optional: true, Doc: "lower end of where it lies with 95 %, at each x by itself"},
		{Name: "upper", Unit: y, Optional: true, Doc: "upper end"},
	}
}

func residualColumns(x, y, _ string) []pipeline.Column {
	return []pipeline.Column{
		{Name: "item", Text: true, Doc: "name of the point"},
		{Name: "x", Unit: x, U: true, Optional: true, Doc: "as given"},
		{Name: "y", Unit: y, U: true, Optional: true, Doc: "as given, less the control"},
		{Name: "residual", Unit: "1", Optional: true, Doc: "(y − fit)/u, with what the point's own coordinates have of u, shared parts left out; where it is not known, the points' scatter"},
		{Name: "used", Unit: "1", Doc: "1: in the fit"},
		{Name: "remark", Text: true, Doc: "why not"},
	}
}

func runFit(ctx context.Context, call *pipeline.Call) (pipeline.Choices, error) {
	r := &fitRun{call: call, s: call.Settings.(*fitSettings)}
	if err := r.read(); err != nil {
		return nil, err
	}
	if err := r.line(); err != nil {
		return nil, err
	}
	if r.s.Model == "breakpoint" {
		if err := r.broken(ctx); err != nil {
			return nil, err
		}
	}
	r.remark()
	r.give()
	return nil, nil
}
