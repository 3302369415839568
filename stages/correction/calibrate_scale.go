package correction

import (
	"context"
	"errors"
	"fmt"
	"math"

	"fascicle/catalog"
	"fascicle/pipeline"
	"fascicle/pipeline/table"
	"fascicle/stages/internal/stats"
)

// CalibrateScaleKind makes a factor from readings of standards whose values are known.
var CalibrateScaleKind = pipeline.Kind{
	Name:     "calibrate.scale",
	Revision: 1,
	Doc:      "Makes a factor, known value over reading, from the readings of one or more standards.",
	Formula:  "factor = 1/g, g = Σ w·K·L / Σ w·K², w = 1/u²(L); L the mean reading of a standard, K its known value",
	Source:   "weighted mean and straight line through zero: common practice (Bevington and Robinson, Data Reduction and Error Analysis, ch. 4 and 6, from memory)",
	Methods:  "The scale was calibrated with standards of known value {known}, read over the range {range}.",
	By:       "all",
	Parts:    pipeline.Shift,
	Names:    true,
	Ports: []pipeline.Port{{
		Name: "standard", Lead: true, Forms: []pipeline.Form{pipeline.Curve},
		Doc:     "readings of the standards, dark or solvent already taken off; all of a group give one factor",
		Columns: []pipeline.Column{{Name: pipeline.AxisColumn, Unit: "*"}, {Name: pipeline.ValueColumn, Unit: "*"}},
	}},
	Outputs: []pipeline.Output{
		{Name: "factor", Doc: "what readings are multiplied by", Per: pipeline.PerGroup, Form: pipeline.Values, Shape: scaleFactorShape, Columns: []pipeline.Column{
			{Name: "factor", Unit: "*", U: true, Doc: "known value over reading; u from the readings alone"},
			{Name: "standards", Unit: "1", Doc: "number of standards"},
			{Name: "points", Unit: "1", Doc: "number of readings used"},
			{Name: "chi2_nu", Unit: "1", Optional: true, Doc: "χ²/ν of all readings about the factor; about 1 when they scatter as their u says"},
			{Name: "p", Unit: "1", Optional: true, Doc: "probability that standards lie as far apart by the noise of their readings alone, known values being exact; none for one standard"},
		}},
		{Name: "levels", Doc: "each standard beside what the factor makes of it", Per: pipeline.PerGroup, Form: pipeline.TableForm, Shape: scaleLevelsShape, Columns: []pipeline.Column{
			{Name: "item", Text: true, Doc: "which standard"},
			{Name: "known", Unit: "*", Doc: "its known value"},
			{Name: "level", Unit: "=standard", U: true, Doc: "its mean reading"},
			{Name: "model", Unit: "=standard", Doc: "the reading that the factor expects"},
			{Name: "residual", Unit: "1", Optional: true, Doc: "(level − model)/u"},
			{Name: "points", Unit: "1", Doc: "number of its readings used"},
		}},
	},
	Figures: []pipeline.Figure{{
		Name: "levels", Title: "Standards and factor", Minor: true,
		X: pipeline.Axis{Label: "known value"}, Y: pipeline.Axis{Label: "reading"},
		Series: []pipeline.Series{
			{Output: "levels", X: "known", Y: "level", Role: pipeline.Points, Label: "standards"},
			{Output: "levels", X: "known", Y: "model", Role: pipeline.Line, Label: "factor"},
		},
		Residual: &pipeline.Series{Output: "levels", X: "known", Y: "residual", Role: pipeline.Points, Label: "residual / u"},
	}},
	Settings: func() any { return &calibrateScaleSettings{} },
	Run:      runCalibrateScale,
}

type calibrateScaleSettings struct {
	Known pipeline.Field `set:"known" unit:"*" doc:"the value that a standard is known to have; it counts as exact in weights, residuals and p, and its u comes into the factor as a part"`
	Range pipeline.Range `set:"range" unit:"*" words:"all" default:"all" doc:"part of the axis whose readings count, ends included"`
}

