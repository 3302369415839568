package spectra

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"fascicle/catalog"
	"fascicle/pipeline"
	"fascicle/pipeline/table"
)

// BandsKind describes a band by place, height, width and area.
var BandsKind = pipeline.Kind{
	Name:     "spectra.bands",
	Revision: 4,
	Doc:      "Describes a band: maximum, height, centroid over the energy, width, area and onset, and its ratio to a second band.",
	Formula: "maximum: p′(λ) = 0, p a polynomial through the top; centroid = ∫ E·I(E) dE / ∫ I(E) dE, E = hc/λ, of emission I(E) = I(λ)·λ²/hc; " +
		"width between the places of half the height; area = ∫ I dλ; onset where a line through the flank from 0.35 to 0.85 of the height meets the baseline; u² = Σ (∂/∂I_i)²·u_i²",
	Source:  "Jacobian: identity; Mooney and Kambhampati, J. Phys. Chem. Lett. 4 (2013) 3316 (from memory); propagation: JCGM 100:2008, 5.1.2; windows and onset: common practice, no source",
	Methods: "Bands were measured between {range} (baseline: {baseline}): the maximum by a polynomial of degree {degree} through the points above {top} of the height, the centroid over the energy (emission or absorption: {spectrum}).",
	Parts:   pipeline.Shift,
	Ports: []pipeline.Port{{
		Name: "curve", Lead: true, Forms: []pipeline.Form{pipeline.Curve}, Doc: "spectrum over the wavelength",
		Columns: []pipeline.Column{{Name: pipeline.AxisColumn, Unit: "nm"}, {Name: pipeline.ValueColumn, Unit: "*"}},
	}},
	Outputs: []pipeline.Output{
		{Name: "bands", Doc: "the band's numbers", Form: pipeline.Values, Shape: areaShape, Columns: []pipeline.Column{
			{Name: "maximum", Unit: "nm", U: true, Optional: true, Doc: "place of the maximum"},
			{Name: "height", Unit: "=curve", U: true, Optional: true, Doc: "height of the maximum over the baseline"},
			{Name: "centroid", Unit: "eV", U: true, Optional: true, Doc: "centre of gravity over the energy"},
			{Name: "width", Unit: "nm", U: true, Optional: true, Doc: "full width at half maximum"},
			{Name: "area", Unit: "*", U: true, Doc: "integral over the wavelength within the range"},
			{Name: "onset", Unit: "nm", U: true, Optional: true, Doc: "where a straight line through the flank (0.35 to 0.85 of the height) meets the baseline: at short wavelengths for emission, at long ones for absorption"},
			{Name: "height_ratio", Unit: "1", U: true, Optional: true, Doc: "height over that of the second band"},
			{Name: "area_ratio", Unit: "1", U: true, Optional: true, Doc: "area over that of the second band"},
			{Name: "top_first", Unit: "nm", Optional: true, Doc: "first point of the polynomial through the top"},
			{Name: "top_last", Unit: "nm", Optional: true, Doc: "last point of the polynomial through the top"},
		}},
		{Name: "curve", Doc: "the range with baseline and polynomial, for the figure", Form: pipeline.Curve, Columns: []pipeline.Column{
			{Name: "wavelength", Unit: "nm", Doc: "wavelength"},
			{Name: "value", Unit: "=curve", U: true, Doc: "the spectrum"},
			{Name: "baseline", Unit: "=curve", Doc: "what is taken off"},
			{Name: "model", Unit: "=curve", Doc: "the polynomial through the top"},
			{Name: "used", Unit: "1", Doc: "1 where the polynomial used the point"},
		}},
	},
	Figures: []pipeline.Figure{{
		Name: "band", Title: "Band", Minor: true,
		X: pipeline.Axis{Label: "wavelength"}, Y: pipeline.Axis{Label: "signal"},
		Series: []pipeline.Series{
			{Output: "curve", X: "wavelength", Y: "value", Role: pipeline.Points, Label: "measured", Used: "used"},
			{Output: "curve", X: "wavelength", Y: "baseline", Role: pipeline.Line, Label: "baseline"},
			{Output: "curve", X: "wavelength", Y: "model", Role: pipeline.Line, Label: "polynomial"},
		},
		Marks: []pipeline.Mark{{Output: "bands", At: "maximum", Label: "maximum"}, {Output: "bands", At: "onset", Label: "onset"}},
	}},
	Settings: func() any { return &bandsSettings{} },
	Run:      runBands,
}

