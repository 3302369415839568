package scattering

import (
	"context"
	"fmt"
	"math"

	"fascicle/pipeline"
	"fascicle/pipeline/table"
)

// GuinierKind gives radius of gyration and forward scattering from the lowest angles.
var GuinierKind = pipeline.Kind{
	Name:     "scattering.guinier",
	Revision: 1,
	Doc:      "Gives the radius of gyration and the forward scattering from the lowest angles (Guinier's law).",
	Formula:  "ln I = ln I0 − Rg²·q²/3 (+ C·q⁴), weighted by (I/u)²",
	Source:   "Guinier, Ann. Phys. (Paris) 12 (1939) 161; limits on q·Rg: Guinier and Fournet (1955); Trewhella et al., Acta Cryst. D 73 (2017) 710 (all from memory)",
	Methods:  "Radii of gyration and forward scattering are from weighted fits of ln I against q² (shape {shape}, order {order}, range {range}).",
	Parts:    pipeline.Shift,
	Ports: []pipeline.Port{{
		Name: "curve", Lead: true, Forms: []pipeline.Form{pipeline.Curve}, Doc: "intensity over the scattering vector, the solvent's already taken off",
		Columns: []pipeline.Column{{Name: pipeline.AxisColumn, Unit: "1/nm"}, {Name: pipeline.ValueColumn, Unit: "*"}},
	}},
	Outputs: []pipeline.Output{
		{Name: "plateaus", Doc: "radius and forward scattering", Form: pipeline.Values, Columns: []pipeline.Column{
			{Name: "Rg_i", Unit: "nm", U: true, Doc: "radius of gyration"},
			{Name: "I0_i", Unit: "=curve", U: true, Doc: "intensity at q = 0"},
			{Name: "q_first", Unit: "1/nm", Doc: "first scattering vector of the range"},
			{Name: "q_last", Unit: "1/nm", Doc: "last scattering vector of the range"},
			{Name: "qRg_last", Unit: "1", Doc: "q·Rg at the end of the range"},
			{Name: "points", Unit: "1", Doc: "points in the fit"},
			{Name: "chi2_nu", Unit: "1", Doc: "χ²/ν of the fit"},
		}},
		{Name: "fit", Doc: "curve and line, for the figure", Form: pipeline.Curve, Columns: []pipeline.Column{
			{Name: "q", Unit: "1/nm", Doc: "scattering vector"},
			{Name: "I", Unit: "=curve", U: true, Doc: "intensity"},
			{Name: "model", Unit: "=curve", Doc: "the fitted line"},
			{Name: "residual", Unit: "1", Doc: "(ln I − line)/u(ln I)"},
			{Name: "used", Unit: "1", Doc: "1 where the fit used the point"},
		}},
	},
	Figures: []pipeline.Figure{{
		Name: "fit", Title: "Guinier fit",
		X: pipeline.Axis{Label: "scattering vector q", Scale: pipeline.Square},
		Y: pipeline.Axis{Label: "intensity I", Scale: pipeline.Log},
		Series: []pipeline.Series{
			{Output: "fit", X: "q", Y: "I", Role: pipeline.Points, Label: "measured", Used: "used"},
			{Output: "fit", X: "q", Y: "model", Role: pipeline.Line, Label: "fit"},
		},
		Residual: &pipeline.Series{Output: "fit", X: "q", Y: "residual", Role: pipeline.Points, Label: "residual / u"},
	}},
	Settings: func() any { return &guinierSettings{} },
	Run:      runGuinier,
}

type guinierSettings struct {
	Shape string            `set:"shape" oneof:"compact|chain|rod" default:"compact" doc:"what the scattering bodies are like; it sets the limit on q·Rg"`
	Order string            `set:"order" oneof:"line|q4" default:"line" doc:"line: a straight line in q²; q4: with a term in q⁴"`
	Limit pipeline.Quantity `set:"limit" unit:"1" words:"by shape" default:"by shape" above:"0" max:"3" doc:"greatest q·Rg of the range: 1.3 for compact bodies, 0.8 for chains and rods"`
	Range pipeline.Range    `set:"range" unit:"1/nm" words:"found" default:"found" min:"0" doc:"range of q to fit, ends included; found: by the limit on q·Rg, less an upturn or downturn at low q"`
}

// guinierChoices is the range that was found, by indices of the input, ends included.
type guinierChoices struct{ first, last int }

