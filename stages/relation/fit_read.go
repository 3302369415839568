package relation

import (
	"fmt"
	"strings"

	"fascicle/pipeline"
	"fascicle/pipeline/table"
)

// weighting is how points weigh in a fit, and where its uncertainties come from.
type weighting uint8

const (
	byOwn     weighting = iota // by the covariance of what each point has to itself; uncertainties from the whole one
	equally                    // that cannot be inverted: all the same, uncertainties from the whole covariance all the same
	byScatter                  // it is not known: all the same, uncertainties from the scatter
)

// fitRun is the work on one group.
type fitRun struct {
	call     *pipeline.Call
	s        *fitSettings
	all      *pipeline.Joint // of all leads, x, y (and control) in turn
	width    int             // numbers of a point in it
	why      []string        // of each lead: why it is not in the fit, "" where it is
	used     []int           // leads
	joint    *pipeline.Joint // of those
	pts      *Points
	unitX    string
	unitY    string
	weights  weighting
	exactX   bool // x enters as exact
	straight *Fit
	brk      *Break // nil: a line
	p        float64
	tested   bool // p is known
	claimed  bool // of a break
}

func (r *fitRun) flag(level pipeline.FlagLevel, format string, args ...any) {
	r.call.Flag(level, "fit", -1, format, args...)
}

func (r *fitRun) controlled() bool { return r.s.Control.Word != "none" && r.s.Control.Name != "" }

// read takes the points out of the items.
func (r *fitRun) read() error {
	columns := []pipeline.ColumnName{r.s.X, r.s.Y}
	if r.controlled() {
		columns = append(columns, r.s.Control)
	}
	r.width = len(columns)
	var err error
	if r.all, err = r.call.JointOf(r.call.Leads, columns...); err != nil {
		return err
	}
	r.why = make([]string, len(r.call.Leads))
	limits, missing := 0, 0
	var at []int
	for i, lead := range r.call.Leads {
		for k, c := range columns {
			word := [...]string{"x", "y", "the control"}[k]
			if bound := boundOf(lead, c.Name); bound != "" {
				r.why[i] = word + " is only a limit (" + bound + ")"
				limits++
				break
			}
			if !r.all.Known[i*r.width+k] {
				r.why[i] = word + " is missing"
				missing++
				break
			}
		}
		if r.why[i] == "" {
			r.used = append(r.used, i)
			for k := range columns {
				at = append(at, i*r.width+k)
			}
		}
	}
	r.joint = r.all.Part(at)
	n, of := len(r.used), len(r.call.Leads)+len(r.call.Missing)
	if limits > 0 {
		r.flag(pipeline.Flagged, "%d of %d points are only limits and are not in the fit: it may lean away from where they lie", limits, of)
	}
	if missing += len(r.call.Missing); missing > 0 {
		r.flag(pipeline.Flagged, "%d of %d points have no x or no y and are not in the fit", missing, of)
	}
	if n < 2 {
		return fmt.Errorf("%d of %d points have both `%s` and `%s` as plain numbers, expected two at least; look at the stages that give them, or let `by` name fewer fields", n, of, r.s.X.Name, r.s.Y.Name)
	}
	if err := r.units(); err != nil {
		return err
	}
	r.points()
	return nil
}

// units makes sure that all points are in the same ones.
func (r *fitRun) units() error {
	r.unitX, r.unitY = r.joint.Unit[0], r.joint.Unit[1]
	words := []string{r.s.X.Name, r.s.Y.Name, r.s.Control.Name}
	for i := range r.used {
		for k, word := range words[:r.width] {
			want := r.unitY
			if k == 0 {
				want = r.unitX
			}
			if got := r.joint.Unit[i*r.width+k]; got != want {
				if k == 2 {
					return fmt.Errorf("the control `%s` is in %s and `%s` in %s; expected the same unit, since one is taken off the other", word, got, r.s.Y.Name, want)
				}
				return fmt.Errorf("`%s` is in %s for one point and in %s for another", word, want, got)
			}
		}
	}
	return nil
}

