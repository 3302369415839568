package efficiency

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Share is what is left of a donor's light or lifetime, and what that says of the
// transfer.
type Share struct {
	Residual   Known   // r, as a share of the control's
	Efficiency Known   // E = 1 − r
	Detection  float64 // the share that must be exceeded to be told from none; NaN: unknown
	margin     float64 // between the residual and the limit
	Limit      float64 // E is above this with the confidence asked for; NaN: none is due
}

// ShareChoice is what a first measurement decides, so that later ones on shifted
// numbers are smooth.
type ShareChoice struct {
	Negative bool    // the signal is below zero
	Below    bool    // and below what can be told from none: there is a limit
	Own      float64 // own u of F − B, without what is shared, in the unit of F; NaN: unknown
	Nu       float64 // its degrees of freedom
	AtZero   float64 // whole u of F − B, in the unit of F; NaN: unknown
	Whole    float64 // whole u of F − B − r·F0
	Control  float64 // whole u of F0; NaN: unknown
}

// Donor is a donor in a mixture and alone.
type Donor struct {
	Signal, Control Known     // F and F0, in one unit, with their own u
	Blanks          []float64 // the signal of blanks, of the mixture without donor
	BlankVariance   float64   // what their own uncertainties say of their scatter, as a variance; NaN: not known
	Dilution        float64   // c0/c, the control's concentration over the sample's
	Confidence      float64   // of the limit, one-sided
	// What the sources that they share with other samples do to F less the blanks' mean, and to F0: one entry for each source.
	// Unsure: that is not known.
	Parts, ControlParts []float64
	Unsure              bool
}

// Measure finds the transfer from a donor's remaining signal:
//
//	r = (F − B)/F0 · c0/c, E = 1 − r, u(E) = u(r) = u(F)/F0 · c0/c,
//
// B the mean of the blanks (0 without any). The residual keeps its sign. u is the
// own part: what the control, the blanks' mean and the concentrations bring is
// shared with other samples, and whoever calls carries it. Own are the signal's
// own part and, with two blanks or more, what blanks differ by beyond their own
// uncertainty, since the sample's blank is another one than those measured:
//
//	u(F − B)² = u(F)² + max(0, s_B² − v)·(1 + 1/n),
//
// s_B their standard deviation, v what their uncertainties say of s_B² (0 where they
// are not known). Its degrees of freedom are those of both by Welch and Satterthwaite,
// n − 1 of the blanks.
//
// Light is told from none when r is above
//
//	D = k·u_w(r = 0),
//
// k the one-sided quantile of the normal distribution (1.645 at 95 %), or of
// Student's where u has finite degrees of freedom. u_w is the whole uncertainty, not the own part alone:
// u_w(r)·F0 is that of F − B − r·F0, with what all sources do to it, since a
// limit speaks of this sample, whoever else shares its errors; at r = 0 the control
// brings nothing. (That of the concentrations is left out: where light is below detection it is of second
// order.) With two or more blanks D is at least t·s_B·√(1 + 1/n)/F0 · c0/c.
//
// A signal below detection says only how complete the transfer is at least:
//
//	E > 1 − (max(r, 0) + max(D, k·u_w(r))).
//
// A limit is due where r < D and D is above zero, or where the residual is known
// as an upper bound only. Bounds pass through (see over) and turn over in E.
// earlier is nil, or what an earlier call decided.
//
// Source: E = 1 − F/F0: Lakowicz, Principles of Fluorescence Spectroscopy, 3rd ed.
// (2006), ch. 13 (from memory); D: the decision limit of Currie, Anal. Chem. 40
// (1968) 586 (from memory); that a limit is given in place of E = 1: common
// practice, no source.
//
// It panics unless F0 and c0/c are positive, the confidence is between 0 and 1, and
// the parts are as many for both.
func Measure(d Donor, earlier *ShareChoice) (Share, ShareChoice) {
	if !(d.Dilution > 0) || !(d.Confidence > 0 && d.Confidence < 1) || !Usable(d.Control) || len(d.Parts) != len(d.ControlParts) {
		panic("efficiency: a share needs a positive control, dilution and confidence, and parts of both")
	}
	mean, scatter := blank(d.Blanks)
	f := d.Signal
	f.Value -= mean
	f.Lo -= mean
	f.Hi -= mean
	choice := ShareChoice{Negative: f.Value < 0}
	if earlier != nil {
		choice = *earlier
	} else {
		choice.Own, choice.Nu = d.own(scatter)
		choice.Control = d.wholeControl()
	}
	f.U, f.Nu = choice.Own, choice.Nu
	r := over(f, d.Control, choice.Negative)
	if earlier == nil {
		choice.Whole, choice.AtZero = d.whole(f.U, r.Value), d.whole(f.U, 0)
	}
	scale := d.Dilution / d.Control.Value
	r.Value *= d.Dilution
	r.U *= d.Dilution
	r.Lo *= d.Dilution
	r.Hi *= d.Dilution
	s := Share{Residual: r, Efficiency: r.less(), Limit: math.NaN()}
	k := quantile(d.Confidence, r.Nu)
	s.Detection = k * choice.AtZero * scale
	if n := len(d.Blanks); n > 1 {
		t := quantile(d.Confidence, float64(n-1))
		s.Detection = math.Max(s.Detection, t*scatter*math.Sqrt(1+1/float64(n))*scale)
	}
	s.margin = math.Max(s.Detection, k*choice.Whole*scale)
	if earlier == nil {
		choice.Below = r.Bound == Upper && !math.IsNaN(s.Detection) || r.Bound == Plain && s.Detection > 0 && r.Value < s.Detection
	}
	if choice.Below {
		left := r.Value
		if choice.Negative {
			left = 0
		}
		s.Limit = 1 - (left + s.margin)
	}
	return s, choice
}

