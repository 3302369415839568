package pipeline

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"fascicle/catalog"
	"fascicle/catalog/fault"
	"fascicle/pipeline/formula"
	"fascicle/pipeline/study"
)

// Shown is what a study asks of its report beside what every report holds: questions that are answered first, and figures and tables
// that leave for a paper. It is in no recipe key. All names in it were looked up when the study was checked.
type Shown struct {
	Questions []Question
	Figures   []ShownFigure
	Tables    []ShownTable
	Style     Style
}

// Question is a question and what answers it.
type Question struct {
	Text    string
	Answers []Answer
}

// Answer names a figure of the study, a table of the study, or a figure that a stage's kind declares: only one of the three is set.
type Answer struct {
	Figure, Table      string
	Stage, StageFigure string
}

// ShownFigure is a figure of one or more panels, out/figures/NAME.svg.
type ShownFigure struct {
	Name, Caption string
	Width         float64 // mm
	Across        int     // panels side by side, 0: as many as fit
	Panels        []ShownPanel
}

// ShownPanel shows a figure that the stage's kind declares (Figure), or numbers of the stage's items over each other (X, Y).
type ShownPanel struct {
	Stage, Figure string
	X             string
	Y             []string
	Output        string // whose rows are the points; "": its items of form values
	Series        []string
	Each          []string // a panel for each combination of values of these fields
	Log           bool     // y runs logarithmically
	Where         Condition
}

// ShownTable is a table, out/tables/NAME.csv and NAME.tex.
type ShownTable struct {
	Name, Caption string
	Stage, Output string // as in ShownPanel
	Columns       []string
	Formats       []string // "csv", "tex"
	Where         Condition
}

// Style says how figures and tables of the study look.
type Style struct {
	FontSize float64                 // pt
	Colours  map[string]string       // of a field's value: "#2b5c8a"
	Marks    map[string]string       // of a field's value: filled, open, disc, square, triangle, diamond or cross
	Names    map[string]string       // of a field or column, for people
	Units    map[string]catalog.Unit // in which a field or column is printed
}

// markWords are the marks that a style may give to a value.
var markWords = []string{"filled", "open", "disc", "square", "triangle", "diamond", "cross"}

// Condition is a compiled `where`; the zero Condition is true of every item.
type Condition struct{ formula *formula.Formula }

// String is the condition as written.
func (c Condition) String() string {
	if c.formula == nil {
		return ""
	}
	return c.formula.Source()
}

// Holds judges a condition on an item of the outcome; known is false where a field that it needs is empty.
func (o *Outcome) Holds(c Condition, it ItemOutcome) (holds, known bool) {
	if c.formula == nil {
		return true, true
	}
	if o.project == nil {
		return false, false
	}
	f := o.fieldsOf(it)
	if f == nil {
		return false, false
	}
	v := c.formula.Eval(&fieldEnv{p: o.project, f: f})
	return v.Bool && !v.Null, !v.Null
}

// Field is what an item of the outcome says of a field. Null: nothing.
func (o *Outcome) Field(it ItemOutcome, name string) FieldValue {
	if o.project == nil {
		return FieldValue{Null: true}
	}
	id, ok := o.project.fields.id(name)
	f := o.fieldsOf(it)
	switch {
	case name == "sample" && it.Sample != "":
		return FieldValue{Text: it.Sample}
	case !ok || f == nil:
		return FieldValue{Null: true}
	}
	v, _ := f.get(id)
	return v
}

// FieldUnit is the unit of a field; ok is false where there is no field of that name, or where it is no number.
func (o *Outcome) FieldUnit(name string) (unit catalog.Unit, ok bool) {
	if o.project == nil {
		return catalog.Unit{}, false
	}
	id, ok := o.project.fields.id(name)
	if !ok || o.project.fields.types[id].Sort != formula.Number {
		return catalog.Unit{}, false
	}
	return o.project.fields.types[id].Unit, true
}

// bindShown looks up what `questions`, `figures`, `tables` and `style` name.
func (l *loader) bindShown() {
	sh := &Shown{Style: l.shownStyle(l.Study.Style)}
	for _, e := range entriesOf(l.Study.Figures) {
		sh.Figures = append(sh.Figures, l.shownFigure(e))
	}
	for _, e := range entriesOf(l.Study.Tables) {
		sh.Tables = append(sh.Tables, l.shownTable(e))
	}
	for _, e := range entriesOf(l.Study.Questions) {
		q := Question{Text: e.Key.Value}
		for _, n := range e.Value.Items {
			if a, ok := l.answer(n.Text, sh); ok {
				q.Answers = append(q.Answers, a)
			}
		}
		sh.Questions = append(sh.Questions, q)
	}
	l.shown = sh
}

