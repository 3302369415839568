package lifetime

import (
	"fmt"
	"math"

	"fascicle/pipeline"
	"fascicle/pipeline/table"
)

// fitRun is the work on one decay.
type fitRun struct {
	settings *fitSettings
	call     *pipeline.Call
	lead     int
	given    *fitChoices
	w        *Workspace

	axis     Axis
	times    []float64 // as the file has them
	counts   []float64
	u        []float64 // of the counts, as the curve has it; nil: none
	response *Response // nil: fit of the tail
	place    Axis      // of the response
	variance []float64 // of its channels, normed as they are; nil: not known
	extra    float64   // what its noise adds to the deviance
	took     int       // channels of the rise of a decay without a response
}

func (r *fitRun) flag(level pipeline.FlagLevel, format string, args ...any) {
	r.call.Flag(level, "fit", r.lead, format, args...)
}

func (r *fitRun) run() (c fitChoices, err error) {
	if r.axis, r.times, r.counts, r.u, err = decayOf(r.call.Leads[r.lead].Table, "decay"); err != nil {
		return c, err
	}
	if r.settings.Estimator == "poisson" && r.given == nil {
		if err := CheckCounts(r.counts); err != nil {
			return c, fmt.Errorf("%w; fit the counts as recorded, or choose `estimator: least squares` and give their uncertainty", err)
		}
	}
	c.quiet = -1
	if r.given != nil {
		c = *r.given
	}
	if partner := r.call.Partner("response", r.lead); partner != nil {
		if c.quiet, err = r.useResponse(partner.Table, c.quiet); err != nil {
			return c, err
		}
	}
	if r.given == nil {
		if err := r.chooseRange(&c); err != nil {
			return c, err
		}
	}
	p, err := r.problem(&c)
	if err != nil {
		return c, err
	}
	r.took = c.took
	var from *Solution
	if r.given != nil {
		from = &r.given.solution
	} else if r.response != nil {
		if err := r.overlap(p); err != nil {
			return c, err
		}
	}
	if err := r.w.Fit(&c.solution, p, from); err != nil {
		return c, fmt.Errorf("%w (range %.4g to %.4g ns)", err, r.axis.At(c.first), r.axis.At(c.last))
	}
	if c.solution.Status == NotConverged {
		return c, fmt.Errorf("the fit did not converge in %d iterations: the counts do not support %d exponentials, or the range, the response or the background is not right", c.solution.Iterations, p.Terms)
	}
	if r.variance != nil {
		r.extra = r.w.ResponseNoise(&c.solution, p, r.variance, r.response.Quiet)
	}
	r.give(p, &c)
	return c, nil
}

// decayOf takes grid, times, counts and their uncertainty out of a curve. Trailing channels without a number (columns padded to one length) are
// left out.
func decayOf(t *table.Table, what string) (a Axis, times, counts, u []float64, err error) {
	axis, value := pipeline.CurveColumns(t)
	if axis == nil || value == nil {
		return a, nil, nil, nil, fmt.Errorf("the %s has no counts beside its time", what)
	}
	if axis.Unit != "ns" {
		return a, nil, nil, nil, fmt.Errorf("the axis %s of the %s is in %q; expected a time; give the unit under `columns` of the import, such as `%s: \"1 [ns]\"`", axis.Name, what, axis.Unit, axis.Name)
	}
	times, counts = pipeline.WithNaN(axis), pipeline.WithNaN(value)
	n := len(counts)
	for n > 0 && (math.IsNaN(counts[n-1]) || math.IsNaN(times[n-1])) {
		n--
	}
	times, counts = times[:n], counts[:n]
	for k, c := range counts {
		if math.IsNaN(c) {
			return a, nil, nil, nil, fmt.Errorf("channel %d of the %s holds no counts; expected a number in every channel", k+1, what)
		}
	}
	if c := t.Col("u_" + value.Name); c != nil {
		u = pipeline.WithNaN(c)[:n]
	}
	if a, err = EvenAxis(times); err != nil {
		return a, nil, nil, nil, fmt.Errorf("the %s: %w", what, err)
	}
	return a, times, counts, u, nil
}