func runGuinier(ctx context.Context, call *pipeline.Call) (pipeline.Choices, error) {
	s := call.Settings.(*guinierSettings)
	var w Workspace
	choices := make([]guinierChoices, len(call.Leads))
	earlier, _ := call.Choices.([]guinierChoices)
	for i, lead := range call.Leads {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		g := &guinierRun{settings: s, call: call, lead: i, w: &w}
		if earlier != nil {
			g.given = &earlier[i]
		}
		c, err := g.run(lead.Table)
		if err != nil {
			return nil, err
		}
		choices[i] = c
	}
	return choices, nil
}

// guinierRun is the work on one curve.
type guinierRun struct {
	settings *guinierSettings
	call     *pipeline.Call
	lead     int
	given    *guinierChoices
	w        *Workspace
}

func (g *guinierRun) flag(level pipeline.FlagLevel, format string, args ...any) {
	g.call.Flag(level, "plateaus", g.lead, format, args...)
}

func (g *guinierRun) shape() Shape {
	switch g.settings.Shape {
	case "chain":
		return Chain
	case "rod":
		return Rod
	}
	return Compact
}

func (g *guinierRun) limit() float64 {
	if g.settings.Limit.Word != "" {
		return GuinierLimit(g.shape())
	}
	return g.settings.Limit.Value
}

func (g *guinierRun) run(t *table.Table) (guinierChoices, error) {
	q, intensity, u, unit, err := curveColumns(t)
	if err != nil {
		return guinierChoices{}, err
	}
	for i, x := range q {
		if x < 0 {
			return guinierChoices{}, fmt.Errorf("a negative scattering vector, q = %v 1/nm (point %d): expected q ≥ 0; correct the file or the unit of its axis", x, i+1)
		}
	}
	c, err := g.choose(q, intensity, u)
	if err != nil {
		return c, err
	}
	order := Line
	if g.settings.Order == "q4" {
		order = Quartic
	}
	var fu []float64
	if u != nil {
		fu = u[c.first : c.last+1]
	}
	fit := FitGuinier(q[c.first:c.last+1], intensity[c.first:c.last+1], fu, order, g.w)
	if err := fit.Status.Err(); err != nil {
		return c, fmt.Errorf("%w (q from %.4g to %.4g 1/nm, %d usable points)", err, q[c.first], q[c.last], fit.N)
	}
	g.judge(&fit)
	if order == Line && g.given == nil {
		g.judgeBend(&fit, q[c.first:c.last+1], intensity[c.first:c.last+1], fu)
	}
	g.give(t, &fit, c, q, intensity, u, unit)
	return c, nil
}

// curveColumns takes axis, value and uncertainty out of a curve; missing entries become NaN. u is nil when the curve has none.
func curveColumns(t *table.Table) (q, intensity, u []float64, unit string, err error) {
	axis, value := pipeline.CurveColumns(t)
	if axis == nil || value == nil {
		return nil, nil, nil, "", fmt.Errorf("the curve has no value beside its axis")
	}
	if axis.Unit != "1/nm" { // known only now where the study leaves units to the files
		return nil, nil, nil, "", fmt.Errorf("the axis %s is %s; expected a scattering vector in 1/nm or a unit like it; give the unit under `columns` of the import, such as `%s: \"1 [1/nm]\"`",
			axis.Name, inUnit(axis.Unit), axis.Name)
	}
	intensity = pipeline.WithNaN(value)
	if c := t.Col("u_" + value.Name); c != nil {
		u = pipeline.WithNaN(c)
	}
	return axis.Floats, intensity, u, value.Unit, nil
}

// inUnit says a unit in words.
func inUnit(code string) string {
	if code == "1" || code == "" {
		return "a number without a unit"
	}
	return "in " + code
}

// choose gives the range: chosen before, given in the study, or found.
func (g *guinierRun) choose(q, intensity, u []float64) (guinierChoices, error) {
	if g.given != nil {
		return *g.given, nil
	}
	r := g.settings.Range
	if r.Word == "" {
		c := guinierChoices{first: -1}
		for i, x := range q {
			if r.Contains(x) {
				if c.first < 0 {
					c.first = i
				}
				c.last = i
			}
		}
		if c.first < 0 {
			return c, fmt.Errorf("no point of the curve lies in the range %g to %g 1/nm; it reaches from %.4g to %.4g 1/nm", r.Lo, r.Hi, q[0], q[len(q)-1])
		}
		g.lowAngles(q, intensity, u, c)
		return c, nil
	}
	found, err := FindGuinier(q, intensity, u, RangeOptions{Shape: g.shape(), Limit: g.limit()}, g.w)
	if err != nil {
		return guinierChoices{}, err
	}
	if err := found.Status.Err(); err != nil {
		return guinierChoices{}, fmt.Errorf("%w (%s)", err, usablePoints(q, intensity, u))
	}
	g.sayLow(found.LowQ, found.Dropped, found.LowRatio)
	if found.Stop == AtEnd {
		g.flag(pipeline.Note, "the range ends with the data, at q·Rg = %.2f, before the limit of %.2g", found.QMaxRg, g.limit())
	}
	if found.QMinRg > 0.65*g.limit() {
		g.flag(pipeline.Flagged, "the range begins at q·Rg = %.2f: hardly anything is seen of the plateau, and Rg leans on the limit; measure to lower q", found.QMinRg)
	}
	return guinierChoices{found.First, found.Last}, nil
}

