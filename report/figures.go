package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"fascicle/catalog"
	"fascicle/pipeline"
	"fascicle/pipeline/table"
)

// A figure is one drawing: of an item, as its kind declares, or of a column over all samples.
type figure struct {
	stage   *stage
	decl    *pipeline.Figure
	base    *pipeline.ItemOutcome // what it is drawn for; nil: an overview
	plot    *plot                 // of an overview, ready
	title   string
	about   string
	file    string // below out/, with slashes
	svg     []byte // kept only where the page shows it
	none    string // why there is nothing to see
	answers bool   // it answers a question, and the page holds it
}

// job is the figures of one item: what they have in common is read once.
type job struct{ figures []*figure }

// most curves of one series: a port with many partners would fill the plot.
const mostCurves = 12

// planFigures lists the figures that the kinds declare, for each item that there is.
func (m *model) planFigures(names *fileNames) (jobs []*job) {
	for _, s := range m.stages {
		if s.Kind == nil || len(s.Kind.Figures) == 0 {
			continue
		}
		byItem := map[*pipeline.ItemOutcome]*job{}
		for f := range s.Kind.Figures {
			decl := &s.Kind.Figures[f]
			if decl.Minor && len(m.samples) > mostInline {
				continue // thousands of files that nobody opens would slow down every later run
			}
			base := baseOutput(s.Kind, decl)
			for i := range s.Items {
				it := &s.Items[i]
				if it.Output != base || !it.State.Good() {
					continue
				}
				fig := &figure{
					stage: s, decl: decl, base: it, title: decl.Title, about: s.Name + " · " + plainItem(it),
					file: names.give("figures/", s.Name+"."+decl.Name, it.Name, ".svg"),
				}
				if fig.title == "" {
					fig.title = decl.Name
				}
				j := byItem[it]
				if j == nil {
					j = &job{}
					byItem[it] = j
					jobs = append(jobs, j)
				}
				j.figures = append(j.figures, fig)
				if sm := m.bySample[it.Sample]; it.Sample != "" && sm != nil {
					sm.figures = append(sm.figures, fig)
				}
			}
		}
	}
	return jobs
}

// plainItem is an item's name for people: its sample, then what else its name says.
func plainItem(it *pipeline.ItemOutcome) string {
	if it.Sample == "" {
		return strings.ReplaceAll(it.Name, ",", ", ")
	}
	if r := rest(it.Name, it.Sample); r != "" {
		return it.Sample + ", " + strings.ReplaceAll(r, ",", ", ")
	}
	return it.Sample
}

// baseOutput is the output for whose items a figure is drawn: the first one it names that is per lead item, or else the
// first it names, or the kind's first.
func baseOutput(k *pipeline.Kind, f *pipeline.Figure) string {
	first := ""
	see := func(name string) bool {
		for _, o := range k.Outputs {
			if name == "" || o.Name != name {
				continue
			}
			if o.Per != pipeline.PerGroup {
				first = name
				return true
			}
			if first == "" {
				first = name
			}
		}
		return false
	}
	for _, s := range f.Series {
		if see(s.Output) {
			return first
		}
	}
	if f.Residual != nil && see(f.Residual.Output) {
		return first
	}
	for _, mk := range f.Marks {
		if see(mk.Output) {
			return first
		}
	}
	if first == "" && len(k.Outputs) > 0 {
		first = k.Outputs[0].Name
	}
	return first
}

// siblings finds the items of another output that belong to a figure's item: that of the same lead item, that of the group, or,
// for a figure of the group, those of all its lead items.
func (m *model) siblings(s *stage, base *pipeline.ItemOutcome, output string) (list []*pipeline.ItemOutcome) {
	if output == base.Output {
		return []*pipeline.ItemOutcome{base}
	}
	if it := m.items[itemID{s.Name, output, base.Name}]; it != nil && it.Key == base.Key && it.State.Good() {
		return []*pipeline.ItemOutcome{it}
	}
	names := map[string]bool{}
	for i := range s.Items {
		it := &s.Items[i]
		if it.Output == output && it.Key == base.Key && it.State.Good() && !names[it.Name] {
			if base.Lead >= 0 && it.Lead >= 0 && it.Lead != base.Lead {
				continue
			}
			names[it.Name] = true
			list = append(list, it)
		}
	}
	if base.Lead >= 0 && len(list) > 1 {
		list = list[:1] // two equal files share a recipe: their group items are equal
	}
	return list
}

