package relation

import (
	"cmp"
	"math"
	"slices"

	"fascicle/pipeline"
	"fascicle/pipeline/table"
)

// gradient turns derivatives after y into those after all numbers of the joint: x, y (and control) of each point.
func (r *fitRun) gradient(d, slopes []float64) []float64 {
	g := make([]float64, len(r.joint.X))
	for i, v := range d {
		g[i*r.width+1] = v
		if !r.exactX {
			g[i*r.width] = -slopes[i] * v
		}
		if r.width == 3 {
			g[i*r.width+2] = -v
		}
	}
	return g
}

// ownAndParts is what the own parts of all points, and each source, do to a number with this gradient.
func (r *fitRun) ownAndParts(g []float64) (own float64, parts []float64) {
	j := r.joint
	along := make([]float64, j.Directions)
	parts = make([]float64, len(j.Sources))
	for i, d := range g {
		if d != 0 {
			addTimes(along, d, j.Own[i*j.Directions:(i+1)*j.Directions])
			addTimes(parts, d, j.Parts[i*len(parts):(i+1)*len(parts)])
		}
	}
	return norm(along), parts
}

// widest is by how much draws about the fit show more than its covariance, for each parameter: 1 for a line.
func (r *fitRun) widest(cov []float64) []float64 {
	f := r.model()
	w := ones(len(f.P))
	if r.claimed {
		for k := range w {
			if u := math.Sqrt(cov[k*len(w)+k]); r.brk.U95[k] > u && u > 0 {
				w[k] = r.brk.U95[k] / u
			}
		}
	}
	return w
}

func (r *fitRun) give() {
	f := r.model()
	cov := r.covarianceOf(f)
	r.giveFit(f, cov)
	r.giveBand(f, cov)
	r.giveResiduals(f)
}

// giveFit gives the parameters. u is left to the runner but where it comes from the scatter, or where draws about a break show more
// than its covariance: what they show more is own.
func (r *fitRun) giveFit(f *Fit, cov []float64) {
	t := &table.Table{}
	slope := unitQuotient(r.unitY, r.unitX)
	names := []string{"intercept", "slope"}
	if r.claimed {
		names = []string{"at", "before", "after", "level"}
	}
	m := len(names)
	gone := map[string]bool{} // what is not known of a break at an edge
	if r.claimed {
		gone = map[string]bool{"before": r.brk.Edge < 0, "after": r.brk.Edge > 0, "level": r.brk.Edge != 0}
	}
	for i, c := range []struct{ name, unit string }{{"slope", slope}, {"intercept", r.unitY}, {"at", r.unitX}, {"before", slope}, {"after", slope}, {"level", r.unitY}} {
		if i > 1 && r.s.Model == "line" {
			break // no break was looked for
		}
		k := slices.Index(names, c.name)
		if k < 0 || gone[c.name] {
			t.AddFloatValid(c.name, c.unit, []float64{0}, []bool{false})
			continue
		}
		t.AddFloat(c.name, c.unit, []float64{f.P[k]})
		if c.name == "at" {
			for _, end := range []struct {
				name  string
				value float64
			}{{"at_lo", r.brk.Lo}, {"at_hi", r.brk.Hi}} {
				pipeline.AddWithNaN(t, end.name, c.unit, []float64{end.value})
			}
			if r.brk.Edge != 0 {
				t.AddText("at_bound", []string{map[bool]string{true: "upper", false: "lower"}[r.brk.Edge < 0]})
			}
		}
	}
	t.AddFloatValid("p", "1", []float64{r.p}, []bool{r.tested})
	t.AddFloat("points", "1", []float64{float64(len(r.used))})
	reduced, p, ok := r.quality()
	t.AddFloatValid("chi2_nu", "1", []float64{reduced}, []bool{ok})
	t.AddFloatValid("chi2_p", "1", []float64{p}, []bool{ok})
	t.AddFloatValid("birge", "1", []float64{math.Sqrt(reduced)}, []bool{ok})

	jac := map[string][]float64{}
	joint := r.joint
	wide := r.widest(cov)
	for k, name := range names {
		if gone[name] {
			continue
		}
		jac[name] = r.gradient(f.D[k], f.B)
		own, parts := r.ownAndParts(jac[name])
		whole := wide[k] * math.Sqrt(cov[k*m+k])
		unit := t.Col(name).Unit
		switch {
		case r.weights == byScatter:
			pipeline.AddWithNaN(t, "u_"+name, unit, []float64{whole})
			if r.nu() > 0 {
				t.AddFloat("nu_"+name, "1", []float64{float64(r.nu())})
			}
		case wide[k] > 1:
			t.AddFloat("u_"+name, unit, []float64{math.Sqrt(max(own*own, whole*whole-dot(parts, parts)))})
		}
	}
	if r.weights == byScatter {
		// the own parts that are known are in the scatter already
		plain := *joint
		plain.Own = make([]float64, len(joint.Own))
		joint = &plain
		for a := range m {
			for b := range a {
				if c := cov[a*m+b]; c != 0 && !math.IsNaN(c) && !gone[names[a]] && !gone[names[b]] {
					t.AddFloat("cov_"+names[b]+"_"+names[a], pipeline.UnitProduct(t.Col(names[a]).Unit, t.Col(names[b]).Unit), []float64{c})
				}
			}
		}
	}
	r.call.GiveJacobian("fit", -1, t, joint, jac)
}

