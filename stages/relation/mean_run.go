package relation

import (
	"fmt"
	"math"

	"fascicle/pipeline"
	"fascicle/pipeline/table"
)

// meanRun is the work on one group.
type meanRun struct {
	call      *pipeline.Call
	s         *meanSettings
	leads     []*pipeline.Input // those that are in the mean
	joint     *pipeline.Joint   // of their numbers
	own       [][]bool          // of each point and source: the point has it to itself
	v         []float64         // the whole covariance, nil: not known
	byScatter bool              // u is that of the scatter
}

func (r *meanRun) flag(level pipeline.FlagLevel, format string, args ...any) {
	r.call.Flag(level, "mean", -1, format, args...)
}

// read takes the numbers out of the items.
func (r *meanRun) read() error {
	leads, column := r.call.Leads, r.s.Column
	all, err := r.call.JointOf(leads, column)
	if err != nil {
		return err
	}
	limits, missing := 0, len(r.call.Missing)
	at := all.Where(func(i int) bool {
		if boundOf(leads[i], column.Name) != "" {
			limits++
			return false
		}
		if !all.Known[i] {
			missing++
		}
		return all.Known[i]
	})
	r.joint = all.Part(at)
	of := len(leads) + len(r.call.Missing)
	if len(at) == 0 {
		return fmt.Errorf("none of the %d points has a plain number in `%s` (%d are only limits or intervals, %d have none); look at the stages that give them", of, column.Name, limits, missing)
	}
	if limits > 0 {
		r.flag(pipeline.Flagged, "%d of %d points are only limits or intervals and are not in the mean: it may lean away from where they lie", limits, of)
	}
	if missing > 0 {
		r.flag(pipeline.Flagged, "%d of %d points have no number and are not in the mean", missing, of)
	}
	for i, k := range at {
		r.leads = append(r.leads, leads[k])
		if u := r.joint.Unit; u[i] != u[0] {
			return fmt.Errorf("`%s` is in %s for one point and in %s for another", column.Name, u[0], u[i])
		}
	}
	r.own = ownSources(r.joint, 1, r.leads)
	return nil
}

// mean works out the mean with the weights that the setting asks for, or equal ones where they cannot be had.
func (r *meanRun) mean() Mean {
	j := r.joint
	n := len(j.X)
	unsure := 0
	for _, ok := range j.Sure {
		if !ok {
			unsure++
		}
	}
	if unsure > 0 {
		r.byScatter = true
		if n > 1 {
			r.flag(pipeline.Flagged, "the uncertainty is not known for %d of %d points: all weigh the same, and u of the mean is that of their scatter, s/√n", unsure, n)
		}
		return EqualMean(j.X, nil)
	}
	v := j.Covariance()
	w, elsewhere, none := r.ownWeights()
	if none == n && n > 1 {
		r.byScatter = true
		r.flag(pipeline.Flagged, "no point has an uncertainty of its own: all weigh the same, and u of the mean is that of their scatter, s/√n, and of what they share")
		return EqualMean(j.X, nil)
	}
	r.v = v
	switch r.s.Weights {
	case "equal":
		return EqualMean(j.X, v)
	case "covariance":
		return r.byCovariance()
	}
	switch {
	case none > 0 && n > 1:
		r.flag(pipeline.Flagged, "%d of %d points have no uncertainty to themselves: all weigh the same, and u of the mean lacks their scatter", none, n)
		return EqualMean(j.X, v)
	case none > 0:
		return EqualMean(j.X, v)
	case elsewhere > 0 && n > 1:
		r.flag(pipeline.Note, "%d of %d points have no own part, because what is theirs alone is counted as sources: they weigh by those", elsewhere, n)
	}
	return GivenMean(j.X, v, w)
}