// feeding finds the items that came to a figure's item through a port.
func (m *model) feeding(s *stage, base *pipeline.ItemOutcome, port string) (list []*pipeline.ItemOutcome) {
	for _, src := range base.Sources {
		if src.Port != port {
			continue
		}
		if it := m.items[itemID{src.Stage, src.Output, src.Item}]; it != nil && it.State.Good() {
			list = append(list, it)
		}
	}
	return narrowed(list, base)
}

// narrowed leaves, of the items that a whole group was made from, those that a figure of one lead item is about: of its name, or
// else of its sample. Without such, all.
func narrowed(list []*pipeline.ItemOutcome, base *pipeline.ItemOutcome) []*pipeline.ItemOutcome {
	if base.Lead < 0 || len(list) < 2 {
		return list
	}
	for _, own := range []func(*pipeline.ItemOutcome) bool{
		func(it *pipeline.ItemOutcome) bool { return it.Name == base.Name },
		func(it *pipeline.ItemOutcome) bool { return base.Sample != "" && it.Sample == base.Sample },
	} {
		var some []*pipeline.ItemOutcome
		for _, it := range list {
			if own(it) {
				some = append(some, it)
			}
		}
		if len(some) > 0 {
			return some
		}
	}
	return list
}

func (m *model) load(it *pipeline.ItemOutcome) (*table.Table, error) {
	t, err := m.Load(*it)
	if err != nil {
		return nil, fmt.Errorf("report: stage %s, output %s, item %s: %w", it.Stage, it.Output, it.Name, err)
	}
	return t, nil
}

// reader reads the tables of one job, each once.
type reader struct {
	m    *model
	have map[*pipeline.ItemOutcome]*table.Table
}

func (r *reader) read(it *pipeline.ItemOutcome) (*table.Table, error) {
	if t := r.have[it]; t != nil {
		return t, nil
	}
	t, err := r.m.load(it)
	if err == nil {
		r.have[it] = t
	}
	return t, err
}

// build turns a declared figure into numbers. A figure without any series has nothing to show.
func (r *reader) build(f *figure) (*plot, error) {
	d := f.decl
	pl := &plot{title: f.title, about: f.about, x: axisOf(d.X), y: axisOf(d.Y)}
	units := axisUnits{}
	for _, s := range d.Series {
		list, err := r.curves(f, pl, s, &units, pl.y.scale)
		if err != nil {
			return nil, err
		}
		for i := range list {
			list[i].colour = len(pl.series)
			pl.series = append(pl.series, list[i])
		}
	}
	pl.x.unit, pl.y.unit = units.x, units.y
	for _, label := range [...]*string{&pl.x.label, &pl.y.label} {
		if name, ok := strings.CutPrefix(*label, "{"); ok { // what a setting names
			*label = r.m.meantBy(f.stage, strings.TrimSuffix(name, "}"))
		}
	}
	if pl.x.label == "" {
		pl.x.label = r.m.meantBy(f.stage, units.xName)
	}
	if pl.y.label == "" {
		pl.y.label = r.m.meantBy(f.stage, units.yName)
	}
	if d.Residual != nil {
		below := axisUnits{x: units.x, hasX: units.hasX}
		list, err := r.curves(f, pl, *d.Residual, &below, pipeline.Linear)
		if err != nil {
			return nil, err
		}
		if len(list) > 0 {
			pl.residual = &list[0]
			pl.residual.role, pl.residual.colour = pipeline.Points, 0
			pl.residual.label = plotAxis{label: d.Residual.Label, unit: below.y}.caption(0)
			if d.Residual.Label == "" {
				pl.residual.label = "residual"
			}
			if pl.residual.u != nil {
				pl.residual.u = nil // weighted residuals have u = 1, which needs no bars
			}
		}
	}
	for _, mk := range d.Marks {
		if err := r.addMark(f, pl, mk, units); err != nil {
			return nil, err
		}
	}
	return pl, nil
}

// meantBy is what a column holds in the study: where a setting of the same name says it, as for x and y of a fit, that.
func (m *model) meantBy(s *stage, column string) string {
	for _, line := range s.Settings {
		if line.Path == column && !line.Default && line.Value != "" {
			return m.nameFor(s.Name, line.Value)
		}
	}
	return m.nameFor(s.Name, column)
}

