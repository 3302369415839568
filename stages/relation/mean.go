package relation

import (
	"context"
	"fmt"
	"math"

	"fascicle/pipeline"
	"fascicle/pipeline/table"
)

// MeanKind gives the weighted mean of one number over samples.
var MeanKind = pipeline.Kind{
	Name:     "relation.mean",
	Revision: 1,
	Doc:      "Gives the weighted mean of a number over samples, weighted by the whole covariance: what the samples share does not average out.",
	Formula:  "mean = 1ᵀV⁻¹x / 1ᵀV⁻¹1, u² = 1/1ᵀV⁻¹1, χ² = (x − mean)ᵀV⁻¹(x − mean), Birge ratio √(χ²/(n − 1))",
	Source:   "generalised least squares (Aitken, Proc. R. Soc. Edinb. 55 (1936) 42, from memory); ratio: Birge, Phys. Rev. 40 (1932) 207 (from memory)",
	Methods:  "Means of {column} over samples are weighted by the inverse of the covariance of the samples' values, shared uncertainties included (weights: {weights}).",
	Parts:    pipeline.Reads,
	By:       "all",
	Ports: []pipeline.Port{{
		Name: "point", Lead: true, Gather: true, Forms: []pipeline.Form{pipeline.Values}, Doc: "the samples' numbers",
	}},
	Outputs:  []pipeline.Output{{Name: "mean", Doc: "the mean and how well the samples agree", Per: pipeline.PerGroup, Form: pipeline.Values, Shape: meanShape}},
	Settings: func() any { return &meanSettings{} },
	Run:      runMean,
}

type meanSettings struct {
	Column  pipeline.ColumnName `set:"column" unit:"*" doc:"the number, or an expression over numbers and fields"`
	Weights string              `set:"weights" oneof:"covariance|own|equal" default:"covariance" doc:"covariance: by the whole covariance, which may weigh a sample below zero; own: by own parts alone; equal: none. u always has the whole covariance"`
}

// meanShape gives the mean the unit of its column, where that is known.
func meanShape(c pipeline.ShapeCall) ([]pipeline.Column, error) {
	s := c.Settings.(*meanSettings)
	unit := "*"
	if t, ok := s.Column.Type(); ok {
		unit = t.Unit.Code()
	} else if at := c.Ports["point"]; len(at) > 0 {
		for i, a := range at {
			u := ""
			for _, col := range a.Columns {
				if col.Name == s.Column.Name && !col.Any {
					u = col.Unit.Code()
				}
			}
			if u == "" || i > 0 && u != unit {
				unit = "*"
				break
			}
			unit = u
		}
	}
	return []pipeline.Column{
		{Name: "mean", Unit: unit, U: true, Doc: "weighted mean"},
		{Name: "samples", Unit: "1", Doc: "samples in it"},
		{Name: "chi2", Unit: "1", Optional: true, Doc: "χ² of the samples about the mean"},
		{Name: "chi2_p", Unit: "1", Optional: true, Doc: "probability of a greater χ², if the uncertainties are right"},
		{Name: "birge", Unit: "1", Optional: true, Doc: "√(χ²/(n − 1)): above 1 where the samples scatter more than their uncertainties say"},
	}, nil
}

func runMean(_ context.Context, call *pipeline.Call) (pipeline.Choices, error) {
	s := call.Settings.(*meanSettings)
	all, err := call.JointOf(call.Leads, s.Column)
	if err != nil {
		return nil, err
	}
	at := all.Where(func(i int) bool { return all.Known[i] })
	j := all.Part(at)
	if len(j.X) == 0 {
		return nil, fmt.Errorf("none of the %d samples has a number in `%s`", len(call.Leads), s.Column.Name)
	}
	if n, of := len(call.Leads)-len(j.X), len(call.Leads)+len(call.Missing); n+len(call.Missing) > 0 {
		call.Flag(pipeline.Flagged, "mean", -1, "%d of %d samples have no number and are not in the mean", n+len(call.Missing), of)
	}
	for i := range j.Unit {
		if j.Unit[i] != j.Unit[0] {
			return nil, fmt.Errorf("`%s` is in %s for one sample and in %s for another", s.Column.Name, j.Unit[0], j.Unit[i])
		}
	}
	m, err := weighted(call, j, s.Weights)
	if err != nil {
		return nil, err
	}
	t := &table.Table{}
	t.AddFloat("mean", j.Unit[0], []float64{m.Value})
	t.AddFloat("samples", "1", []float64{float64(len(j.X))})
	known := []bool{m.Tested}
	t.AddFloatValid("chi2", "1", []float64{m.Chi2}, known)
	t.AddFloatValid("chi2_p", "1", []float64{m.P}, known)
	t.AddFloatValid("birge", "1", []float64{m.Birge}, known)
	if m.Tested && m.P < 0.01 {
		call.Flag(pipeline.Flagged, "mean", -1, "the samples scatter %.2g times as much as their uncertainties say (χ² test, p = %.2g): u of the mean is too small", m.Birge, m.P)
	}
	call.GiveJacobian("mean", -1, t, j, map[string][]float64{"mean": m.Weights})
	return nil, nil
}

// weighted works out the mean with the weights that the setting asks for, or equal ones where uncertainties are not known.
func weighted(call *pipeline.Call, j *pipeline.Joint, weights string) (Mean, error) {
	for _, ok := range j.Sure {
		if !ok {
			call.Flag(pipeline.Flagged, "mean", -1, "the uncertainty of a sample's number is not known: the mean is not weighted, and its u is not known")
			return EqualMean(j.X, nil), nil
		}
	}
	v := j.Covariance()
	switch weights {
	case "equal":
		return EqualMean(j.X, v), nil
	case "own":
		own := j.OwnCovariance()
		w := make([]float64, len(j.X))
		for i := range w {
			if w[i] = 1 / own[i*len(w)+i]; math.IsInf(w[i], 0) {
				return Mean{}, fmt.Errorf("a sample's number has no own uncertainty, so that `weights: own` would give it all the weight; use covariance or equal")
			}
		}
		return GivenMean(j.X, v, w), nil
	}
	m, err := CovarianceMean(j.X, v)
	if err != nil {
		call.Flag(pipeline.Flagged, "mean", -1, "the covariance of the samples cannot be inverted (%v): the mean is not weighted", err)
		return EqualMean(j.X, v), nil
	}
	if m.Negative > 0 {
		call.Flag(pipeline.Note, "mean", -1, "%d samples weigh less than zero: what they share with others makes the mean lean away from them", m.Negative)
	}
	return m, nil
}