// bandSteps is the number of steps along a band.
const bandSteps = 100

// bandPlaces are the x of a band: even steps over the points' span, and further places.
func bandPlaces(points []float64, more ...float64) []float64 {
	lo, hi := slices.Min(points), slices.Max(points)
	x := slices.Clone(more)
	for k := range bandSteps + 1 {
		x = append(x, lo+(hi-lo)*float64(k)/bandSteps)
	}
	slices.Sort(x)
	return slices.Compact(x)
}

// giveBand gives the model along the points' span, with its own uncertainty, its parts, and both together.
func (r *fitRun) giveBand(f *Fit, cov []float64) {
	x := bandPlaces(r.pts.X)
	if r.claimed {
		x = r.brk.Along
	}
	wide := slices.Max(r.widest(cov))
	reach := r.coverage()
	n, m := len(x), len(f.P)
	model, own, lower, upper := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	parts := make([][]float64, n)
	unsure := r.unsure()
	d := make([]float64, len(r.used))
	for i, at := range x {
		var c []float64 // how the model changes with the parameters
		model[i], c = r.value(f, at)
		clear(d)
		variance := 0.0
		for a := range m {
			addTimes(d, c[a], f.D[a])
			variance += c[a] * dot(cov[a*m:a*m+m], c)
		}
		own[i], parts[i] = r.ownAndParts(r.gradient(d, f.B))
		whole := wide * math.Sqrt(variance)
		drawn := r.claimed && r.brk.Far != nil && r.weights != equally
		if drawn {
			whole = r.brk.Far[i] / math.Sqrt(chi95) // the derivatives jump at the break
		}
		shared := dot(parts[i], parts[i])
		switch {
		case r.weights == byScatter:
			own[i] = whole
			whole = math.Sqrt(whole*whole + shared)
		case drawn:
			whole = max(whole, math.Sqrt(shared))
			own[i] = math.Sqrt(whole*whole - shared)
		default:
			own[i] = math.Sqrt(max(own[i]*own[i], whole*whole-shared))
		}
		lower[i], upper[i] = model[i]-reach*whole, model[i]+reach*whole
	}
	t := &table.Table{}
	t.AddFloat("x", r.unitX, x)
	t.AddFloat("model", r.unitY, model)
	pipeline.AddWithNaN(t, "u_model", r.unitY, own)
	pipeline.AddWithNaN(t, "lower", r.unitY, lower)
	pipeline.AddWithNaN(t, "upper", r.unitY, upper)
	for s, src := range r.joint.Sources {
		col := make([]float64, n)
		any := unsure
		for i := range n {
			col[i] = parts[i][s]
			any = any || col[i] != 0
			if unsure {
				col[i] = math.NaN()
			}
		}
		if any {
			pipeline.AddWithNaN(t, "model@"+src, r.unitY, col)
		}
	}
	r.call.Give("band", -1, t)
}

