package efficiency

import (
	"context"
	"fmt"

	"fascicle/pipeline"
)

// LifetimeKind finds the efficiency of energy transfer from how much sooner the donor decays.
var LifetimeKind = pipeline.Kind{
	Name:     "efficiency.lifetime",
	Revision: 1,
	Doc:      "Finds the efficiency of energy transfer from the donor's shorter lifetime, and a limit where that cannot be told from none.",
	Formula:  "E = 1 − τ/τ0, both mean lifetimes weighted by amplitude; below detection E > 1 − (max(τ, 0) + k·u(τ))/τ0, k the one-sided quantile at the confidence (1.645 at 95 %)",
	Source:   "E: Lakowicz, Principles of Fluorescence Spectroscopy, 3rd ed. (2006), ch. 13; detection: Currie, Anal. Chem. 40 (1968) 586 (both from memory); that the mean is the one by amplitude: common practice, no source",
	Methods:  "Transfer efficiencies are 1 − τ/τ0 of the donor's mean lifetimes (by amplitude) in the mixture and alone; where the lifetime is below detection, limits at {confidence} stand beside them.",
	Parts:    pipeline.Shift,
	Ports: []pipeline.Port{
		{Name: "donor", Lead: true, Forms: []pipeline.Form{pipeline.Values}, Doc: "the donor's lifetimes in the mixture",
			Columns: []pipeline.Column{{Name: "tau_amplitude", Unit: "ns"}}},
		{Name: "control", Pair: pipeline.ByMatch, Forms: []pipeline.Form{pipeline.Values}, Doc: "the donor's lifetimes alone",
			Columns: []pipeline.Column{{Name: "tau_amplitude", Unit: "ns"}}},
	},
	Outputs: []pipeline.Output{{Name: "efficiency", Doc: "the efficiency", Form: pipeline.Values, Columns: []pipeline.Column{
		{Name: "E", Unit: "1", U: true, Optional: true, Doc: "efficiency of the transfer"},
		{Name: "E_limit", Unit: "1", Optional: true, Doc: "E is above this, where the lifetime is below detection"},
	}}},
	Settings: func() any { return &lifetimeSettings{} },
	Run:      runLifetime,
}

type lifetimeSettings struct {
	Confidence float64 `set:"confidence" unit:"1" default:"95 %" min:"0.5" below:"1" doc:"one-sided confidence of limits"`
}

func runLifetime(ctx context.Context, call *pipeline.Call) (pipeline.Choices, error) {
	s := call.Settings.(*lifetimeSettings)
	tau := pipeline.ColumnName{Path: "tau_amplitude", Name: "tau_amplitude"}
	choices := make([]ShareChoice, len(call.Leads))
	for i, lead := range call.Leads {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		donor, err := readKnown(call, tau, lead, "donor", "ns")
		if err != nil {
			return nil, err
		}
		control, err := readKnown(call, tau, call.Partner("control", i), "control", "ns")
		if err != nil {
			return nil, err
		}
		if !Usable(control.Known) {
			return nil, fmt.Errorf("the control's lifetime is %.4g ns: expected one above zero; look at its decay, or match another", control.Value)
		}
		d := Donor{Dilution: 1, Confidence: s.Confidence}
		d.take(donor, control)
		g := shareRun{call: call, lead: i, signal: donor, brief: true}
		if choices[i], err = g.run(d); err != nil {
			return nil, err
		}
	}
	return choices, nil
}
