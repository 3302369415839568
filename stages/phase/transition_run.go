package phase

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"fascicle/catalog"
	"fascicle/pipeline"
	"fascicle/pipeline/formula"
	"fascicle/stages/internal/stats"
)

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
		y, err := readTransmittance(lead.Table, r.wavelength(), r.s.Signal)
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
		r.flag(pipeline.Note, "left out, without a transmittance%s: %d of %d items", r.at(), missing, len(r.call.Leads))
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

// wavelength is the one that is set, NaN where none is.
func (r *transitionRun) wavelength() float64 {
	if r.s.Wavelength.Is("none") {
		return math.NaN()
	}
	return r.s.Wavelength.Value
}

// at says the wavelength in a sentence.
func (r *transitionRun) at() string {
	if r.s.Wavelength.Is("none") {
		return ""
	}
	return fmt.Sprintf(" at %g nm", r.s.Wavelength.Value)
}

// opaque tells whether all transmittances are zero within their noise; where that is not known, whether they go down to zero.
func (r *transitionRun) opaque() bool {
	for i, y := range r.t {
		if r.u != nil && y > 3*r.u[i] {
			return false
		}
	}
	return r.u != nil || slices.Min(r.t) <= 0
}

// absorbs tells whether a series lies near 0 at both ends and rises between: so do absorbances where a window is turbid.
func (r *transitionRun) absorbs() bool {
	const near = 0.1
	first, last := slices.Min(r.x), slices.Max(r.x)
	for i, x := range r.x {
		if (x == first || x == last) && !(r.t[i] < near) {
			return false
		}
	}
	return slices.Max(r.t) > near+r.s.Contrast.Value
}

// plausible tells fractions from percent that was not said to be so.
func (r *transitionRun) plausible() error {
	if len(r.t) == 0 {
		return fmt.Errorf("no item of the series has a transmittance%s", r.at())
	}
	if r.given != nil { // what was said of the series itself holds
		return nil
	}
	least, most := slices.Min(r.t), slices.Max(r.t)
	switch {
	case most > 1.5:
		return fmt.Errorf("transmittances up to %.4g as fractions, where 1 is clear; if the file holds percent, say so under `columns` of the import: `transmittance: \"1 [%%]\"`", most)
	case r.s.Signal == signalByName && r.absorbs():
		return fmt.Errorf("transmittances that lie near 0 at both ends and reach %.3g between, as absorbances do where a window is turbid; say which they are by `signal: absorbance` or `signal: transmittance`", most)
	case most < 0.015 && least >= -0.1 && r.opaque():
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
		r.flag(pipeline.Note, "whether a component alone absorbs%s was not looked at: port `control` is not fed", r.at())
		return nil
	}
	if r.s.Wavelength.Is("none") {
		return fmt.Errorf("port `control` is fed, and no wavelength is set; expected the setting `wavelength` to say where the components should not absorb")
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
			if err != nil || math.IsNaN(y.y) {
				blind++
			} else if y.y > worst {
				worst, at = y.y, y
			}
		}
	}
	if blind > 0 {
		r.flag(pipeline.Flagged, "a control was not measured at %g nm: whether that component is coloured there is not known", r.s.Wavelength.Value)
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
			r.flag(pipeline.Flagged, "the transmittances' uncertainty is unknown: u is from the scatter about the steps, with %d degree%s of freedom", t.Nu, map[bool]string{true: "", false: "s"}[t.Nu == 1])
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
