package pipeline

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"

	"fascicle/catalog"
	"fascicle/catalog/fault"
)

// joinOr lists words as "a, b or c".
func joinOr(words []string) string {
	switch len(words) {
	case 0:
		return ""
	case 1:
		return words[0]
	}
	return strings.Join(words[:len(words)-1], ", ") + " or " + words[len(words)-1]
}

// portWord says what a port takes: "a curve", "values or a curve".
func portWord(p *Port) string {
	var forms []string
	for _, f := range p.Forms {
		switch f {
		case Values, AnyForm:
			forms = append(forms, f.String())
		case Image:
			forms = append(forms, "an image")
		default:
			forms = append(forms, "a "+f.String())
		}
	}
	if len(forms) == 0 {
		return "items"
	}
	return joinOr(forms)
}

func describeOutputs(s *stage, names []string) string {
	var out []string
	for _, n := range names {
		sh := s.shapes[n]
		out = append(out, fmt.Sprintf("%s (%s)", n, sh.describe()))
	}
	return strings.Join(out, ", ")
}

// describe gives form and columns: "curve: q [1/nm], I [1/cm]".
func (a Arriving) describe() string {
	var cols []string
	for _, c := range a.Columns {
		switch {
		case c.Text || c.Any || c.Unit.IsOne():
			cols = append(cols, c.Name)
		default:
			cols = append(cols, c.Name+" ["+c.Unit.Symbol()+"]")
		}
	}
	if len(cols) == 0 {
		return a.Form.String()
	}
	return a.Form.String() + ": " + strings.Join(cols, ", ")
}

// axisAndValue finds the columns that stand for axis and value: the first, and the next that is no uncertainty.
func axisAndValue(columns []ColumnShape) (axis, value *ColumnShape) {
	for i := range columns {
		c := &columns[i]
		if c.Text || strings.HasPrefix(c.Name, "u_") {
			continue
		}
		if axis == nil {
			axis = c
		} else {
			return axis, c
		}
	}
	return axis, nil
}

// findColumn finds a needed column among those that arrive; a family (tau_i) is met by any of its members or by the family.
func findColumn(columns []ColumnShape, name string) *ColumnShape {
	switch name {
	case AxisColumn:
		a, _ := axisAndValue(columns)
		return a
	case ValueColumn:
		_, v := axisAndValue(columns)
		return v
	}
	for i := range columns {
		if columns[i].Name == name {
			return &columns[i]
		}
		if stem, ok := family(columns[i].Name); ok && numbered(name, stem) {
			return &columns[i]
		}
		if stem, ok := family(name); ok && numbered(columns[i].Name, stem) {
			return &columns[i]
		}
	}
	return nil
}

// misfit says why what arrives does not suit a port, "" when it does or when that cannot be known yet.
func misfit(p *Port, a Arriving) string {
	if a.Form != AnyForm && len(p.Forms) > 0 && !slices.Contains(p.Forms, a.Form) && !slices.Contains(p.Forms, AnyForm) {
		return fmt.Sprintf("the port takes %s, not %s", portWord(p), portWord(&Port{Forms: []Form{a.Form}}))
	}
	if a.Unknown {
		return ""
	}
	for _, need := range p.Columns {
		c := findColumn(a.Columns, need.Name)
		if c == nil {
			if need.Optional || a.Form == Values && (need.Name == AxisColumn || need.Name == ValueColumn) {
				continue
			}
			return fmt.Sprintf("the port needs the column %s", needWord(need))
		}
		if need.Text != c.Text {
			return fmt.Sprintf("column %s should hold %s", c.Name, map[bool]string{true: "words", false: "numbers"}[need.Text])
		}
		if need.Text || c.Any || need.Unit == "*" || strings.HasPrefix(need.Unit, "=") {
			continue
		}
		unit := mustUnit(need.Unit)
		if unit.Dim() != c.Unit.Dim() {
			return fmt.Sprintf("column %s is in %s; the port needs %s", c.Name, unitWord(c.Unit), needWord(need))
		}
	}
	return ""
}

func needWord(c Column) string {
	name := c.Name
	switch name {
	case AxisColumn:
		name = "its axis"
	case ValueColumn:
		name = "its value"
	}
	switch c.Unit {
	case "*", "":
		return name
	case "1":
		return name + " as a pure number"
	}
	if strings.HasPrefix(c.Unit, "=") {
		return name + " in the unit of " + c.Unit[1:]
	}
	return name + " in " + mustUnit(c.Unit).Symbol() + " or a unit like it"
}

func mustUnit(s string) catalog.Unit {
	u, err := catalog.ParseUnit(s)
	if err != nil {
		panic("pipeline: declaration: " + err.Error())
	}
	return u
}

