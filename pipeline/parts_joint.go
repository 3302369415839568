package pipeline

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"fascicle/pipeline/table"
)

// Joint is a set of numbers with their joint covariance: what a kind of mode `reads` computes from. The numbers are in the order of the
// inputs, and for each in the order of the columns asked for.
type Joint struct {
	X       []float64
	Unit    []string  // UCUM codes
	Known   []bool    // false: null; X is then 0
	Sure    []bool    // false: its own uncertainty or a part is not known
	Sources []string  // shared sources, sorted
	Parts   []float64 // len(X) × len(Sources), row by row
	// Own factors the own covariance: len(X) × Directions, row by row; inputs share no direction.
	Own        []float64
	Directions int

	nu []nuTerm // of own directions: the input that each belongs to, and its degrees of freedom
}

// Covariance is the joint covariance of the numbers, row by row: V = A·Aᵀ + P·Pᵀ, with A the own directions and P the shared parts
// (JCGM 100:2008, 5.2.2).
func (j *Joint) Covariance() []float64 {
	n, s := len(j.X), len(j.Sources)
	v := j.OwnCovariance()
	for a := range n {
		for b := range n {
			for k := range s {
				v[a*n+b] += j.Parts[a*s+k] * j.Parts[b*s+k]
			}
		}
	}
	return v
}

// OwnCovariance is the covariance without shared parts.
func (j *Joint) OwnCovariance() []float64 {
	n := len(j.X)
	v := make([]float64, n*n)
	for a := range n {
		for b := range n {
			for k := range j.Directions {
				v[a*n+b] += j.Own[a*j.Directions+k] * j.Own[b*j.Directions+k]
			}
		}
	}
	return v
}

// Where lists the numbers for which keep is true.
func (j *Joint) Where(keep func(i int) bool) []int {
	var at []int
	for i := range j.X {
		if keep(i) {
			at = append(at, i)
		}
	}
	return at
}

// Part gives some of the numbers, in the order given.
func (j *Joint) Part(at []int) *Joint {
	p := &Joint{Sources: j.Sources, Directions: j.Directions, nu: j.nu}
	s := len(j.Sources)
	for _, i := range at {
		p.X, p.Unit = append(p.X, j.X[i]), append(p.Unit, j.Unit[i])
		p.Known, p.Sure = append(p.Known, j.Known[i]), append(p.Sure, j.Sure[i])
		p.Parts = append(p.Parts, j.Parts[i*s:(i+1)*s]...)
		p.Own = append(p.Own, j.Own[i*j.Directions:(i+1)*j.Directions]...)
	}
	return p
}

// JointOf gives columns of some of the call's inputs, or expressions over them, with their joint covariance. An input that is not there
// twice is meant: the same item given twice would count as two.
func (c *Call) JointOf(inputs []*Input, columns ...ColumnName) (*Joint, error) {
	n, m := len(inputs)*len(columns), len(columns)
	j := &Joint{X: make([]float64, n), Unit: make([]string, n), Known: make([]bool, n), Sure: make([]bool, n), Sources: c.carrier.sources}
	j.Parts = make([]float64, n*len(j.Sources))
	sets := make([]directionSet, len(inputs))
	for i, in := range inputs {
		sets[i] = directions(in.Table, in.from.it.exact)
		for _, d := range sets[i].along {
			j.nu = append(j.nu, nuTerm{group: strconv.Itoa(i + 1), nu: d.nu})
		}
	}
	j.Directions = len(j.nu)
	j.Own = make([]float64, n*j.Directions)
	base := 0
	for i, in := range inputs {
		for k, col := range columns {
			row := i*m + k
			value := func(c *Call, in *Input) (Cell, error) { return c.Column(col, in) }
			cell, err := value(c, in)
			if err != nil {
				return nil, err
			}
			j.Unit[row], j.Known[row] = cell.Unit, cell.Known
			if !cell.Known {
				continue
			}
			j.X[row], j.Sure[row] = cell.Value, !sets[i].leaves(col)
			for d, dir := range sets[i].along {
				x, ok := halfDifference(func(sign float64) (Cell, error) { return value(c, in.along(sets[i].columns, dir.change, sign)) })
				j.Own[row*j.Directions+base+d] = x
				j.Sure[row] = j.Sure[row] && ok
			}
			for s, src := range j.Sources {
				x, ok := halfDifference(func(sign float64) (Cell, error) {
					shifted, moved, err := c.shifted(in, src, sign)
					if err != nil {
						return Cell{}, err
					}
					return value(shifted, moved)
				})
				if math.Abs(x) > noPart*math.Abs(cell.Value) {
					j.Parts[row*len(j.Sources)+s] = x
				}
				j.Sure[row] = j.Sure[row] && ok
			}
		}
		base += len(sets[i].along)
	}
	return j, nil
}

