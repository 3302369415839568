package correction

import (
	"context"
	"errors"
	"fmt"
	"math"

	"fascicle/pipeline"
	"fascicle/pipeline/table"
)

// InnerFilterKind corrects an emission spectrum for light that the sample itself absorbs.
var InnerFilterKind = pipeline.Kind{
	Name:     "correct.inner-filter",
	Revision: 1,
	Doc:      "Corrects an emission spectrum for exciting light that did not reach, and emitted light that did not leave, the zone that is seen.",
	Formula:  "centre: F = F_obs·10^((A_ex + A_em)/2); whole path: F_obs·σ/(1 − e^−σ)·10^(A_em/2), σ = ln 10·A_ex; front face: F_obs·σ/(1 − e^−σ), σ = ln 10·(A_ex + A_em)",
	Source:   "Lakowicz, Principles of Fluorescence Spectroscopy, 3rd ed. (2006), eq. 2.6 (number from memory); Parker, Photoluminescence of Solutions (1968) (from memory)",
	Methods:  "Emission was corrected for the inner-filter effect ({effect}; geometry: {geometry}; excitation {excitation}) with the absorbance of the same sample.",
	Parts:    pipeline.Shift,
	Ports: []pipeline.Port{
		{Name: "emission", Lead: true, Forms: []pipeline.Form{pipeline.Curve}, Doc: "emission spectra, dark and blank already taken off",
			Columns: []pipeline.Column{{Name: pipeline.AxisColumn, Unit: "nm"}, {Name: pipeline.ValueColumn, Unit: "*"}}},
		{Name: "absorbance", Pair: pipeline.BySample, Forms: []pipeline.Form{pipeline.Curve},
			Doc:     "decadic absorbance of the same sample: of the emission's cell (a pure number), or per length (1/cm), which `path` then multiplies",
			Columns: []pipeline.Column{{Name: pipeline.AxisColumn, Unit: "nm"}, {Name: pipeline.ValueColumn, Unit: "*"}}},
	},
	Outputs: []pipeline.Output{
		{Name: "corrected", Doc: "the emission as a sample without absorption would give it", Form: pipeline.Curve, Like: "emission", Shape: innerFilterShape},
		{Name: "factor", Doc: "what the emission was multiplied by", Form: pipeline.Curve, Columns: []pipeline.Column{
			{Name: "at", Unit: "nm", Doc: "wavelength"},
			{Name: "factor", Unit: "1", U: true, Doc: "F/F_obs"},
		}},
	},
	Figures: []pipeline.Figure{{
		Name: "spectra", Title: "Inner-filter correction", Minor: true,
		X: pipeline.Axis{Label: "wavelength"}, Y: pipeline.Axis{Label: "emission"},
		Series: []pipeline.Series{
			{Port: "emission", X: pipeline.AxisColumn, Y: pipeline.ValueColumn, Role: pipeline.Line, Label: "observed"},
			{Output: "corrected", X: pipeline.AxisColumn, Y: pipeline.ValueColumn, Role: pipeline.Points, Label: "corrected"},
		},
	}},
	Settings: func() any { return &innerFilterSettings{} },
	Run:      runInnerFilter,
}

type innerFilterSettings struct {
	Geometry   string         `set:"geometry" oneof:"centre|whole path|front face" default:"centre" doc:"centre: at right angles, a narrow zone in the middle is seen; whole path: at right angles, all of the beam is seen; front face: light comes and goes through one face"`
	Effect     string         `set:"effect" oneof:"both|excitation|emission" default:"both" doc:"which light is corrected for"`
	Excitation pipeline.Field `set:"excitation" unit:"nm" above:"0" doc:"exciting wavelength"`
	Path       pipeline.Field `set:"path" unit:"mm" above:"0" words:"as measured" default:"as measured" doc:"length of the emission's cell, by which an absorbance per length is multiplied; an absorbance that is a pure number is taken as this cell's"`
	Limit      float64        `set:"limit" default:"2.0" above:"0" max:"7" doc:"sum of the absorbances at both wavelengths above which the correction is flagged"`
}

func (s *innerFilterSettings) options() InnerFilterOptions {
	o := InnerFilterOptions{Excitation: s.Effect != "emission", Emission: s.Effect != "excitation"}
	switch s.Geometry {
	case "whole path":
		o.Geometry = WholePath
	case "front face":
		o.Geometry = FrontFace
	}
	return o
}

// cellLength is what an absorbance in this unit is multiplied by to be that of a cell of path mm; path is NaN when no length is set.
func cellLength(unit string, path float64) (float64, error) {
	switch u := parsed(unit); {
	case u.IsOne():
		return 1, nil
	case u.Dim() != parsed("1/cm").Dim():
		return 0, fmt.Errorf("the absorbance is in %s; a pure number, or 1/cm, is expected; feed port `absorbance` from a stage of absorbances", u.Symbol())
	case math.IsNaN(path):
		return 0, fmt.Errorf("the absorbance is in %s, per length, and no length is set; add `path`, the length of the emission's cell", u.Symbol())
	default:
		_, factor := inside(u.Mul(parsed("mm")))
		return factor * path, nil
	}
}

// innerFilterShape finds an absorbance in a unit that is none of one before any file is read.
func innerFilterShape(s pipeline.ShapeCall) ([]pipeline.Column, error) {
	u, known := arriving(s, "absorbance", pipeline.ValueColumn)
	if !known {
		return nil, nil
	}
	path := 1.0
	if s.Settings.(*innerFilterSettings).Path.Is("as measured") {
		path = math.NaN()
	}
	_, err := cellLength(u.Code(), path)
	return nil, err
}