// useResponse makes the response ready.
func (r *fitRun) useResponse(t *table.Table, quiet int) (int, error) {
	place, _, y, u, err := decayOf(t, "response")
	if err != nil {
		return quiet, err
	}
	if math.Abs(place.Width/r.axis.Width-1) > 1e-4 {
		return quiet, fmt.Errorf("the channels of the response are %.7g ns wide, those of the decay %.7g ns: expected one width; record both with the same settings, or correct the channel width at import", place.Width, r.axis.Width)
	}
	res, err := PrepareResponse(y, quiet)
	if err != nil {
		return quiet, err
	}
	r.place, r.response = place, res
	r.variance = res.Variance(y, u)
	return res.Quiet, nil
}

// chooseRange finds the range of the fit, or takes the one of the study.
func (r *fitRun) chooseRange(c *fitChoices) error {
	first, last := Recorded(r.counts)
	c.first, c.last, c.origin = first, last, float64(first)
	rise := RiseOf(r.counts, first, last)
	if r.response == nil {
		c.origin, c.first, c.took = rise.Half, rise.From, rise.Took
	}
	s := r.settings.Range
	if s.Word == "" {
		lo, hi := s.Lo, s.Hi
		if s.OpenLo {
			lo = math.Inf(-1)
		}
		if s.OpenHi {
			hi = math.Inf(1)
		}
		c.first, c.last = r.axis.Within(lo, hi, len(r.counts))
		switch {
		case r.response != nil:
		case s.OpenLo:
			c.first = rise.From
		default:
			c.origin = float64(c.first)
		}
		if c.first > c.last {
			return fmt.Errorf("no channel of the decay lies in the range %g to %g ns; it goes from %.4g to %.4g ns", s.Lo, s.Hi, r.axis.At(0), r.axis.At(len(r.counts)-1))
		}
		return nil
	}
	if first > 0 || last < len(r.counts)-1 {
		r.flag(pipeline.Note, "%d channels at the ends of the record hold no count where counts are expected, and were left out", first+len(r.counts)-1-last)
	}
	return nil
}

// problem puts settings and curves together.
func (r *fitRun) problem(c *fitChoices) (*Problem, error) {
	s := r.settings
	width := r.axis.Width
	terms, err := r.terms()
	if err != nil {
		return nil, err
	}
	p := &Problem{Counts: r.counts, First: c.first, Last: c.last, Origin: c.origin, Terms: terms, FreeAmplitudes: s.Amplitudes == "free",
		Background: Fixable{Hi: math.Inf(1)}, Scatter: Fixable{Fixed: true}}
	if s.Estimator != "poisson" {
		if p.Weights, err = r.weights(c); err != nil {
			return nil, err
		}
	}
	if s.Background.Word == "" {
		p.Background = Fixable{Fixed: true, Value: s.Background.Value}
	}
	if !s.Period.Is("none") {
		n := r.call.Number(s.Period, r.lead)
		p.Period = n.Value / width
		if record := float64(len(r.counts)); p.Period < 0.98*record-2 && p.Period < 0.98*float64(c.last+1)-2 {
			return nil, fmt.Errorf("the record is %.5g ns long, but pulses come every %.5g ns: expected one period at most; give a `range` within one period, or correct `period`", record*width, n.Value)
		}
	}
	if err := r.fixed(p); err != nil {
		return nil, err
	}
	if r.response == nil {
		if s.Scatter.Is("free") || s.Scatter.Value > 0 {
			return nil, fmt.Errorf("scattered light has the shape of the response, and port `response` is not fed: feed it, or leave `scatter` at 0")
		}
		p.Shift = Fixable{Fixed: true}
		return p, nil
	}
	p.Use(r.response)
	p.Offset = (r.axis.Start - r.place.Start) / width
	reach := 5*p.Width + 5
	p.Shift = Fixable{Lo: -reach, Hi: reach}
	if s.Shift.Word == "" {
		p.Shift = Fixable{Fixed: true, Value: s.Shift.Value / width}
	}
	switch {
	case s.Scatter.Is("free"):
		p.Scatter = Fixable{Hi: math.Inf(1)}
	case s.Scatter.Value > 0:
		p.ScatterShare = s.Scatter.Value / (1 - s.Scatter.Value)
	}
	return p, nil
}

