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
	Revision: 2,
	Doc:      "Corrects an emission spectrum for exciting light that did not reach, and emitted light that did not leave, the zone that is seen.",
	Formula:  "centre: F = F_obs·10^((A_ex + A_em)/2); whole path: F_obs·σ/(1 − e^−σ)·10^(A_em/2), σ = ln 10·A_ex; front face: F_obs·σ/(1 − e^−σ), σ = ln 10·(A_ex + A_em)",
	Source:   "Lakowicz, Principles of Fluorescence Spectroscopy, 3rd ed. (2006), eq. 2.6 (number from memory); Parker, Photoluminescence of Solutions (1968) (from memory)",
	Methods:  "Emission was corrected for the inner-filter effect ({effect}; geometry: {geometry}; excitation {excitation}) with the absorbance of the same sample.",
	Parts:    pipeline.Shift,
	Ports: []pipeline.Port{
		{Name: "emission", Lead: true, Forms: []pipeline.Form{pipeline.Curve}, Doc: "emission spectra, dark and blank already taken off",
			Columns: []pipeline.Column{{Name: pipeline.AxisColumn, Unit: "nm"}, {Name: pipeline.ValueColumn, Unit: "*"}}},
		{Name: "absorbance", Pair: pipeline.BySample, Forms: []pipeline.Form{pipeline.Curve},
			Doc:     "decadic absorbance of the same sample: of the emission's cell (a pure number), of a cell of another length (a pure number, with `path` and `absorbance-path`), or per length (1/cm), which `path` then multiplies",
			Columns: []pipeline.Column{{Name: pipeline.AxisColumn, Unit: "nm"}, {Name: pipeline.ValueColumn, Unit: "*"}}},
	},
	Outputs: []pipeline.Output{
		{Name: "corrected", Doc: "the emission as a sample without absorption would give it", Form: pipeline.Curve, Like: "emission", Shape: innerFilterShape},
		{Name: "factor", Doc: "what the emission was multiplied by", Form: pipeline.Curve, Columns: []pipeline.Column{
			{Name: "at", Unit: "nm", Doc: "wavelength"},
			{Name: "factor", Unit: "1", U: true, Doc: "F/F_obs"},
			{Name: "common", Unit: "1", Optional: true, Doc: "relative u that all points have in common, from the absorbance at the exciting wavelength; it is within u_factor"},
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
	Path       pipeline.Field `set:"path" unit:"mm" above:"0" words:"as measured" default:"as measured" doc:"length of the emission's cell, by which an absorbance per length is multiplied; as measured: an absorbance that is a pure number was measured in a cell of that length"`
	Own        pipeline.Field `set:"absorbance-path" unit:"mm" above:"0" words:"same" default:"same" doc:"length of the cell in which an absorbance that is a pure number was measured, when it is not the emission's: the absorbance is multiplied by path/absorbance-path"`
	Limit      float64        `set:"limit" default:"0.7" above:"0" max:"7" doc:"sum of the absorbances at both wavelengths above which the correction is flagged, where points beyond it have a twentieth of the light or more: beyond it, what the geometry leaves out counts (the width of the zone that is seen, where it lies, stray light)"`
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

// cellLength is what an absorbance in this unit is multiplied by to be that of a cell of path mm. own is the length in mm of the cell in
// which a pure number was measured. Both are NaN when not set.
func cellLength(unit string, path, own float64) (float64, error) {
	u := parsed(unit)
	perLength := u.Dim() == parsed("1/cm").Dim() && !u.IsOne()
	switch {
	case !u.IsOne() && !perLength:
		return 0, fmt.Errorf("the absorbance is in %s; a pure number, or 1/cm, is expected; feed port `absorbance` from a stage of absorbances", u.Symbol())
	case perLength && !math.IsNaN(own):
		return 0, fmt.Errorf("the absorbance is in %s, per length, and belongs to no cell; take `absorbance-path` out: `path` alone, the length of the emission's cell, is needed", u.Symbol())
	case perLength && math.IsNaN(path):
		return 0, fmt.Errorf("the absorbance is in %s, per length, and no length is set; add `path`, the length of the emission's cell", u.Symbol())
	case perLength:
		_, factor := inside(u.Mul(parsed("mm")))
		return factor * path, nil
	case math.IsNaN(path) && math.IsNaN(own):
		return 1, nil
	case math.IsNaN(own):
		return 0, fmt.Errorf("the absorbance is a pure number, that of its own cell, and `path` says the length of the emission's alone; add `absorbance-path`, the length of the absorbance's cell, or take `path` out when both were measured in one cell")
	case math.IsNaN(path):
		return 0, fmt.Errorf("`absorbance-path` says the length of the absorbance's cell, and nothing that of the emission's; add `path`, or take `absorbance-path` out when both were measured in one cell")
	}
	return path / own, nil
}

// innerFilterShape finds an absorbance in a unit that is none of one, or that does not fit the lengths set, before any file is read.
func innerFilterShape(s pipeline.ShapeCall) ([]pipeline.Column, error) {
	u, known := arriving(s, "absorbance", pipeline.ValueColumn)
	if !known {
		return nil, nil
	}
	path, own := 1.0, 1.0
	if s.Settings.(*innerFilterSettings).Path.Is("as measured") {
		path = math.NaN()
	}
	if s.Settings.(*innerFilterSettings).Own.Is("same") {
		own = math.NaN()
	}
	_, err := cellLength(u.Code(), path, own)
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
	path, own := math.NaN(), math.NaN()
	if !s.Path.Is("as measured") {
		path = call.Number(s.Path, lead).Value
	}
	if !s.Own.Is("same") {
		own = call.Number(s.Own, lead).Value
	}
	o := s.options()
	o.Wavelength = call.Number(s.Excitation, lead).Value
	if o.Length, err = cellLength(a.value.Unit, path, own); err != nil {
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
		if r.Missing+r.Dark+r.Outside == len(c.x) {
			return Places{}, fmt.Errorf("no point of the emission is left: %d have no number in it or in the absorbance, at %d the absorbance is above %g", r.Missing, r.Dark, Highest)
		}
		judgeInnerFilter(call, lead, &c, &a, &r, s, o)
	}
	giveInnerFilter(call, lead, &c, &r)
	return r.Places, nil
}

// overShare is the share of the corrected light beyond the limit on absorbances from which on it is remarked: a few points at an end of the band,
// beside the exciting light, do not matter to it. Common practice, no source.
const overShare = 0.05

// judgeInnerFilter says what a person should know of the correction.
func judgeInnerFilter(call *pipeline.Call, lead int, c, a *curve, r *InnerFilter, s *innerFilterSettings, o InnerFilterOptions) {
	flag := func(level pipeline.FlagLevel, format string, args ...any) {
		call.Flag(level, "corrected", lead, format, args...)
	}
	over, worst, at := 0, 0.0, 0.0
	light, dim := 0.0, 0.0 // of all points, and of those over the limit
	negative, least := 0, 0.0
	for i, em := range r.Em {
		if r.Places.Emission[i].At < 0 {
			continue
		}
		light += math.Abs(r.Y[i])
		if sum := r.Ex + em; sum > s.Limit {
			over++
			dim += math.Abs(r.Y[i])
			if sum > worst {
				worst, at = sum, c.x[i]
			}
		}
		if em < -0.02 {
			negative++
			least = min(least, em)
		}
	}
	if dim > overShare*light {
		flag(pipeline.Flagged, "the absorbances at both wavelengths sum up to more than the limit of %g at %d points, to %.3g at %.4g nm, where %.3g times too little light was seen: the correction leans on geometry and stray light there, which are not in u; dilute the sample",
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
	if r.Outside > 0 {
		flag(pipeline.Flagged, "%d points beyond the range of the absorbance (%s nm) are left out", r.Outside, span(a.x))
	}
	judgeCommon(flag, r)
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

// judgeCommon says when what all points have in common by the absorbance at the exciting wavelength is more than what is left of all other
// noise in a sum over the points (flagged: three times that, or more than the noise of the highest point): u of such a sum, found as if points
// were independent, is then too small.
func judgeCommon(flag func(pipeline.FlagLevel, string, ...any), r *InnerFilter) {
	if r.Common == nil || r.U == nil {
		return
	}
	top := -1
	var sum, square float64
	for i, y := range r.Y {
		own := r.U[i]*r.U[i] - y*y*r.Common[i]*r.Common[i]
		if math.IsNaN(own) {
			continue
		}
		sum, square = sum+y, square+max(0, own)
		if top < 0 || math.Abs(y) > math.Abs(r.Y[top]) {
			top = i
		}
	}
	if top < 0 || r.Y[top] == 0 {
		return
	}
	common := r.Common[top]
	own := math.Sqrt(max(0, r.U[top]*r.U[top]/(r.Y[top]*r.Y[top])-common*common))
	whole := math.Sqrt(square) / math.Abs(sum)
	says := "the noise of the absorbance at the exciting wavelength moves all points together, by %.2g %% (relative); it is within u of each, but an area or a mean over points takes it as if it were of each alone, and its u lacks most of it"
	switch {
	case common > own || common > 3*whole:
		flag(pipeline.Flagged, says+": other noise is %.2g %% at the maximum, and %.2g %% of the sum over all points; average the absorbance there over some wavelengths or scans", 100*common, 100*own, 100*whole)
	case common > whole:
		flag(pipeline.Note, says, 100*common)
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
	call.Give("corrected", lead, cut(out, r.Places.First, r.Places.Last))

	f := &table.Table{}
	pipeline.AddWithNaN(f, "at", "nm", c.x)
	pipeline.AddWithNaN(f, "factor", "1", r.Factor)
	if r.UFactor != nil {
		pipeline.AddWithNaN(f, "u_factor", "1", r.UFactor)
	}
	if r.Common != nil {
		pipeline.AddWithNaN(f, "common", "1", r.Common)
	}
	call.Give("factor", lead, cut(f, r.Places.First, r.Places.Last))
}