func scaleFactorShape(s pipeline.ShapeCall) ([]pipeline.Column, error) {
	unit := "*"
	known, ok := fieldUnit(s.Settings.(*calibrateScaleSettings).Known)
	measured, okMeasured := arriving(s, "standard", pipeline.ValueColumn)
	if ok && okMeasured {
		kept, _ := inside(known.Div(measured))
		unit = kept.Code()
	}
	return []pipeline.Column{{Name: "factor", Unit: unit, U: true}}, nil
}

func scaleLevelsShape(s pipeline.ShapeCall) ([]pipeline.Column, error) {
	known, ok := fieldUnit(s.Settings.(*calibrateScaleSettings).Known)
	if !ok {
		return nil, nil
	}
	kept, _ := inside(known)
	return []pipeline.Column{{Name: "known", Unit: kept.Code()}}, nil
}

// calibrateScaleChoices is what a first call decides: which points count, how each standard's are averaged, where u comes from.
type calibrateScaleChoices struct {
	points  [][]int
	plain   []bool
	sure    bool // own u known throughout
	between bool
}

func runCalibrateScale(ctx context.Context, call *pipeline.Call) (pipeline.Choices, error) {
	s := call.Settings.(*calibrateScaleSettings)
	r := &calibrateScaleRun{call: call, settings: s, given: call.Choices != nil}
	if r.given {
		r.choices = call.Choices.(calibrateScaleChoices)
	}
	if err := r.readings(ctx); err != nil {
		return nil, err
	}
	var between *bool
	if r.given {
		between = &r.choices.between
	}
	scale, err := ScaleFactor(r.levels, r.known, between)
	if err != nil {
		return nil, r.explain(err)
	}
	if !r.given {
		r.choices.between = scale.Between
		if scale.Weak >= 0 {
			l := r.levels[scale.Weak]
			return nil, fmt.Errorf("%s: %w: %.4g %s is below three times its uncertainty; look at the dark or solvent that was taken off, or leave this standard out with `where`",
				call.Leads[scale.Weak].Name(), ErrZeroStandard, l.Value, r.curves[scale.Weak].value.Unit)
		}
		r.judge(&scale)
	}
	r.give(&scale)
	return r.choices, nil
}

// calibrateScaleRun is the work on one group of standards.
type calibrateScaleRun struct {
	call     *pipeline.Call
	settings *calibrateScaleSettings
	given    bool // the choices are an earlier call's
	choices  calibrateScaleChoices
	curves   []curve
	unit     catalog.Unit // of known
	known    []float64
	levels   []Level
}

func (r *calibrateScaleRun) flag(level pipeline.FlagLevel, format string, args ...any) {
	r.call.Flag(level, "factor", -1, format, args...)
}

// readings takes what counts out of each standard's curve and averages it.
func (r *calibrateScaleRun) readings(ctx context.Context) error {
	known, ok := fieldUnit(r.settings.Known)
	if !ok {
		return fmt.Errorf("setting `known` comes out as no number; give the standard's value as a quantity, or name a field of numbers")
	}
	var toInside float64
	r.unit, toInside = inside(known)
	if !r.given {
		r.choices.sure = true
	}
	for i, lead := range r.call.Leads {
		if err := ctx.Err(); err != nil {
			return err
		}
		c, err := readCurve(lead.Table, lead.Name())
		if err != nil {
			return err
		}
		if first := r.firstUnit(); i > 0 && c.value.Unit != first {
			return fmt.Errorf("%s is %s, %s %s: one factor needs standards in one unit; take them as two groups with `by`",
				lead.Name(), inUnit(c.value.Unit), r.call.Leads[0].Name(), inUnit(first))
		}
		r.curves = append(r.curves, c)
		r.known = append(r.known, r.call.Number(r.settings.Known, i).Value*toInside)
		if !r.given {
			points, err := r.choose(&c, lead.Name())
			if err != nil {
				return err
			}
			r.choices.points = append(r.choices.points, points)
		}
	}
	for i := range r.curves {
		y, u := r.take(i)
		if !r.given {
			follow := WeightsFollow(y, u)
			r.choices.plain = append(r.choices.plain, follow)
			if follow {
				r.flag(pipeline.Note, "%s: the uncertainties follow the readings, as those of counts do, and would pull a weighted mean down: its readings weigh the same", r.call.Leads[i].Name())
			}
		}
		r.levels = append(r.levels, MeanLevel(y, u, r.choices.plain[i]))
	}
	return nil
}

