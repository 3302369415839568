package pipeline

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"fascicle/pipeline/table"
)

// outputCheck holds what a kind gave against what it declares.
type outputCheck struct {
	kind   *Kind
	leads  int
	shapes map[string]Arriving // as the check of the study worked them out
}

// complete makes sure that every declared output was given once for each lead item, or once for the group.
func (c *outputCheck) complete(call *Call) error {
	for _, o := range c.kind.Outputs {
		seen := make([]int, c.leads)
		group := 0
		for i := range call.gives {
			g := &call.gives[i]
			if g.output != o.Name {
				continue
			}
			if g.lead < -1 {
				return c.wrong("gave output %s for lead item %d", o.Name, g.lead)
			} else if g.lead < 0 {
				group++
			} else if g.lead < c.leads {
				seen[g.lead]++
			} else {
				return c.wrong("gave output %s for lead item %d of %d", o.Name, g.lead+1, c.leads)
			}
		}
		switch o.Per {
		case PerGroup:
			if group != 1 || slices.ContainsFunc(seen, func(n int) bool { return n > 0 }) {
				return c.wrong("gave output %s %d times for its group, where once is due", o.Name, group)
			}
		case PerLead:
			for i, n := range seen {
				if n != 1 || group > 0 {
					return c.wrong("gave output %s %d times for lead item %d, where once is due", o.Name, n+group, i+1)
				}
			}
		}
	}
	for i := range call.gives {
		if c.output(call.gives[i].output) == nil {
			return c.wrong("gave an output %q that it does not declare", call.gives[i].output)
		}
	}
	// a remark that reaches no item would be lost, and with it, say, that an instrument is out of tolerance
	for _, f := range call.flags {
		if !slices.ContainsFunc(call.gives, f.concerns) {
			return c.wrong("remarked on output %q, lead item %d, which it did not give: %s", f.output, f.lead+1, f.text)
		}
	}
	return nil
}

// concerns tells whether a remark is one on this item: remarks on the group are remarks on all items of the output.
func (f callFlag) concerns(g given) bool {
	return f.output == g.output && (f.lead == g.lead || f.lead < 0)
}

func (c *outputCheck) wrong(format string, args ...any) error {
	return fmt.Errorf("%s %s; please report this error of the program", c.kind.Name, fmt.Sprintf(format, args...))
}

func (c *outputCheck) output(name string) *Output {
	for i := range c.kind.Outputs {
		if c.kind.Outputs[i].Name == name {
			return &c.kind.Outputs[i]
		}
	}
	return nil
}

// item holds one table against its output's declaration.
func (c *outputCheck) item(g *given) error {
	o := c.output(g.output)
	if o == nil {
		return c.wrong("gave an output %q that it does not declare", g.output)
	}
	if g.table == nil {
		return c.wrong("gave no table for output %s", g.output)
	}
	if err := g.table.Check(); err != nil {
		return c.wrong("gave a table for output %s that cannot be: %v", g.output, err)
	}
	if err := c.texts(g); err != nil {
		return err
	}
	if o.Form == Values && g.table.Len() != 1 {
		return c.wrong("gave %d rows for output %s, where one is due", g.table.Len(), g.output)
	}
	if o.Form == Values {
		if err := c.covariance(g); err != nil {
			return err
		}
	}
	if o.Form == Image {
		w, _ := strconv.Atoi(g.table.Header["width"])
		h, _ := strconv.Atoi(g.table.Header["height"])
		if n := g.table.Len(); w <= 0 || h <= 0 || w > n || h > n || w*h != n {
			return c.wrong("gave an image of %d points for output %s, whose header says %d × %d", n, g.output, w, h)
		}
	}
	shape, ok := c.shapes[g.output]
	if !ok || shape.Unknown {
		return nil
	}
	return c.columns(g, shape)
}