// ownWeights are 1/u² with the u that each point has to itself. elsewhere is the number of those that have it from sources alone, none
// that of those that have nothing.
func (r *meanRun) ownWeights() (w []float64, elsewhere, none int) {
	j := r.joint
	w = make([]float64, len(j.X))
	for i := range w {
		row := j.Own[i*j.Directions : (i+1)*j.Directions]
		uu := dot(row, row)
		if uu == 0 {
			elsewhere++
		}
		for s := range j.Sources {
			if p := j.Parts[i*len(j.Sources)+s]; r.own[i][s] {
				uu += p * p
			}
		}
		if w[i] = 1 / uu; math.IsInf(w[i], 0) {
			none++
		}
	}
	return w, elsewhere, none
}

// tooFarApart is how many of its own u a difference of two means of the same numbers may be before one is called wrong.
const tooFarApart = 2

// byCovariance is the mean of least variance, held against the one by own parts: in what u allows they agree.
func (r *meanRun) byCovariance() Mean {
	j := r.joint
	m, err := CovarianceMean(j.X, r.v)
	if err != nil {
		r.flag(pipeline.Flagged, "the covariance of the points cannot be inverted (%v): the mean is not weighted", err)
		return EqualMean(j.X, r.v)
	}
	if m.Negative > 0 {
		r.flag(pipeline.Note, "%d points weigh less than zero: what they share with others makes the mean lean away from them", m.Negative)
	}
	plain := EqualMean(j.X, r.v)
	if w, _, none := r.ownWeights(); none == 0 {
		plain = GivenMean(j.X, r.v, w)
	}
	if far := m.Apart(plain, r.v); far > tooFarApart {
		r.flag(pipeline.Flagged, "weighted by own parts the mean is %.6g %s, further away (%.2g u of the difference) than the covariance allows: a factor that points share pulls such a mean too low; use `weights: own`", plain.Value, j.Unit[0], far)
	}
	return m
}

// agreement tests whether the points agree, with what they share taken at the mean.
func (r *meanRun) agreement(m Mean) (Agreement, bool) {
	j := r.joint
	n := len(j.X)
	if r.v == nil {
		return Agreement{}, false
	}
	v := j.OwnCovariance()
	model, part := make([]float64, n), make([]float64, n)
	for i := range model {
		model[i] = m.Value
	}
	for s := range j.Sources {
		for i := range part {
			part[i] = j.Parts[i*len(j.Sources)+s]
		}
		at := levelled(part, j.X, model)
		for i := range n {
			addTimes(v[i*n:i*n+n], at[i], at)
		}
	}
	a, ok := Agree(j.X, v)
	switch {
	case ok && a.P < 0.01:
		r.flag(pipeline.Flagged, "the points scatter %.2g times as much as their uncertainties say (χ² test, p = %.2g): u of the mean is too small", a.Birge, a.P)
	case ok && a.P > tooGood:
		r.flag(pipeline.Note, scatterLess, a.Birge, a.P)
	}
	return a, ok
}

// tooGood is the probability of a greater χ² above which it is remarked that the points scatter less than they should.
const tooGood = 0.999

const scatterLess = "the points scatter less than their uncertainties say (%.2g times, χ² test, p = %.5f): perhaps what they share is counted as own"

// scatter gives u from the scatter of the points, s/√n, where theirs is not known (JCGM 100:2008, 4.2.3).
func (r *meanRun) scatter(t *table.Table, m Mean) {
	j := r.joint
	n := len(j.X)
	if !r.byScatter || n < 2 {
		return
	}
	ss := 0.0
	for _, x := range j.X {
		ss += (x - m.Value) * (x - m.Value)
	}
	t.AddFloat("u_mean", j.Unit[0], []float64{math.Sqrt(ss / float64(n-1) / float64(n))})
	t.AddFloat("nu_mean", "1", []float64{float64(n - 1)})
	plain := *j
	plain.Own = make([]float64, len(j.Own)) // own parts that are known are in the scatter already
	if len(j.Sources) == 0 {
		plain.Sure = make([]bool, n) // what was not known were own parts
		for i := range plain.Sure {
			plain.Sure[i] = true
		}
	}
	r.joint = &plain
}
