package lifetime

import (
	"context"
	"fmt"
	"regexp"
	"strconv"

	"fascicle/pipeline"
)

// FitKind fits exponentials, convolved with the measured response, to a decay.
var FitKind = pipeline.Kind{
	Name:     "lifetime.fit",
	Revision: 7,
	Doc:      "Fits 1 to 4 exponentials, convolved with the measured response, to the counts of a decay; without a response, to its tail.",
	Formula: "m_k = b + s·R(t_k − δ) + Σ a_i·(R ⊗ e^(−t/τ_i))(t_k − δ), R normed to a sum of 1; minimised: 2·Σ [m − n + n·ln(n/m)], or Σ ((n − m)/u)²; " +
		"tau_amplitude = Σ a·τ/Σ a, tau_intensity = Σ a·τ²/Σ a·τ",
	Source: "reconvolution: Grinvald and Steinberg, Anal. Biochem. 59 (1974) 583; likelihood and deviance: Baker and Cousins, Nucl. Instrum. Methods 221 (1984) 437; " +
		"averages: Lakowicz, Principles of Fluorescence Spectroscopy, 3rd ed. (2006), ch. 4 (all from memory)",
	Methods: "Decays were fitted with exponentials ({exponentials}) convolved with the measured response (estimator: {estimator}; background {background}, shift of the response {shift}, " +
		"period {period}, scattered light {scatter}, amplitudes {amplitudes}, range {range}).",
	Parts: pipeline.Shift,
	Ports: []pipeline.Port{
		{Name: "decay", Lead: true, Forms: []pipeline.Form{pipeline.Curve}, Doc: "the decay: counts over time, as the counter recorded them",
			Columns: []pipeline.Column{{Name: pipeline.AxisColumn, Unit: "ns"}, {Name: pipeline.ValueColumn, Unit: "1"}}},
		{Name: "response", Pair: pipeline.ByMatch, Optional: true, Forms: []pipeline.Form{pipeline.Curve}, Doc: "the instrument's response to the pulse alone, with channels of the same width; its background before the pulse is taken off, and its counting noise is part of u",
			Columns: []pipeline.Column{{Name: pipeline.AxisColumn, Unit: "ns"}, {Name: pipeline.ValueColumn, Unit: "1"}}},
		{Name: "choice", Pair: pipeline.BySample, Optional: true, Forms: []pipeline.Form{pipeline.Values}, Doc: "the number of exponentials, found by evidence; it takes the place of the setting",
			Columns: []pipeline.Column{{Name: "number", Unit: "1"}}},
	},
	Outputs: []pipeline.Output{
		{Name: "fit", Doc: "lifetimes, amplitudes and how well they describe the decay", Form: pipeline.Values, Columns: []pipeline.Column{
			{Name: "tau_i", Unit: "ns", U: true, Doc: "lifetimes, the shortest first"},
			{Name: "a_i", Unit: "1", U: true, Doc: "amplitudes: counts a channel at the start of the decay, as after a pulse without width; without a response as of the place where the decay has risen to half its height, or of the first channel of `range` where that is set"},
			{Name: "share_i", Unit: "1", U: true, Doc: "a_i/Σa"},
			{Name: "tau_amplitude", Unit: "ns", U: true, Optional: true, Doc: "Σa·τ/Σa, the average for efficiencies and yields; not to be mixed up with tau_intensity"},
			{Name: "tau_intensity", Unit: "ns", U: true, Optional: true, Doc: "Σa·τ²/Σa·τ, the mean time that light takes to come; not to be mixed up with tau_amplitude"},
			{Name: "shift", Unit: "ns", U: true, Optional: true, Doc: "by how much the decay comes later than its response says"},
			{Name: "background", Unit: "1", U: true, Optional: true, Doc: "constant background, counts a channel"},
			{Name: "scatter", Unit: "1", U: true, Optional: true, Doc: "share of scattered light in the light of the decay"},
			{Name: "deviance", Unit: "1", Doc: "deviance of the fit (least squares: χ²)"},
			{Name: "deviance_expected", Unit: "1", Doc: "what is expected of it under the fitted means and the noise of the response, less the number of fitted parameters"},
			{Name: "deviance_z", Unit: "1", Doc: "(deviance − expected)/standard deviation expected"},
			{Name: "runs_p", Unit: "1", Optional: true, Doc: "probability of so few runs of residuals of one sign by chance"},
			{Name: "counts", Unit: "1", Doc: "counts in the range of the fit"},
			{Name: "first", Unit: "ns", Doc: "first channel of the range"},
			{Name: "last", Unit: "ns", Doc: "last channel of the range"},
			{Name: "channels", Unit: "1", Doc: "channels in the range"},
		}},
		{Name: "curve", Doc: "decay, fit, weighted residuals and their autocorrelation", Form: pipeline.Curve, Columns: []pipeline.Column{
			{Name: "time", Unit: "ns", Doc: "time"},
			{Name: "counts", Unit: "1", Optional: true, Doc: "counts of the decay"},
			{Name: "model", Unit: "1", Optional: true, Doc: "fitted means"},
			{Name: "residual", Unit: "1", Optional: true, Doc: "(counts − model)/√model, least squares: (counts − model)/u"},
			{Name: "used", Unit: "1", Doc: "1 where the fit used the channel"},
			{Name: "response", Unit: "1", Optional: true, Doc: "the response, shifted as the fit has it and drawn as high as the decay"},
			{Name: "lag", Unit: "ns", Optional: true, Doc: "lag of the autocorrelation"},
			{Name: "autocorrelation", Unit: "1", Optional: true, Doc: "autocorrelation of the weighted residuals; at random it scatters by 1/√channels"},
		}},
	},
	Figures: []pipeline.Figure{
		{
			Name: "fit", Title: "Decay and fit",
			X: pipeline.Axis{Label: "time", Scale: pipeline.Linear}, Y: pipeline.Axis{Label: "counts", Scale: pipeline.Log},
			Series: []pipeline.Series{
				{Output: "curve", X: "time", Y: "response", Role: pipeline.Line, Label: "response"},
				{Output: "curve", X: "time", Y: "counts", Role: pipeline.Points, Label: "decay", Used: "used"},
				{Output: "curve", X: "time", Y: "model", Role: pipeline.Line, Label: "fit"},
			},
			Residual: &pipeline.Series{Output: "curve", X: "time", Y: "residual", Role: pipeline.Line, Label: "residual / u"},
		},
		{
			Name: "autocorrelation", Title: "Autocorrelation of the weighted residuals", Minor: true,
			X: pipeline.Axis{Label: "lag", Scale: pipeline.Linear}, Y: pipeline.Axis{Label: "autocorrelation", Scale: pipeline.Linear},
			Series: []pipeline.Series{{Output: "curve", X: "lag", Y: "autocorrelation", Role: pipeline.Line, Label: "autocorrelation"}},
		},
	},
	Settings: func() any { return &fitSettings{} },
	Run:      runFit,
}