// points forms the coordinates and their covariance, and decides how they weigh.
func (r *fitRun) points() {
	n := len(r.used)
	p := &Points{X: make([]float64, n), Y: make([]float64, n)}
	unsureX, unsureY := 0, 0
	for i := range n {
		z := r.joint.X[i*r.width:]
		p.X[i], p.Y[i] = z[0], z[1]
		sure := r.joint.Sure[i*r.width : (i+1)*r.width]
		if r.width == 3 {
			p.Y[i] -= z[2]
		}
		if !sure[0] {
			unsureX++
		}
		for _, ok := range sure[1:] {
			if !ok {
				unsureY++
				break
			}
		}
	}
	r.pts = p
	if unsureX > 0 {
		r.exactX = true
		r.flag(pipeline.Flagged, "the uncertainty of x is not known for %d of %d points: x is taken as exact, and u of the fit lacks its part", unsureX, n)
	}
	if unsureY > 0 {
		r.weights = byScatter
		r.flag(pipeline.Flagged, "the uncertainty of y is not known for %d of %d points: all weigh the same, and uncertainties are those of their scatter about the fit", unsureY, n)
		return
	}
	r.covariance()
	if p.Vyy == nil {
		r.weights = byScatter
		r.flag(pipeline.Flagged, "no point has an uncertainty of its own: all weigh the same, and uncertainties are those of their scatter about the fit, and of what they share")
	}
}

// covariance forms that of what each point has to itself, which is independent of what others have; what they share is kept by source.
func (r *fitRun) covariance() {
	n, p, sources := len(r.used), r.pts, len(r.joint.Sources)
	vxx, vxy, vyy := make([]float64, n*n), make([]float64, n*n), make([]float64, n*n)
	ownX, ownY := r.coordinates(r.joint.Own, r.joint.Directions)
	partX, partY := r.coordinates(r.joint.Parts, sources)
	leads := make([]*pipeline.Input, n)
	for k, i := range r.used {
		leads[k] = r.call.Leads[i]
	}
	alone := ownSources(r.joint, r.width, leads)
	shared := make([]SharedPart, sources)
	moves := make([]bool, sources)
	for s := range shared {
		shared[s] = SharedPart{X: make([]float64, n), Y: make([]float64, n)}
	}
	uncertainX, uncertain := false, false
	for i := range n {
		at := i*n + i
		vxx[at], vxy[at], vyy[at] = dot(ownX[i], ownX[i]), dot(ownX[i], ownY[i]), dot(ownY[i], ownY[i])
		for s := range sources {
			x, y := partX[i][s], partY[i][s]
			if alone[i][s] {
				vxx[at] += x * x
				vxy[at] += x * y
				vyy[at] += y * y
				continue
			}
			if shared[s].Y[i] = y; !r.exactX {
				shared[s].X[i] = x
			}
			moves[s] = moves[s] || shared[s].X[i] != 0 || y != 0
		}
		uncertainX = uncertainX || vxx[at] > 0
		uncertain = uncertain || vyy[at] > 0 || vxx[at] > 0
	}
	for s, part := range shared {
		if moves[s] {
			p.Shared = append(p.Shared, part)
		}
	}
	if uncertain {
		p.Vyy = vyy
	}
	if uncertainX && !r.exactX {
		p.Vxx, p.Vxy = vxx, vxy
	}
}

// coordinates gives rows of x and of y (less control) out of rows of all numbers.
func (r *fitRun) coordinates(rows []float64, width int) (x, y [][]float64) {
	for i := range r.used {
		row := func(k int) []float64 { return rows[(i*r.width+k)*width : (i*r.width+k+1)*width] }
		yi := append([]float64(nil), row(1)...)
		if r.width == 3 {
			addTimes(yi, -1, row(2))
		}
		x, y = append(x, row(0)), append(y, yi)
	}
	return x, y
}

// boundOf says which limit a number of an item is, when it is one: of a column, or of any column that an expression names.
func boundOf(in *pipeline.Input, expression string) string {
	_, bound := boundIn(in.Table, expression, in.Stage+".")
	return bound
}

// boundIn finds a column that an expression names, with or without one of the prefixes, and that is only a limit.
func boundIn(row *table.Table, expression string, prefixes ...string) (column, bound string) {
	words := strings.FieldsFunc(expression, func(c rune) bool {
		return c != '_' && c != '.' && (c < '0' || c > '9') && (c < 'a' || c > 'z') && (c < 'A' || c > 'Z')
	})
	for _, w := range words {
		for _, prefix := range append([]string{""}, prefixes...) {
			name := strings.TrimPrefix(w, prefix)
			if c := row.Col(name + "_bound"); c != nil && c.Type == table.Text && !c.IsNull(0) && c.Texts[0] != "" {
				return name, c.Texts[0]
			}
		}
	}
	return "", ""
}