// own is the own uncertainty of F − B with its degrees of freedom, from the signal's and from what the blanks differ by.
func (d *Donor) own(scatter float64) (u, nu float64) {
	n := float64(len(d.Blanks))
	known := d.BlankVariance
	if math.IsNaN(known) {
		known = 0
	}
	excess := scatter*scatter - known
	if n < 2 || !(excess > 0) {
		return d.Signal.U, d.Signal.Nu
	}
	excess *= 1 + 1/n
	v := d.Signal.U * d.Signal.U
	part := excess * excess / (n - 1)
	if d.Signal.Nu > 0 && !math.IsInf(d.Signal.Nu, 1) {
		part += v * v / d.Signal.Nu
	}
	return math.Sqrt(v + excess), (v + excess) * (v + excess) / part
}

// whole is the whole uncertainty of F − B − r·F0, from the own parts of both and what is shared.
func (d *Donor) whole(own, r float64) float64 {
	if d.Unsure {
		return math.NaN()
	}
	v := own * own
	if d.Control.U > 0 {
		v += r * r * d.Control.U * d.Control.U
	}
	for i, p := range d.Parts {
		p -= r * d.ControlParts[i]
		v += p * p
	}
	return math.Sqrt(v)
}

// wholeControl is the whole uncertainty of F0.
func (d *Donor) wholeControl() float64 {
	v := d.Control.U * d.Control.U
	for _, p := range d.ControlParts {
		v += p * p
	}
	return math.Sqrt(v)
}

// Usable tells whether one can divide by what is known of a number: it is positive.
func Usable(k Known) bool {
	switch k.Bound {
	case Plain, Lower, Upper:
		return k.Value > 0 && !math.IsInf(k.Value, 0)
	case Interval:
		return k.Lo > 0 && k.Hi >= k.Lo
	}
	return false
}

// blank is mean and standard deviation of the blanks; 0 where there are none, or one.
func blank(b []float64) (mean, scatter float64) {
	for _, x := range b {
		mean += x / float64(len(b))
	}
	if len(b) < 2 {
		return mean, 0
	}
	for _, x := range b {
		scatter += (x - mean) * (x - mean) / float64(len(b)-1)
	}
	return mean, math.Sqrt(scatter)
}

// quantile is the one-sided quantile of the normal distribution, or of Student's with nu degrees of freedom; 0 stands for infinitely many.
func quantile(p, nu float64) float64 {
	if !(nu > 0) || math.IsInf(nu, 1) {
		return distuv.UnitNormal.Quantile(p)
	}
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: nu}.Quantile(p)
}
