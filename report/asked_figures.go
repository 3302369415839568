package report

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"fascicle/catalog"
	"fascicle/pipeline"
	"fascicle/pipeline/table"
)

// askedFigure is a figure of the study while it is made: out/figures/NAME.svg, and its panels one by one for the page, which may set them
// below each other.
type askedFigure struct {
	pipeline.ShownFigure
	number  int
	file    string
	across  int
	panels  []askedPanel
	svgs    [][]byte // of the panels that could be drawn
	facts   []string // what the points say in words
	missing []string // rows that are not drawn, and why
	notes   []string
	stages  []string // whose declared figures it shows
	none    string
	wide    float64 // in units of a drawing
}

type askedPanel struct {
	plot  *plot
	title string // without its letter
}

// mostPanels of one figure: more are too small to be read.
const mostPanels = 24

// makeFigure reads what a figure shows and draws it.
func (w *writer) makeFigure(f *askedFigure) error {
	r := &reader{m: w.model, have: map[*pipeline.ItemOutcome]*table.Table{}}
	var gaps lacking
	for _, p := range f.ShownFigure.Panels {
		var panels []askedPanel
		var err error
		if p.Figure != "" {
			panels, err = w.declaredPanels(r, f, p)
		} else {
			panels, err = w.pointPanels(r, f, p, &gaps)
		}
		if err != nil {
			return err
		}
		f.panels = append(f.panels, panels...)
	}
	f.missing = gaps.lines()
	if len(f.panels) > mostPanels {
		f.notes = append(f.notes, fmt.Sprintf("%d of %d panels are shown: narrow it with `where`.", mostPanels, len(f.panels)))
		f.panels = f.panels[:mostPanels]
	}
	svg, ok := f.compose(w.style().FontSize)
	if !ok {
		f.none = "nothing to draw: no point has both numbers"
		return nil
	}
	return w.out.put(f.file, svg)
}

// compose draws the panels and sets them side by side. Letters are as large on paper as the study wants them, whatever the width.
func (f *askedFigure) compose(points float64) ([]byte, bool) {
	const gap = 10.0
	millimetre := textSize / (points * 25.4 / 72) // units of the drawing in one
	f.wide = f.Width * millimetre
	f.across = f.Across
	if f.across == 0 {
		f.across = max(1, min(3, int(f.wide/290)))
	}
	f.across = max(1, min(f.across, len(f.panels), int((f.wide+gap)/(150+gap))))
	each := math.Floor((f.wide - gap*float64(f.across-1)) / float64(f.across))
	var sketches []sketch
	for from := 0; from < len(f.panels); from += f.across {
		row := f.panels[from:min(from+f.across, len(f.panels))]
		head := 0.0
		for i, p := range row {
			p.plot.wide, p.plot.title = each, p.title
			if len(f.panels) > 1 {
				p.plot.title = strings.TrimSpace(letter(from+i) + "  " + p.title)
			}
			head = max(head, headOf(p.plot))
		}
		for _, p := range row {
			p.plot.head = head
			if sk, ok := sketched(p.plot); ok {
				sketches = append(sketches, sk)
				var one pen
				openSVG(&one, sk.wide, sk.tall, `width="100%"`, sk.title)
				one.b = append(one.b, sk.body...)
				one.raw("</svg>\n")
				f.svgs = append(f.svgs, one.b)
			} else {
				f.notes = append(f.notes, strings.TrimPrefix("Nothing to draw for "+strings.TrimSpace(p.plot.title)+".", " "))
			}
		}
	}
	if len(sketches) == 0 {
		return nil, false
	}
	var body pen
	top := 0.0
	for from := 0; from < len(sketches); from += f.across {
		row := sketches[from:min(from+f.across, len(sketches))]
		tall := 0.0
		for i, sk := range row {
			body.nums(`<g transform="translate(`, float64(i)*(each+gap), " ", top, `)">`)
			body.raw("<title>")
			body.text(sk.title)
			body.raw("</title>\n")
			body.b = append(body.b, sk.body...)
			body.raw("</g>\n")
			tall = max(tall, sk.tall)
		}
		top += tall
	}
	var p pen
	size := `width="` + shortest(f.Width) + `mm" height="` + strconv.FormatFloat(top/millimetre, 'f', 1, 64) + `mm"`
	openSVG(&p, f.wide, top, size, strings.TrimSuffix(f.Name+": "+f.Caption, ": "))
	p.b = append(p.b, body.b...)
	p.raw("</svg>\n")
	return p.b, true
}