type bandsSettings struct {
	Range       pipeline.Range `set:"range" unit:"nm" above:"0" doc:"where the band lies, ends included"`
	SecondRange pipeline.Range `set:"second-range" unit:"nm" words:"none" default:"none" above:"0" doc:"where a second band lies, for the ratios"`
	Baseline    string         `set:"baseline" oneof:"none|constant|linear" default:"none" doc:"what is taken off under each band: the mean of the first and the last twentieth of its range, or a line through both"`
	Spectrum    string         `set:"spectrum" oneof:"by unit|emission|absorption" default:"by unit" doc:"emission: values are densities over the wavelength, so the centroid over the energy takes a Jacobian; absorption: they are not, and the onset lies at long wavelengths; by unit: absorption for values per length (1/cm) or in L/(mol.cm), and for a pure number whose column is named as absorbances are (A, abs, absorbance, OD), else emission"`
	Degree      int            `set:"degree" default:"4" min:"2" max:"6" doc:"degree of the polynomial through the top"`
	Top         float64        `set:"top" unit:"1" default:"80 %" min:"0.2" max:"0.99" doc:"share of the height down to which the polynomial's points reach"`
}

func (s *bandsSettings) options() BandOptions {
	o := BandOptions{Degree: s.Degree, Top: s.Top, Absorption: s.Spectrum == "absorption"} // by unit: decided for each curve
	switch s.Baseline {
	case "constant":
		o.Baseline = ConstantBaseline
	case "linear":
		o.Baseline = LinearBaseline
	}
	return o
}

// areaShape gives the area its unit: the curve's value times nm, in what the program uses inside.
func areaShape(c pipeline.ShapeCall) ([]pipeline.Column, error) {
	out := []pipeline.Column{{Name: "area", Unit: "*", U: true, Doc: "integral over the wavelength within the range"}}
	for i, a := range c.Ports["curve"] {
		code := ""
		numbers := 0
		for _, col := range a.Columns {
			if col.Text || len(col.Name) > 2 && col.Name[:2] == "u_" {
				continue
			}
			if numbers++; numbers == 2 && !col.Any {
				unit, _ := areaUnit(col.Unit)
				code = unit.Code()
			}
		}
		if a.Unknown || code == "" || i > 0 && code != out[0].Unit {
			out[0].Unit = "*"
			return out, nil
		}
		out[0].Unit = code
	}
	return out, nil
}

// areaUnit is the unit of an area below a curve in a unit over nm, and the factor that turns a product of both into it. Of an absorption
// coefficient it is nm/cm, since the pure number that lengths cancel to would be of the order of 1e-7.
func areaUnit(value catalog.Unit) (catalog.Unit, float64) {
	nm, err := catalog.ParseUnit("nm")
	if err != nil {
		panic("spectra: " + err.Error())
	}
	product := value.Mul(nm)
	if !value.IsOne() && product.Dim() == (catalog.Dimension{}) {
		return product, 1
	}
	unit := catalog.Canonical(product.Dim(), false)
	c, err := catalog.Convert(product, unit)
	if err != nil {
		panic("spectra: " + err.Error())
	}
	return unit, c.Delta(1)
}

// bandsChoices is what was decided about one curve.
type bandsChoices struct {
	first  BandChoice
	second *BandChoice
}

func runBands(ctx context.Context, call *pipeline.Call) (pipeline.Choices, error) {
	s := call.Settings.(*bandsSettings)
	choices := make([]bandsChoices, len(call.Leads))
	earlier, _ := call.Choices.([]bandsChoices)
	var w Workspace
	for i, lead := range call.Leads {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		b := bandsRun{settings: s, o: s.options(), call: call, lead: i, w: &w}
		if earlier != nil {
			b.given = &earlier[i]
		}
		c, err := b.run(lead.Table)
		if err != nil {
			return nil, err
		}
		choices[i] = c
	}
	return choices, nil
}

// bandsRun is the work on one curve.
type bandsRun struct {
	settings *bandsSettings
	o        BandOptions
	call     *pipeline.Call
	lead     int
	given    *bandsChoices
	w        *Workspace
	spectrum
}

func (b *bandsRun) flag(level pipeline.FlagLevel, format string, args ...any) {
	b.call.Flag(level, "bands", b.lead, format, args...)
}

func (b *bandsRun) run(t *table.Table) (bandsChoices, error) {
	var err error
	if b.spectrum, err = readSpectrum(t); err != nil {
		return bandsChoices{}, err
	}
	if b.settings.Spectrum == byUnit {
		b.o.Absorption = isAbsorption(b.spectrum.name, b.unit)
	}
	c, err := b.choose()
	if err != nil {
		return c, err
	}
	m := MeasureBands(b.x, b.y, b.u, c.first, c.second, b.o, b.w)
	b.give(&m, &c)
	b.judge(&m, &c)
	return c, nil
}

// choose decides on both bands, or takes what was decided before.
func (b *bandsRun) choose() (c bandsChoices, err error) {
	if b.given != nil {
		return *b.given, nil
	}
	if c.first, err = b.band("range", b.settings.Range); err != nil {
		return c, err
	}
	if b.settings.SecondRange.Word == "" {
		second, err := b.band("second-range", b.settings.SecondRange)
		if err != nil {
			return c, err
		}
		c.second = &second
	}
	return c, nil
}

