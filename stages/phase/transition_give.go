package phase

import (
	"cmp"
	"math"
	"slices"

	"fascicle/pipeline"
	"fascicle/pipeline/table"
)

// rows lists what the figure shows: the points, and between first and last as many places as draw a smooth line.
func (r *transitionRun) rows(t *Transition) []fitRow {
	const lines = 200
	first, last := slices.Min(r.x), slices.Max(r.x)
	var out []fitRow
	for i := range lines + 1 {
		p := float64(i) / lines
		x := first + p*(last-first)
		if r.s.Scale == "log" {
			x = first * math.Pow(last/first, p)
		}
		out = append(out, fitRow{-1, math.Min(x, last)})
	}
	for i, x := range r.x {
		out = append(out, fitRow{i, x})
	}
	slices.SortStableFunc(out, func(a, b fitRow) int { return cmp.Compare(a.x, b.x) })
	return out
}

// give hands over the tables.
func (r *transitionRun) give(res *Transition, c *transitionChoices) {
	nu := 0
	if !res.Known {
		nu = res.Nu
	}
	e := &table.Table{}
	e.AddFloat("number", "1", []float64{float64(len(res.Edges))})
	e.AddFloat("windows", "1", []float64{float64(len(res.Windows))})
	w := Window{Opens: unknown(), Closes: unknown(), Middle: unknown(), Width: unknown()}
	if best := res.Best(); best >= 0 {
		w = res.Windows[best]
	}
	names := [...]string{"opens", "closes", "middle", "width"}
	for i, n := range [...]Number{w.Opens, w.Closes, w.Middle, w.Width} {
		addNumbers(e, names[i], r.unit, nu, n)
	}
	if w.Cov != nil && !math.IsNaN(w.Cov[0][0]+w.Cov[1][1]+w.Cov[0][1]) {
		square := r.unit
		if square != "1" {
			square = pipeline.UnitProduct(r.unit, r.unit)
		}
		for i := range names {
			for j := i + 1; j < len(names); j++ {
				e.AddFloat("cov_"+names[i]+"_"+names[j], square, []float64{w.Cov[i][j]})
			}
		}
	}
	if r.direction != "" {
		e.AddText("direction", []string{r.direction})
	}
	r.call.Give("edges", -1, e)

	s := &table.Table{}
	var words []string
	var at, width, before, after []Number
	for _, e := range res.Edges {
		word := "clears"
		if e.Turbid {
			word = "turns turbid"
		}
		words, at, width = append(words, word), append(at, e.At), append(width, e.Width)
		before, after = append(before, measured(e.Before, e.UBefore)), append(after, measured(e.After, e.UAfter))
	}
	s.AddText("change", words)
	addNumbers(s, "at", r.unit, nu, at...)
	addNumbers(s, "width", r.unit, nu, width...)
	addNumbers(s, "before", "1", nu, before...)
	addNumbers(s, "after", "1", nu, after...)
	r.call.Give("steps", -1, s)
	r.call.Give("fit", -1, r.figure(res, c.rows))
}

// figure is the table behind the figure.
func (r *transitionRun) figure(res *Transition, rows []fitRow) *table.Table {
	n := len(rows)
	column := func() []float64 {
		out := make([]float64, n)
		for i := range out {
			out[i] = math.NaN()
		}
		return out
	}
	x, y, u, model, residual, tau, uTau := column(), column(), column(), column(), column(), column(), column()
	scatter := math.NaN() // of the points, where u is not known
	if !res.Known && res.Nu > 0 && res.Chi2 > 0 {
		scatter = math.Sqrt(res.Chi2 / float64(res.Nu))
	}
	for i, row := range rows {
		x[i] = row.x
		if k := row.point; k >= 0 {
			x[i], y[i] = r.x[k], r.t[k]
			s := scatter
			if r.u != nil {
				u[i], s = r.u[k], r.u[k]
			}
			residual[i] = (y[i] - res.Fitted(k)) / s
			if y[i] > 0 {
				tau[i] = Turbidity(y[i], r.path)
				uTau[i] = 10 * u[i] / y[i] / r.path
			}
			model[i] = res.Fitted(k)
			continue
		}
		model[i] = res.Model(x[i])
	}
	f := &table.Table{}
	f.AddFloat("x", r.unit, x)
	pipeline.AddWithNaN(f, "transmittance", "1", y)
	if r.u != nil {
		pipeline.AddWithNaN(f, "u_transmittance", "1", u)
	}
	pipeline.AddWithNaN(f, "model", "1", model)
	pipeline.AddWithNaN(f, "residual", "1", residual)
	if !math.IsNaN(r.path) {
		pipeline.AddWithNaN(f, "turbidity", "1/cm", tau)
		if r.u != nil {
			pipeline.AddWithNaN(f, "u_turbidity", "1/cm", uTau)
		}
	}
	return f
}

// Turbidity gives the turbidity in 1/cm of a transmittance through a path in mm:
//
//	τ = −ln T/l = ln 10·A/l
//
// Source: an identity, by the definition of the turbidity. T must be positive.
func Turbidity(t, path float64) float64 { return -10 * math.Log(t) / path }
