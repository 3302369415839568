package report

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

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