// leaves tells whether a column whose uncertainty is not known takes part in what a setting names.
func (d *directionSet) leaves(n ColumnName) bool {
	for _, u := range d.unknown {
		if n.formula == nil && (n.Name == u || strings.HasSuffix(n.Name, "."+u)) || n.formula != nil && (slices.Contains(n.formula.Names(), u) || slices.ContainsFunc(n.formula.Members(), func(m [2]string) bool {
			return m[0]+"."+m[1] == u || m[1] == u
		})) {
			return true
		}
	}
	return false
}

// along gives the input with its numbers moved along one own direction.
func (in *Input) along(columns []string, change []float64, sign float64) *Input {
	moved := *in
	moved.Table = &table.Table{Header: in.Table.Header, Columns: slices.Clone(in.Table.Columns)}
	for i, name := range columns {
		if change[i] != 0 {
			c := moved.Table.Col(name)
			c.Floats = []float64{c.Floats[0] + sign*change[i]}
		}
	}
	return &moved
}

// shifted gives the call and one of its inputs with a source moved.
func (c *Call) shifted(in *Input, src string, sign float64) (*Call, *Input, error) {
	t, err := in.from.shifted(src, sign)
	if err != nil {
		return nil, nil, err
	}
	call, moved := *c, *in
	call.shift = c.project.fieldShift(src, sign)
	moved.Table = t
	return &call, &moved, nil
}

// halfDifference is ½[f(+) − f(−)]; ok is false where that cannot be known.
func halfDifference(f func(sign float64) (Cell, error)) (x float64, ok bool) {
	plus, err := f(1)
	if err != nil || !plus.Known {
		return 0, false
	}
	minus, err := f(-1)
	if err != nil || !minus.Known {
		return 0, false
	}
	return 0.5 * (plus.Value - minus.Value), true
}

// jacobian is how the numbers of one output item change with the numbers of a Joint.
type jacobian struct {
	give  int // index of the item among those given
	joint *Joint
	rows  map[string][]float64
}

// GiveJacobian hands over an output item of a kind of mode `reads`, with the derivatives of its columns after the numbers of the joint:
// jac[column] has one entry for each of joint.X. The runner works out own parts (columns u_…, cov_…_… and nu_…, but for a u_… that
// the table has already) and shared parts from it.
func (c *Call) GiveJacobian(output string, lead int, t *table.Table, joint *Joint, jac map[string][]float64) {
	for col, row := range jac {
		if len(row) != len(joint.X) {
			panic("pipeline: the Jacobian of " + col + " has another length than its joint")
		}
		if x := t.Col(col); x == nil || x.Len() != 1 {
			panic("pipeline: the Jacobian names a column " + col + " that the output's one row lacks")
		}
	}
	c.Give(output, lead, t)
	c.jacobians = append(c.jacobians, jacobian{give: len(c.gives) - 1, joint: joint, rows: jac})
}

// readParts turns Jacobians into own and shared parts: own = |J·A|, part = J·P.
func (w *Work) readParts(call *Call) error {
	done := make([]bool, len(call.gives))
	for _, jc := range call.jacobians {
		w.readJacobian(&call.gives[jc.give], jc)
		done[jc.give] = true
	}
	for i := range call.gives {
		g := &call.gives[i]
		if o := w.check.output(g.output); !done[i] && o != nil && o.Form == Values && len(w.carrier.sources) > 0 {
			for k := range g.table.Columns {
				if c := &g.table.Columns[k]; moves(g.table, c) && !w.exact(g.output, c.Name) {
					return w.check.wrong("gave output %s without its Jacobian", g.output)
				}
			}
		}
	}
	return nil
}

func (w *Work) readJacobian(g *given, jc jacobian) {
	j, t := jc.joint, g.table
	var names []string
	for i := range t.Columns {
		if _, ok := jc.rows[t.Columns[i].Name]; ok {
			names = append(names, t.Columns[i].Name)
		}
	}
	along := make([][]float64, len(names))
	for k, name := range names {
		row, unit := jc.rows[name], t.Col(name).Unit
		if t.Col(name).IsNull(0) {
			along[k] = make([]float64, j.Directions)
			continue
		}
		sure := true
		along[k] = make([]float64, j.Directions)
		for i, d := range row {
			if d == 0 {
				continue
			}
			sure = sure && j.Sure[i]
			for m := range along[k] {
				along[k][m] += d * j.Own[i*j.Directions+m]
			}
		}
		if t.Col("u_"+name) == nil {
			uu := 0.0
			terms := slices.Clone(j.nu)
			for m, x := range along[k] {
				uu += x * x
				terms[m].x = x
			}
			t.AddFloatValid("u_"+name, unit, []float64{math.Sqrt(uu)}, []bool{sure})
			if nu := effectiveNu(terms); nu > 0 {
				t.AddFloat("nu_"+name, "1", []float64{nu})
			}
		}
		value := t.Col(name).Floats[0]
		for s, src := range j.Sources {
			p := 0.0
			for i, d := range row {
				p += d * j.Parts[i*len(j.Sources)+s]
			}
			if math.Abs(p) <= noPart*math.Abs(value) && sure {
				continue
			}
			t.AddFloatValid(name+partMark+src, unit, []float64{p}, []bool{sure})
			if nu := w.carrier.nu[src]; nu > 0 {
				g.noteNu(src, nu)
			}
		}
		if !sure {
			g.flag("the uncertainty of %s is not known, because that of a number in it is not", name)
		}
	}
	for a := range names {
		for b := range a {
			cov := 0.0
			for m := range along[a] {
				cov += along[a][m] * along[b][m]
			}
			if cov != 0 {
				t.AddFloat("cov_"+names[b]+"_"+names[a], UnitProduct(t.Col(names[b]).Unit, t.Col(names[a]).Unit), []float64{cov})
			}
		}
	}
}