// letter numbers panels: a, b, …
func letter(k int) string { return string(rune('a' + k%26)) }

// eachOf sorts rows by what they say of some fields, in the order of the values. Without fields all are one.
func (m *model) eachOf(stageName string, rows []entryRow, fields []string) (titles []string, groups map[string][]entryRow) {
	groups = map[string][]entryRow{}
	for _, x := range rows {
		var words []string
		for _, f := range fields {
			words = append(words, orWord(m.word(stageName, x, f), "no "+m.nameFor(stageName, f)))
		}
		t := strings.Join(words, ", ")
		if _, ok := groups[t]; !ok {
			titles = append(titles, t)
		}
		groups[t] = append(groups[t], x)
	}
	slices.SortFunc(titles, byNature)
	return titles, groups
}

// declaredPanels are panels of a figure that a kind declares: one for each item, or, with `each`, one for each value with its items in it.
func (w *writer) declaredPanels(r *reader, f *askedFigure, p pipeline.ShownPanel) (panels []askedPanel, err error) {
	s := w.byStage[p.Stage]
	if s == nil || s.Kind == nil {
		return nil, nil
	}
	k := slices.IndexFunc(s.Kind.Figures, func(d pipeline.Figure) bool { return d.Name == p.Figure })
	if k < 0 {
		return nil, nil
	}
	if !slices.Contains(f.stages, p.Stage) {
		f.stages = append(f.stages, p.Stage)
	}
	decl := &s.Kind.Figures[k]
	base := baseOutput(s.Kind, decl)
	var rows []entryRow
	var unjudged []string
	for i := range s.Items {
		it := &s.Items[i]
		if it.Output != base || !it.State.Good() {
			continue
		}
		switch holds, known := w.Holds(p.Where, *it); {
		case !known:
			unjudged = append(unjudged, plainItem(it))
		case holds:
			rows = append(rows, entryRow{it, nil, func(string) *pipeline.Value { return nil }})
		}
	}
	f.unjudged(p.Where, unjudged)
	title := orWord(decl.Title, decl.Name)
	one := func(x entryRow) (*plot, error) {
		return r.build(&figure{stage: s, decl: decl, base: x.it, title: title})
	}
	if len(p.Each) == 0 {
		for _, x := range rows[:min(len(rows), mostPanels+1)] {
			pl, err := one(x)
			if err != nil {
				return nil, err
			}
			panels = append(panels, askedPanel{pl, title + ", " + shortItem(x.it)})
		}
		return panels, nil
	}
	titles, groups := w.eachOf(p.Stage, rows, p.Each)
	for _, t := range titles {
		var whole *plot
		for i, x := range groups[t] {
			pl, err := one(x)
			if err != nil {
				return nil, err
			}
			w.overlay(pl, x, p, i, len(groups[t]))
			whole = joinedPlot(whole, pl)
		}
		panels = append(panels, askedPanel{whole, title + ", " + t})
	}
	return panels, nil
}

// overlay readies the plot of one of several items for a panel that they share: each item has a colour, its curves too. What only a
// plot of one item can say (residuals, spans) is left out or drawn as lines.
func (w *writer) overlay(pl *plot, x entryRow, p pipeline.ShownPanel, i, n int) {
	if n == 1 {
		return
	}
	own := plotSeries{colour: i, label: shortItem(x.it)}
	var words []string
	for _, part := range strings.Split(x.it.Name, ",") {
		field, value, ok := strings.Cut(part, "=")
		if ok && !slices.Contains(p.Each, field) {
			words = append(words, value)
		}
		if c, ok := w.style().Colours[value]; ok && own.tone == "" {
			own.tone = c
		}
		if mk, ok := w.style().Marks[value]; ok && own.mark == "" {
			own.mark = mk
		}
	}
	if len(words) > 0 {
		own.label = strings.Join(words, ", ")
	}
	pl.residual = nil
	for k := range pl.series {
		s := &pl.series[k]
		s.colour, s.tone, s.mark, s.label = own.colour, own.tone, own.mark, own.label
		if s.role == pipeline.Line {
			s.label = "" // it has the colour of its points
		}
	}
	var lines []plotMark
	for _, mk := range pl.marks {
		lines = append(lines, plotMark{at: mk.at, to: math.NaN(), tone: own.paint()})
		if !math.IsNaN(mk.to) {
			lines = append(lines, plotMark{at: mk.to, to: math.NaN(), tone: own.paint()})
		}
	}
	pl.marks = lines
}