func entriesOf(n *study.Node) []study.Entry {
	if n == nil {
		return nil
	}
	return n.Entries
}

func (l *loader) answer(t study.Text, sh *Shown) (a Answer, ok bool) {
	if strings.Contains(t.Value, "/") {
		a.Stage, a.StageFigure, ok = l.stageFigure(t)
		return a, ok
	}
	var names []string
	for _, f := range sh.Figures {
		if f.Name == t.Value {
			return Answer{Figure: t.Value}, true
		}
		names = append(names, f.Name)
	}
	for _, f := range sh.Tables {
		if f.Name == t.Value {
			return Answer{Table: t.Value}, true
		}
		names = append(names, f.Name)
	}
	found, remedy := fault.Unknown("figure", t.Value, names)
	l.fail(t.Pos, found+" in `questions`", "a name under `figures` or `tables`, or STAGE/FIGURE", cmp.Or(remedy, "describe it under `figures`, or name a figure of a stage as STAGE/FIGURE"))
	return a, false
}

// stageFigure resolves STAGE/FIGURE; ok is false, with a fault or because the stage has one of its own.
func (l *loader) stageFigure(t study.Text) (stageName, figure string, ok bool) {
	stageName, figure, _ = strings.Cut(t.Value, "/")
	s := l.shownStage(study.Text{Value: stageName, Pos: t.Pos})
	switch {
	case s == nil || s.broken:
		return "", "", false
	case s.kind == nil:
		l.fail(t.Pos, fmt.Sprintf("a figure of %s, which is the sheet", stageName), "STAGE/FIGURE with a stage that has a kind", "show the sheet's columns with stage, x and y")
		return "", "", false
	}
	var names []string
	for _, f := range s.kind.Figures {
		if f.Name == figure {
			return stageName, figure, true
		}
		names = append(names, f.Name)
	}
	found, remedy := fault.Unknown("figure", figure, names)
	if len(names) == 0 {
		remedy = "show its numbers with stage, x and y"
	}
	l.fail(t.Pos, found+" of stage "+stageName+" ("+s.kind.Name+")", "STAGE/FIGURE with a figure that the kind declares", remedy)
	return "", "", false
}

// shownStage resolves the stage of a figure or table; nil after a fault.
func (l *loader) shownStage(t study.Text) *stage {
	s := l.byName[t.Value]
	if s == nil {
		found, remedy := fault.Unknown("stage", t.Value, l.stageNames())
		l.fail(t.Pos, found, "a stage of this study", remedy)
		return nil
	}
	if s.decl != nil && len(s.decl.Items) > 0 {
		var names []string
		for _, m := range s.decl.Items {
			names = append(names, m.Value)
		}
		l.fail(t.Pos, fmt.Sprintf("stage %s, which is several stages taken together", s.name), "a stage with numbers of its own", "name "+joinOr(names)+", or a stage that joins them")
		return nil
	}
	return s
}

func textsOf(n *study.Node) []study.Text {
	switch {
	case n == nil:
		return nil
	case n.Kind == study.Scalar:
		return []study.Text{n.Text}
	}
	var out []study.Text
	for _, it := range n.Items {
		out = append(out, it.Text)
	}
	return out
}

func valuesOfTexts(list []study.Text) (out []string) {
	for _, t := range list {
		out = append(out, t.Value)
	}
	return out
}

func plainText(n *study.Node) string {
	if n == nil {
		return ""
	}
	return n.Text.Value
}

func (l *loader) shownFigure(e study.Entry) ShownFigure {
	f := ShownFigure{Name: e.Key.Value, Caption: plainText(e.Value.Get("caption")), Width: 170}
	if n := e.Value.Get("width"); n != nil {
		f.Width = l.length(n.Text, "mm", 30, 500, "the width of a figure, such as 85 mm", f.Width)
	}
	if n := e.Value.Get("across"); n != nil {
		k, err := strconv.Atoi(n.Text.Value)
		if err != nil || k < 1 || k > 6 {
			l.fail(n.Pos, fmt.Sprintf("%q for `across`", n.Text.Value), "how many panels stand side by side, 1 to 6", "write a number such as 2")
		}
		f.Across = k
	}
	for _, n := range e.Value.Get("panels").Items {
		if p, ok := l.shownPanel(n); ok {
			f.Panels = append(f.Panels, p)
		}
	}
	return f
}