func axisOf(a pipeline.Axis) plotAxis {
	scale := a.Scale
	if scale != pipeline.Log && scale != pipeline.Square {
		scale = pipeline.Linear
	}
	return plotAxis{label: a.Label, scale: scale}
}

// axisUnits are the units of the first series; what follows is converted to them.
type axisUnits struct {
	x, y         catalog.Unit
	hasX, hasY   bool
	xName, yName string
}

// curves gives the lines or sets of points of one declared series: one for each item, and for each member of a family.
func (r *reader) curves(f *figure, pl *plot, s pipeline.Series, units *axisUnits, yScale pipeline.Scale) (list []plotSeries, err error) {
	var items []*pipeline.ItemOutcome
	if s.Port != "" {
		items = r.m.feeding(f.stage, f.base, s.Port)
	} else {
		items = r.m.siblings(f.stage, f.base, s.Output)
	}
	if len(items) > mostCurves {
		pl.notes = append(pl.notes, fmt.Sprintf("%d of %d curves are drawn.", mostCurves, len(items)))
		items = items[:mostCurves]
	}
	for _, it := range items {
		t, err := r.read(it)
		if err != nil {
			return nil, err
		}
		x := columnOf(t, s.X)
		if x == nil || x.Type == table.Text {
			continue
		}
		for _, y := range columnsOf(t, s.Y) {
			if y.Type == table.Text {
				continue
			}
			one := plotSeries{role: s.Role, label: s.Label}
			var okX, okY bool
			one.x, okX = r.numbers(x, &units.x, &units.hasX)
			one.y, okY = r.numbers(y, &units.y, &units.hasY)
			if !okX || !okY {
				pl.notes = append(pl.notes, fmt.Sprintf("Column %s of %s has another dimension and is left out.", y.Name, it.Stage))
				continue
			}
			if units.xName == "" {
				units.xName, units.yName = x.Name, y.Name
			}
			u := t.Col("u_" + y.Name)
			if it.Form != pipeline.Curve && it.Form != pipeline.Image {
				u = wholeU(t, y.Name) // along a curve, own parts show the scatter: what the points share moves all of it
			}
			if u != nil && u.Type != table.Text && s.Role != pipeline.Line {
				one.u, _ = r.numbers(u, &units.y, &units.hasY)
				if it.Form == pipeline.TableForm && one.u != nil {
					one.noU = make([]bool, len(one.u))
					for i, x := range one.u {
						one.noU[i] = math.IsNaN(x)
					}
				}
			}
			r.censor(&one, t, y.Name, &units.y, &units.hasY)
			if used := t.Col(s.Used); s.Used != "" && used != nil && used.Type != table.Text {
				one.used = plainNumbers(used)
			}
			if len(items) > 1 {
				one.label = strings.TrimPrefix(s.Label+": "+plainItem(it), ": ")
			} else if y.Name != s.Y && strings.HasSuffix(s.Y, "_i") {
				one.label = strings.TrimSpace(s.Label + " " + y.Name)
			}
			list = append(list, one)
		}
	}
	return list, nil
}

// censor reads which of a column's numbers are limits, and the ends of those that are intervals.
func (r *reader) censor(one *plotSeries, t *table.Table, name string, unit *catalog.Unit, has *bool) {
	c := t.Col(name + "_bound")
	if c == nil || c.Type != table.Text {
		return
	}
	one.bound = make([]uint8, len(one.y))
	ends := func(suffix string) []float64 {
		if end := t.Col(name + suffix); end != nil && end.Type != table.Text {
			if list, ok := r.numbers(end, unit, has); ok {
				return slices.Clone(list)
			}
		}
		return nil
	}
	lo, hi := ends("_lo"), ends("_hi")
	for i := range one.bound {
		word := ""
		if !c.IsNull(i) {
			word = c.Texts[i]
		}
		switch word {
		case "lower":
			one.bound[i] = atLeast
		case "upper":
			one.bound[i] = atMost
		}
		if word != "interval" && lo != nil && hi != nil {
			lo[i], hi[i] = math.NaN(), math.NaN()
		}
		if one.noU != nil && word != "" {
			one.noU[i] = false
		}
	}
	if lo != nil && hi != nil {
		one.lo, one.hi = lo, hi
	}
}