// terms is the number of exponentials: what was found by evidence, or the setting.
func (r *fitRun) terms() (int, error) {
	choice := r.call.Partner("choice", r.lead)
	if choice == nil {
		return r.settings.Exponentials, nil
	}
	c := choice.Table.Col("number")
	var n float64
	switch {
	case c.IsNull(0):
		return 0, fmt.Errorf("the number of exponentials at port `choice` has no value")
	case c.Type == table.Int:
		n = float64(c.Ints[0])
	default:
		n = c.Floats[0]
	}
	if n != math.Floor(n) || n < 1 || n > MaxTerms {
		return 0, fmt.Errorf("the number of exponentials at port `choice` is %g; expected 1 to %d", n, MaxTerms)
	}
	return int(n), nil
}

// fixed puts fixed lifetimes first.
func (r *fitRun) fixed(p *Problem) error {
	f := r.settings.Fixed
	if len(f) == 0 {
		return nil
	}
	if len(f) > p.Terms {
		return fmt.Errorf("%d lifetimes are fixed, but the fit has %d exponentials", len(f), p.Terms)
	}
	p.FixedTau = make([]float64, p.Terms)
	for i := range p.FixedTau {
		p.FixedTau[i] = math.NaN()
		if i < len(f) {
			p.FixedTau[i] = f[i].Value.Value / r.axis.Width
		}
	}
	return nil
}

// weights for least squares, 1/u². Counts without an uncertainty have √n, and 1 where there are none.
func (r *fitRun) weights(c *fitChoices) ([]float64, error) {
	w := make([]float64, len(r.counts))
	for k, n := range r.counts {
		u := 0.0
		switch {
		case r.u != nil:
			u = r.u[k]
			if k >= c.first && k <= c.last && !(u > 0 && !math.IsInf(u, 1)) {
				return nil, fmt.Errorf("channel %d has no usable uncertainty (%g); expected a positive one in every channel of the range", k+1, u)
			}
		case n < 0:
			return nil, fmt.Errorf("channel %d holds %g counts, and the counts have no uncertainty column: expected 0 or more; give their uncertainty at import", k+1, n)
		default:
			u = math.Sqrt(math.Max(n, 1))
		}
		w[k] = 1 / (u * u)
	}
	return w, nil
}

// overlap refuses a response that cannot belong to the decay, and says where both are. Decays that are too faint to show a rise pass.
func (r *fitRun) overlap(p *Problem) error {
	if err := p.check(); err != nil {
		return err
	}
	const seen = 50 // counts that show a rise
	shift := 0.0
	if p.Shift.Fixed {
		shift = p.Shift.Value
	}
	whole := *p
	whole.First, whole.Last = 0, len(p.Counts)-1
	rise, top := whole.rise(&r.w.find)
	middle := p.Middle - p.Offset + shift
	early := 5*p.Width + 5
	late := early
	if p.FreeAmplitudes { // an acceptor's light may rise slowly
		late = math.Max(early, 0.25*float64(len(p.Counts)))
	}
	if outside := middle < -early || middle > float64(whole.Last); outside || top >= seen && (rise < middle-early || rise > middle+late) {
		at := func(k float64) float64 { return r.axis.Start + k*r.axis.Width }
		return fmt.Errorf("the response does not overlap its decay: it lies at %.5g ns (%.3g ns wide), the decay rises at %.5g ns; look whether the right response is matched, or give `shift` when the two were recorded with another delay",
			at(middle), p.Width*r.axis.Width, at(rise))
	}
	return nil
}