// checkPorts holds the columns that arrive at each port against what the port needs.
func (l *loader) checkPorts(s *stage) {
	if s.broken {
		return
	}
	ports := l.arrivingByPort(s)
	for _, b := range s.ports {
		for _, r := range b.refs {
			for i, src := range r.sources {
				a, ok := src.stage.shapes[src.output]
				if !ok || src.stage.broken {
					continue
				}
				at := r.decl.Stages[min(i, len(r.decl.Stages)-1)]
				if m, why := misfitMember(b.decl, src); why != "" {
					found := fmt.Sprintf("stage %s, which gives %s", src.stage.name, a.describe())
					if m != src {
						found = fmt.Sprintf("stage %s, whose `items` name stage %s, which gives %s", src.stage.name, m.stage.name, m.stage.shapes[m.output].describe())
					}
					l.fail(at.Pos, found, fmt.Sprintf("%s for port `%s` of %s", portWord(b.decl), b.decl.Name, s.kind.Name), why)
					s.broken = true
					continue
				}
				for _, need := range b.decl.Columns {
					if why := unlike(need, a, ports); why != "" {
						l.fail(at.Pos, fmt.Sprintf("stage %s at port `%s`: %s", src.stage.name, b.decl.Name, why), "units that go together", "feed the port from a stage of the same quantity")
						s.broken = true
					}
				}
			}
		}
	}
}

// misfitMember says why what a source gives does not suit a port; of a stage that takes others together, what any of them gives, and which.
func misfitMember(p *Port, src source) (source, string) {
	if why := misfit(p, src.stage.shapes[src.output]); why != "" {
		return src, why
	}
	members := slices.SortedFunc(maps.Keys(src.stage.together), func(a, b source) int {
		return cmp.Or(cmp.Compare(a.stage.rank, b.stage.rank), cmp.Compare(a.output, b.output))
	})
	for _, m := range members {
		if src.stage.together[m] != src.output || m.stage.broken {
			continue
		}
		if at, why := misfitMember(p, m); why != "" {
			return at, why
		}
	}
	return src, ""
}

func (l *loader) arrivingByPort(s *stage) map[string][]Arriving {
	ports := map[string][]Arriving{}
	for _, b := range s.ports {
		if b.isFed {
			ports[b.decl.Name] = s.arriving(b)
		}
	}
	return ports
}

// unlike says why a column whose unit must be that of another port's is not so.
func unlike(need Column, a Arriving, ports map[string][]Arriving) string {
	if !strings.HasPrefix(need.Unit, "=") || a.Unknown {
		return ""
	}
	c := findColumn(a.Columns, need.Name)
	want, known := unitOf(need.Unit, ports)
	if c == nil || c.Any || !known || want.Dim() == c.Unit.Dim() {
		return ""
	}
	return fmt.Sprintf("%s in %s, where %s is in %s", c.Name, unitWord(c.Unit), need.Unit[1:], unitWord(want))
}

// unitOf resolves "=PORT", "=PORT.axis" and "=PORT.NAME"; known is false when what arrives there is not known or differs.
func unitOf(ref string, ports map[string][]Arriving) (u catalog.Unit, known bool) {
	port, col, has := strings.Cut(ref[1:], ".")
	switch {
	case !has:
		col = ValueColumn
	case col == "axis":
		col = AxisColumn
	}
	for i, a := range ports[port] {
		c := findColumn(a.Columns, col)
		if a.Unknown || c == nil || c.Any {
			return u, false
		}
		if i == 0 {
			u = c.Unit
		} else if !u.Equal(c.Unit) {
			return u, false
		}
	}
	return u, len(ports[port]) > 0
}

// shapeOutputs works out the columns of a stage's outputs.
func (l *loader) shapeOutputs(s *stage) {
	s.shapes = map[string]Arriving{}
	ports := l.arrivingByPort(s)
	for i := range s.kind.Outputs {
		o := &s.kind.Outputs[i]
		a := Arriving{Stage: s.name, Output: o.Name, Form: o.Form, Unknown: o.Open || s.broken}
		if o.Like != "" {
			like := ports[o.Like]
			if len(like) == 0 {
				a.Unknown = true
			}
			for j, x := range like {
				if j == 0 {
					a.Columns = slices.Clone(x.Columns)
				}
				a.Unknown = a.Unknown || x.Unknown || !unite(a.Columns, x.Columns)
			}
		}
		add := o.Columns
		if o.Shape != nil && !s.broken {
			more, err := o.Shape(ShapeCall{Settings: s.settings, Ports: ports})
			switch {
			case err == errUnknownShape:
				a.Unknown = true
			case err != nil:
				l.failStage(s, err, fmt.Sprintf("stage %s: %v", s.name, err), "", "see `fascicle kinds "+s.kind.Name+"`")
				s.broken = true
			}
			add = append(slices.Clone(add), more...)
		}
		for _, c := range add {
			a.Columns = addColumn(a.Columns, c, ports)
		}
		if fs, ok := s.settings.(interface{ OutputForm() Form }); ok && o.Form == AnyForm {
			a.Form = fs.OutputForm()
		}
		if s.kind.Reads { // what files hold is measured, but for the axis along which it is
			for j := range a.Columns {
				a.Columns[j].U = !a.Columns[j].Text && (j > 0 || a.Form != Curve)
			}
		}
		s.shapes[o.Name] = a
	}
}