// usablePoints says of how many points a curve's logarithm can be taken.
func usablePoints(q, intensity, u []float64) string {
	positive, known := 0, 0
	for i := range q {
		if intensity[i] > 0 {
			positive++
			if u == nil || u[i] > 0 {
				known++
			}
		}
	}
	s := fmt.Sprintf("I > 0 at %d of %d points", positive, len(q))
	if known < positive {
		s += fmt.Sprintf(", its uncertainty known at %d of them", known)
	}
	return s
}

// lowAngles looks below a range that the study gave for an upturn or a downturn.
func (g *guinierRun) lowAngles(q, intensity, u []float64, c guinierChoices) {
	found, err := FindGuinier(q, intensity, u, RangeOptions{Shape: g.shape(), Limit: g.limit(), Shoulder: true}, &Workspace{})
	if err == nil && found.Status == Fitted {
		g.sayLow(found.LowQ, found.Dropped, found.LowRatio)
		if found.First > c.first && found.LowQ != Straight {
			g.flag(pipeline.Flagged, "the range given begins at q = %.4g 1/nm, within the %s at low q", q[c.first], found.LowQ)
		}
	}
}

func (g *guinierRun) sayLow(low LowQ, dropped int, ratio float64) {
	switch low {
	case Upturn:
		g.flag(pipeline.Flagged, "upturn at low q: the lowest of %d points lies %.2g times above the line; aggregates, or scattering at the beam stop", dropped, ratio)
	case Downturn:
		g.flag(pipeline.Flagged, "downturn at low q: the lowest of %d points lies %.2g times below the line; repulsion between particles, or a shadowed detector", dropped, 1/ratio)
	}
}

// judge says what a person should know of a fit before using its numbers.
func (g *guinierRun) judge(fit *Guinier) {
	if fit.Scaled {
		g.flag(pipeline.Flagged, "the curve's uncertainties are unknown: u is from the scatter about the line, with %d degrees of freedom", fit.DOF)
	}
	if fit.Weak {
		g.flag(pipeline.Flagged, "Rg² is below twice its uncertainty: u of Rg is only a rough figure")
	}
	if fit.LossBiases {
		g.flag(pipeline.Flagged, "%d points with I ≤ 0 have no logarithm and were left out, which moves the result by more than a tenth of u", fit.NonPositive)
	} else if fit.NonPositive > 0 {
		g.flag(pipeline.Note, "%d points with I ≤ 0 have no logarithm and were left out", fit.NonPositive)
	}
	// a range that was found keeps the limit by the radius of its search; one that the study gave may be anything
	if x := fit.QMax * fit.Rg; g.settings.Range.Word == "" && x > 1.02*g.limit() && !math.IsNaN(x) {
		g.flag(pipeline.Flagged, "q·Rg reaches %.2f in the range, beyond the limit of %.2g for this shape", x, g.limit())
	}
	if p := fit.Chi2P(); p < 0.001 {
		g.flag(pipeline.Flagged, "χ²/ν is %.3g (%s): the points lie farther from the fit than their uncertainties allow; these are too small, or the fit does not describe the range; u of Rg and I0 is then too small", fit.Chi2/float64(fit.DOF), chance(p))
	}
	if fit.Runs.P < 0.01 {
		g.flag(pipeline.Flagged, "the residuals are not random (runs test, p = %.2g): the line does not describe the range", fit.Runs.P)
	}
}

// chance says a probability; far in a tail it is no more than small.
func chance(p float64) string {
	if p < 1e-12 {
		return "p < 1e-12"
	}
	return fmt.Sprintf("p = %.2g", p)
}