// numbers gives a column in the unit of an axis, or sets that unit if the axis has none yet. False: another dimension.
func (r *reader) numbers(c *table.Column, unit *catalog.Unit, has *bool) ([]float64, bool) {
	own, err := catalog.ParseUnit(c.Unit)
	if err != nil {
		own = catalog.Unit{}
	}
	if !*has {
		*unit, *has = own, true
	}
	v := plainNumbers(c)
	if own.Equal(*unit) {
		return v, true
	}
	conv, err := catalog.Convert(own, *unit)
	if err != nil {
		return nil, false
	}
	out := make([]float64, len(v))
	difference := strings.HasPrefix(c.Name, "u_")
	for i, x := range v {
		if difference {
			out[i] = conv.Delta(x)
		} else {
			out[i] = conv.Float(x)
		}
	}
	return out, true
}

// plainNumbers gives a column's numbers with NaN for what is missing. The slice may be the table's own: it is only read.
func plainNumbers(c *table.Column) []float64 {
	if c.Type == table.Float && c.Valid == nil {
		return c.Floats
	}
	v := make([]float64, c.Len())
	for i := range v {
		switch {
		case c.IsNull(i):
			v[i] = math.NaN()
		case c.Type == table.Int:
			v[i] = float64(c.Ints[i])
		default:
			v[i] = c.Floats[i]
		}
	}
	return v
}

// columnOf finds a column by name or by its place in a curve.
func columnOf(t *table.Table, name string) *table.Column {
	if list := columnsOf(t, name); len(list) > 0 {
		return list[0]
	}
	return nil
}

// columnsOf finds a column by name or place, or all members of a family.
func columnsOf(t *table.Table, name string) (list []*table.Column) {
	switch name {
	case pipeline.AxisColumn:
		if len(t.Columns) > 0 {
			return []*table.Column{&t.Columns[0]}
		}
		return nil
	case pipeline.ValueColumn:
		for i := 1; i < len(t.Columns); i++ {
			if c := &t.Columns[i]; c.Type != table.Text && !auxiliary(c.Name) {
				return []*table.Column{c}
			}
		}
		return nil
	}
	if c := t.Col(name); c != nil {
		return []*table.Column{c}
	}
	if stem, ok := strings.CutSuffix(name, "_i"); ok {
		for n := 1; ; n++ {
			c := t.Col(fmt.Sprintf("%s_%d", stem, n))
			if c == nil {
				return list
			}
			list = append(list, c)
		}
	}
	return nil
}

// auxiliary tells whether a column only says how sure another one is.
func auxiliary(name string) bool {
	return strings.HasPrefix(name, "u_") || strings.HasPrefix(name, "nu_") || strings.HasPrefix(name, "cov_") || strings.Contains(name, "@") ||
		strings.HasSuffix(name, "_bound") || strings.HasSuffix(name, "_lo") || strings.HasSuffix(name, "_hi")
}

// addMark reads the numbers of a mark from the figure's values item.
func (r *reader) addMark(f *figure, pl *plot, mk pipeline.Mark, units axisUnits) error {
	for _, it := range r.m.siblings(f.stage, f.base, mk.Output) {
		t, err := r.read(it)
		if err != nil {
			return err
		}
		ends := columnsOf(t, mk.To)
		for i, at := range columnsOf(t, mk.At) {
			if at.Type == table.Text || at.Len() == 0 {
				continue
			}
			from, ok := r.numbers(at, &units.x, &units.hasX)
			mark := plotMark{at: math.NaN(), to: math.NaN(), label: mk.Label}
			if ok {
				mark.at = from[0]
			}
			if mk.To != "" {
				if i >= len(ends) || ends[i].Type == table.Text || ends[i].Len() == 0 {
					continue
				}
				to, okTo := r.numbers(ends[i], &units.x, &units.hasX)
				if ok = ok && okTo; ok {
					mark.to = to[0]
				}
				if math.IsNaN(mark.to) {
					continue // an open span has no end to draw
				}
			}
			if !ok {
				pl.notes = append(pl.notes, fmt.Sprintf("Mark %s has another dimension than x and is left out.", at.Name))
				continue
			}
			if at.Name != mk.At && strings.HasSuffix(mk.At, "_i") {
				mark.label = strings.TrimSpace(mk.Label + " " + at.Name[strings.LastIndexByte(at.Name, '_')+1:])
			}
			if !math.IsNaN(mark.at) {
				pl.marks = append(pl.marks, mark)
			}
		}
	}
	return nil
}