// errUnknownShape is what a Shape function returns when columns cannot be known before files are read.
var errUnknownShape = fmt.Errorf("columns are not known yet")

// UnknownShape is returned by an Output's Shape function when the columns cannot be known before the files are read.
func UnknownShape() ([]Column, error) { return nil, errUnknownShape }

// unite holds the columns of another source against those so far: where one of them is not known, or their units differ, the unit is
// any. It says false when names or sorts differ: then nothing is known.
func unite(have, more []ColumnShape) bool {
	if len(have) != len(more) {
		return false
	}
	for i := range have {
		if have[i].Name != more[i].Name || have[i].Text != more[i].Text {
			return false
		}
		have[i].Any = have[i].Any || more[i].Any || !have[i].Unit.Equal(more[i].Unit)
		have[i].Optional = have[i].Optional || more[i].Optional
		have[i].U = have[i].U || more[i].U
	}
	return true
}

// addColumn adds a declared column, or replaces the one of that name (or place).
func addColumn(columns []ColumnShape, c Column, ports map[string][]Arriving) []ColumnShape {
	shape := ColumnShape{Name: c.Name, Text: c.Text, Optional: c.Optional, U: c.U}
	switch {
	case c.Text || c.Unit == "":
	case c.Unit == "*":
		shape.Any = true
	case c.Unit[0] == '=':
		u, known := unitOf(c.Unit, ports)
		shape.Unit, shape.Any = u, !known
	default:
		shape.Unit = mustUnit(c.Unit)
	}
	if have := findColumn(columns, c.Name); have != nil {
		have.Unit, have.Any, have.Text, have.U = shape.Unit, shape.Any, shape.Text, shape.U
		for i := range columns { // its uncertainty and its bounds change with it
			if n := columns[i].Name; n == "u_"+have.Name || n == have.Name+"_lo" || n == have.Name+"_hi" {
				columns[i].Unit, columns[i].Any = shape.Unit, shape.Any
			}
		}
		return columns
	}
	return append(columns, shape)
}

// CheckKinds holds the declarations themselves against the rules, so that a wrong one is found by a test and not by a user.
func CheckKinds(kinds []*Kind) error {
	seen := map[string]bool{}
	for _, k := range kinds {
		if err := k.check(); err != nil {
			return fmt.Errorf("kind %s: %w", k.Name, err)
		}
		if seen[k.Name] {
			return fmt.Errorf("kind %s is declared twice", k.Name)
		}
		seen[k.Name] = true
	}
	return nil
}

func (k *Kind) check() error {
	if k.Name == "" || k.Revision < 1 || k.Doc == "" || k.Source == "" {
		return fmt.Errorf("name, revision from 1, doc and source must be declared")
	}
	leads := 0
	names := map[string]bool{}
	for _, p := range k.Ports {
		if names[p.Name] {
			return fmt.Errorf("two ports %s", p.Name)
		}
		names[p.Name] = true
		if p.Doc == "" {
			return fmt.Errorf("port %s has no doc", p.Name)
		}
		if p.Lead {
			leads++
		}
		for _, c := range p.Columns {
			if err := checkColumn(k, c); err != nil {
				return fmt.Errorf("port %s: %w", p.Name, err)
			}
		}
	}
	if leads == 0 && !k.Reads {
		return fmt.Errorf("no port leads")
	}
	if len(k.Outputs) == 0 {
		return fmt.Errorf("no outputs")
	}
	outs := map[string]bool{}
	for _, o := range k.Outputs {
		if outs[o.Name] || o.Doc == "" {
			return fmt.Errorf("output %q is declared twice or has no doc", o.Name)
		}
		outs[o.Name] = true
		if o.Like != "" && !names[o.Like] {
			return fmt.Errorf("output %s is like port %s, which there is not", o.Name, o.Like)
		}
		for _, c := range o.Columns {
			if err := checkColumn(k, c); err != nil {
				return fmt.Errorf("output %s: %w", o.Name, err)
			}
		}
	}
	for _, f := range k.Figures {
		for _, s := range f.Series {
			if !outs[s.Output] && !names[s.Port] {
				return fmt.Errorf("figure %s shows %q %q, neither output nor port", f.Name, s.Output, s.Port)
			}
		}
	}
	if k.Settings == nil {
		return nil
	}
	return checkSettings(k)
}

func checkColumn(k *Kind, c Column) error {
	if c.Text || c.Unit == "*" {
		return nil
	}
	if strings.HasPrefix(c.Unit, "=") {
		port, _, _ := strings.Cut(c.Unit[1:], ".")
		for _, p := range k.Ports {
			if p.Name == port {
				return nil
			}
		}
		return fmt.Errorf("column %s has the unit of port %q, which there is not", c.Name, port)
	}
	_, err := catalog.ParseUnit(c.Unit)
	return err
}

var _ = fault.Nearest