// band finds a range in the scan and decides how its band is measured.
func (b *bandsRun) band(name string, r pipeline.Range) (BandChoice, error) {
	first, last := -1, -1
	for i, x := range b.x {
		if r.Contains(x) {
			if first < 0 {
				first = i
			}
			last = i
		}
	}
	n := len(b.x)
	if err := b.topMissing(name, r, first, last); err != nil {
		return BandChoice{}, err
	}
	switch {
	case first < 0:
		return BandChoice{}, fmt.Errorf("setting `%s`: no point of the spectrum lies in it; the scan reaches from %.6g to %.6g nm: correct the range, or measure that far", name, b.x[0], b.x[n-1])
	case last-first < 2:
		return BandChoice{}, fmt.Errorf("setting `%s`: only %d points of the spectrum lie in it, where a band has at least 3; the scan reaches from %.6g to %.6g nm", name, last-first+1, b.x[0], b.x[n-1])
	}
	if first == 0 && !r.OpenLo && r.Lo < b.x[0]-(b.x[1]-b.x[0]) {
		b.flag(pipeline.Flagged, "the scan begins at %.6g nm, within the range (setting `%s`): the area lacks what lies below", b.x[0], name)
	}
	if last == n-1 && !r.OpenHi && r.Hi > b.x[n-1]+(b.x[n-1]-b.x[n-2]) {
		b.flag(pipeline.Flagged, "the scan ends at %.6g nm, within the range (setting `%s`): the area lacks what lies above", b.x[n-1], name)
	}
	for _, gap := range b.gaps {
		if gap >= b.x[first] && gap <= b.x[last] {
			b.flag(pipeline.Note, "points without a value, the first at %.6g nm, were passed over: the area is interpolated there", gap)
			break
		}
	}
	return ChooseBand(b.x, b.y, b.u, first, last, b.o, b.w), nil
}

// topMissing refuses a range whose band lost its top: most of its points have no value, or two or more of them stand beside the highest that
// is left. So it is where a detector was over range, and height, area and maximum of the rest would be those of another band.
func (b *bandsRun) topMissing(name string, r pipeline.Range, first, last int) error {
	missing := 0
	for _, gap := range b.gaps {
		if r.Contains(gap) {
			missing++
		}
	}
	points := 0
	if first >= 0 {
		points = last - first + 1
	}
	if missing > points {
		return fmt.Errorf("setting `%s`: %d of the %d points of the scan that lie in it have no value (over range?): the band is not seen; measure with less light, a shorter path, or diluted",
			name, missing, missing+points)
	}
	if first < 0 || missing == 0 {
		return nil
	}
	top := first
	for i := first; i <= last; i++ {
		if b.y[i] > b.y[top] {
			top = i
		}
	}
	from, to := math.Inf(-1), math.Inf(1)
	if top > 0 {
		from = b.x[top-1]
	}
	if top+1 < len(b.x) {
		to = b.x[top+1]
	}
	beside := 0
	for _, gap := range b.gaps {
		if gap > from && gap < to && r.Contains(gap) {
			beside++
		}
	}
	if beside < 2 {
		return nil
	}
	return fmt.Errorf("setting `%s`: %d points beside the highest that is left, at %.6g nm, have no value (over range?): the top of the band is missing; measure with less light, a shorter path, or diluted",
		name, beside, b.x[top])
}

// judge says what a person should know before using the numbers.
func (b *bandsRun) judge(m *Bands, c *bandsChoices) {
	if b.u == nil {
		b.flag(pipeline.Flagged, "the spectrum's uncertainties are unknown: u of maximum, height, width and onset is from the scatter about the polynomials, that of area and centroid is unknown")
	} else if math.IsNaN(m.N[Area].U) {
		b.flag(pipeline.Flagged, "the uncertainty of some points is unknown, and so is that of the area")
	}
	b.judgeSort()
	b.judgeTop("", &c.first, m)
	if c.second != nil {
		b.judgeTop("second band: ", c.second, nil)
		if c.second.WeakArea {
			b.flag(pipeline.Flagged, "second band: the area does not stand out of its noise: no ratio of areas")
		}
	}
	if c.first.WeakArea {
		b.flag(pipeline.Flagged, "the area does not stand out of its noise: there is no centroid")
	}
	if m.Rough {
		b.flag(pipeline.Flagged, "the noise hides how the top bends: the maximum is rough, and its u only a first-order figure; lower `degree` or `top`, or measure longer")
	}
	if m.TopP < 1e-3 {
		b.flag(pipeline.Flagged, "a polynomial of degree %d does not describe the top within its noise (χ² test, p = %.2g): u of the maximum is too small; raise `degree` or `top`", b.o.Degree, m.TopP)
	}
}

