package lifetime

import (
	"math"

	"fascicle/pipeline"
)

// Levels at which remarks are made. Common practice, no source.
const (
	farDeviance   = 3.3  // standard deviations of the deviance: 1 in 1,000 by chance
	fewRuns       = 1e-3 // probability of the runs
	notedPileup   = 0.01 // photons a pulse
	flaggedPileup = 0.05
	biasedCounts  = 20 // mean counts below which √n weights bias
	fullCounter   = 65535
)

// judge remarks on a fit.
func (r *fitRun) judge(p *Problem, s *Solution, q quality) {
	if r.response == nil {
		r.tailRemarks(p, s)
	} else {
		r.responseRemarks(p, s)
	}
	r.boundRemarks(p, s)
	r.support(p, s)
	if s.Status == Singular {
		r.flag(pipeline.Flagged, "the counts do not determine all parameters of %d exponentials: their uncertainties are not known; fit fewer, or fix some", p.Terms)
	}
	switch {
	case q.z > farDeviance:
		r.flag(pipeline.Flagged, "the fit does not describe the decay: its deviance is %.5g, expected are %.5g ± %.2g (z = %.3g)", s.Objective, q.expected, q.sd, q.z)
	case q.z < -farDeviance:
		r.flag(pipeline.Flagged, "the deviance of %.5g is below what counting leaves, %.5g ± %.2g (z = %.3g): these are not raw counts, or their uncertainty is too large", s.Objective, q.expected, q.sd, q.z)
	}
	switch {
	case q.runs.P < fewRuns && q.faint:
		r.flag(pipeline.Note, "the residuals are not random (runs test, p = %.2g), as is to be expected where the response is as noisy as this one; record it longer, or with fewer dark counts", q.runs.P)
	case q.runs.P < fewRuns:
		r.flag(pipeline.Flagged, "the residuals are not random (runs test, p = %.2g)", q.runs.P)
	}
	if p.Weights != nil && r.u == nil {
		r.flag(pipeline.Note, "the counts have no uncertainty column: √n was taken")
		if q.counts/float64(s.N) < biasedCounts {
			r.flag(pipeline.Flagged, "least squares with weights from %.3g counts a channel biases lifetimes and background; `estimator: poisson` does not", q.counts/float64(s.N))
		}
	}
	r.pileup(p)
}

func (r *fitRun) tailRemarks(p *Problem, s *Solution) {
	place := "half of the rise"
	if s := r.settings.Range; s.Word == "" && !s.OpenLo {
		place = "the first channel of `range`"
	}
	r.flag(pipeline.Note, "no response is fed: the tail from %.4g ns on is fitted, with amplitudes as of %.5g ns (%s); lifetimes that are short against the response are lost", r.axis.At(p.First), r.axis.Start+p.Origin*r.axis.Width, place)
	rise := float64(r.took)
	for i, tau := range s.Tau[:p.Terms] {
		if s.Amp[i] != 0 && tau < 2*rise {
			r.flag(pipeline.Flagged, "a lifetime of %.3g ns is not long against the rise of the decay (%.3g ns): without a response it and its amplitude are not to be relied on", tau*r.axis.Width, rise*r.axis.Width)
			return
		}
	}
	if r.settings.Shift.Word == "" {
		r.flag(pipeline.Note, "`shift` has no meaning without a response, and was not used")
	}
}

func (r *fitRun) responseRemarks(p *Problem, s *Solution) {
	res := r.response
	if res.Quiet == 0 {
		r.flag(pipeline.Note, "the response has too few channels before its rise to tell its background; none was taken off")
	} else if share := res.Background * float64(len(res.Shape)) / res.Counts; share > 0.01 {
		r.flag(pipeline.Note, "a background of %.3g counts a channel (%.2g of the response's counts) was taken off the response", res.Background, share/(1+share))
	}
	if r.variance == nil {
		r.flag(pipeline.Note, "the uncertainty of the response is not known (it is no counts, and has no column for it): its noise is not in u")
	}
	if !p.Shift.Fixed && math.Abs(s.Shift) > p.Width {
		r.flag(pipeline.Note, "the decay comes %.3g ns %s than its response says, more than the response is wide (%.3g ns): look at delays and at which response is matched",
			math.Abs(s.Shift)*r.axis.Width, map[bool]string{true: "later", false: "earlier"}[s.Shift > 0], p.Width*r.axis.Width)
	}
}