// Derive works out an expression for one lead item, over its columns and fields and over the columns of its partners at a port, and adds it
// to the row as a column, with its own standard uncertainty and its covariances with the columns of the row that it comes from.
// Columns of a partner are called STAGE.NAME in the row.
func (c *Call) Derive(row *table.Table, name string, x Expr, port string, lead int) error {
	cell, err := c.Eval(x, port, lead)
	if err != nil {
		return err
	}
	row.AddFloatValid(name, cell.Unit, []float64{cell.Value}, []bool{cell.Known})
	if !cell.Known {
		return nil
	}
	uu, sure := 0.0, true
	type with struct {
		column string
		cov    float64
	}
	var covs []with
	for i, in := range append([]*Input{c.Leads[lead]}, c.Partners(port, lead)...) {
		set := directions(in.Table, in.from.it.exact)
		inRow := func(column string) string {
			if i > 0 && !strings.Contains(column, ".") {
				return in.Stage + "." + column
			}
			return column
		}
		for _, u := range set.unknown {
			sure = sure && !c.exprReads(x, inRow(u))
		}
		cov := make([]float64, len(set.columns))
		for _, dir := range set.along {
			d, ok := halfDifference(func(sign float64) (Cell, error) {
				return c.evalWith(x, port, lead, in, in.along(set.columns, dir.change, sign))
			})
			sure = sure && ok
			uu += d * d
			for k, change := range dir.change {
				cov[k] += d * change
			}
		}
		for k, v := range cov {
			if v != 0 && row.Col(inRow(set.columns[k])) != nil {
				covs = append(covs, with{inRow(set.columns[k]), v})
			}
		}
		// columns derived before from the same numbers
		for _, e := range c.derived[lead] {
			var v float64
			for _, dir := range set.along {
				a, okA := halfDifference(func(sign float64) (Cell, error) {
					return c.evalWith(x, port, lead, in, in.along(set.columns, dir.change, sign))
				})
				b, okB := halfDifference(func(sign float64) (Cell, error) {
					return c.evalWith(e.expr, port, lead, in, in.along(set.columns, dir.change, sign))
				})
				if okA && okB {
					v += a * b
				}
			}
			if v == 0 {
				continue
			}
			if at := slices.IndexFunc(covs, func(w with) bool { return w.column == e.name }); at >= 0 {
				covs[at].cov += v
			} else {
				covs = append(covs, with{e.name, v})
			}
		}
	}
	row.AddFloatValid("u_"+name, cell.Unit, []float64{math.Sqrt(uu)}, []bool{sure})
	for _, w := range covs {
		row.AddFloat("cov_"+w.column+"_"+name, UnitProduct(row.Col(w.column).Unit, cell.Unit), []float64{w.cov})
	}
	if c.derived == nil {
		c.derived = map[int][]derivedColumn{}
	}
	c.derived[lead] = append(c.derived[lead], derivedColumn{name, x})
	return nil
}

type derivedColumn struct {
	name string
	expr Expr
}

// SplitCovariance finds the two columns that a column cov_x_y is about.
func SplitCovariance(t *table.Table, name string) (x, y string, ok bool) {
	rest, is := strings.CutPrefix(name, "cov_")
	if !is {
		return "", "", false
	}
	for i := range rest {
		if rest[i] == '_' && i > 0 && t.Col(rest[:i]) != nil && t.Col(rest[i+1:]) != nil {
			return rest[:i], rest[i+1:], true
		}
	}
	return "", "", false
}

// exprReads tells whether an expression may read a column.
func (c *Call) exprReads(x Expr, column string) bool {
	if x.formula == nil {
		return strings.Contains(x.Text, column)
	}
	return slices.Contains(x.formula.Names(), column) || slices.ContainsFunc(x.formula.Members(), func(m [2]string) bool { return m[0]+"."+m[1] == column })
}

// evalWith works out an expression with one of the inputs replaced.
func (c *Call) evalWith(x Expr, port string, lead int, old, in *Input) (Cell, error) {
	call := *c
	call.Leads = slices.Clone(c.Leads)
	if call.Leads[lead] == old {
		call.Leads[lead] = in
		return call.Eval(x, port, lead)
	}
	partners := slices.Clone(c.Partners(port, lead))
	at := slices.Index(partners, old)
	if at < 0 {
		return Cell{}, fmt.Errorf("no such input")
	}
	partners[at] = in
	all := slices.Clone(c.partners[port])
	all[lead] = partners
	call.partners = map[string][][]*Input{port: all}
	return call.Eval(x, port, lead)
}