func (r *calibrateScaleRun) firstUnit() string {
	if len(r.curves) == 0 {
		return ""
	}
	return r.curves[0].value.Unit
}

// choose finds the points of a standard that count: in the range, with a reading, and with its uncertainty where any has one.
func (r *calibrateScaleRun) choose(c *curve, name string) ([]int, error) {
	keep := r.settings.Range
	if keep.Word == "" && keep.Unit != c.axis.Unit {
		return nil, fmt.Errorf("setting `range` is %s, the axis of %s %s; give the range in the unit of the axis", inUnit(keep.Unit), name, inUnit(c.axis.Unit))
	}
	first, n := Clipped(c.y)
	clipped := 0
	var all, sure []int
	for i, y := range c.y {
		if math.IsNaN(y) || !keep.Contains(c.x[i]) {
			continue
		}
		all = append(all, i)
		if n > 0 && i >= first && i < first+n {
			clipped++
		}
		if c.u != nil && c.u[i] > 0 {
			sure = append(sure, i)
		}
	}
	switch {
	case len(all) == 0:
		return nil, fmt.Errorf("%s: %w in the range %s; its axis reaches from %s %s", name, ErrNoReading, rangeWord(keep), span(c.x), c.axis.Unit)
	case clipped > 0:
		return nil, fmt.Errorf("%s: %d points in a row, from %.5g %s, all read %v %s, the curve's greatest value: the detector was saturated; measure with less light, or give a `range` without them",
			name, n, c.x[first], c.axis.Unit, c.y[first], c.value.Unit)
	case len(sure) == 0:
		r.choices.sure = false
		return all, nil
	case len(sure) < len(all):
		r.flag(pipeline.Note, "%s: %d of %d readings have no uncertainty and were left out", name, len(all)-len(sure), len(all))
	}
	return sure, nil
}

func rangeWord(r pipeline.Range) string {
	if r.Word != "" {
		return r.Word
	}
	lo, hi := "…", "…"
	if !r.OpenLo {
		lo = fmt.Sprintf("%.5g", r.Lo)
	}
	if !r.OpenHi {
		hi = fmt.Sprintf("%.5g", r.Hi)
	}
	return lo + " to " + hi + " " + r.Unit
}

// take gives a standard's readings that count; u is nil when the readings of any standard have none.
func (r *calibrateScaleRun) take(i int) (y, u []float64) {
	c := &r.curves[i]
	y = make([]float64, len(r.choices.points[i]))
	if r.choices.sure {
		u = make([]float64, len(y))
	}
	for k, at := range r.choices.points[i] {
		y[k] = c.y[at]
		if u != nil {
			u[k] = c.u[at]
		}
	}
	return y, u
}

// explain says which standard an error is about, and what to do.
func (r *calibrateScaleRun) explain(err error) error {
	who := ""
	var one *StandardError
	if errors.As(err, &one) {
		who, err = r.call.Leads[one.Standard].Name()+": ", fmt.Errorf("%w (found %v)", one.Err, one.Found)
	}
	switch {
	case errors.Is(err, ErrKnown):
		return fmt.Errorf("%ssetting `known`: %w; a blank calibrates no scale: leave it out with `where`, or correct its value", who, err)
	case errors.Is(err, ErrZeroStandard):
		return fmt.Errorf("%s%w; look at the dark or solvent that was taken off, or leave this standard out with `where`", who, err)
	}
	return fmt.Errorf("%s%w", who, err)
}

