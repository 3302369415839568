package report

import (
	"math"
	"slices"
	"strings"

	"fascicle/pipeline"
)

// Measures of a drawing, in its own units: about a pixel on a phone.
const (
	drawWidth  = 360.0
	edge       = 10.0
	titleSize  = 13.0
	textSize   = 11.0
	noteSize   = 10.0
	fewPoints  = 600 // more are thinned
	pointStrip = 150
)

// panel is a pair of axes on the drawing.
type panel struct {
	left, right, top, bottom float64
	x, y                     span
	xs, ys                   pipeline.Scale
}

func (p panel) px(sx float64) float64 { return p.left + (sx-p.x.lo)/(p.x.hi-p.x.lo)*(p.right-p.left) }
func (p panel) py(sy float64) float64 {
	return p.bottom - (sy-p.y.lo)/(p.y.hi-p.y.lo)*(p.bottom-p.top)
}

// drawn makes the SVG of a plot: text as text, one path for all marks of a series, no script, no style sheet. False: nothing in
// it could be drawn.
func drawn(pl *plot) ([]byte, bool) {
	sk, ok := sketched(pl)
	if !ok {
		return nil, false
	}
	var p pen
	p.b = make([]byte, 0, len(sk.body)+1<<10)
	openSVG(&p, sk.wide, sk.tall, `width="100%"`, sk.title)
	p.b = append(p.b, sk.body...)
	p.raw("</svg>\n")
	return p.b, true
}

