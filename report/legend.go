package report

import "fascicle/pipeline"

// A legendEntry is a mark with its words.
type legendEntry struct {
	s     *plotSeries
	label string
	faint bool
	open  bool
}

// legend lists series that need words: none for a single unmarked series.
func legend(pl *plot) (list []legendEntry) {
	labels, faint, open := 0, false, false
	for i := range pl.series {
		s := &pl.series[i]
		if s.label != "" {
			labels++
		}
		for _, v := range s.used {
			faint = faint || v != 1
		}
		for _, v := range s.noU {
			open = open || v
		}
	}
	if labels > 1 || (labels == 1 && (faint || len(pl.series) > 1)) {
		for i := range pl.series {
			if s := &pl.series[i]; s.label != "" {
				list = append(list, legendEntry{s: s, label: s.label})
			}
		}
	}
	if faint {
		list = append(list, legendEntry{s: firstPoints(pl), label: "not used in the fit", faint: true})
	}
	if open {
		list = append(list, legendEntry{s: firstPoints(pl), label: "open: u unknown", open: true})
	}
	return list
}

func firstPoints(pl *plot) *plotSeries {
	for i := range pl.series {
		if pl.series[i].role != pipeline.Line {
			return &pl.series[i]
		}
	}
	return &pl.series[0]
}

const legendMark = 18.0

// legendRows breaks the legend into rows that fit the drawing.
func legendRows(list []legendEntry, drawWidth float64) (rows [][]legendEntry) {
	room := 0.0
	for _, e := range list {
		e.label = wrapped(e.label+" ", textSize, drawWidth-2*edge-legendMark-4, 1)[0]
		need := legendMark + width(e.label, textSize) + 12
		if len(rows) == 0 || need > room {
			rows = append(rows, nil)
			room = drawWidth - 2*edge + 12
		}
		rows[len(rows)-1] = append(rows[len(rows)-1], e)
		room -= need
	}
	return rows
}

func drawLegend(p *pen, row []legendEntry, y float64) {
	x := edge
	for _, e := range row {
		tone := e.s.paint()
		kind, hollow := e.s.marker()
		switch {
		case e.s.role == pipeline.Line:
			p.nums(`<path d="M`, x, " ", y-4, `h13" stroke="`+tone+`" stroke-width="1.8"`)
			if d := dash(e.s.colour); d != "" {
				p.raw(` stroke-dasharray="`, d, `"`)
			}
			p.raw(`/>`)
		case e.open || hollow && !e.faint:
			p.raw(`<path fill="#fff" stroke="`, tone, `" stroke-width="1.2" d="`)
			shape(p, kind, x+7, y-4, 3)
			p.raw(`"/>`)
		default:
			strength := "1"
			if e.faint {
				strength = ".32"
			}
			p.raw(`<path fill="`, tone, `" opacity="`, strength, `" d="`)
			shape(p, kind, x+7, y-4, 3)
			p.raw(`"/>`)
		}
		p.nums(`<text x="`, x+legendMark, `" y="`, y, `">`)
		p.text(e.label)
		p.raw(`</text>`)
		x += legendMark + width(e.label, textSize) + 12
	}
}
