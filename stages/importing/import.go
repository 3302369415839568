package importing

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"fascicle/catalog"
	"fascicle/pipeline"
	"fascicle/pipeline/formula"
	"fascicle/pipeline/table"
)

// ImportKind reads instrument files into items with units and fields.
var ImportKind = pipeline.Kind{
	Name:     "import",
	Revision: 1,
	Doc:      "Reads curves from instrument files: delimited text of two to four columns, header and footer found by themselves.",
	Source:   "common practice, no source",
	Methods:  "Raw files were read as their instruments wrote them; units were converted exactly.",
	Reads:    true,
	Parts:    pipeline.Shift,
	Outputs: []pipeline.Output{{
		Name: "items", Doc: "the curves of the files, axis rising, in the units that the program uses inside",
		Per: pipeline.PerAny, Form: pipeline.Curve,
		Shape: func(c pipeline.ShapeCall) ([]pipeline.Column, error) { return c.Settings.(*importSettings).shape() },
	}},
	Settings: func() any { return &importSettings{} },
	Run:      runImport,
}

// importSettings says which files to read, and what they leave unsaid.
type importSettings struct {
	Files   string               `set:"files" key:"-" doc:"pattern of the files' names, with captures in angle brackets: raw/<day>/<sample>_<ex [nm]>.txt"`
	Columns pipeline.Map[string] `set:"columns" default:"-" doc:"NAME: head or number of a column in the file, with [unit] where the file is silent; axis first; found by their heads when absent"`
	Header  pipeline.Map[string] `set:"header" default:"-" doc:"FIELD: key in the file's header, with [unit] for a number or [date]"`
	Fields  pipeline.Map[string] `set:"fields" key:"-" default:"-" doc:"FIELD: value, the same for all items of the stage"`
	U       pipeline.Map[string] `set:"u" default:"-" doc:"COLUMN: its standard uncertainty: a quantity, 'relative 0.5 %', poisson, or unknown"`
}

var _ pipeline.FileSettings = (*importSettings)(nil)

// FilesPattern is the pattern of the files.
func (s *importSettings) FilesPattern() string { return s.Files }

// Brings lists the fields that captures, header entries and constants of the stage give its items.
func (s *importSettings) Brings() ([]pipeline.Brought, error) {
	pat, err := catalog.ParsePattern(s.Files)
	if err != nil {
		return nil, err
	}
	var out []pipeline.Brought
	for _, c := range pat.Captures() {
		b := pipeline.Brought{Name: c.Name, Sort: formula.Text, Unit: c.Unit, HasUnit: c.HasUnit, Where: "files"}
		switch c.Type {
		case catalog.Numeric:
			b.Sort = formula.Number
		case catalog.Date:
			b.Sort = formula.Date
		}
		out = append(out, b)
	}
	for _, h := range s.Header {
		b := pipeline.Brought{Name: h.Key, Sort: formula.Text, Where: "header"}
		switch _, unit, has := splitUnit(h.Value); {
		case has && unit == "date":
			b.Sort = formula.Date
		case has:
			u, err := catalog.ParseUnit(unit)
			if err != nil {
				return nil, fmt.Errorf("header %s: %w", h.Key, err)
			}
			b.Sort, b.Unit, b.HasUnit = formula.Number, u, true
		}
		out = append(out, b)
	}
	for _, f := range s.Fields {
		b := pipeline.Brought{Name: f.Key, Sort: formula.Text, Where: "fields", Value: f.Value}
		if n, err := catalog.ParseNumber(f.Value); err == nil {
			b.Sort, b.Unit, b.HasUnit = formula.Number, n.Unit, n.HasUnit
		}
		out = append(out, b)
	}
	for i, b := range out {
		if slices.ContainsFunc(out[:i], func(e pipeline.Brought) bool { return e.Name == b.Name }) {
			return nil, fmt.Errorf("the field %s comes twice, the second time from `%s`", b.Name, b.Where)
		}
	}
	return out, nil
}

