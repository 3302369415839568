package efficiency

import (
	"context"
	"fmt"
	"math"

	"fascicle/pipeline"
	"fascicle/pipeline/table"
)

// LifetimeKind finds the efficiency of energy transfer from how much sooner the donor decays.
var LifetimeKind = pipeline.Kind{
	Name:     "efficiency.lifetime",
	Revision: 2,
	Doc: "Finds the efficiency of energy transfer from the donor's shorter lifetime, and a limit where that cannot be told from none. It is that of the molecules whose decay is still seen: " +
		"donors that are quenched within the response leave no lifetime, and do not count. Where decays were recorded alike, amplitudes tell how many these are, and efficiency.quenching has the efficiency of all.",
	Formula: "E = 1 − τ/τ0 of the molecules whose decay is seen, both mean lifetimes weighted by amplitude; below detection E > 1 − (max(τ, 0) + k·u(τ))/τ0, u with all that both share with other samples, k the one-sided quantile at the confidence (1.645 at 95 %)",
	Source:  "E: Lakowicz, Principles of Fluorescence Spectroscopy, 3rd ed. (2006), ch. 13; detection: Currie, Anal. Chem. 40 (1968) 586 (both from memory); that the mean is the one by amplitude: common practice, no source",
	Methods: "Transfer efficiencies are 1 − τ/τ0 of the donor's mean lifetimes (by amplitude) in the mixture and alone; where the lifetime is below detection, limits at {confidence} stand beside them.",
	Parts:   pipeline.Shift,
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
		g.unseen(lead.Table, call.Partner("control", i).Table, donor.Value/control.Value)
	}
	return choices, nil
}

// fewerSeen is the share of the control's amplitude below which it is said that molecules are missing (common practice, no source).
const fewerSeen = 0.9

// unseen says that donors without a decay do not count, and from the amplitudes how many these would be. left is τ/τ0.
func (g *shareRun) unseen(donor, control *table.Table, left float64) {
	a, ok := amplitude(donor)
	a0, ok0 := amplitude(control)
	if !ok || !ok0 || math.IsNaN(left) || a >= fewerSeen*a0 {
		g.flag(pipeline.Note, "E is of the molecules whose decay is still seen: donors that are quenched within the response do not count")
		return
	}
	g.flag(pipeline.Note, "E is of the molecules whose decay is still seen: their amplitudes sum up to %.2g of the control's, so that, if both were recorded alike (concentration, light, time), %.2g %% of the donors are quenched within the response, and the efficiency of all is %.3g",
		a/a0, 100*(1-a/a0), 1-a/a0*left)
}

// amplitude is the sum of the amplitudes of a decay of counts; ok is false where they are not there.
func amplitude(t *table.Table) (sum float64, ok bool) {
	if t.Col("counts") == nil {
		return 0, false
	}
	for i := 1; ; i++ {
		c := t.Col(fmt.Sprintf("a_%d", i))
		if c == nil || c.Type != table.Float {
			return sum, sum > 0
		}
		if !c.IsNull(0) { // null: the counts do not support the term
			sum += c.Floats[0]
		}
	}
}