// judgeBend says when the terms that a line leaves out move its radius by more than u: those that the points show, else those that bodies of
// the shape may have.
func (g *guinierRun) judgeBend(line *Guinier, q, intensity, u []float64) {
	most := line.BendBias(g.shape(), g.w) // before the next fit takes the workspace
	if bent := FitGuinier(q, intensity, u, Quartic, g.w); bent.Status == Fitted {
		// of two nested fits by least squares, the difference has the difference of their variances
		off, uOff := line.Rg-bent.Rg, math.Sqrt(max(0, bent.URg*bent.URg-line.URg*line.URg))
		if !bent.Scaled && bent.DOF > 0 { // where the points' u is too small, so is that of the difference
			uOff *= math.Sqrt(max(1, bent.Chi2/float64(bent.DOF)))
		}
		if math.Abs(off) > line.URg && math.Abs(off) > 3*uOff {
			g.flag(pipeline.Flagged, "the points bend over the range: with a term in q⁴ Rg is %.4g nm, %.2g u from the line's, which u does not cover; set `order: q4`, or a lower `limit`", bent.Rg, math.Abs(off)/line.URg)
			return
		}
	}
	if most > line.URg {
		g.flag(pipeline.Note, "bodies of this shape (%s) may bend so much over the range that Rg of a line is off by up to %.2g nm, %.2g u, which u does not cover; `order: q4` or a lower `limit` takes that off", g.settings.Shape, most, most/line.URg)
	}
}

func (g *guinierRun) give(t *table.Table, fit *Guinier, c guinierChoices, q, intensity, u []float64, unit string) {
	v := &table.Table{}
	one := func(name, unit string, x float64) { v.AddFloat(name, unit, []float64{x}) }
	one("Rg_1", "nm", fit.Rg)
	one("u_Rg_1", "nm", fit.URg)
	one("I0_1", unit, fit.I0)
	one("u_I0_1", unit, fit.UI0)
	if fit.Scaled {
		one("nu_Rg_1", "1", fit.Nu)
		one("nu_I0_1", "1", fit.Nu)
	}
	one("cov_Rg_1_I0_1", covUnit("nm", unit), fit.CovRgI0)
	one("q_first", "1/nm", fit.QMin)
	one("q_last", "1/nm", fit.QMax)
	one("qRg_last", "1", fit.QMax*fit.Rg)
	one("points", "1", float64(fit.N))
	chi := v.AddFloat("chi2_nu", "1", []float64{0})
	if fit.DOF > 0 && !fit.Scaled {
		chi.Floats[0] = fit.Chi2 / float64(fit.DOF)
	} else {
		chi.Valid = []bool{false}
	}
	g.call.Give("plateaus", g.lead, v)
	g.call.Give("fit", g.lead, g.figure(fit, c, q, intensity, u, unit))
}

// figure is the curve up to three times the range, with the line and its residuals.
func (g *guinierRun) figure(fit *Guinier, c guinierChoices, q, intensity, u []float64, unit string) *table.Table {
	n := 0
	for n < len(q) && (n <= c.last || q[n] <= 2*q[c.last]) {
		n++
	}
	line := func(x float64) float64 {
		y := math.Log(fit.I0) - fit.Rg*fit.Rg*x*x/3
		if !math.IsNaN(fit.C) {
			y += fit.C * x * x * x * x
		}
		return math.Exp(y)
	}
	f := &table.Table{}
	f.AddFloat("q", "1/nm", q[:n])
	pipeline.AddWithNaN(f, "I", unit, intensity[:n])
	if u != nil {
		pipeline.AddWithNaN(f, "u_I", unit, u[:n])
	}
	model, residual, used := make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range n {
		model[i], residual[i] = math.NaN(), math.NaN()
		if i < c.first || i > c.last {
			continue
		}
		model[i] = line(q[i])
		if intensity[i] > 0 && q[i] > 0 && (u == nil || u[i] > 0) {
			used[i] = 1
			residual[i] = math.Log(intensity[i] / model[i])
			if u != nil {
				residual[i] *= intensity[i] / u[i]
			} else if fit.DOF > 0 && fit.Chi2 > 0 {
				residual[i] /= math.Sqrt(fit.Chi2 / float64(fit.DOF))
			}
		}
	}
	pipeline.AddWithNaN(f, "model", unit, model)
	pipeline.AddWithNaN(f, "residual", "1", residual)
	f.AddFloat("used", "1", used)
	return f
}

func covUnit(a, b string) string {
	if b == "1" || b == "" {
		return a
	}
	return pipeline.UnitProduct(a, b)
}