// Validate holds names, units and uncertainties against each other.
func (s *importSettings) Validate() error {
	if len(s.Columns) > MaxColumns {
		return fmt.Errorf("columns: %d are named, where a curve has %d to %d", len(s.Columns), MinColumns, MaxColumns)
	}
	if len(s.Columns) == 1 {
		return fmt.Errorf("columns: one is named, where a curve has an axis and a value")
	}
	for i, c := range s.Columns {
		if !catalog.IsIdentifier(c.Key) {
			return fmt.Errorf("columns: the name %q: letters, digits and _ are expected", c.Key)
		}
		if i == 0 && strings.HasPrefix(c.Key, "u_") {
			return fmt.Errorf("columns: %s comes first, where the axis is due", c.Key)
		}
		if of, ok := strings.CutPrefix(c.Key, "u_"); ok {
			if _, known := s.Columns.Get(of); !known {
				return fmt.Errorf("columns: %s is the uncertainty of %s, which is not named", c.Key, of)
			}
			if _, twice := s.U.Get(of); twice {
				return fmt.Errorf("the uncertainty of %s comes from column %s and from `u`: leave one out", of, c.Key)
			}
		}
		if _, unit, has := splitUnit(c.Value); has {
			if _, err := catalog.ParseUnit(unit); err != nil {
				return fmt.Errorf("columns: %s: %w", c.Key, err)
			}
		}
	}
	for _, u := range s.U {
		if _, err := parseNoise(u.Value); err != nil {
			return fmt.Errorf("u: %s: %w", u.Key, err)
		}
		if _, ok := s.Columns.Get(u.Key); !ok && len(s.Columns) > 0 {
			return fmt.Errorf("u: no column is named %s", u.Key)
		}
	}
	return nil
}

// shape gives the columns that the study names. Without any, the files decide.
func (s *importSettings) shape() ([]pipeline.Column, error) {
	if len(s.Columns) == 0 {
		return pipeline.UnknownShape()
	}
	var out []pipeline.Column
	for i, c := range s.Columns {
		col := pipeline.Column{Name: c.Key, Unit: "*"}
		if _, text, has := splitUnit(c.Value); has {
			u, err := catalog.ParseUnit(text)
			if err != nil {
				return nil, err
			}
			col.Unit = catalog.Canonical(u.Dim(), i == 0).Code()
		}
		out = append(out, col)
	}
	return out, nil
}

// splitUnit takes a trailing [unit] off a text.
func splitUnit(s string) (head, unit string, has bool) {
	s = strings.TrimSpace(s)
	open := strings.LastIndexByte(s, '[')
	if open < 0 || !strings.HasSuffix(s, "]") {
		return s, "", false
	}
	return strings.TrimSpace(s[:open]), strings.TrimSpace(s[open+1 : len(s)-1]), true
}

// noise says where the uncertainty of a column comes from when no column holds it.
type noise struct {
	word     string // "", "poisson" or "unknown"
	relative float64
	absolute *catalog.Number
}

func parseNoise(s string) (noise, error) {
	switch s = strings.TrimSpace(s); s {
	case "poisson", "unknown":
		return noise{word: s}, nil
	}
	rest, relative := strings.CutPrefix(s, "relative ")
	n, err := catalog.ParseNumber(rest)
	if err != nil {
		return noise{}, fmt.Errorf("%q: a quantity, `relative 0.5 %%`, poisson or unknown is expected", s)
	}
	if n.Value < 0 {
		return noise{}, fmt.Errorf("%q: an uncertainty cannot be negative", s)
	}
	if !relative {
		return noise{absolute: &n}, nil
	}
	in, err := n.In(catalog.Unit{})
	if err != nil {
		return noise{}, fmt.Errorf("%q: a relative uncertainty has no unit but %%", s)
	}
	return noise{relative: in.Value}, nil
}

// runImport reads one file. Whatever is wrong with it is said with its path.
func runImport(ctx context.Context, call *pipeline.Call) (pipeline.Choices, error) {
	if err := readFile(ctx, call); err != nil {
		return nil, fmt.Errorf("%s: %w", call.File.Path, err)
	}
	return nil, nil
}

