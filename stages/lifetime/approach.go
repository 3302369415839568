package lifetime

import "math"

// Fit fits a decay, from the solution of an earlier fit of the same problem unless that is nil. An error says what of the data cannot
// be fitted; Status tells of the rest.
func (w *Workspace) Fit(s *Solution, p *Problem, from *Solution) error {
	if err := p.check(); err != nil {
		return err
	}
	if from != nil {
		w.fit(s, p, &from.theta, 0)
		return nil
	}
	w.search(p)
	w.approach(s, p, 0)
	if !s.doubtful(p) {
		return nil
	}
	again := false
	for i := range w.find.starts[1:w.find.found] {
		w.approach(&w.other, p, i+1)
		if again = true; w.other.Status != NotConverged && (s.Status == NotConverged || w.other.Objective < s.Objective-1e-6) {
			*s = w.other
		}
	}
	if again { // so that the workspace holds the means of the best
		w.other = *s
		w.fit(s, p, &w.other.theta, 0)
	}
	return nil
}

// approach fits from a choice of the search: first the decay in the wide channels of the search, which costs less, then the decay itself.
func (w *Workspace) approach(s *Solution, p *Problem, choice int) {
	start := w.find.starts[choice].start
	if w.find.bins > 1 {
		w.find.coarse(p, &w.wide)
		q, b := &w.wide, float64(w.find.bins)
		scale := func(t *vector, b float64) {
			for i := range p.Terms {
				t[i] -= math.Log(b)
				t[p.ampAt()+i] *= b
			}
			t[p.shiftAt()] /= b
			t[p.backgroundAt()] *= b
		}
		t := start
		scale(&t, b)
		if w.fit(s, q, &t, 0.1); s.Status == Converged {
			t = s.theta
			scale(&t, 1/b)
			start = t
		}
	}
	w.fit(s, p, &start, 0)
}

// coarse sets up the fit of the decay in wide channels.
func (s *searchMemory) coarse(p, q *Problem) {
	b := float64(s.bins)
	*q = *p
	q.Counts, q.First, q.Last = s.counts, 0, len(s.counts)-1
	q.Period = p.Period / b
	if p.Weights != nil {
		q.Weights = s.weight
	}
	if p.FixedTau != nil {
		q.FixedTau = s.fixed[:p.Terms]
		for i, tau := range p.FixedTau {
			q.FixedTau[i] = tau / b
		}
	}
	narrow := func(f *Fixable, b float64) { f.Value, f.Lo, f.Hi = f.Value/b, f.Lo/b, f.Hi/b }
	narrow(&q.Shift, b)
	narrow(&q.Background, 1/b)
	if p.Response != nil {
		q.Response = &s.response
		q.Offset = (float64(p.First) + p.Offset) / b
		return
	}
	// amplitudes are given at channel Origin, wide channels lie at the middle of those they are made of
	q.Origin = (p.Origin - float64(p.First) - (b-1)/2) / b
}

// doubtful tells whether a solution may be a lesser minimum: a term without amplitude or at a bound, two that are one, or one that is
// hardly there. These are also what is left where the counts do not support as many terms.
func (s *Solution) doubtful(p *Problem) bool {
	if s.Status != Converged {
		return true
	}
	const margin = 4 // standard uncertainties
	for i := range p.Terms {
		a := p.ampAt() + i
		if s.side[i] != Inside || !s.known[i] || !s.known[a] || s.Amp[i]*s.Amp[i] < margin*margin*s.cov[a][a] {
			return true
		}
		for j := range i {
			d := s.Tau[i] - s.Tau[j]
			if d*d < margin*margin*(s.cov[i][i]+s.cov[j][j]-2*s.cov[i][j]) {
				return true
			}
		}
	}
	return false
}
