package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"fascicle/catalog"
	"fascicle/pipeline"
)

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