// byUnit is the word that leaves it to unit and name of the values whether they are an emission or an absorption.
const byUnit = "by unit"

// isAbsorption tells whether values of this name and unit (a UCUM code) are an absorption: per length, or for each mole in addition, or pure
// numbers that are named as absorbances are. Common practice, no source.
func isAbsorption(name, unit string) bool {
	u, err := catalog.ParseUnit(unit)
	if err != nil {
		panic("spectra: " + err.Error())
	}
	if u.IsOne() {
		name = strings.ToLower(name)
		return name == "a" || name == "abs" || name == "od" || name == "extinction" || strings.HasPrefix(name, "absorb") || strings.HasPrefix(name, "abs_")
	}
	return slices.ContainsFunc([]string{"1/cm", "L/(mol.cm)"}, func(code string) bool {
		one, err := catalog.ParseUnit(code)
		if err != nil {
			panic("spectra: " + err.Error())
		}
		return u.Dim() == one.Dim()
	})
}

// judgeSort says what the values were taken as, where that could be another thing.
func (b *bandsRun) judgeSort() {
	name, likely := b.spectrum.name, isAbsorption(b.spectrum.name, b.unit)
	switch {
	case b.settings.Spectrum != byUnit:
		if likely && !b.o.Absorption {
			b.flag(pipeline.Flagged, "the values (%s, %s) look like an absorption, but `spectrum` says emission: centroid and onset are those of an emission; take `spectrum` out if that is wrong", name, inUnit(b.unit))
		}
	case likely:
		b.flag(pipeline.Note, "the values (%s, %s) were taken as an absorption; for emission set `spectrum: emission`", name, inUnit(b.unit))
	case b.unit == "1":
		b.flag(pipeline.Note, "the values (%s) have no unit and were taken as emission; for absorbances set `spectrum: absorption`", name)
	}
}

// inUnit says a unit in words.
func inUnit(code string) string {
	if code == "1" {
		return "a pure number"
	}
	return "in " + code
}

// judgeTop says what became of a band's top; m is nil for the second band.
func (b *bandsRun) judgeTop(which string, c *BandChoice, m *Bands) {
	switch c.State {
	case TopFew:
		b.flag(pipeline.Flagged, "%sthe range has %d points, too few for a polynomial of degree %d: no maximum, height or width; lower `degree` or widen the range", which, c.last-c.first+1, b.o.Degree)
	case TopUnseen:
		b.flag(pipeline.Flagged, "%sno band stands out of the noise: no maximum, height or width", which)
	case TopNone:
		b.flag(pipeline.Flagged, "%sthe polynomial through the top has no maximum there: no maximum, height or width; lower `top`", which)
	case TopAtShort:
		b.flag(pipeline.Flagged, "%sthe highest point is the first of the range, %.6g nm: the maximum lies there or below, the height is a lower bound, the width unknown; widen the range", which, b.x[c.first])
	case TopAtLong:
		b.flag(pipeline.Flagged, "%sthe highest point is the last of the range, %.6g nm: the maximum lies there or above, the height is a lower bound, the width unknown; widen the range", which, b.x[c.last])
	case TopFlat:
		b.flag(pipeline.Flagged, "%s%d equal highest values from %.6g to %.6g nm: the band is clipped (saturated detector?); the maximum lies between, height and area are lower bounds, the width is an upper one; measure with less light or a shorter path",
			which, c.top.points(), b.x[c.top.first], b.x[c.top.last])
	}
	if c.Rounded {
		b.flag(pipeline.Note, "%sseveral equal highest values, as the rounding of the file explains them", which)
	}
	if m == nil || c.State != TopFound && c.State != TopFlat {
		return
	}
	if !math.IsNaN(c.Again) {
		b.flag(pipeline.Note, "the spectrum rises over half the height again at %.6g nm: the width is that of the highest band alone", c.Again)
	}
	if math.IsNaN(m.N[Width].Value) {
		b.flag(pipeline.Flagged, "no width: %s", b.noWidth(c))
	}
	if c.State == TopFound && math.IsNaN(m.N[Onset].Value) {
		b.flag(pipeline.Note, "no onset: the flank between %.0f %% and %.0f %% of the height is not within the range, has fewer than %d points, or does not rise steadily", 100*flankLow, 100*flankHigh, minFlank)
	}
}

func (b *bandsRun) noWidth(c *BandChoice) string {
	switch {
	case !c.left.some():
		return "towards short wavelengths the band does not fall to half its height within the range"
	case !c.right.some():
		return "towards long wavelengths the band does not fall to half its height within the range"
	}
	return "a flank is too noisy to be crossed at half the height"
}