type fitSettings struct {
	Exponentials int                             `set:"exponentials" default:"1" min:"1" max:"4" unless:"choice" doc:"number of exponentials"`
	Estimator    string                          `set:"estimator" oneof:"poisson|least squares" default:"poisson" doc:"what is minimised: the deviance of Poisson counts, or χ² with the counts' own uncertainties (where they have none, with √n, which biases at few counts)"`
	Period       pipeline.Field                  `set:"period" unit:"ns" words:"none" default:"none" above:"0" doc:"time between pulses: what earlier pulses left over is then part of the model"`
	Cycles       pipeline.Field                  `set:"cycles" unit:"1" words:"none" default:"none" above:"0" doc:"number of excitation pulses, to tell whether counts piled up"`
	Scatter      pipeline.Quantity               `set:"scatter" unit:"1" words:"free" default:"0" min:"0" below:"1" doc:"share of scattered light, in the shape of the response"`
	Background   pipeline.Quantity               `set:"background" unit:"1" words:"free" default:"free" min:"0" doc:"constant background, counts a channel"`
	Shift        pipeline.Quantity               `set:"shift" unit:"ns" words:"free" default:"free" doc:"by how much the decay comes later than its response says"`
	Amplitudes   string                          `set:"amplitudes" oneof:"positive|free" default:"positive" doc:"free: an amplitude may be negative (light that rises first)"`
	Fixed        pipeline.Map[pipeline.Quantity] `set:"fixed" unit:"ns" default:"-" doc:"lifetimes that are not fitted, tau_1, tau_2, …; results are numbered from the shortest all the same"`
	Range        pipeline.Range                  `set:"range" unit:"ns" words:"found" default:"found" doc:"part of the decay that is fitted, ends included; found: all that was recorded, or, without a response, what comes behind the highest channel by as much as the rise took"`
}

var fixedName = regexp.MustCompile(`^tau_[1-9]$`)

// Validate holds the fixed lifetimes against the number of exponentials.
func (s *fitSettings) Validate() error {
	for _, f := range s.Fixed {
		if !fixedName.MatchString(f.Key) {
			return fmt.Errorf("fixed: there is no parameter %s to fix; expected tau_1, tau_2, … (shift, background and scatter are settings of their own)", f.Key)
		}
		if !(f.Value.Value > 0) {
			return fmt.Errorf("fixed: %s is %g ns; expected a lifetime above 0", f.Key, f.Value.Value)
		}
		if k, _ := strconv.Atoi(f.Key[len("tau_"):]); k > MaxTerms {
			return fmt.Errorf("fixed: %s, but a fit has at most %d exponentials", f.Key, MaxTerms)
		}
	}
	return nil
}

// fitChoices is what a fit decided, by which it is repeated: the range, the channels of the response's background, and the solution from
// which a later call begins.
type fitChoices struct {
	first, last, quiet, took int
	origin                   float64 // of the amplitudes of a tail
	solution                 Solution
}

func runFit(ctx context.Context, call *pipeline.Call) (pipeline.Choices, error) {
	var w Workspace
	choices := make([]fitChoices, len(call.Leads))
	earlier, _ := call.Choices.([]fitChoices)
	for i := range call.Leads {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		r := &fitRun{settings: call.Settings.(*fitSettings), call: call, lead: i, w: &w}
		if earlier != nil {
			r.given = &earlier[i]
		}
		c, err := r.run()
		if err != nil {
			return nil, err
		}
		if choices[i] = c; earlier != nil {
			choices[i] = earlier[i] // as it was handed over: the solution is that of the input that is not shifted
		}
	}
	return choices, nil
}
