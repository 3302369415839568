package correction

import (
	"context"
	"errors"
	"fmt"
	"math"

	"fascicle/pipeline"
)

// DarkKind takes the signal of the closed detector off a scan.
var DarkKind = pipeline.Kind{
	Name:     "correct.dark",
	Revision: 1,
	Doc:      "Takes the dark signal off a scan; counts of a dark scan with another dwell time are scaled to the scan's, rates and analog signals are not.",
	Formula:  "y = y_curve − r·y_dark, u² = u_curve² + r²·u_dark²; r = t_curve/t_dark for counts, 1 for counts/s and analog signals",
	Source:   "common practice, no source",
	Methods:  "A dark scan was subtracted point by point (dwell time {dwell}).",
	Parts:    pipeline.Shift,
	Ports: []pipeline.Port{
		{Name: "curve", Lead: true, Forms: []pipeline.Form{pipeline.Curve}, Doc: "the scan to correct; a pure number is taken as counts gathered over the dwell time",
			Columns: []pipeline.Column{{Name: pipeline.AxisColumn, Unit: "*"}, {Name: pipeline.ValueColumn, Unit: "*"}}},
		{Name: "dark", Pair: pipeline.ByMatch, Forms: []pipeline.Form{pipeline.Curve}, Doc: "a scan with the shutter closed, in the same unit",
			Columns: []pipeline.Column{{Name: pipeline.AxisColumn, Unit: "=curve.axis"}, {Name: pipeline.ValueColumn, Unit: "=curve"}}},
	},
	Outputs: []pipeline.Output{{Name: "corrected", Doc: "the scan less its dark signal", Form: pipeline.Curve, Like: "curve"}},
	Figures: []pipeline.Figure{{
		Name: "curves", Title: "Scan and dark scan", Minor: true,
		Series: []pipeline.Series{
			{Port: "curve", X: pipeline.AxisColumn, Y: pipeline.ValueColumn, Role: pipeline.Line, Label: "measured"},
			{Port: "dark", X: pipeline.AxisColumn, Y: pipeline.ValueColumn, Role: pipeline.Line, Label: "dark, unscaled"},
			{Output: "corrected", X: pipeline.AxisColumn, Y: pipeline.ValueColumn, Role: pipeline.Points, Label: "difference"},
		},
	}},
	Settings: func() any { return &darkSettings{} },
	Run:      runDark,
}

type darkSettings struct {
	Dwell pipeline.Field `set:"dwell" unit:"s" above:"0" words:"equal" default:"equal" also:"dark" doc:"time for each point of the scan, and of the dark scan by its own fields; equal: both took the same; a header field is looked up only when it is named here, as in dwell: dwell"`
}

// ErrDwell says that a dwell time is not a positive number.
var ErrDwell = errors.New("a dwell time must be a positive number")

// DarkRatio is what a dark scan is multiplied by before it is subtracted: curve/dark, the ratio of the dwell times, for counts, which
// pile up with time, and 1 for everything that is a level or a rate already (counts/s, V, A): there a longer dwell makes the noise
// smaller, not the dark signal.
//
// A part of the dark signal that does not grow with time (the offset of a camera's readout) is scaled wrongly by this; only a dark scan
// with the same dwell takes it off.
//
// unit is the UCUM code of the values. Errors: ErrDwell.
//
// Source: common practice, no source.
func DarkRatio(unit string, curve, dark float64) (float64, error) {
	for _, t := range [...]float64{curve, dark} {
		if !(t > 0) || math.IsInf(t, 1) {
			return 0, fmt.Errorf("%w (it is %v s)", ErrDwell, t)
		}
	}
	if unit != "1" && unit != "" {
		return 1, nil
	}
	return curve / dark, nil
}

func runDark(ctx context.Context, call *pipeline.Call) (pipeline.Choices, error) {
	s := call.Settings.(*darkSettings)
	choices := make([]differenceChoices, len(call.Leads))
	earlier, _ := call.Choices.([]differenceChoices)
	for i, lead := range call.Leads {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		d := difference{call: call, lead: i, scale: 1, keep: pipeline.Range{Word: "all"}, what: "the scan", off: "the dark scan"}
		var err error
		if d.curve, err = readCurve(lead.Table, d.what); err != nil {
			return nil, err
		}
		if d.other, err = readCurve(call.Partner("dark", i).Table, d.off); err != nil {
			return nil, err
		}
		if !s.Dwell.Is("equal") {
			own, dark := call.Number(s.Dwell, i).Value, call.PartnerNumber(s.Dwell, "dark", i, 0).Value
			if d.scale, err = DarkRatio(d.curve.value.Unit, own, dark); err != nil {
				return nil, err
			}
			if d.scale != 1 {
				d.flag(pipeline.Note, "the dark counts are multiplied by %.4g (dwell %.4g s against %.4g s); an offset of the readout, which does not grow with time, would be scaled wrongly", d.scale, own, dark)
			}
		}
		if earlier != nil {
			d.earlier = &earlier[i]
		}
		if choices[i], err = d.run(lead.Table); err != nil {
			return nil, err
		}
		if below, n := belowZero(choices[i].met.Y); earlier == nil && Mostly(below, n) {
			d.flag(pipeline.Flagged, "the dark scan lies above the scan at %d of %d points: light got into it, its dwell is not what `dwell` says, or the two were mixed up", below, n)
		}
	}
	return choices, nil
}

func belowZero(y []float64) (below, n int) {
	for _, v := range y {
		if v == v && v != 0 {
			n++
			if v < 0 {
				below++
			}
		}
	}
	return below, n
}

// Mostly tells whether more signs of n are of one sort than chance would make them, by more than four standard deviations of a fair coin.
func Mostly(k, n int) bool {
	return n >= 10 && float64(k)-float64(n)/2 > 2*math.Sqrt(float64(n))
}