func readFile(ctx context.Context, call *pipeline.Call) error {
	s := call.Settings.(*importSettings)
	text, err := ParseText(call.File.Data)
	if err != nil {
		return err
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	r := &reading{settings: s, text: text}
	t, err := r.table()
	if err != nil {
		return err
	}
	fields, err := headerFields(s.Header, text.Pairs)
	if err != nil {
		return err
	}
	return call.Stream("items", fields, t, r.flags...)
}

// headerFields finds the fields that the study wants of a file's header.
func headerFields(want pipeline.Map[string], pairs []Pair) ([]pipeline.Captured, error) {
	var out []pipeline.Captured
	for _, h := range want {
		key, _, _ := splitUnit(h.Value)
		var hit *Pair
		for i := range pairs {
			if strings.EqualFold(pairs[i].Key, key) {
				if hit != nil && hit.Value != pairs[i].Value {
					return nil, fmt.Errorf("the header says %q twice: %q on line %d and %q on line %d; take one out", key, hit.Value, hit.Line, pairs[i].Value, pairs[i].Line)
				}
				hit = &pairs[i]
			}
		}
		if hit == nil {
			var keys []string
			for _, p := range pairs {
				keys = append(keys, p.Key)
			}
			return nil, fmt.Errorf("the header has no key %q for the field `%s`; it has %s; correct the key under `header`, or leave the field out", key, h.Key, shortKeys(keys))
		}
		out = append(out, pipeline.Captured{Name: h.Key, Text: hit.Value})
	}
	return out, nil
}

func shortKeys(keys []string) string {
	if len(keys) == 0 {
		return "no keys at all"
	}
	if len(keys) > 12 {
		return strings.Join(keys[:12], ", ") + ", …"
	}
	return strings.Join(keys, ", ")
}

// reading turns a text into a table.
type reading struct {
	settings *importSettings
	text     *Text
	names    []string
	at       []int // columns of the text
	units    []catalog.Unit
	flags    []string
}

// table gives the curve: rows without an axis left out, the axis rising, units as inside, uncertainties beside their columns.
func (r *reading) table() (*table.Table, error) {
	if err := r.findColumns(); err != nil {
		return nil, err
	}
	x := r.text
	rows := make([]int, 0, x.Rows())
	axisAt := r.at[0]
	for i := range x.Rows() {
		if v := x.Valid[axisAt]; v == nil || v[i] {
			rows = append(rows, i)
		}
	}
	if n := x.Rows() - len(rows); n > 0 {
		r.flags = append(r.flags, fmt.Sprintf("%d rows without a number on the axis are left out", n))
	}
	axis := make([]float64, len(rows))
	for i, row := range rows {
		axis[i] = x.Columns[axisAt][row]
	}
	rising, err := CheckAxis(axis, nil, func(i int) int { return x.Line(rows[i]) })
	if err != nil {
		return nil, err
	}
	if !rising {
		slices.Reverse(rows)
	}
	t := &table.Table{Header: map[string]string{}}
	for _, p := range x.Pairs {
		if len(p.Key) <= 200 && len(p.Value) <= 2000 {
			t.Header[p.Key] = p.Value
		}
	}
	for i, name := range r.names {
		if err := r.addColumn(t, i, name, rows); err != nil {
			return nil, err
		}
	}
	if err := r.addNoise(t); err != nil {
		return nil, err
	}
	for _, n := range x.Notes {
		r.flags = append(r.flags, n.say())
	}
	return t, r.possible(t, rows)
}

// findColumns finds each named column in the file, and its unit: what the study says, what the file says; if both do, they agree.
func (r *reading) findColumns() error {
	x := r.text
	n := len(x.Columns)
	columns := r.settings.Columns
	if len(columns) == 0 {
		return r.columnsByHeads()
	}
	for _, c := range columns {
		head, unitText, has := splitUnit(c.Value)
		at := -1
		if k, err := strconv.Atoi(head); err == nil {
			if k < 1 || k > n {
				return fmt.Errorf("line %d: found %d columns; expected column %s as number %d; correct its number under `columns`, or leave it out", x.FirstLine, n, c.Key, k)
			}
			at = k - 1
		} else {
			for i, h := range x.Heads {
				if h.Text == head || h.Name == head {
					if at >= 0 {
						return fmt.Errorf("column %s is headed %q, which the file has twice; give its number instead", c.Key, head)
					}
					at = i
				}
			}
			if at < 0 {
				return fmt.Errorf("no column is headed %q, which is to be %s; the heads are %s; give the head as the file has it, or a number", head, c.Key, headsWord(x.Heads))
			}
		}
		if slices.Contains(r.at, at) {
			return fmt.Errorf("columns: %s is the same column of the file as an earlier one", c.Key)
		}
		unit, err := r.unit(c.Key, unitText, has, at)
		if err != nil {
			return err
		}
		r.names, r.at, r.units = append(r.names, c.Key), append(r.at, at), append(r.units, unit)
	}
	return nil
}

func headsWord(heads []Head) string {
	if heads == nil {
		return "not given in this file"
	}
	var out []string
	for _, h := range heads {
		out = append(out, strconv.Quote(h.Text))
	}
	return strings.Join(out, ", ")
}

// unit joins what the study and the file say of a column's unit.
func (r *reading) unit(name, text string, has bool, at int) (catalog.Unit, error) {
	var study, file catalog.Unit
	var err error
	if has {
		if study, err = catalog.ParseUnit(text); err != nil {
			return study, err
		}
	}
	if r.text.Heads == nil || r.text.Heads[at].Unit == "" {
		return study, nil
	}
	h := r.text.Heads[at]
	if file, err = catalog.ParseUnit(h.Unit); err != nil {
		if has {
			r.flags = append(r.flags, fmt.Sprintf("the file's unit of column %s, %q, is not one that is known; the study's, %s, is taken", name, h.Unit, text))
			return study, nil
		}
		return file, fmt.Errorf("the file's unit of column %s: %w; say it in the study: `%s: \"%s [unit]\"`", name, err, name, h.Name)
	}
	if has && !study.Equal(file) {
		return study, fmt.Errorf("column %s is in %s by the study and in %s by the file's head %q; correct the study, or take the unit out of it", name, study.Symbol(), file.Symbol(), h.Text)
	}
	return file, nil
}

// columnsByHeads takes names and units from the file alone. A file that does not name its columns is refused: which is which is never guessed.
func (r *reading) columnsByHeads() error {
	if r.text.Heads == nil {
		return fmt.Errorf("the file does not head its columns (data begin on line %d), and the study does not name them: add `columns: {axis: 1, value: 2}` with their names and units", r.text.FirstLine)
	}
	for i, h := range r.text.Heads {
		if !catalog.IsIdentifier(h.Name) {
			return fmt.Errorf("column %d is headed %q, which cannot be a name: add `columns` with names of letters, digits and _", i+1, h.Text)
		}
		unit, err := r.unit(h.Name, "", false, i)
		if err != nil {
			return err
		}
		if slices.Contains(r.names, h.Name) {
			return fmt.Errorf("two columns are headed %q: add `columns` with their numbers", h.Name)
		}
		r.names, r.at, r.units = append(r.names, h.Name), append(r.at, i), append(r.units, unit)
	}
	return nil
}

// addColumn converts one column into the unit used inside.
func (r *reading) addColumn(t *table.Table, i int, name string, rows []int) error {
	unit := r.units[i]
	inside := catalog.Canonical(unit.Dim(), i == 0)
	of, isU := strings.CutPrefix(name, "u_")
	if isU {
		at := slices.Index(r.names, of)
		if unit.IsOne() && !r.units[at].IsOne() {
			unit = r.units[at] // the file gives both in one unit
		}
		inside = catalog.Canonical(r.units[at].Dim(), at == 0)
	}
	conv, err := catalog.Convert(unit, inside)
	if err != nil {
		return fmt.Errorf("column %s: %w", name, err)
	}
	src, valid := r.text.Columns[r.at[i]], r.text.Valid[r.at[i]]
	v := make([]float64, len(rows))
	var ok []bool
	if valid != nil {
		ok = make([]bool, len(rows))
	}
	zeros := 0
	for k, row := range rows {
		if ok != nil {
			ok[k] = valid[row]
			if !ok[k] {
				continue
			}
		}
		if !isU {
			v[k] = src[row]
			continue
		}
		if src[row] < 0 {
			return fmt.Errorf("line %d: found a negative uncertainty, %v in column %s; expected a standard uncertainty; correct the file or name another column", r.text.Line(row), src[row], name)
		}
		if src[row] == 0 {
			zeros++
		}
		v[k] = src[row]
	}
	if isU {
		if zeros > 0 {
			if ok == nil {
				ok = make([]bool, len(rows))
				for k := range ok {
					ok[k] = true
				}
			}
			for k := range v {
				ok[k] = ok[k] && v[k] != 0
			}
			r.flags = append(r.flags, fmt.Sprintf("%d of %d uncertainties in column %s are zero: they are taken as unknown", zeros, len(rows), name))
		}
		for k := range v {
			v[k] = conv.Delta(v[k])
		}
	} else {
		conv.Slice(v, v)
	}
	t.AddFloatValid(name, inside.Code(), v, ok)
	return nil
}

// addNoise adds the uncertainties that the study says of columns.
func (r *reading) addNoise(t *table.Table) error {
	for _, u := range r.settings.U {
		n, err := parseNoise(u.Value)
		if err != nil {
			return err
		}
		c := t.Col(u.Key)
		if c == nil {
			return fmt.Errorf("u: the file has no column %s; it has %s", u.Key, strings.Join(t.Names(), ", "))
		}
		out := make([]float64, c.Len())
		valid := slices.Clone(c.Valid)
		switch {
		case n.word == "unknown":
			continue
		case n.word == "poisson":
			for i, x := range c.Floats {
				if c.IsNull(i) {
					continue
				}
				if x < 0 || x != math.Trunc(x) {
					return fmt.Errorf("u: poisson for column %s, which holds %v: counts are whole and not negative; say how its uncertainty is known", u.Key, x)
				}
				out[i] = math.Sqrt(math.Max(x, 1))
			}
		case n.absolute != nil:
			unit, err := catalog.ParseUnit(c.Unit)
			if err != nil {
				return err
			}
			in, err := n.absolute.In(unit)
			if err != nil {
				return fmt.Errorf("u: column %s: %w", u.Key, err)
			}
			for i := range out {
				out[i] = in.Value
			}
		default:
			for i, x := range c.Floats {
				out[i] = math.Abs(x) * n.relative
			}
		}
		t.AddFloatValid("u_"+u.Key, c.Unit, out, valid)
	}
	return nil
}

// possible refuses axes that no instrument can have.
func (r *reading) possible(t *table.Table, rows []int) error {
	c := &t.Columns[0]
	if c.Unit != "1/nm" && c.Unit != "nm" && c.Unit != "K" && c.Unit != "eV" {
		return nil
	}
	for i, x := range c.Floats {
		if x < 0 || x == 0 && c.Unit != "1/nm" {
			return fmt.Errorf("line %d: found %s = %v %s; expected a positive number; correct the file, or the unit of the column", r.text.Line(rows[i]), c.Name, x, c.Unit)
		}
	}
	return nil
}

// say gives a note as text, with the first of its lines.
func (n Note) say() string {
	if len(n.Lines) == 0 {
		return n.Text
	}
	var lines []string
	for _, l := range n.Lines[:min(len(n.Lines), 6)] {
		lines = append(lines, strconv.Itoa(l))
	}
	more := ""
	if len(n.Lines) > 6 {
		more = fmt.Sprintf(" and %d more", len(n.Lines)-6)
	}
	return fmt.Sprintf("%s (lines %s%s)", n.Text, strings.Join(lines, ", "), more)
}
