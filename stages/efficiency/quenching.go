package efficiency

import (
	"context"
	"fmt"
	"math"

	"fascicle/pipeline"
)

// QuenchingKind finds the efficiency of energy transfer from the donor's light that is left.
var QuenchingKind = pipeline.Kind{
	Name:     "efficiency.quenching",
	Revision: 2,
	Doc:      "Finds the efficiency of energy transfer from the donor's light that is left, and a limit where none can be told from none.",
	Formula: "E = 1 − r, r = (F − B)/F0 · c0/c; u(F − B)² = u(F)² + max(0, s_B² − v)·(1 + 1/n) and what is shared, s_B the standard deviation of the blanks, v what their uncertainties say of s_B²; " +
		"below detection, r < D = k·u(r = 0), E > 1 − (max(r, 0) + max(D, k·u(r))), both u with all that signal and control share with other samples, k the one-sided quantile at the confidence (1.645 at 95 %); " +
		"D is with blanks at least t·s_B·√(1 + 1/n)/F0 · c0/c",
	Source:  "E: Lakowicz, Principles of Fluorescence Spectroscopy, 3rd ed. (2006), ch. 13; D: Currie, Anal. Chem. 40 (1968) 586 (both from memory); a limit in place of E = 1: common practice, no source",
	Methods: "Transfer efficiencies are 1 − F/F0 of the donor's signal in the mixture and alone, each for its concentration ({concentration}); where the signal is below detection, limits at {confidence} stand beside them.",
	Parts:   pipeline.Shift,
	Ports: []pipeline.Port{
		{Name: "donor", Lead: true, Forms: []pipeline.Form{pipeline.Values}, Doc: "the donor's signal in the mixture"},
		{Name: "control", Pair: pipeline.ByMatch, Forms: []pipeline.Form{pipeline.Values}, Doc: "the donor's signal alone"},
		{Name: "blanks", Optional: true, Many: true, Pair: pipeline.ByMatch, Forms: []pipeline.Form{pipeline.Values}, Doc: "signals of blanks, the mixture without donor: their mean is taken off; by how much two or more scatter is part of u, and bounds detection (one says nothing of that)"},
	},
	Outputs: []pipeline.Output{{Name: "efficiency", Doc: "the efficiency", Form: pipeline.Values, Columns: []pipeline.Column{
		{Name: "E", Unit: "1", U: true, Optional: true, Doc: "efficiency of the transfer, its sign and what is beyond 1 kept"},
		{Name: "residual", Unit: "1", U: true, Optional: true, Doc: "share of the donor's light that is left, signed"},
		{Name: "E_limit", Unit: "1", Optional: true, Doc: "E is above this, where the light is below detection"},
		{Name: "detection", Unit: "1", Optional: true, Doc: "share of light that must be exceeded to be told from none"},
	}}},
	Settings: func() any { return &quenchingSettings{} },
	Run:      runQuenching,
}

type quenchingSettings struct {
	Signal        pipeline.ColumnName `set:"signal" unit:"*" port:"donor" doc:"column of the donor's signal, such as its area or height"`
	ControlSignal pipeline.ColumnName `set:"control-signal" unit:"*" port:"control" words:"as signal" default:"as signal" doc:"column of the control's signal"`
	Concentration pipeline.Field      `set:"concentration" unit:"mol/L" words:"none" default:"none" above:"0" also:"control" doc:"concentration of the donor, of the sample and of its control by their own fields; none: the same in both"`
	Confidence    float64             `set:"confidence" unit:"1" default:"95 %" min:"0.5" below:"1" doc:"one-sided confidence of limits"`
}

func runQuenching(ctx context.Context, call *pipeline.Call) (pipeline.Choices, error) {
	s := call.Settings.(*quenchingSettings)
	choices := make([]ShareChoice, len(call.Leads))
	for i, lead := range call.Leads {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		controlSignal := s.ControlSignal
		if controlSignal.Word != "" {
			controlSignal = s.Signal
		}
		donor, err := readKnown(call, s.Signal, lead, "donor", "")
		if err != nil {
			return nil, err
		}
		control, err := readKnown(call, controlSignal, call.Partner("control", i), "control", donor.unit)
		if err != nil {
			return nil, err
		}
		d := Donor{Dilution: 1, Confidence: s.Confidence}
		d.take(donor, control)
		partners := call.Partners("blanks", i)
		blanks := make([]named, len(partners))
		for k, in := range partners {
			b, err := readKnown(call, s.Signal, in, "blanks", donor.unit)
			if err != nil {
				return nil, err
			}
			if b.Bound != Plain {
				return nil, fmt.Errorf("blank %d: its %s is only a bound; leave it out (`where`)", k+1, b.name)
			}
			blanks[k] = b
			d.Blanks = append(d.Blanks, b.Value)
			if d.Unsure = d.Unsure || !b.sure; !d.Unsure {
				for j, p := range b.parts {
					d.Parts[j] -= p / float64(len(blanks))
				}
			}
		}
		d.BlankVariance = scatterKnown(blanks)
		if !s.Concentration.Is("none") {
			d.Dilution = call.PartnerNumber(s.Concentration, "control", i, 0).Value / call.Number(s.Concentration, i).Value
		}
		if !Usable(d.Control) {
			return nil, fmt.Errorf("the control's %s is %.4g: expected a signal above zero; look at the control, or match another", control.name, d.Control.Value)
		}
		g := shareRun{call: call, lead: i, signal: donor}
		if choices[i], err = g.run(d); err != nil {
			return nil, err
		}
	}
	return choices, nil
}

// scatterKnown is what the uncertainties of blanks say of the variance among them, NaN where they are not known. What all have in common
// does not make them differ:
//
//	v = Σ u_k²/n + Σ_s Σ_k (p_ks − p̄_s)²/(n − 1), u own and p shared parts.
func scatterKnown(blanks []named) (v float64) {
	n := float64(len(blanks))
	if n < 2 {
		return 0
	}
	for _, b := range blanks {
		if !b.sure || len(b.parts) != len(blanks[0].parts) {
			return math.NaN()
		}
		v += b.U * b.U / n
	}
	for s := range blanks[0].parts {
		mean := 0.0
		for _, b := range blanks {
			mean += b.parts[s] / n
		}
		for _, b := range blanks {
			v += (b.parts[s] - mean) * (b.parts[s] - mean) / (n - 1)
		}
	}
	return v
}
