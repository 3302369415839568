package report

import (
	"math"

	"fascicle/pipeline"
)

// drawSeries draws one series into a panel.
func drawSeries(p *pen, a panel, s placed, left *tally) {
	if s.role == pipeline.Line {
		drawLine(p, a, s, left)
		return
	}
	var full, faint, open []spot
	var arrows pen
	for i, sx := range s.sx {
		if math.IsNaN(sx) {
			continue
		}
		sy := s.sy[i]
		if sx < a.x.lo || sx > a.x.hi || sy < a.y.lo || sy > a.y.hi {
			left.beyond++
			continue
		}
		q := spot{x: a.px(sx), y: a.py(sy), i: i}
		q.top, q.end = q.y, q.y
		switch {
		case !s.isUsed(i):
			faint = append(faint, q)
		case s.noU != nil && s.noU[i]:
			open = append(open, q)
		default:
			full = append(full, q)
		}
		if s.bound != nil && s.bound[i] != measured {
			up := -1.0
			if s.bound[i] == atMost {
				up = 1
			}
			arrows.nums("M", q.x, " ", q.y, "v", 17*up, "m-3 ", -4.5*up, "l3 ", 4.5*up, "l3 ", -4.5*up)
		}
	}
	tone, all := s.paint(), len(full)+len(faint)
	kind, hollow := s.marker()
	drawBarsAlong(p, a, s, tone)
	if hollow {
		drawBars(p, a, s, full, tone, barStyle)
		open, full = append(open, full...), nil
	}
	drawSpots(p, a, s, full, all, tone, "1", left)
	drawSpots(p, a, s, faint, all, tone, ".32", left)
	if len(open) > 0 {
		p.raw(`<path fill="#fff" stroke="`, tone, `" stroke-width="1.2" d="`)
		for _, q := range open {
			shape(p, kind, q.x, q.y, 3)
		}
		p.raw("\"/>\n")
	}
	if len(arrows.b) > 0 {
		p.raw(`<path fill="none" stroke="`, tone, `" stroke-width="1.2" d="`)
		p.b = append(p.b, arrows.b...)
		p.raw("\"/>\n")
	}
}

// drawSpots draws filled marks with their bars: two paths, however many there are. all is the number of marks in the series, which
// decides on their size.
func drawSpots(p *pen, a panel, s placed, spots []spot, all int, tone, strength string, left *tally) {
	if len(spots) == 0 {
		return
	}
	kept := thinPoints(spots, a.left, a.right, pointStrip, fewPoints)
	left.thinned = left.thinned || len(kept) < len(spots)
	radius, bar := 2.7, barStyle
	switch {
	case all > 250:
		radius, bar = 1.3, `opacity=".35" stroke-width=".6"`
	case all > 60:
		radius, bar = 1.9, `opacity=".6" stroke-width=".8"`
	}
	p.raw(`<g stroke="`, tone, `" fill="`, tone, `" opacity="`, strength, `">`)
	drawBars(p, a, s, kept, "", bar)
	// A line of no length with round ends is a disc, and the shortest way to write one.
	kind, _ := s.marker()
	if kind == 0 {
		p.nums(`<path stroke-linecap="round" stroke-width="`, 2*radius, `" d="`)
		for _, q := range kept {
			p.nums("M", q.x, " ", q.y, "h0")
		}
	} else {
		p.raw(`<path stroke="none" d="`)
		for _, q := range kept {
			shape(p, kind, q.x, q.y, radius*1.12)
		}
	}
	p.raw("\"/></g>\n")
}

// barOf is the bar of a point, cut at the frame.
func barOf(a panel, s placed, q spot) (top, end float64) {
	from, to, ok := s.bar(q.i)
	if !ok {
		return q.y, q.y
	}
	top, end = a.top, a.bottom
	if v, ok := scaled(a.ys, to); ok {
		top = max(a.top, a.py(v))
	}
	if v, ok := scaled(a.ys, from); ok {
		end = min(a.bottom, a.py(v))
	}
	return top, end
}

const barStyle = `opacity=".75" stroke-width="1"`

// drawBars draws the bars of spots as one path. tone: "" when an element around it says the colour.
func drawBars(p *pen, a panel, s placed, spots []spot, tone, style string) {
	if s.u == nil && s.lo == nil || len(spots) == 0 {
		return
	}
	p.raw(`<path fill="none" `, style)
	if tone != "" {
		p.raw(` stroke="`, tone, `"`)
	}
	p.raw(` d="`)
	for _, q := range spots {
		if top, end := barOf(a, s, q); end-top > 0.3 {
			p.nums("M", q.x, " ", top, "V", end)
		}
	}
	p.raw(`"/>`)
}