// openSVG begins a drawing: its size in its own units, its size in the page, and what it shows.
func openSVG(p *pen, wide, tall float64, size, title string) {
	p.nums(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 `, wide, ` `, tall,
		`" `+size+` role="img" font-family="Helvetica Neue,Helvetica,Arial,Liberation Sans,sans-serif" font-size="11" fill="`+ink+`">`)
	p.raw(`<title>`)
	p.text(title)
	p.raw("</title>\n", `<rect width="100%" height="100%" fill="#fff"/>`, "\n")
}

// sketch is a plot as markup, without the element around it.
type sketch struct {
	body       []byte
	title      string
	wide, tall float64
}

// headOf is how much of a drawing's height title, about and legend take.
func headOf(pl *plot) float64 {
	w := pl.width()
	return 16*float64(len(wrapped(pl.title, titleSize*1.06, w-2*edge, 2))) + 14*float64(len(wrapped(pl.about, textSize, w-2*edge, 2))) + 16*float64(len(legendRows(legend(pl), w)))
}

// sketched draws a plot. False: nothing in it could be drawn.
func sketched(pl *plot) (sketch, bool) {
	var left tally
	drawWidth := pl.width()
	all := make([]placed, len(pl.series))
	for i := range pl.series {
		all[i] = place(&pl.series[i], pl.x.scale, pl.y.scale, &left)
	}
	x, y := ranges(all, pl.marks, pl.x.scale, pl.y.scale)
	if x.empty() || y.empty() {
		return sketch{}, false
	}
	main := panel{xs: pl.x.scale, ys: pl.y.scale, x: x.padded(pl.x.scale, 0.04), y: y.padded(pl.y.scale, airFor(pl))}
	if y.lo == 0 && pl.y.scale == pipeline.Linear {
		main.y.lo = 0
	}
	var below *placed
	low := panel{xs: pl.x.scale, ys: pipeline.Linear, x: main.x}
	if pl.residual != nil {
		var dropped tally // the same points as above, or fewer
		r := place(pl.residual, pl.x.scale, pipeline.Linear, &dropped)
		most := 0.0
		for i, v := range r.sy {
			if !math.IsNaN(v) && r.sx[i] >= main.x.lo && r.sx[i] <= main.x.hi {
				most = max(most, math.Abs(v))
			}
		}
		if len(r.sy) > 0 {
			most = min(max(most, 1)*1.1, math.MaxFloat64/4)
			low.y, below = span{-most, most}, &r
		}
	}

	// Heights are known only when all texts are broken into lines.
	yTicks, yPower := ticks(main.y, pl.y.scale, 5)
	xTicks, xPower := ticks(main.x, pl.x.scale, 5)
	var lowTicks []tick
	if below != nil {
		lowTicks, _ = ticks(low.y, pipeline.Linear, 3)
	}
	title := wrapped(pl.title, titleSize*1.06, drawWidth-2*edge, 2)
	about := wrapped(pl.about, textSize, drawWidth-2*edge, 2)
	entries := legend(pl)
	rows := legendRows(entries, drawWidth)
	main.left = edge + 16 + widest(yTicks, lowTicks) + 7
	main.right = drawWidth - edge - 4
	low.left, low.right = main.left, main.right
	xLines := wrapped(pl.x.caption(xPower), textSize+0.5, main.right-main.left, 2)
	at := edge + 2
	main.top = at + max(pl.head, 16*float64(len(title))+14*float64(len(about))+16*float64(len(rows))) + 8
	main.bottom = main.top + 205
	last := main
	if below != nil {
		main.bottom = main.top + 180
		low.top, low.bottom = main.bottom+14, main.bottom+14+62
		last = low
	}

	var p pen
	p.b = make([]byte, 0, 8<<10)
	body := &pen{b: make([]byte, 0, 8<<10)}
	marks := placeMarks(main, pl.marks)
	drawMarks(body, main, last.bottom, marks)
	drawGrid(body, main, yTicks)
	if below != nil {
		drawGrid(body, low, lowTicks)
	}
	for i := range all {
		drawSeries(body, main, all[i], &left)
	}
	if below != nil {
		var none tally
		body.nums(`<path d="M`, low.left, ` `, low.py(0), `H`, low.right, `" stroke="`+pale+`" stroke-width=".8"/>`)
		drawSeries(body, low, *below, &none)
	}
	labelMarks(body, main, marks)
	drawFrame(body, main, xTicks, yTicks, below == nil)
	sideways(body, pl.y.caption(yPower), main)
	if below != nil {
		drawFrame(body, low, xTicks, lowTicks, true)
		sideways(body, below.label, low)
	}
	foot := last.bottom + 18
	for _, line := range xLines {
		foot += 14
		body.nums(`<text x="`, (main.left+main.right)/2, `" y="`, foot, `" text-anchor="middle" font-size="11.5">`)
		body.text(line)
		body.raw(`</text>`)
	}
	notes := append(left.notes(pl.x.scale, pl.y.scale), pl.notes...)
	foot += 4
	for _, line := range wrapped(strings.Join(notes, " "), noteSize, drawWidth-2*edge, 8) {
		foot += 13
		body.nums(`<text x="`, edge, `" y="`, foot, `" font-size="10" fill="`+pale+`">`)
		body.text(line)
		body.raw(`</text>`)
	}

	for _, line := range title {
		at += 16
		p.nums(`<text x="`, edge, `" y="`, at-5, `" font-size="13" font-weight="600">`)
		p.text(line)
		p.raw(`</text>`)
	}
	for _, line := range about {
		at += 14
		p.nums(`<text x="`, edge, `" y="`, at-5, `" fill="`+pale+`">`)
		p.text(line)
		p.raw(`</text>`)
	}
	for _, row := range rows {
		at += 16
		drawLegend(&p, row, at-5)
	}
	p.raw("\n")
	p.b = append(p.b, body.b...)
	return sketch{p.b, strings.TrimSuffix(strings.TrimPrefix(pl.title+", "+pl.about, ", "), ", "), drawWidth, math.Ceil(foot + edge)}, true
}

// airFor is the room above and below the points, as a fraction of what they span: arrows of limits need more.
func airFor(pl *plot) float64 {
	for _, s := range pl.series {
		if slices.ContainsFunc(s.bound, func(b uint8) bool { return b != measured }) {
			return 0.11
		}
	}
	return 0.06
}

func widest(lists ...[]tick) float64 {
	w := 0.0
	for _, list := range lists {
		for _, t := range list {
			w = max(w, width(t.label, textSize))
		}
	}
	return w
}

// drawGrid draws pale lines at the labelled ticks of y.
func drawGrid(p *pen, a panel, y []tick) {
	p.raw(`<path stroke="` + gridTone + `" stroke-width=".8" d="`)
	for _, t := range y {
		if t.label != "" {
			p.nums("M", a.left, " ", a.py(t.at), "H", a.right)
		}
	}
	p.raw("\"/>\n")
}

// drawFrame draws the two axes with ticks and labels; x labels only on the lowest panel.
func drawFrame(p *pen, a panel, x, y []tick, labels bool) {
	p.nums(`<path fill="none" stroke="`+ink+`" stroke-width=".9" d="M`, a.left, " ", a.top, "V", a.bottom, "H", a.right)
	for _, t := range y {
		long := 4.0
		if t.label == "" {
			long = 2.2
		}
		p.nums("M", a.left, " ", a.py(t.at), "h", -long)
	}
	for _, t := range x {
		long := 4.0
		if t.label == "" {
			long = 2.2
		}
		p.nums("M", a.px(t.at), " ", a.bottom, "v", long)
	}
	p.raw("\"/>\n", `<g text-anchor="end">`)
	free := math.Inf(1) // labels of a short axis may come too close
	for _, t := range y {
		at := a.py(t.at)
		if t.label == "" || at > free-11 {
			continue
		}
		free = at
		p.nums(`<text x="`, a.left-6, `" y="`, at+4, `">`)
		p.text(t.label)
		p.raw(`</text>`)
	}
	p.raw("</g>\n")
	if !labels {
		return
	}
	p.raw(`<g text-anchor="middle">`)
	free = math.Inf(-1)
	for _, t := range x {
		if t.label == "" {
			continue
		}
		at, w := a.px(t.at), width(t.label, textSize)
		if at-w/2 < free+3 {
			continue
		}
		free = at + w/2
		p.nums(`<text x="`, at, `" y="`, a.bottom+16, `">`)
		p.text(t.label)
		p.raw(`</text>`)
	}
	p.raw("</g>\n")
}

// sideways writes the label of a y axis.
func sideways(p *pen, s string, a panel) {
	size, mid := 11.5, (a.top+a.bottom)/2
	most := a.bottom - a.top + 16
	for size > 9 && width(s, size) > most {
		size -= 0.5
	}
	for _, line := range wrapped(s, size, most, 1) {
		p.nums(`<text transform="translate(`, edge+7, " ", mid, `) rotate(-90)" text-anchor="middle" font-size="`, size, `">`)
		p.text(line)
		p.raw("</text>\n")
	}
}

// placedMark is a mark on the drawing.
type placedMark struct {
	left, right float64
	span        bool
	label, tone string
}

// placeMarks finds the marks that lie on the axes.
func placeMarks(a panel, marks []plotMark) (list []placedMark) {
	for _, m := range marks {
		from, ok := scaled(a.xs, m.at)
		if !ok {
			continue
		}
		to, isSpan := scaled(a.xs, m.to)
		if !isSpan {
			to = from
		}
		if to < from {
			from, to = to, from
		}
		if to >= a.x.lo && from <= a.x.hi {
			list = append(list, placedMark{a.px(max(from, a.x.lo)), a.px(min(to, a.x.hi)), isSpan, m.label, orWord(m.tone, markTone)})
		}
	}
	return list
}

// drawMarks draws spans and lines across all panels.
func drawMarks(p *pen, a panel, bottom float64, marks []placedMark) {
	for _, m := range marks {
		if m.span {
			p.nums(`<rect x="`, m.left, `" y="`, a.top, `" width="`, max(m.right-m.left, 0.8), `" height="`, bottom-a.top, `" fill="`+spanTone+`"/>`)
		}
	}
	for _, m := range marks {
		if !m.span {
			p.nums(`<path d="M`, m.left, " ", a.top, "V", bottom, `" stroke="`+m.tone+`" stroke-width="1.1" stroke-dasharray="4 3"/>`)
		}
	}
}

// labelMarks writes the labels of marks over everything else, in as many rows as keep them apart.
func labelMarks(p *pen, a panel, marks []placedMark) {
	var rows []float64 // right end of the last label in each row
	for _, m := range marks {
		if m.label == "" {
			continue
		}
		label := wrapped(m.label, textSize, (a.right-a.left)*0.8, 1)[0]
		w := width(label, textSize)
		x := m.left + 4
		if m.span {
			x = (m.left+m.right)/2 - w/2
		} else if x+w > a.right {
			x = m.left - 4 - w
		}
		x = max(a.left+3, min(x, a.right-w))
		row := 0
		for row < len(rows) && rows[row] > x-5 {
			row++
		}
		if row == len(rows) {
			rows = append(rows, 0)
		}
		if row > 6 {
			continue // as many as have room
		}
		rows[row] = x + w
		p.nums(`<text x="`, x, `" y="`, a.top+12+13*float64(row), `" fill="`+markTone+`" stroke="#fff" stroke-width="3" stroke-opacity=".8" paint-order="stroke">`)
		p.text(label)
		p.raw("</text>\n")
	}
}
