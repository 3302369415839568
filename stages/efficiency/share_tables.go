package efficiency

import (
	"fmt"
	"math"

	"fascicle/pipeline"
	"fascicle/pipeline/table"
)

// shareRun is the work on one donor.
type shareRun struct {
	call   *pipeline.Call
	lead   int
	signal named
	brief  bool // of the numbers only E and its limit are given
}

func (g *shareRun) flag(level pipeline.FlagLevel, format string, args ...any) {
	g.call.Flag(level, "efficiency", g.lead, format, args...)
}

// run measures, gives the numbers and says what a person should know of them.
func (g *shareRun) run(d Donor) (ShareChoice, error) {
	var earlier *ShareChoice
	if c, ok := g.call.Choices.([]ShareChoice); ok {
		earlier = &c[g.lead]
	}
	s, choice := Measure(d, earlier)
	if s.Residual.Bound == Nothing {
		return choice, fmt.Errorf("%s and the control are bounds that leave the efficiency open; look at the stages that made them", g.signal.name)
	}
	g.give(&s)
	g.judge(&d, &s, choice)
	return choice, nil
}

func (g *shareRun) give(s *Share) {
	t := &table.Table{}
	addKnown(t, "E", s.Efficiency)
	if !g.brief {
		addKnown(t, "residual", s.Residual)
		if u := s.Residual.U; !math.IsNaN(u) {
			t.AddFloat("cov_E_residual", "1", []float64{-u * u})
		}
	}
	pipeline.AddWithNaN(t, "E_limit", "1", []float64{s.Limit})
	if !math.IsNaN(s.Limit) {
		t.AddText("E_limit_bound", []string{"lower"})
	}
	if !g.brief {
		pipeline.AddWithNaN(t, "detection", "1", []float64{s.Detection})
	}
	g.call.Give("efficiency", g.lead, t)
}

// addKnown adds a pure number with its uncertainty and what bounds it.
func addKnown(t *table.Table, name string, k Known) {
	pipeline.AddWithNaN(t, name, "1", []float64{k.Value})
	if !math.IsNaN(k.U) && !math.IsNaN(k.Value) {
		t.AddFloat("u_"+name, "1", []float64{k.U})
		if k.Nu > 0 && !math.IsInf(k.Nu, 1) {
			t.AddFloat("nu_"+name, "1", []float64{k.Nu})
		}
	}
	switch k.Bound {
	case Lower:
		t.AddText(name+"_bound", []string{"lower"})
	case Upper:
		t.AddText(name+"_bound", []string{"upper"})
	case Interval:
		t.AddText(name+"_bound", []string{"interval"})
		t.AddFloat(name+"_lo", "1", []float64{k.Lo})
		t.AddFloat(name+"_hi", "1", []float64{k.Hi})
	}
}

func (g *shareRun) judge(d *Donor, s *Share, choice ShareChoice) {
	r := s.Residual
	switch {
	case math.IsNaN(d.Signal.U) && r.Bound != Interval:
		g.flag(pipeline.Flagged, "the uncertainty of %s is unknown: so is that of E, and no limit can be given", g.signal.name)
	case d.Unsure && r.Bound != Interval:
		g.flag(pipeline.Flagged, "not all that moves %s or its control is known: no limit can be given", g.signal.name)
	case choice.Whole == 0:
		g.flag(pipeline.Note, "%s is exact: there is no detection limit", g.signal.name)
	}
	if choice.Below && r.Bound == Plain {
		g.flag(pipeline.Note, "below detection (%.2g of the control): E is above %.4g at the confidence asked for, and need not be 1", s.Detection, s.Limit)
	}
	if r.Bound != Plain {
		return
	}
	u := choice.Whole * d.Dilution / d.Control.Value
	if k := quantile(0.9987, r.Nu); u > 0 && r.Value < -k*u {
		g.flag(pipeline.Flagged, "what is left of %s is negative by %.2g times its u: too much was taken off", g.signal.name, -r.Value/u)
	} else if u > 0 && r.Value > 1+k*u {
		g.flag(pipeline.Flagged, "%s is above the control's by %.2g times its u: E is negative; look at concentrations and control", g.signal.name, (r.Value-1)/u)
	}
	if c := d.Control.Value; c < 3*choice.Control {
		g.flag(pipeline.Flagged, "the control's signal is only %.2g times its u: E is a rough figure", c/choice.Control)
	}
}