// boundRemarks says which parameters ended at a bound. A background of 0 is no accident, but what a counter without dark counts has.
func (r *fitRun) boundRemarks(p *Problem, s *Solution) {
	for i := range p.Terms {
		if s.Amp[i] == 0 {
			continue
		}
		lo, hi := p.tauBounds()
		switch s.side[i] {
		case AtLower:
			r.flag(pipeline.Bound, "a lifetime ended at its lower bound, %.3g ns: it cannot be told from scattered light", lo*r.axis.Width)
		case AtUpper:
			r.flag(pipeline.Bound, "a lifetime ended at its upper bound, %.3g ns: it cannot be told from a background", hi*r.axis.Width)
		}
	}
	if s.side[p.shiftAt()] != Inside {
		r.flag(pipeline.Bound, "the shift ended at its bound, %.3g ns: look whether the right response is matched, or give `shift`", s.Shift*r.axis.Width)
	}
	if s.side[p.backgroundAt()] == AtLower && !p.Background.Fixed {
		r.flag(pipeline.Note, "no background was found; the value given is its upper limit (confidence 95 %%)")
	}
	if !p.Scatter.Fixed && s.side[p.scatterAt()] == AtLower {
		r.flag(pipeline.Note, "no scattered light was found")
	}
}

// support says which terms the counts do not support.
func (r *fitRun) support(p *Problem, s *Solution) {
	var order [MaxTerms]int
	s.Order(order[:p.Terms])
	for rank, i := range order[:p.Terms] {
		a := p.ampAt() + i
		u := math.Sqrt(s.cov[a][a])
		switch {
		case s.Amp[i] == 0:
			r.flag(pipeline.Bound, "exponential %d is not supported by the counts: its amplitude ended at 0, and it has no lifetime; fit fewer exponentials", rank+1)
		case s.known[a] && math.Abs(s.Amp[i]) < 2*u:
			r.flag(pipeline.Flagged, "exponential %d is hardly supported by the counts: its amplitude is %.2g ± %.2g", rank+1, s.Amp[i], u)
		}
		if rank == 0 || s.Amp[i] == 0 {
			continue
		}
		j := order[rank-1]
		if !s.known[i] || !s.known[j] {
			continue
		}
		v := s.cov[i][i] + s.cov[j][j] - 2*s.cov[i][j]
		if d := s.Tau[i] - s.Tau[j]; v > 0 && d < 2*math.Sqrt(v) {
			r.flag(pipeline.Flagged, "lifetimes %d and %d cannot be told apart: they differ by %.2g ± %.2g ns", rank, rank+1, d*r.axis.Width, math.Sqrt(v)*r.axis.Width)
		}
	}
}

// pileup looks for counts that were lost. With μ photons a pulse the mean arrival is too early by about μ/4 (the first photon of a pulse
// hides the later ones: the mean of the first of a Poisson number of them, to first order).
func (r *fitRun) pileup(p *Problem) {
	sum, top, full := 0.0, 0.0, 0
	for _, n := range r.counts {
		sum += n
		switch {
		case n > top:
			top, full = n, 1
		case n == top:
			full++
		}
	}
	if top == fullCounter || full >= 4 && top > 1000 {
		r.flag(pipeline.Flagged, "%d channels hold the same highest number, %.6g: the counter looks full", full, top)
	}
	if r.settings.Cycles.Is("none") {
		return
	}
	cycles := r.call.Number(r.settings.Cycles, r.lead)
	switch mu := sum / cycles.Value; {
	case mu >= 1:
		r.flag(pipeline.Flagged, "%.4g counts in %.4g pulses: more than one a pulse; look at `cycles`", sum, cycles.Value)
	case mu > flaggedPileup:
		r.flag(pipeline.Flagged, "pile-up: %.2g counts a pulse make lifetimes read about %.2g %% short; take the decay through correct.pileup, or excite less", mu, 25*mu)
	case mu > notedPileup:
		r.flag(pipeline.Note, "%.2g counts a pulse: pile-up makes lifetimes read about %.2g %% short", mu, 25*mu)
	}
}