// covariance makes sure that what a row says of its own uncertainties can be the covariance of anything.
func (c *outputCheck) covariance(g *given) error {
	t := g.table
	any := false
	for i := range t.Columns {
		col := &t.Columns[i]
		stem, isU := strings.CutPrefix(col.Name, "u_")
		if isU && col.Type == table.Float && t.Col(stem) != nil && !col.IsNull(0) && col.Floats[0] < 0 {
			return c.wrong("gave a negative standard uncertainty %s = %g in output %s", col.Name, col.Floats[0], g.output)
		}
		any = any || strings.HasPrefix(col.Name, "cov_")
	}
	if !any {
		return nil
	}
	var d directionSet
	v := ownCovariance(t, &d, func(string) bool { return true })
	if _, ok := cholesky(v, len(d.columns)); !ok {
		return c.wrong("gave a covariance of %s in output %s that is not positive semidefinite", strings.Join(d.columns, ", "), g.output)
	}
	return nil
}

// texts makes sure that what goes into the index beside the table can be written there.
func (c *outputCheck) texts(g *given) error {
	for _, f := range g.fields {
		if !utf8.ValidString(f.Name) || !utf8.ValidString(f.Text) {
			return c.wrong("gave a field %q = %q, which is not UTF-8", f.Name, f.Text)
		}
	}
	for _, f := range g.flags {
		if !utf8.ValidString(f.text) {
			return c.wrong("gave a remark %q, which is not UTF-8", f.text)
		}
	}
	return nil
}

func (c *outputCheck) columns(g *given, shape Arriving) error {
	for _, want := range shape.Columns {
		if _, isFamily := family(want.Name); isFamily {
			continue
		}
		if want.Name == AxisColumn || want.Name == ValueColumn {
			continue
		}
		have := g.table.Col(want.Name)
		if have == nil && want.Optional {
			continue
		}
		if have == nil {
			return c.wrong("gave no column %s in output %s", want.Name, g.output)
		}
		if want.Text != (have.Type == table.Text) {
			return c.wrong("gave column %s of output %s as %s", want.Name, g.output, have.Type)
		}
		if !want.Text && !want.Any && have.Unit != want.Unit.Code() {
			return c.wrong("gave column %s of output %s in %q, where %q is declared", want.Name, g.output, have.Unit, want.Unit.Code())
		}
	}
	for i := range g.table.Columns {
		name := g.table.Columns[i].Name
		if !declared(shape.Columns, name) {
			return c.wrong("gave a column %s in output %s that it does not declare", name, g.output)
		}
		if err := c.companion(g, &g.table.Columns[i]); err != nil {
			return err
		}
	}
	return nil
}

// companion makes sure that an uncertainty, a part of one or a bound is a number in the unit of the column that it belongs to.
func (c *outputCheck) companion(g *given, have *table.Column) error {
	stem, _, isPart := strings.Cut(have.Name, "@")
	for _, cut := range [...]func() (string, bool){
		func() (string, bool) { return stem, isPart },
		func() (string, bool) { return strings.CutPrefix(have.Name, "u_") },
		func() (string, bool) { return strings.CutSuffix(have.Name, "_lo") },
		func() (string, bool) { return strings.CutSuffix(have.Name, "_hi") },
	} {
		name, ok := cut()
		of := g.table.Col(name)
		if !ok || of == nil || of.Type == table.Text {
			continue
		}
		if have.Type == table.Text {
			return c.wrong("gave column %s of output %s as %s", have.Name, g.output, have.Type)
		}
		if have.Unit != of.Unit {
			return c.wrong("gave column %s of output %s in %q, where %s is in %q", have.Name, g.output, have.Unit, of.Name, of.Unit)
		}
	}
	return nil
}

// declared tells whether a column is declared, or accompanies one that is: u_X, nu_X, X_bound, X_lo, X_hi, X@SOURCE, cov_X_Y.
func declared(columns []ColumnShape, name string) bool {
	if findColumn(columns, name) != nil || strings.HasPrefix(name, "cov_") {
		return true
	}
	if stem, _, ok := strings.Cut(name, "@"); ok {
		name = stem
	}
	for _, p := range [...]string{"u_", "nu_"} {
		if rest, ok := strings.CutPrefix(name, p); ok {
			name = rest
			break
		}
	}
	for _, s := range [...]string{"_bound", "_lo", "_hi"} {
		if rest, ok := strings.CutSuffix(name, s); ok {
			name = rest
			break
		}
	}
	if findColumn(columns, name) != nil {
		return true
	}
	return len(columns) > 0 && slices.ContainsFunc(columns, func(c ColumnShape) bool { return c.Name == name })
}
