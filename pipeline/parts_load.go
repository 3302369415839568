package pipeline

import (
	"errors"
	"math"
	"slices"
	"strconv"
	"strings"

	"fascicle/pipeline/table"
)

// loaded is an input as it came from the store, its parts taken off: kinds see central values and own uncertainties alone.
type loaded struct {
	it    *item
	stage string // at gathering ports
	table *table.Table
	parts []part
}

// part is what one source does to one column: its change when the source rises by one standard uncertainty.
type part struct {
	source string
	column int
	values []float64
	valid  []bool // nil: all known
}

// errPartUnknown says that a source moves an input by an amount that is not known.
var errPartUnknown = errors.New("its part in what this was made from is not known")

const (
	partMark = "@"   // between a column and a source: Rg_1@constants.cell
	nuMark   = "nu@" // before a source in a table's header: its degrees of freedom, where they are finite
)

// take splits an item's table into its central columns and its parts. The own part of an item that is once a source becomes sources,
// and its own uncertainties are zero from then on: so nothing counts twice.
func (p *Project) take(it *item, t *table.Table, nu map[string]float64) *loaded {
	l := &loaded{it: it, table: t}
	l.split(nu)
	if p.bears(it) {
		l.bear(nu)
	}
	return l
}

func (l *loaded) split(nu map[string]float64) {
	known := false
	for k := range l.table.Header {
		known = known || strings.HasPrefix(k, nuMark)
	}
	if !known && !slices.ContainsFunc(l.table.Columns, func(c table.Column) bool { return strings.Contains(c.Name, partMark) }) {
		return
	}
	t := &table.Table{Header: l.table.Header}
	if known {
		t.Header = map[string]string{}
		for k, v := range l.table.Header {
			s, isNu := strings.CutPrefix(k, nuMark)
			if !isNu {
				t.Header[k] = v
			} else if x, err := strconv.ParseFloat(v, 64); err == nil {
				nu[s] = x
			}
		}
	}
	for _, c := range l.table.Columns {
		stem, src, isPart := strings.Cut(c.Name, partMark)
		if !isPart {
			t.Columns = append(t.Columns, c)
			continue
		}
		if at := slices.IndexFunc(t.Columns, func(x table.Column) bool { return x.Name == stem }); at >= 0 {
			l.parts = append(l.parts, part{src, at, c.Floats, c.Valid})
		}
	}
	l.table = t
}

// bear turns the own uncertainties of a one-row table into sources.
func (l *loaded) bear(nu map[string]float64) {
	name := l.it.sourceName()
	dirs := directions(l.table, l.it.exact)
	old := l.table
	t := &table.Table{Header: old.Header}
	for _, c := range old.Columns {
		if stem, ok := strings.CutPrefix(c.Name, "nu_"); ok && old.Col(stem) != nil || strings.HasPrefix(c.Name, "cov_") {
			continue
		}
		if stem, ok := strings.CutPrefix(c.Name, "u_"); ok && old.Col(stem) != nil {
			c.Floats, c.Valid = make([]float64, len(c.Floats)), nil
		}
		t.Columns = append(t.Columns, c)
	}
	at := func(column string) int {
		return slices.IndexFunc(t.Columns, func(c table.Column) bool { return c.Name == column })
	}
	// the parts that it inherited stay with their columns, which may have moved
	for i := range l.parts {
		l.parts[i].column = at(old.Columns[l.parts[i].column].Name)
	}
	for k, d := range dirs.along {
		s := name
		if len(dirs.along) > 1 {
			s += "." + strconv.Itoa(k+1)
		}
		if d.nu > 0 {
			nu[s] = d.nu
		}
		for i, x := range d.change {
			if x != 0 {
				l.parts = append(l.parts, part{source: s, column: at(dirs.columns[i]), values: []float64{x}})
			}
		}
	}
	for _, c := range dirs.unknown {
		l.parts = append(l.parts, part{source: name, column: at(c), values: []float64{0}, valid: []bool{false}})
	}
	l.table = t
}

// directionSet is the own uncertainty of a row of numbers as independent directions: the columns of the Cholesky factor of their
// covariance, in column order.
type directionSet struct {
	columns []string
	along   []direction
	unknown []string // columns that should have an uncertainty and have none
}

type direction struct {
	change []float64 // of each column
	nu     float64   // degrees of freedom, 0: infinite
}

// zeroPivot is the part of a variance below which what a Cholesky step leaves of it is rounding.
const zeroPivot = 1e-12