// joinedPlot adds what is in one plot to another of the same kind.
func joinedPlot(whole, pl *plot) *plot {
	if whole == nil {
		return pl
	}
	whole.series = append(whole.series, pl.series...)
	whole.marks = append(whole.marks, pl.marks...)
	for _, note := range pl.notes {
		if !slices.Contains(whole.notes, note) {
			whole.notes = append(whole.notes, note)
		}
	}
	return whole
}

// shortItem is an item's name without the names of fields that hold words, its sample first: long, temperature 25 °C for
// chain=long,temperature=25.
func shortItem(it *pipeline.ItemOutcome) string {
	var words []string
	name := it.Name
	if it.Sample != "" {
		words = append(words, it.Sample)
		if name = rest(name, it.Sample); name == "" {
			return it.Sample
		}
	}
	for _, part := range strings.Split(name, ",") {
		if field, value, ok := strings.Cut(part, "="); ok {
			part = value
			if _, err := strconv.ParseFloat(value, 64); err == nil { // a bare number says too little
				if text := fieldOf(it, field); strings.HasPrefix(text, value) {
					value = text
				}
				part = field + " " + value
			}
		}
		words = append(words, part)
	}
	return strings.Join(words, ", ")
}

func (f *askedFigure) unjudged(where pipeline.Condition, names []string) {
	if len(names) > 0 {
		f.notes = append(f.notes, fmt.Sprintf("`where: %s` could not be judged, because a field is empty, for %s.", where.String(), someOf(names, mostNames)))
	}
}

// pointPanels are panels of numbers over each other.
func (w *writer) pointPanels(r *reader, f *askedFigure, p pipeline.ShownPanel, gaps *lacking) (panels []askedPanel, err error) {
	sel, err := w.selected(r, p.Stage, p.Output, p.Where)
	if err != nil {
		return nil, err
	}
	f.unjudged(p.Where, sel.unjudged)
	looks := w.looksOf(p, sel.all)
	titles, groups := w.eachOf(p.Stage, sel.rows, p.Each)
	ys := w.expanded(p.Stage, p.Output, sel.all, p.Y)
	for _, t := range titles {
		pl := &plot{x: plotAxis{label: w.nameFor(p.Stage, p.X), scale: pipeline.Linear}, y: plotAxis{scale: pipeline.Linear}}
		if p.Log {
			pl.y.scale = pipeline.Log
		}
		var names []string
		for _, y := range ys {
			names = append(names, w.nameFor(p.Stage, y))
		}
		pl.y.label = strings.Join(names, ", ")
		pts := points{w: w, p: p, pl: pl, looks: looks, gaps: gaps, severalY: len(ys) > 1}
		for k, y := range ys {
			pts.add(y, k, groups[t])
		}
		pts.finish()
		f.facts = append(f.facts, pts.facts(t)...)
		panels = append(panels, askedPanel{pl, t})
	}
	return panels, nil
}

// look is how a series is drawn.
type look struct {
	label      string
	order      int
	tone, mark string
	colour     int
}