// judge says what a person should know before using the factor.
func (r *calibrateScaleRun) judge(s *Scale) {
	switch {
	case math.IsNaN(s.U) && s.N == 1:
		r.flag(pipeline.Flagged, "the uncertainty of the one reading is unknown, and so is the factor's")
	case math.IsNaN(s.U):
		r.flag(pipeline.Flagged, "the uncertainties of the readings are unknown, and all readings are equal to the last digit: the factor's u is unknown")
	case s.Between:
		r.flag(pipeline.Flagged, "the standards disagree beyond the scatter of their readings (F test, %s): u is from the scatter between them, with %g degrees of freedom", chance(s.BetweenP), s.Nu)
	case !r.choices.sure:
		r.flag(pipeline.Flagged, "uncertainties of readings are unknown: u is from the scatter, with %g degrees of freedom", s.Nu)
	case s.BetweenP < disagree && s.AllowedP >= disagree:
		r.flag(pipeline.Note, "the standards disagree by more than the noise of their readings (%s, χ²/ν = %.3g), by no more than known values uncertain by %g %% each would explain (%s): in p, in the residuals and in the weights known values count as exact; what they are uncertain by is in u of the factor only as far as the study states it", chance(s.BetweenP), s.Chi2Nu, 100*allowed, chance(s.AllowedP))
	case s.BetweenP < disagree:
		r.flag(pipeline.Flagged, "the standards disagree by more than the noise of their readings (%s, χ²/ν = %.3g), and by more than known values uncertain by %g %% each would explain (%s; known values count as exact in p and in the weights): look at them, and at the detector", chance(s.BetweenP), s.Chi2Nu, 100*allowed, chance(s.AllowedP))
	}
	if s.ReadingsP < 0.001 {
		r.flag(pipeline.Flagged, "readings of a standard scatter more than their uncertainties say (%s)", chance(s.ReadingsP))
	}
	if s.ReadingsP > 0.9999 && s.N-len(r.levels) >= 5 {
		r.flag(pipeline.Note, "readings of a standard scatter far less than their uncertainties say: these are too large, or the instrument smoothed the readings, or was saturated")
	}
	for i, l := range r.levels {
		if r.known[i]*l.Value < 0 {
			r.flag(pipeline.Flagged, "%s reads %.4g %s, of the other sign than its known value", r.call.Leads[i].Name(), l.Value, r.firstUnit())
		}
		y, _ := r.take(i)
		for k := range y {
			y[k] -= l.Value
		}
		if runs := stats.RunsTest(y); runs.PFew < 0.005 {
			r.flag(pipeline.Flagged, "%s is not level over the range (runs test, %s): the factor depends on the range", r.call.Leads[i].Name(), chance(runs.PFew))
		}
	}
}

// chance says a probability; far in a tail it is no more than small.
func chance(p float64) string {
	if p < 1e-12 {
		return "p < 1e-12"
	}
	return fmt.Sprintf("p = %.2g", p)
}

func (r *calibrateScaleRun) give(s *Scale) {
	unit := r.unit.Div(parsed(r.firstUnit()))
	kept, toInside := inside(unit)
	v := &table.Table{}
	pipeline.AddWithNaN(v, "factor", kept.Code(), []float64{s.Factor * toInside})
	if !math.IsNaN(s.U) {
		v.AddFloat("u_factor", kept.Code(), []float64{s.U * toInside})
		if !math.IsInf(s.Nu, 1) {
			v.AddFloat("nu_factor", "1", []float64{s.Nu})
		}
	}
	v.AddFloat("standards", "1", []float64{float64(len(r.levels))})
	v.AddFloat("points", "1", []float64{float64(s.N)})
	pipeline.AddWithNaN(v, "chi2_nu", "1", []float64{s.Chi2Nu})
	pipeline.AddWithNaN(v, "p", "1", []float64{s.BetweenP})
	r.call.Give("factor", -1, v)

	n := len(r.levels)
	items, level, u, points := make([]string, n), make([]float64, n), make([]float64, n), make([]float64, n)
	for i, l := range r.levels {
		items[i], level[i], u[i], points[i] = r.call.Leads[i].Name(), l.Value, l.U, float64(l.N)
	}
	t := &table.Table{}
	t.AddText("item", items)
	t.AddFloat("known", r.unit.Code(), r.known)
	t.AddFloat("level", r.firstUnit(), level)
	if r.choices.sure {
		t.AddFloat("u_level", r.firstUnit(), u)
	}
	t.AddFloat("model", r.firstUnit(), s.Model)
	pipeline.AddWithNaN(t, "residual", "1", s.Residual)
	t.AddFloat("points", "1", points)
	r.call.Give("levels", -1, t)
}