// length reads a quantity of a unit between two limits.
func (l *loader) length(t study.Text, unit string, least, most float64, expected string, usual float64) float64 {
	want := mustUnit(unit)
	n, err := catalog.ParseNumber(t.Value)
	if err == nil && n.HasUnit {
		n, err = n.In(want)
	}
	switch {
	case err != nil || !n.HasUnit:
		l.fail(t.Pos, fmt.Sprintf("%q", t.Value), expected, "give a number with "+unit)
	case !(n.Value >= least && n.Value <= most):
		l.fail(t.Pos, fmt.Sprintf("%q", t.Value), fmt.Sprintf("%s, from %g to %g %s", expected, least, most, unit), "choose one in between")
	default:
		return n.Value
	}
	return usual
}

func (l *loader) shownPanel(n *study.Node) (p ShownPanel, ok bool) {
	var s *stage
	output := ""
	if f := n.Get("figure"); f != nil {
		if p.Stage, p.Figure, ok = l.stageFigure(f.Text); !ok {
			return p, false
		}
		for _, key := range []string{"x", "y", "series", "scale"} {
			if e := n.Get(key); e != nil {
				l.fail(e.Pos, fmt.Sprintf("`%s` beside `figure`", key), "axes as the kind declares them", "leave it out, or name a stage in place of the figure")
			}
		}
		s = l.byName[p.Stage]
	} else {
		t := n.Get("stage").Text
		if s = l.shownStage(t); s == nil || s.broken {
			return p, false
		}
		p.Stage = s.name
		for _, key := range []string{"x", "y"} {
			if n.Get(key) == nil {
				l.fail(n.Pos, fmt.Sprintf("a panel of stage %s without `%s`", s.name, key), "x and y", "add `"+key+":` with a field or a column of the stage")
				return p, false
			}
		}
		x, y := n.Get("x").Text, textsOf(n.Get("y"))
		if output, ok = l.shownOutput(s, t.Pos, append([]study.Text{x}, y...)); !ok {
			return p, false
		}
		p.X, p.Y, p.Output = x.Value, valuesOfTexts(y), output
		l.numbersOnly(s, output, x, y)
		if e := n.Get("scale"); e != nil {
			switch e.Text.Value {
			case "log":
				p.Log = true
			case "linear":
			default:
				l.fail(e.Pos, fmt.Sprintf("%q for `scale`", e.Text.Value), "linear or log", "say how y runs")
			}
		}
		series := textsOf(n.Get("series"))
		l.fieldNumbers(series, s.fields, "series", s.broken)
		p.Series = valuesOfTexts(series)
	}
	each := textsOf(n.Get("each"))
	l.fieldNumbers(each, s.fields, "each", s.broken)
	p.Each = valuesOfTexts(each)
	p.Where = l.shownWhere(s, output, n.Get("where"))
	return p, true
}

// numbersOnly refuses words on an axis, and y of different dimensions.
func (l *loader) numbersOnly(s *stage, output string, x study.Text, y []study.Text) {
	var unit *catalog.Unit
	for i, t := range append([]study.Text{x}, y...) {
		u, number, known := l.unitOf(s, output, t.Value)
		switch {
		case !known:
			continue
		case !number:
			l.fail(t.Pos, fmt.Sprintf("`%s`, which holds no numbers", t.Value), "a field or column of numbers", "put words under `series` or `each`")
		case i > 0 && unit == nil:
			unit = &u
		case i > 0 && unit.Dim() != u.Dim():
			l.fail(t.Pos, fmt.Sprintf("`%s` in %s, beside `%s` in %s", t.Value, unitWord(u), y[0].Value, unitWord(*unit)), "units that go together on one axis", "give each a panel of its own")
		}
	}
}

// unitOf is the unit of a field or column of a stage; known is false where only its files tell.
func (l *loader) unitOf(s *stage, output, name string) (unit catalog.Unit, number, known bool) {
	for _, c := range l.shownColumns(s, output) {
		if findColumn([]ColumnShape{c}, name) != nil {
			return c.Unit, !c.Text, !c.Any || c.Text
		}
	}
	if id, ok := l.fields.id(name); ok && s.fields[name] {
		return l.fields.types[id].Unit, l.fields.types[id].Sort == formula.Number, true
	}
	return catalog.Unit{}, false, false
}