// looksOf gives each combination of values of the series' fields its colour and mark: the same in all panels, whatever they leave out.
func (w *writer) looksOf(p pipeline.ShownPanel, rows []entryRow) map[string]look {
	looks := map[string]look{}
	var labels []string
	values := map[string][]string{}
	for _, x := range rows {
		words := make([]string, len(p.Series))
		for i, f := range p.Series {
			words[i] = w.word(p.Stage, x, f)
		}
		label := w.seriesLabel(p, x)
		if _, ok := values[label]; !ok {
			labels = append(labels, label)
		}
		values[label] = words
	}
	slices.SortFunc(labels, byNature)
	st, tones := w.style(), []string{}
	for i, label := range labels {
		l := look{label: label, order: i, colour: i}
		for _, v := range values[label] {
			if c, ok := st.Colours[v]; ok && l.tone == "" {
				l.tone = c
			}
			if mk, ok := st.Marks[v]; ok && l.mark == "" {
				l.mark = mk
			}
		}
		if l.tone != "" { // the same shape for the same colour: marks tell apart what shares it
			if !slices.Contains(tones, l.tone) {
				tones = append(tones, l.tone)
			}
			if l.mark == "filled" || l.mark == "open" {
				l.colour = slices.Index(tones, l.tone)
			}
		}
		looks[label] = l
	}
	return looks
}

func (w *writer) seriesLabel(p pipeline.ShownPanel, x entryRow) string {
	var words []string
	for _, f := range p.Series {
		words = append(words, orWord(w.word(p.Stage, x, f), "no "+w.nameFor(p.Stage, f)))
	}
	return strings.Join(words, ", ")
}

// points gathers the points of one panel.
type points struct {
	w        *writer
	p        pipeline.ShownPanel
	pl       *plot
	looks    map[string]look
	gaps     *lacking
	severalY bool
	hasX     bool
	hasY     bool
	arrows   int
	limitsX  int
	noU      int
	seen     []spoken
	unknown  []string
}

// spoken is a drawn point, for what is said in words.
type spoken struct {
	y    string
	v    *pipeline.Value
	x    *pipeline.Value
	name string
}

func (a *points) add(y string, k int, rows []entryRow) {
	w, p := a.w, a.p
	series := map[string]*plotSeries{}
	var order []look
	for _, x := range rows {
		at, v := w.entry(p.Stage, x, p.X), w.entry(p.Stage, x, y)
		name := shortItem(x.it)
		switch {
		case at == nil || at.Value == nil:
			a.gaps.add(w.why(x, p.X), name)
			continue
		case at.Bound == "lower" || at.Bound == "upper":
			a.gaps.add(w.nameFor(p.Stage, p.X)+" is a limit, which has no place on the axis", name)
			continue
		case v == nil || v.Value == nil && (v.Lo == nil || v.Hi == nil):
			a.gaps.add(w.why(x, y), name)
			continue
		}
		if !a.hasX {
			a.pl.x.unit, a.hasX = w.unit(at.Unit), true
		}
		if !a.hasY {
			a.pl.y.unit, a.hasY = w.unit(v.Unit), true
		}
		cx, errX := catalog.Convert(w.unit(at.Unit), a.pl.x.unit)
		cy, errY := catalog.Convert(w.unit(v.Unit), a.pl.y.unit)
		if errX != nil || errY != nil {
			a.gaps.add("its unit does not go with the axis", name)
			continue
		}
		l := a.looks[w.seriesLabel(p, x)]
		s := series[l.label]
		if s == nil {
			s = &plotSeries{role: pipeline.Points, label: l.label, tone: l.tone, mark: l.mark, colour: l.colour}
			if a.severalY {
				s.label = strings.TrimSuffix(w.nameFor(p.Stage, y)+", "+l.label, ", ")
				if s.colour = l.colour + k*max(1, len(a.looks)); l.tone != "" {
					s.colour = k // the shape tells columns apart where the study says what colours and fillings tell
				}
			}
			series[l.label] = s
			order = append(order, l)
		}
		u, ux := math.NaN(), math.NaN()
		if x := knownU(v); x > 0 {
			u = math.Abs(cy.Delta(x))
		}
		if x := knownU(at); x > 0 {
			ux = math.Abs(cx.Delta(x))
		}
		bound, lo, hi := measured, math.NaN(), math.NaN()
		middle := 0.0
		switch v.Bound {
		case "lower":
			bound = atLeast
			a.arrows++
		case "upper":
			bound = atMost
			a.arrows++
		case "interval":
			if v.Lo != nil && v.Hi != nil {
				lo, hi = cy.Float(*v.Lo), cy.Float(*v.Hi)
				middle = (lo + hi) / 2
			}
		}
		if v.Value != nil {
			middle = cy.Float(*v.Value)
		}
		noU := !v.Exact && math.IsNaN(u) && bound == measured && math.IsNaN(lo)
		if noU {
			a.noU++
		}
		for _, src := range v.Unknown {
			if !slices.Contains(a.unknown, src) {
				a.unknown = append(a.unknown, src)
			}
		}
		s.x, s.y, s.u, s.ux = append(s.x, cx.Float(*at.Value)), append(s.y, middle), append(s.u, u), append(s.ux, ux)
		s.lo, s.hi, s.bound, s.noU = append(s.lo, lo), append(s.hi, hi), append(s.bound, bound), append(s.noU, noU)
		a.seen = append(a.seen, spoken{y, v, at, l.label})
	}
	slices.SortFunc(order, func(a, b look) int { return a.order - b.order })
	for _, l := range order {
		a.pl.series = append(a.pl.series, *series[l.label])
	}
}

