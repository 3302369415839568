package phase

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"fascicle/catalog"
	"fascicle/pipeline"
	"fascicle/pipeline/formula"
	"fascicle/pipeline/table"
	"fascicle/stages/internal/stats"
)

// TransitionKind finds the edges of turbid windows along a series.
var TransitionKind = pipeline.Kind{
	Name:     "phase.transition",
	Revision: 1,
	Doc:      "Finds where a series of samples turns turbid along a field, and where it clears again.",
	Formula:  "T(x) = L0 + Σ (L_j − L_{j−1})/(1 + exp(−(z − m_j)/s_j)), z = x or ln x; an edge lies at m_j, its width from 10 to 90 % is 2·ln 9·s_j; number of edges and gradual or sharp by χ² + p·ln n (u known) or n·ln(χ²/n) + 2q + 2q(q+1)/(n−q−1); turbidity = −ln T/path",
	Source:   "logistic steps: common practice, no source; Schwarz, Ann. Stat. 6 (1978) 461; Hurvich and Tsai, Biometrika 76 (1989) 297; limits by profile likelihood: Venzon and Moolgavkar, Appl. Stat. 37 (1988) 87 (all from memory)",
	Methods:  "Edges of turbid windows are the middles of logistic steps of the transmittance at {wavelength} along {axis} (scale {scale}, number of edges: {model}); a step steeper than the distance of two samples is given as the interval in which it lies.",
	By:       "list",
	Parts:    pipeline.Shift,
	Ports: []pipeline.Port{
		{Name: "transmittance", Lead: true, Forms: []pipeline.Form{pipeline.Values, pipeline.Curve},
			Doc:     "the samples of the series: each a transmittance (a column `transmittance`), or a curve of it over the wavelength",
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
		X: pipeline.Axis{Label: "place in the series", Scale: pipeline.Linear},
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
	Wavelength pipeline.Quantity `set:"wavelength" unit:"nm" above:"0" doc:"wavelength of the transmittance; curves are read there, controls looked at"`
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

// transitionChoices is what a call decided: which lead items take part, all of the analysis, and the places at which the model is drawn.
type transitionChoices struct {
	used   []int
	known  bool // the noise
	series *Choices
	rows   []fitRow
}

// fitRow is a row of the figure's table: a point of the series, or a place (in x) where the model alone is drawn.
type fitRow struct {
	point int // −1: none
	x     float64
}

// absorbing is the absorbance of a control from which on colour is to be told from turbidity (common practice, no source).
const absorbing = 0.02

func runTransition(ctx context.Context, call *pipeline.Call) (pipeline.Choices, error) {
	s := call.Settings.(*transitionSettings)
	r := &transitionRun{call: call, s: s}
	r.given, _ = call.Choices.(*transitionChoices)
	if err := r.read(); err != nil {
		return nil, err
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	opt := SeriesOptions{Log: s.Scale == "log", Contrast: s.Contrast.Value, Clear: s.Clear.Value}
	switch s.Model {
	case "one edge":
		opt.Model = OneEdge
	case "window":
		opt.Model = OneWindow
	}
	c := &transitionChoices{used: r.used, known: r.u != nil}
	var before *Choices
	if r.given != nil {
		before = r.given.series
	}
	res, series, err := Analyse(r.x, r.t, r.u, opt, before)
	if errors.Is(err, ErrShort) {
		return nil, fmt.Errorf("%d items with a transmittance, all at one place of the axis; expected two places at least: set `axis` to the field that varies along the series, and `by` to what its items share", len(r.x))
	}
	if err != nil {
		return nil, err
	}
	c.series = series
	if c.rows = r.rows(res); r.given != nil {
		c.rows = r.given.rows
	}
	if err := r.controls(); err != nil {
		return nil, err
	}
	r.remark(res)
	r.give(res, c)
	return c, nil
}

// transitionRun is the work on one series.
type transitionRun struct {
	call      *pipeline.Call
	s         *transitionSettings
	given     *transitionChoices
	used      []int
	x, t, u   []float64
	unit      string  // of x
	path      float64 // in mm, NaN: not given
	direction string
}

func (r *transitionRun) flag(level pipeline.FlagLevel, format string, args ...any) {
	r.call.Flag(level, "edges", -1, format, args...)
}

// read takes places and transmittances out of the items.
func (r *transitionRun) read() error {
	typ, ok := r.s.Axis.Type()
	if !ok || typ.Sort != formula.Number {
		return fmt.Errorf("setting `axis` is no number; expected a field of numbers, such as a column of the sheet")
	}
	inside := catalog.Canonical(typ.Unit.Dim(), false)
	convert, err := catalog.Convert(typ.Unit, inside)
	if err != nil {
		return err
	}
	r.unit = inside.Code()
	if err := r.shared(); err != nil {
		return err
	}
	unknown, missing, zero := 0, 0, 0
	for i, lead := range r.call.Leads {
		if r.given != nil && !slices.Contains(r.given.used, i) {
			continue
		}
		y, err := readTransmittance(lead.Table, r.s.Wavelength.Value)
		if err != nil {
			return err
		}
		if math.IsNaN(y.y) {
			missing++
			continue
		}
		x := convert.Float(r.call.Number(r.s.Axis, i).Value)
		if r.s.Scale == "log" && !(x > 0) {
			return fmt.Errorf("an item lies at %g %s, which has no place on a logarithmic axis; set `scale: linear`, or leave it out by `where`", x, r.unit)
		}
		switch {
		case math.IsNaN(y.u):
			unknown++
		case !(y.u > 0):
			zero++
		}
		r.used, r.x, r.t, r.u = append(r.used, i), append(r.x, x), append(r.t, y.y), append(r.u, y.u)
	}
	if missing > 0 {
		r.flag(pipeline.Note, "left out, without a transmittance at %g nm: %d of %d items", r.s.Wavelength.Value, missing, len(r.call.Leads))
	}
	if unknown+zero > 0 || r.given != nil && !r.given.known {
		r.u = nil
	}
	switch {
	case unknown > 0 && unknown < len(r.x):
		r.flag(pipeline.Flagged, "the uncertainty of %d of %d transmittances is unknown, so all count as unknown", unknown, len(r.x))
	case zero > 0:
		r.flag(pipeline.Flagged, "%d of %d transmittances have an uncertainty of zero, which none has; all count as unknown", zero, len(r.x))
	}
	return r.plausible()
}

// plausible tells fractions from percent that was not said to be so.
func (r *transitionRun) plausible() error {
	if len(r.t) == 0 {
		return fmt.Errorf("no item of the series has a transmittance at %g nm", r.s.Wavelength.Value)
	}
	least, most := slices.Min(r.t), slices.Max(r.t)
	switch {
	case most > 1.5:
		return fmt.Errorf("transmittances up to %.4g as fractions, where 1 is clear; if the file holds percent, say so under `columns` of the import: `transmittance: \"1 [%%]\"`", most)
	case most < 0.015:
		return fmt.Errorf("no transmittance beyond %.2g %%; if the file holds fractions, its unit is [1] and not [%%]; if all samples are so opaque, measure in a shorter cell", 100*most)
	case least < -0.1:
		return fmt.Errorf("a transmittance of %.4g; expected none below 0: correct the file, or the blank that was taken off", least)
	}
	return nil
}

// shared reads what all items of a series must have in common.
func (r *transitionRun) shared() error {
	r.path = math.NaN()
	if r.s.Path.Word == "" {
		r.path = r.call.Number(r.s.Path, 0).Value
	}
	if r.s.Direction.Word != "none" {
		r.direction = r.s.Direction.Word
	}
	for i := range r.call.Leads {
		if r.s.Path.Word == "" {
			if p := r.call.Number(r.s.Path, i).Value; math.Abs(p-r.path) > 0.01*r.path {
				return fmt.Errorf("cells of %g and %g mm in one series; transmittances go together in one path alone: add it to `by`", min(p, r.path), max(p, r.path))
			}
		}
		if r.s.Direction.Word == "" {
			d := r.call.Number(r.s.Direction, i).Text
			if i > 0 && d != r.direction {
				return fmt.Errorf("%q and %q in one series; the two directions may differ by hysteresis: add the field to `by`", min(d, r.direction), max(d, r.direction))
			}
			r.direction = d
		}
	}
	return nil
}

// controls looks whether the components alone absorb at the wavelength.
func (r *transitionRun) controls() error {
	if !r.call.Fed("control") {
		r.flag(pipeline.Note, "whether a component alone absorbs at %g nm was not looked at: port `control` is not fed", r.s.Wavelength.Value)
		return nil
	}
	worst, blind := math.Inf(-1), 0
	var at reading
	for i := range r.call.Leads {
		for _, p := range r.call.Partners("control", i) {
			axis, value := pipeline.CurveColumns(p.Table)
			if axis == nil || value == nil {
				return fmt.Errorf("a control has no axis or no value; expected an absorbance over the wavelength")
			}
			if axis.Unit != "nm" || value.Unit != "1" {
				return fmt.Errorf("a control is in %q over %q; expected an absorbance over the wavelength in nm", value.Unit, axis.Unit)
			}
			y, err := readAt(p.Table, axis, value, r.s.Wavelength.Value)
			if err != nil {
				return fmt.Errorf("control: %w", err)
			}
			if math.IsNaN(y.y) {
				blind++
			} else if y.y > worst {
				worst, at = y.y, y
			}
		}
	}
	if blind > 0 {
		r.flag(pipeline.Flagged, "a control has no absorbance near %g nm: whether that component is coloured there is not known", r.s.Wavelength.Value)
	}
	if worst > absorbing {
		r.flag(pipeline.Flagged, "a component alone has an absorbance of %s at %g nm, more than %g: colour takes light as turbidity does; choose a wavelength where no component absorbs",
			catalog.Format(at.y, at.u, catalog.Unit{}), r.s.Wavelength.Value, absorbing)
	}
	return nil
}

// remark says what a person should know of the edges.
func (r *transitionRun) remark(t *Transition) {
	axis := func(n Number) string {
		lo, hi := n.limits()
		switch n.Bound {
		case Interval:
			return fmt.Sprintf("between %.4g and %.4g", lo, hi)
		case Lower:
			return fmt.Sprintf("beyond %.4g", lo)
		case Upper:
			return fmt.Sprintf("before %.4g", hi)
		}
		return "at a place that is not known"
	}
	if !t.Known {
		if t.Nu > 0 {
			r.flag(pipeline.Flagged, "the transmittances' uncertainty is unknown: u is from the scatter about the steps, with %d degrees of freedom", t.Nu)
		} else {
			r.flag(pipeline.Flagged, "the transmittances' uncertainty is unknown, and too few points are left to learn it from their scatter")
		}
	}
	if !t.Judged && len(t.Edges) > 0 {
		r.flag(pipeline.Note, "too few points to weigh the number of edges by evidence: every change of %g %% counts as one", 100*r.s.Contrast.Value)
	}
	for _, e := range t.Edges {
		what := "it clears"
		if e.Turbid {
			what = "it turns turbid"
		}
		switch {
		case e.outside:
			r.flag(pipeline.Flagged, "%s %s: the end of the change lies outside the measured range", what, axis(e.At))
		case e.At.Bound == Interval:
			r.flag(pipeline.Note, "%s %s %s: the step is too steep for the distance of its points", what, axis(e.At), r.unit)
		}
	}
	switch {
	case len(t.Edges) == 0 && t.Turbid:
		r.flag(pipeline.Flagged, "no edge, and a transmittance of %.3g %% throughout: it counts as turbid from end to end; measure where it is clear, or look whether it is only coloured", 100*t.Level)
	case len(t.Edges) == 0:
		r.flag(pipeline.Note, "the series never turns turbid: its transmittance is %.3g %% throughout", 100*t.Level)
	case len(t.Windows) > 1:
		r.flag(pipeline.Flagged, "%d turbid windows; opens, closes, middle and width are of one, number %d along the axis; the table `steps` has all edges", len(t.Windows), t.Best()+1)
	}
	if t.Known && t.Nu > 0 {
		if p := stats.ChiSquareUpper(t.Chi2, float64(t.Nu)); p < 0.001 {
			r.flag(pipeline.Flagged, "the points scatter about the steps by more than their u (χ²/ν = %.3g, p = %.2g): levels are not flat, or samples differ by more than the noise, and u of the edges is too small", t.Chi2/float64(t.Nu), p)
		}
	}
}

// rows lists what the figure shows: the points, and between first and last as many places as draw a smooth line.
func (r *transitionRun) rows(t *Transition) []fitRow {
	const lines = 200
	first, last := slices.Min(r.x), slices.Max(r.x)
	var out []fitRow
	for i := range lines + 1 {
		p := float64(i) / lines
		x := first + p*(last-first)
		if r.s.Scale == "log" {
			x = first * math.Pow(last/first, p)
		}
		out = append(out, fitRow{-1, math.Min(x, last)})
	}
	for i, x := range r.x {
		out = append(out, fitRow{i, x})
	}
	slices.SortStableFunc(out, func(a, b fitRow) int { return cmp.Compare(a.x, b.x) })
	return out
}

// give hands over the tables.
func (r *transitionRun) give(res *Transition, c *transitionChoices) {
	nu := 0
	if !res.Known {
		nu = res.Nu
	}
	e := &table.Table{}
	e.AddFloat("number", "1", []float64{float64(len(res.Edges))})
	e.AddFloat("windows", "1", []float64{float64(len(res.Windows))})
	w := Window{Opens: unknown(), Closes: unknown(), Middle: unknown(), Width: unknown()}
	if best := res.Best(); best >= 0 {
		w = res.Windows[best]
	}
	names := [...]string{"opens", "closes", "middle", "width"}
	for i, n := range [...]Number{w.Opens, w.Closes, w.Middle, w.Width} {
		addNumbers(e, names[i], r.unit, nu, n)
	}
	if w.Cov != nil && !math.IsNaN(w.Cov[0][0]+w.Cov[1][1]+w.Cov[0][1]) {
		square := r.unit
		if square != "1" {
			square = pipeline.UnitProduct(r.unit, r.unit)
		}
		for i := range names {
			for j := i + 1; j < len(names); j++ {
				e.AddFloat("cov_"+names[i]+"_"+names[j], square, []float64{w.Cov[i][j]})
			}
		}
	}
	if r.direction != "" {
		e.AddText("direction", []string{r.direction})
	}
	r.call.Give("edges", -1, e)

	s := &table.Table{}
	var words []string
	var at, width, before, after []Number
	for _, e := range res.Edges {
		word := "clears"
		if e.Turbid {
			word = "turns turbid"
		}
		words, at, width = append(words, word), append(at, e.At), append(width, e.Width)
		before, after = append(before, measured(e.Before, e.UBefore)), append(after, measured(e.After, e.UAfter))
	}
	s.AddText("change", words)
	addNumbers(s, "at", r.unit, nu, at...)
	addNumbers(s, "width", r.unit, nu, width...)
	addNumbers(s, "before", "1", nu, before...)
	addNumbers(s, "after", "1", nu, after...)
	r.call.Give("steps", -1, s)
	r.call.Give("fit", -1, r.figure(res, c.rows))
}

// figure is the table behind the figure.
func (r *transitionRun) figure(res *Transition, rows []fitRow) *table.Table {
	n := len(rows)
	column := func() []float64 {
		out := make([]float64, n)
		for i := range out {
			out[i] = math.NaN()
		}
		return out
	}
	x, y, u, model, residual, tau, uTau := column(), column(), column(), column(), column(), column(), column()
	scatter := math.NaN() // of the points, where u is not known
	if !res.Known && res.Nu > 0 && res.Chi2 > 0 {
		scatter = math.Sqrt(res.Chi2 / float64(res.Nu))
	}
	for i, row := range rows {
		x[i] = row.x
		if k := row.point; k >= 0 {
			x[i], y[i] = r.x[k], r.t[k]
			s := scatter
			if r.u != nil {
				u[i], s = r.u[k], r.u[k]
			}
			residual[i] = (y[i] - res.Fitted(k)) / s
			if y[i] > 0 {
				tau[i] = Turbidity(y[i], r.path)
				uTau[i] = 10 * u[i] / y[i] / r.path
			}
			model[i] = res.Fitted(k)
			continue
		}
		model[i] = res.Model(x[i])
	}
	f := &table.Table{}
	f.AddFloat("x", r.unit, x)
	pipeline.AddWithNaN(f, "transmittance", "1", y)
	if r.u != nil {
		pipeline.AddWithNaN(f, "u_transmittance", "1", u)
	}
	pipeline.AddWithNaN(f, "model", "1", model)
	pipeline.AddWithNaN(f, "residual", "1", residual)
	if !math.IsNaN(r.path) {
		pipeline.AddWithNaN(f, "turbidity", "1/cm", tau)
		if r.u != nil {
			pipeline.AddWithNaN(f, "u_turbidity", "1/cm", uTau)
		}
	}
	return f
}

// Turbidity gives the turbidity in 1/cm of a transmittance through a path in mm:
//
//	τ = −ln T/l = ln 10·A/l
//
// Source: an identity, by the definition of the turbidity. T must be positive.
func Turbidity(t, path float64) float64 { return -10 * math.Log(t) / path }