// shownColumns lists the columns of an output, or, for "", of all outputs of form values.
func (l *loader) shownColumns(s *stage, output string) (list []ColumnShape) {
	for _, name := range l.declaredOutputs(s) {
		if sh := s.shapes[name]; name == output || output == "" && (sh.Form == Values || sh.Form == AnyForm) {
			list = append(list, sh.Columns...)
		}
	}
	return list
}

// shownOutput finds whose rows have all the columns named: the stage's items of form values, or else the first output of form table.
// Without names it is what the stage gives first. An output whose columns only its files tell may have any.
func (l *loader) shownOutput(s *stage, at study.Pos, names []study.Text) (output string, ok bool) {
	var candidates []string
	open := map[string]bool{}
	for _, name := range l.declaredOutputs(s) {
		sh := s.shapes[name]
		switch sh.Form {
		case Values, AnyForm:
			name = ""
		case TableForm:
		default:
			continue
		}
		open[name] = open[name] || sh.Unknown
		if !slices.Contains(candidates, name) {
			candidates = append(candidates, name)
		}
	}
	if len(candidates) == 0 {
		l.fail(at, fmt.Sprintf("stage %s, which gives no rows of numbers", s.name), "a stage with an output of form values or table", "show a figure of the stage, STAGE/FIGURE, or name another stage")
		return "", false
	}
	var have []string
	var missing []study.Text
	for i, name := range candidates {
		columns := l.shownColumns(s, name)
		lacks := slices.DeleteFunc(slices.Clone(names), func(t study.Text) bool { return s.fields[t.Value] || findColumn(columns, t.Value) != nil })
		if len(lacks) == 0 || open[name] {
			return name, true
		}
		if i == 0 || len(lacks) < len(missing) {
			missing = lacks
		}
		for _, c := range columns {
			have = append(have, c.Name)
		}
	}
	have = append(have, sortedKeys(s.fields)...)
	slices.Sort(have)
	have = slices.Compact(have)
	for _, t := range missing {
		found, remedy := fault.Unknown("column", t.Value, have)
		l.fail(t.Pos, found+" of stage "+s.name, "a field or a column of its items", cmp.Or(remedy, "they are "+shortList(have, 20)))
	}
	return "", false
}

func (l *loader) shownWhere(s *stage, output string, n *study.Node) (c Condition) {
	if n == nil || s.broken {
		return c
	}
	if outputs := l.declaredOutputs(s); output == "" && len(outputs) > 0 {
		output = outputs[0]
	}
	f, ok, err := (&fieldScope{l: l, only: source{s, output}.fields()}).compile(n.Text.Value)
	switch {
	case err != nil:
		d := &decoder{file: l.file, stage: s.name, locate: l.Study.Locate}
		d.formulaFault(n.Text, "where", err)
		l.faults = append(l.faults, d.faults...)
	case ok && f.Type().Sort != formula.Bool:
		l.fail(n.Pos, "a condition that comes out as "+typeWord(f.Type()), "a yes or no", "compare it with something")
	case ok:
		c.formula = f
	}
	return c
}

func (l *loader) shownTable(e study.Entry) (t ShownTable) {
	t.Name, t.Caption = e.Key.Value, plainText(e.Value.Get("caption"))
	if name := strings.ToLower(t.Name); slices.ContainsFunc(l.stages, func(s *stage) bool { return strings.ToLower(s.name) == name }) {
		l.fail(e.Key.Pos, fmt.Sprintf("the table %q, which is called like a stage", t.Name), "a name of its own: tables/"+t.Name+".csv holds the stage's numbers already", "rename the table")
	}
	t.Formats = []string{"csv"}
	if n := e.Value.Get("formats"); n != nil {
		t.Formats = nil
		for _, f := range n.Items {
			if slices.Contains([]string{"csv", "tex", "xlsx"}, f.Text.Value) {
				t.Formats = append(t.Formats, f.Text.Value)
				continue
			}
			remedy := "use csv, which every spreadsheet opens, or tex"
			l.fail(f.Pos, fmt.Sprintf("the format %q", f.Text.Value), "csv, tex or xlsx; no other is written", remedy)
		}
	}
	s := l.shownStage(e.Value.Get("stage").Text)
	if s == nil || s.broken {
		return t
	}
	columns := textsOf(e.Value.Get("columns"))
	output, ok := l.shownOutput(s, e.Value.Get("stage").Pos, columns)
	if !ok {
		return t
	}
	t.Stage, t.Output, t.Columns = s.name, output, valuesOfTexts(columns)
	t.Where = l.shownWhere(s, output, e.Value.Get("where"))
	return t
}