// drawBarsAlong draws the bars along x of a series that has such.
func drawBarsAlong(p *pen, a panel, s placed, tone string) {
	if s.ux == nil {
		return
	}
	p.raw(`<path fill="none" `, barStyle, ` stroke="`, tone, `" d="`)
	for i, sx := range s.sx {
		if math.IsNaN(sx) || !(s.ux[i] > 0) {
			continue
		}
		if q := (spot{x: a.px(sx), y: a.py(s.sy[i])}); a.holds(q) {
			from, to := a.left, a.right
			if v, ok := scaled(a.xs, s.x[i]-s.ux[i]); ok {
				from = max(from, a.px(v))
			}
			if v, ok := scaled(a.xs, s.x[i]+s.ux[i]); ok {
				to = min(to, a.px(v))
			}
			p.nums("M", from, " ", q.y, "H", to)
		}
	}
	p.raw("\"/>\n")
}

// shape draws the outline of the mark of the k-th series.
func shape(p *pen, k int, x, y, r float64) {
	switch k % len(palette) {
	case 0: // disc
		p.nums("M", x-r, " ", y, "a", r, " ", r, " 0 1 0 ", 2*r, " 0a", r, " ", r, " 0 1 0 ", -2*r, " 0z")
	case 1: // square
		r *= 0.9
		p.nums("M", x-r, " ", y-r, "h", 2*r, "v", 2*r, "h", -2*r, "z")
	case 2: // triangle
		r *= 1.15
		p.nums("M", x, " ", y-r, "l", r, " ", 1.8*r, "h", -2*r, "z")
	case 3: // diamond
		r *= 1.25
		p.nums("M", x, " ", y-r, "l", r, " ", r, "l", -r, " ", r, "l", -r, " ", -r, "z")
	case 4: // triangle, point down
		r *= 1.15
		p.nums("M", x, " ", y+r, "l", r, " ", -1.8*r, "h", -2*r, "z")
	default: // cross
		w := r * 0.35
		r *= 1.2
		p.nums("M", x-w, " ", y-r, "h", 2*w, "v", r-w, "h", r-w, "v", 2*w, "h", w-r, "v", r-w, "h", -2*w, "v", w-r, "h", w-r, "v", -2*w, "h", r-w, "z")
	}
}

// drawLine draws a curve, broken where numbers are missing and cut at the frame.
func drawLine(p *pen, a panel, s placed, left *tally) {
	p.raw(`<path fill="none" stroke="`, s.paint(), `" stroke-width="1.6" stroke-linejoin="round"`)
	if d := dash(s.colour); d != "" {
		p.raw(` stroke-dasharray="`, d, `"`)
	}
	p.raw(` d="`)
	run, short := make([]spot, 0, len(s.sx)), make([]spot, 0, 512)
	flush := func() {
		switch {
		case len(run) == 1:
			p.nums("M", run[0].x, " ", run[0].y, "h.1")
		case len(run) > 1:
			short = thinLine(run, short, 0.08)
			p.nums("M", short[0].x, " ", short[0].y, "L")
			for i, q := range short[1:] {
				if i > 0 {
					p.raw(" ")
				}
				p.nums(q.x, " ", q.y)
			}
		}
		run = run[:0]
	}
	var prev spot
	was := false // the spot before was on the axes' scales
	for i, sx := range s.sx {
		if math.IsNaN(sx) {
			flush()
			was = false
			continue
		}
		q := spot{x: near(a.px(sx)), y: near(a.py(s.sy[i]))}
		if was {
			from, to, in := clipped(a, prev, q)
			switch {
			case !in:
				flush()
			default:
				if len(run) == 0 {
					run = append(run, from)
				}
				run = append(run, to)
				if to != q {
					flush()
				}
			}
		} else if a.holds(q) {
			run = append(run, q)
		}
		prev, was = q, true
	}
	flush()
	p.raw("\"/>\n")
}

// near keeps a place that lies very far out where floats are still fine; the direction to it changes by less than a hair's breadth.
func near(x float64) float64 { return max(-1e7, min(1e7, x)) }

func (a panel) holds(q spot) bool {
	return q.x >= a.left && q.x <= a.right && q.y >= a.top && q.y <= a.bottom
}

// clipped cuts the line from p to q at the panel's frame. The parts of it that lie inside are those between two fractions of its length
// (Liang and Barsky, A new concept and method for line clipping, ACM Trans. Graph. 3, 1, 1984; from memory).
func clipped(a panel, p, q spot) (from, to spot, in bool) {
	t0, t1 := 0.0, 1.0
	dx, dy := q.x-p.x, q.y-p.y
	cut := func(d, room float64) bool { // d: pace towards the edge; room: way to it from p
		switch {
		case d == 0:
			return room >= 0
		case d > 0:
			t1 = min(t1, room/d)
		default:
			t0 = max(t0, room/d)
		}
		return t0 <= t1
	}
	if !cut(-dx, p.x-a.left) || !cut(dx, a.right-p.x) || !cut(-dy, p.y-a.top) || !cut(dy, a.bottom-p.y) {
		return p, q, false
	}
	at := func(t float64) spot { // rounding must not carry it over the frame
		return spot{x: max(a.left, min(a.right, p.x+t*dx)), y: max(a.top, min(a.bottom, p.y+t*dy))}
	}
	from, to = p, q
	if t0 > 0 {
		from = at(t0)
	}
	if t1 < 1 {
		to = at(t1)
	}
	return from, to, true
}