// finish sees to what all series of the panel share.
func (a *points) finish() {
	hollow := false
	for i := range a.pl.series {
		s := &a.pl.series[i]
		_, open := s.marker()
		hollow = hollow || open
		if !slices.ContainsFunc(s.ux, func(x float64) bool { return x > 0 }) {
			s.ux = nil
		}
	}
	if hollow { // open marks mean something else here
		for i := range a.pl.series {
			a.pl.series[i].noU = nil
		}
		if a.noU > 0 {
			a.pl.notes = append(a.pl.notes, fmt.Sprintf("u of %s unknown.", counted(a.noU, "point")))
		}
	}
	if a.arrows > 0 {
		a.pl.notes = append(a.pl.notes, "Arrows: the value lies beyond.")
	}
	if len(a.unknown) > 0 {
		slices.SortFunc(a.unknown, byNature)
		a.pl.notes = append(a.pl.notes, "Bars lack what is not known of u: "+lowered(partsOf(a.unknown))+".")
	}
}

// facts says in words how many points there are and from where to where they run.
func (a *points) facts(panel string) (list []string) {
	var ys []string
	for _, s := range a.seen {
		if !slices.Contains(ys, s.y) {
			ys = append(ys, s.y)
		}
	}
	for _, y := range ys {
		var low, high *spoken
		n, limits := 0, 0
		for i := range a.seen {
			s := &a.seen[i]
			if s.y != y {
				continue
			}
			n++
			if s.v.Bound != "" || s.v.Value == nil {
				limits++
				continue
			}
			if low == nil || *s.v.Value < *low.v.Value {
				low = s
			}
			if high == nil || *s.v.Value > *high.v.Value {
				high = s
			}
		}
		name := a.w.nameFor(a.p.Stage, y)
		if panel != "" {
			name += " (" + panel + ")"
		}
		text := name + ": " + counted(n, "point")
		if limits > 0 {
			text += fmt.Sprintf(", %d of them limits or intervals", limits)
		}
		if low != nil && low != high {
			text += "; lowest " + a.said(low) + ", highest " + a.said(high)
		}
		list = append(list, text+".")
	}
	return list
}

func (a *points) said(s *spoken) string {
	text := a.w.plainValue(s.v) + " at " + a.w.nameFor(a.p.Stage, a.p.X) + " " + a.w.plainValue(s.x)
	if s.name != "" {
		text += " (" + s.name + ")"
	}
	return text
}

// plainValue writes a value as text: value(u) unit, a limit or an interval.
func (m *model) plainValue(v *pipeline.Value) string {
	unit := m.unit(v.Unit)
	number := func(x *float64, u float64) string {
		if x == nil {
			return "?"
		}
		return catalog.Format(*x, u, unit)
	}
	switch {
	case v.Bound == "lower":
		return "> " + number(v.Value, knownU(v))
	case v.Bound == "upper":
		return "< " + number(v.Value, knownU(v))
	case v.Bound == "interval":
		if v.Lo == nil || v.Hi == nil {
			return number(v.Lo, math.NaN()) + " to " + number(v.Hi, math.NaN())
		}
		return catalog.Format(*v.Lo, 0, catalog.Unit{}) + " to " + catalog.Format(*v.Hi, 0, unit)
	case v.Value == nil:
		return v.Text
	}
	return number(v.Value, knownU(v))
}