func (l *loader) shownStyle(n *study.Node) Style {
	st := Style{FontSize: 8, Colours: map[string]string{}, Marks: map[string]string{}, Names: map[string]string{}, Units: map[string]catalog.Unit{}}
	if f := n.Get("font-size"); f != nil {
		st.FontSize = l.fontSize(f.Text)
	}
	for _, e := range entriesOf(n.Get("colours")) {
		c := strings.ToLower(strings.TrimPrefix(e.Value.Text.Value, "#"))
		if len(c) == 3 {
			c = string([]byte{c[0], c[0], c[1], c[1], c[2], c[2]})
		}
		if len(c) != 6 || strings.Trim(c, "0123456789abcdef") != "" {
			l.fail(e.Value.Pos, fmt.Sprintf("%q as a colour", e.Value.Text.Value), "six hexadecimal digits, such as 2b5c8a", "write red, green and blue with two digits each")
			continue
		}
		st.Colours[e.Key.Value] = "#" + c
	}
	for _, e := range entriesOf(n.Get("marks")) {
		if !slices.Contains(markWords, e.Value.Text.Value) {
			found, remedy := fault.Unknown("mark", e.Value.Text.Value, markWords)
			l.fail(e.Value.Pos, found, "a mark", remedy)
			continue
		}
		st.Marks[e.Key.Value] = e.Value.Text.Value
	}
	for _, e := range entriesOf(n.Get("names")) {
		l.styled(e.Key)
		st.Names[e.Key.Value] = e.Value.Text.Value
	}
	for _, e := range entriesOf(n.Get("units")) {
		u, err := catalog.ParseUnit(e.Value.Text.Value)
		if err != nil {
			l.fail(e.Value.Pos, fmt.Sprintf("%q as a unit", e.Value.Text.Value), "a unit such as mmol/L", err.Error())
			continue
		}
		for _, have := range l.styled(e.Key) {
			if _, err := catalog.Convert(have, u); err != nil {
				l.fail(e.Value.Pos, fmt.Sprintf("`%s` in %s", e.Key.Value, unitWord(u)), "a unit that "+unitWord(have)+" can be converted to", "correct the unit")
				break
			}
		}
		st.Units[e.Key.Value] = u
	}
	return st
}

// fontSize reads a size in points, which are no unit of quantities: 72 make an inch.
func (l *loader) fontSize(t study.Text) float64 {
	text, ok := strings.CutSuffix(t.Value, "pt")
	size, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
	if !ok || err != nil || !(size >= 5 && size <= 16) {
		l.fail(t.Pos, fmt.Sprintf("%q", t.Value), "the size of the letters in figures, from 5 pt to 16 pt", "write a size such as 8 pt")
		return 8
	}
	return size
}

// styled gives the units of everything that bears a name of `style`, as far as they are known, or reports that nothing does.
func (l *loader) styled(t study.Text) (units []catalog.Unit) {
	found := t.Value == "sample"
	if id, ok := l.fields.id(t.Value); ok {
		found = true
		if l.fields.types[id].Sort == formula.Number {
			units = append(units, l.fields.types[id].Unit)
		}
	}
	names := slices.Clone(l.fields.names)
	for _, s := range l.stages {
		found = found || s.broken
		for _, output := range l.declaredOutputs(s) {
			sh := s.shapes[output]
			found = found || sh.Unknown
			for _, c := range sh.Columns {
				if c.Name == AxisColumn || c.Name == ValueColumn {
					found = true
					continue
				}
				names = append(names, c.Name)
				if one := []ColumnShape{c}; findColumn(one, t.Value) != nil || findColumn(one, strings.TrimPrefix(t.Value, s.name+".")) != nil {
					found = true
					if !c.Any && !c.Text {
						units = append(units, c.Unit)
					}
				}
			}
		}
	}
	if !found {
		slices.Sort(names)
		what, remedy := fault.Unknown("name", t.Value, slices.Compact(names))
		l.fail(t.Pos, what+" in `style`", "a field or a column of this study", cmp.Or(remedy, "correct or delete it"))
	}
	return units
}