func runInnerFilter(ctx context.Context, call *pipeline.Call) (pipeline.Choices, error) {
	choices := make([]Places, len(call.Leads))
	earlier, _ := call.Choices.([]Places)
	for i := range call.Leads {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		var given *Places
		if earlier != nil {
			given = &earlier[i]
		}
		places, err := innerFilterOf(call, i, given)
		if err != nil {
			return nil, err
		}
		choices[i] = places
	}
	return choices, nil
}

// innerFilterOf corrects one spectrum.
func innerFilterOf(call *pipeline.Call, lead int, given *Places) (Places, error) {
	s := call.Settings.(*innerFilterSettings)
	c, err := readCurve(call.Leads[lead].Table, "the emission")
	if err != nil {
		return Places{}, err
	}
	a, err := readCurve(call.Partner("absorbance", lead).Table, "the absorbance")
	if err != nil {
		return Places{}, err
	}
	for _, axis := range [...]*table.Column{c.axis, a.axis} {
		if axis.Unit != "nm" { // known only now where the study leaves units to the files
			return Places{}, fmt.Errorf("the axis %s is %s; expected wavelengths in nm; give the unit under `columns` of the import, such as `%s: \"1 [nm]\"`", axis.Name, inUnit(axis.Unit), axis.Name)
		}
	}
	path := math.NaN()
	if !s.Path.Is("as measured") {
		path = call.Number(s.Path, lead).Value
	}
	o := s.options()
	o.Wavelength = call.Number(s.Excitation, lead).Value
	if o.Length, err = cellLength(a.value.Unit, path); err != nil {
		return Places{}, err
	}
	r, err := CorrectInnerFilter(c.x, c.y, c.u, a.x, a.y, a.u, o, given)
	switch {
	case errors.Is(err, ErrNoAbsorbance):
		return Places{}, fmt.Errorf("%w nm; measure the absorbance over the whole range, or correct one effect alone (`effect`)", err)
	case errors.Is(err, ErrTooDark):
		return Places{}, fmt.Errorf("%w; dilute the sample, or measure it in a shorter cell or by its front face", err)
	case err != nil:
		return Places{}, err
	}
	if given == nil {
		if r.Missing+r.Dark == len(c.x) {
			return Places{}, fmt.Errorf("no point of the emission is left: %d have no number in it or in the absorbance, at %d the absorbance is above %g", r.Missing, r.Dark, Highest)
		}
		judgeInnerFilter(call, lead, &c, &a, &r, s, o)
	}
	giveInnerFilter(call, lead, &c, &r)
	return r.Places, nil
}

// judgeInnerFilter says what a person should know of the correction.
func judgeInnerFilter(call *pipeline.Call, lead int, c, a *curve, r *InnerFilter, s *innerFilterSettings, o InnerFilterOptions) {
	flag := func(level pipeline.FlagLevel, format string, args ...any) {
		call.Flag(level, "corrected", lead, format, args...)
	}
	over, worst, at := 0, 0.0, 0.0
	negative, least := 0, 0.0
	for i, em := range r.Em {
		if r.Places.Emission[i].At < 0 {
			continue
		}
		if sum := r.Ex + em; sum > s.Limit {
			over++
			if sum > worst {
				worst, at = sum, c.x[i]
			}
		}
		if em < -0.02 {
			negative++
			least = min(least, em)
		}
	}
	if over > 0 {
		flag(pipeline.Flagged, "the absorbances at both wavelengths sum up to more than the limit of %g at %d points, to %.3g at %.4g nm, where %.3g times too little light was seen: the correction leans on geometry and stray light there; dilute the sample",
			s.Limit, over, worst, at, r.Factor[nearest(c.x, at)])
	}
	if r.Ex < -0.02 {
		flag(pipeline.Flagged, "the absorbance at the exciting wavelength is negative (%.3g): look at its baseline", r.Ex)
	}
	if negative > 0 {
		flag(pipeline.Flagged, "the absorbance is negative at %d emitted wavelengths, down to %.3g: look at its baseline", negative, least)
	}
	if r.Dark > 0 {
		flag(pipeline.Flagged, "%d points at which the absorbance is above %g, more than a photometer can measure, are left out", r.Dark, Highest)
	}
	if r.Missing > 0 {
		flag(pipeline.Note, "%d points without a number in the emission or the absorbance are left out", r.Missing)
	}
	switch {
	case a.u == nil:
		flag(pipeline.Note, "the uncertainty of the absorbance is unknown, and so is that of the corrected emission")
	case c.u == nil:
		flag(pipeline.Note, "the uncertainty of the emission is unknown, and stays so")
	}
}

// nearest is the first point at x.
func nearest(x []float64, at float64) int {
	for i, v := range x {
		if v == at {
			return i
		}
	}
	return 0
}

func giveInnerFilter(call *pipeline.Call, lead int, c *curve, r *InnerFilter) {
	out := copyColumns(call.Leads[lead].Table)
	u := r.U
	if u == nil {
		u = Affine(make([]float64, len(r.Y)), r.Y, 0, math.NaN()) // unknown throughout
	}
	replace(out, c.value.Name, c.value.Unit, r.Y)
	replace(out, "u_"+c.value.Name, c.value.Unit, u)
	bounds(out, c.value.Name, func(i int, v float64) float64 { return v * r.Factor[i] })
	call.Give("corrected", lead, out)

	f := &table.Table{}
	pipeline.AddWithNaN(f, "at", "nm", c.x)
	pipeline.AddWithNaN(f, "factor", "1", r.Factor)
	if r.UFactor != nil {
		pipeline.AddWithNaN(f, "u_factor", "1", r.UFactor)
	}
	call.Give("factor", lead, f)
}
