package relation

import (
	"context"

	"fascicle/pipeline"
	"fascicle/pipeline/table"
)

// MeanKind gives the weighted mean of one number over samples.
var MeanKind = pipeline.Kind{
	Name:     "relation.mean",
	Revision: 2,
	Doc:      "Gives the weighted mean of a number over points, with the whole covariance in its uncertainty: what the points share does not average out.",
	Formula: "mean = Σw·x/Σw, u² = wᵀVw/(Σw)², V the whole covariance; own: w = 1/u², u of what each point has to itself; covariance: w = V⁻¹1; " +
		"χ² = least (x − m)ᵀV⁻¹(x − m) of any m, with a shared factor's parts taken at the mean; Birge ratio √(χ²/(n − 1)); u not known: s/√n, ν = n − 1",
	Source: "u: JCGM 100:2008, 5.2.2; covariance: Aitken, Proc. R. Soc. Edinb. 55 (1936) 42; that shared factors pull such a mean too low: D'Agostini, Nucl. Instrum. Methods A 346 (1994) 306; " +
		"ratio: Birge, Phys. Rev. 40 (1932) 207; s/√n: JCGM 100:2008, 4.2.3 (all from memory)",
	Methods: "Means of {column} have the whole covariance of the values, shared uncertainties included, in their uncertainties (weights: {weights}).",
	Parts:   pipeline.Reads,
	By:      "all",
	Ports: []pipeline.Port{{
		Name: "point", Lead: true, Gather: true, Forms: []pipeline.Form{pipeline.Values}, Doc: "the numbers, each a point",
	}},
	Outputs:  []pipeline.Output{{Name: "mean", Doc: "the mean and how well the points agree", Per: pipeline.PerGroup, Form: pipeline.Values, Shape: meanShape}},
	Settings: func() any { return &meanSettings{} },
	Run:      runMean,
}

type meanSettings struct {
	Column  pipeline.ColumnName `set:"column" unit:"*" doc:"the number, or an expression over numbers and fields"`
	Weights string              `set:"weights" oneof:"own|covariance|equal" default:"own" doc:"own: by what each point has to itself, equal where a point has nothing; covariance: by the whole covariance: the least u, but where points share a factor its parts, taken at each value as measured, pull the mean too low; equal: none. u always has the whole covariance"`
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
		{Name: "samples", Unit: "1", Doc: "points in it"},
		{Name: "chi2", Unit: "1", Optional: true, Doc: "least χ² of the points about one value"},
		{Name: "chi2_p", Unit: "1", Optional: true, Doc: "probability of a greater χ², if the uncertainties are right"},
		{Name: "birge", Unit: "1", Optional: true, Doc: "√(χ²/(n − 1)): above 1 where the points scatter more than their uncertainties say"},
	}, nil
}

func runMean(_ context.Context, call *pipeline.Call) (pipeline.Choices, error) {
	r := &meanRun{call: call, s: call.Settings.(*meanSettings)}
	if err := r.read(); err != nil {
		return nil, err
	}
	m := r.mean()
	t := &table.Table{}
	t.AddFloat("mean", r.joint.Unit[0], []float64{m.Value})
	t.AddFloat("samples", "1", []float64{float64(len(r.joint.X))})
	a, tested := r.agreement(m)
	known := []bool{tested}
	t.AddFloatValid("chi2", "1", []float64{a.Chi2}, known)
	t.AddFloatValid("chi2_p", "1", []float64{a.P}, known)
	t.AddFloatValid("birge", "1", []float64{a.Birge}, known)
	r.scatter(t, m)
	call.GiveJacobian("mean", -1, t, r.joint, map[string][]float64{"mean": m.Weights})
	return nil, nil
}