// unsure tells whether what sources do to the fit is not known, as with a point of which it is not.
func (r *fitRun) unsure() bool {
	for i, ok := range r.joint.Sure {
		if !ok && (i%r.width != 0 || !r.exactX) {
			return true
		}
	}
	return false
}

// value is the model at x and how it changes with its parameters.
func (r *fitRun) value(f *Fit, x float64) (y float64, c []float64) {
	if !r.claimed {
		return f.P[0] + f.P[1]*x, []float64{1, x}
	}
	at, before, after, level := f.P[0], f.P[1], f.P[2], f.P[3]
	if x > at {
		return level + after*(x-at), []float64{-after, 0, x - at, 1}
	}
	return level + before*(x-at), []float64{-before, x - at, 0, 1}
}

// giveResiduals lists all points along x, those too that are not in the fit.
func (r *fitRun) giveResiduals(f *Fit) {
	n := len(r.call.Leads)
	nan := func() []float64 {
		v := make([]float64, n)
		for i := range v {
			v[i] = math.NaN()
		}
		return v
	}
	item := make([]string, n)
	x, ux, y, uy, residual, used := nan(), nan(), nan(), nan(), nan(), make([]float64, n)
	for i, lead := range r.call.Leads {
		item[i] = lead.Name()
		if r.all.Known[i*r.width] && boundOf(lead, r.s.X.Name) == "" {
			x[i] = r.all.X[i*r.width]
		}
	}
	scatter := 1.0
	if r.weights != byOwn && r.nu() > 0 {
		scatter = math.Sqrt(f.Chi2 / float64(r.nu()))
	}
	ownX, ownY := r.coordinates(r.joint.Own, r.joint.Directions)
	for k, i := range r.used {
		x[i], y[i], used[i] = r.pts.X[k], r.pts.Y[k], 1
		if r.joint.Sure[k*r.width] {
			ux[i] = norm(ownX[k])
		}
		if r.sureY(k) {
			uy[i] = norm(ownY[k])
		}
		if u := f.U[k] * scatter; u > 0 && r.nu() > 0 {
			residual[i] = f.R[k] / u
		}
	}
	order := make([]int, n)
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		if math.IsNaN(x[a]) != math.IsNaN(x[b]) { // what has no x comes last
			return -cmp.Compare(x[a], x[b])
		}
		return cmp.Compare(x[a], x[b])
	})
	t := &table.Table{}
	t.AddText("item", along(order, item))
	pipeline.AddWithNaN(t, "x", r.unitX, along(order, x))
	pipeline.AddWithNaN(t, "u_x", r.unitX, along(order, ux))
	pipeline.AddWithNaN(t, "y", r.unitY, along(order, y))
	pipeline.AddWithNaN(t, "u_y", r.unitY, along(order, uy))
	pipeline.AddWithNaN(t, "residual", "1", along(order, residual))
	t.AddFloat("used", "1", along(order, used))
	t.AddText("remark", along(order, r.why))
	partX, partY := r.coordinates(r.joint.Parts, len(r.joint.Sources))
	for s, src := range r.joint.Sources {
		r.addParts(t, "x@"+src, r.unitX, partX, s, order, func(k int) bool { return r.joint.Sure[k*r.width] })
		r.addParts(t, "y@"+src, r.unitY, partY, s, order, r.sureY)
	}
	r.call.Give("residuals", -1, t)
}

// sureY tells whether the uncertainty of a point's y is known.
func (r *fitRun) sureY(k int) bool {
	return !slices.Contains(r.joint.Sure[k*r.width+1:(k+1)*r.width], false)
}

// addParts adds what a source does to the points' coordinate, if it does anything.
func (r *fitRun) addParts(t *table.Table, name, unit string, parts [][]float64, source int, order []int, sure func(k int) bool) {
	col := make([]float64, len(r.call.Leads))
	any := false
	for k, i := range r.used {
		if col[i] = parts[k][source]; !sure(k) {
			col[i] = math.NaN()
		}
		any = any || col[i] != 0
	}
	if any {
		pipeline.AddWithNaN(t, name, unit, along(order, col))
	}
}

// along puts a column into another order.
func along[T any](order []int, v []T) []T {
	out := make([]T, len(v))
	for i, k := range order {
		out[i] = v[k]
	}
	return out
}