// directions factors the own covariance of a one-row table, which its columns u_x and cov_x_y give: V = L·Lᵀ. Pivots that are zero
// within rounding are dropped. exact tells which columns have no uncertainty by their nature.
func directions(t *table.Table, exact func(column string) bool) directionSet {
	var d directionSet
	if t.Len() != 1 {
		return d
	}
	var nus []float64
	v := ownCovariance(t, &d, exact)
	for _, c := range d.columns {
		nu := 0.0
		if n := t.Col("nu_" + c); n != nil && n.Type == table.Float && !n.IsNull(0) {
			nu = n.Floats[0]
		}
		nus = append(nus, nu)
	}
	n := len(d.columns)
	lower, _ := cholesky(v, n)
	for j := range n {
		if lower[j*n+j] == 0 {
			continue
		}
		dir := direction{change: make([]float64, n), nu: nus[j]}
		for i := range n {
			dir.change[i] = lower[i*n+j]
		}
		d.along = append(d.along, dir)
	}
	return d
}

// ownCovariance collects the columns that have an own uncertainty, and gives their covariance, row by row.
func ownCovariance(t *table.Table, d *directionSet, exact func(column string) bool) []float64 {
	var us []float64
	correlated := false
	for i := range t.Columns {
		c := &t.Columns[i]
		correlated = correlated || strings.HasPrefix(c.Name, "cov_")
		if c.Type != table.Float || accompanies(t, c.Name) || c.IsNull(0) {
			continue
		}
		u := t.Col("u_" + c.Name)
		if u == nil || u.Type != table.Float || u.IsNull(0) {
			if !exact(c.Name) {
				d.unknown = append(d.unknown, c.Name)
			}
			continue
		}
		if u.Floats[0] > 0 {
			d.columns = append(d.columns, c.Name)
			us = append(us, u.Floats[0])
		}
	}
	n := len(us)
	v := make([]float64, n*n)
	for i := range n {
		v[i*n+i] = us[i] * us[i]
		if !correlated {
			continue
		}
		for j := range i {
			c := t.Col("cov_" + d.columns[i] + "_" + d.columns[j])
			if c == nil {
				c = t.Col("cov_" + d.columns[j] + "_" + d.columns[i])
			}
			if c != nil && c.Type == table.Float && !c.IsNull(0) {
				v[i*n+j], v[j*n+i] = c.Floats[0], c.Floats[0]
			}
		}
	}
	return v
}

// cholesky gives the lower factor of a symmetric n × n matrix, column by column, with zeros in the columns of pivots that are zero
// within rounding. ok is false when the matrix is not positive semidefinite: a pivot is negative, or a zero one has something beside it.
func cholesky(v []float64, n int) (lower []float64, ok bool) {
	lower, ok = make([]float64, n*n), true
	for j := range n {
		pivot := v[j*n+j]
		for k := range j {
			pivot -= lower[j*n+k] * lower[j*n+k]
		}
		zero := pivot <= zeroPivot*v[j*n+j]
		if pivot < -1e-6*v[j*n+j] {
			ok = false
		}
		if !zero {
			lower[j*n+j] = math.Sqrt(pivot)
		}
		for i := j + 1; i < n; i++ {
			x := v[i*n+j]
			for k := range j {
				x -= lower[i*n+k] * lower[j*n+k]
			}
			if !zero {
				lower[i*n+j] = x / lower[j*n+j]
			} else if math.Abs(x) > 1e-3*math.Sqrt(v[i*n+i]*v[j*n+j]) {
				ok = false // |ρ| ≤ 1 leaves at most √(rounding) here
			}
		}
	}
	return lower, ok
}

// shifted gives the table with one source moved by sign standard uncertainties.
func (l *loaded) shifted(src string, sign float64) (*table.Table, error) {
	t := l.table
	for _, p := range l.parts {
		if p.source != src {
			continue
		}
		for i, ok := range p.valid {
			if !ok && !l.table.Columns[p.column].IsNull(i) {
				return nil, errPartUnknown
			}
		}
		if t == l.table {
			t = &table.Table{Header: l.table.Header, Columns: slices.Clone(l.table.Columns)}
		}
		moved := slices.Clone(t.Columns[p.column].Floats)
		for i, x := range p.values {
			moved[i] += sign * x
		}
		t.Columns[p.column].Floats = moved
	}
	return t, nil
}
