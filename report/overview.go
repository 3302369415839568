package report

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"fascicle/catalog"
	"fascicle/pipeline"
)

const (
	mostOverviews = 24 // figures of a column over the samples
	fewestSamples = 4  // that have both numbers
)

// sheetField is a field of the samples: a column of the sheet or a derived one.
type sheetField struct {
	name    string
	unit    catalog.Unit
	numeric bool
	date    bool
	number  map[string]float64
	text    map[string]string
}

// sheetFields lists the fields of the samples in order. Empty cells are in neither map.
func (m *model) sheetFields() (list []sheetField) {
	if m.Sheet != nil {
		for k := 1; k < len(m.Sheet.Columns); k++ {
			c := m.Sheet.Columns[k]
			f := sheetField{name: c.Name, unit: c.Unit, numeric: c.Type == catalog.Numeric, date: c.Type == catalog.Date, number: map[string]float64{}, text: map[string]string{}}
			for _, r := range m.Sheet.Rows {
				if k < len(r.Cells) && !r.Cells[k].Null {
					f.text[r.Sample] = r.Cells[k].Text
					if f.numeric {
						f.number[r.Sample] = r.Cells[k].Value
					}
				}
			}
			list = append(list, f)
		}
	}
	for _, d := range m.Derived {
		f := sheetField{name: d.Name, unit: d.Unit, numeric: len(d.Values) > 0, number: map[string]float64{}, text: map[string]string{}}
		for s, v := range d.Values {
			if v.Null {
				continue
			}
			f.text[s] = v.Text
			if x, err := strconv.ParseFloat(v.Text, 64); err == nil && x == v.Number {
				f.number[s] = v.Number
			} else {
				f.numeric = false
			}
		}
		list = append(list, f)
	}
	return list
}

// planOverviews makes a plot of each column over the leading numeric field of the samples, where enough samples have both. Where a
// stage knows the uncertainty of some of its numbers, only those are drawn. Each stage gets its turn until there are as many
// plots as a reader looks at; more counts those left out.
func (m *model) planOverviews(columns []joined, names *fileNames) (figures []*figure, more int) {
	fields := m.sheetFields()
	type candidate struct {
		j    joined
		turn int
		fig  *figure
	}
	var list []candidate
	turns, sure := map[*stage]int{}, map[*stage]bool{}
	for _, j := range columns {
		c := j.s.columns[j.k]
		sure[j.s] = sure[j.s] || c.noise
	}
	for _, j := range columns {
		c := j.s.columns[j.k]
		switch {
		case !c.number || !c.anyValue:
			continue
		case strings.Contains(c.name, "."): // a join repeats what is drawn already
			continue
		case sure[j.s] && !c.noise: // counts, limits and figures of merit beside results
			continue
		}
		pl := m.overview(j, fields)
		if pl == nil {
			continue
		}
		turn := turns[j.s]
		turns[j.s]++
		list = append(list, candidate{j, turn, &figure{stage: j.s, plot: pl, title: pl.title, about: pl.about}})
	}
	chosen := make([]int, len(list))
	for i := range chosen {
		chosen[i] = i
	}
	slices.SortStableFunc(chosen, func(a, b int) int { return list[a].turn - list[b].turn })
	if len(chosen) > mostOverviews {
		more = len(chosen) - mostOverviews
		chosen = chosen[:mostOverviews]
	}
	slices.Sort(chosen)
	for _, i := range chosen {
		f := list[i].fig
		f.file = names.give("figures/", "samples."+list[i].j.s.Name, list[i].j.s.columns[list[i].j.k].name+suffix(list[i].j.label), ".svg")
		figures = append(figures, f)
	}
	return figures, more
}

func suffix(label string) string {
	if label == "" {
		return ""
	}
	return "," + label
}

// overview is the plot of one column, nil if there is too little to see.
func (m *model) overview(j joined, fields []sheetField) *plot {
	type point struct {
		sample string
		v      *pipeline.Value
	}
	var points []point
	for _, sm := range m.samples {
		if r := j.at(sm); r != nil && r.values[j.k] != nil && r.values[j.k].Value != nil {
			points = append(points, point{sm.name, r.values[j.k]})
		}
	}
	if len(points) < fewestSamples || !slices.ContainsFunc(points, func(p point) bool { return *p.v.Value != *points[0].v.Value }) {
		return nil // too few, or all the same
	}
	distinct := func(f sheetField) (have, different int) {
		seen := map[float64]bool{}
		for _, p := range points {
			if x, ok := f.number[p.sample]; ok {
				have++
				seen[x] = true
			}
		}
		return have, len(seen)
	}
	// The leading field is the first that really varies: a plan's main axis has more steps than a few levels of salt.
	lead := -1
	need := max(3, int(math.Ceil(math.Sqrt(float64(len(points))))))
	for pass := 0; pass < 2 && lead < 0; pass++ {
		for k, f := range fields {
			if have, different := distinct(f); f.numeric && have >= fewestSamples && different >= need {
				lead = k
				break
			}
		}
		need = 3
	}
	if lead < 0 {
		return nil
	}
	x := fields[lead]
	c := j.s.columns[j.k]
	pl := &plot{
		title: c.name + " over " + x.name, about: j.s.Name,
		x: plotAxis{label: x.name, unit: x.unit, scale: pipeline.Linear},
		y: plotAxis{label: c.name, unit: m.unit(c.unit), scale: pipeline.Linear},
	}
	if j.label != "" {
		pl.about += " · " + j.label
	}
	kept := points[:0]
	for _, p := range points {
		if _, ok := x.number[p.sample]; ok && p.v.Unit == c.unit {
			kept = append(kept, p)
		}
	}
	if len(kept) < fewestSamples {
		return nil
	}
	group := groupField(fields, len(kept), func(f sheetField) (words []string) {
		for _, p := range kept {
			words = append(words, f.text[p.sample])
		}
		return words
	})
	order := []string{}
	series := map[string]*plotSeries{}
	for _, p := range kept {
		word := ""
		if group >= 0 {
			word = fields[group].text[p.sample]
		}
		s := series[word]
		if s == nil {
			s = &plotSeries{role: pipeline.Points, label: word}
			if word == "" && group >= 0 {
				s.label = "no " + fields[group].name
			}
			series[word] = s
			order = append(order, word)
		}
		u := knownU(p.v)
		bound, lo, hi := measured, math.NaN(), math.NaN()
		switch p.v.Bound {
		case "lower":
			bound = atLeast
		case "upper":
			bound = atMost
		case "interval":
			if p.v.Lo != nil && p.v.Hi != nil {
				lo, hi = *p.v.Lo, *p.v.Hi
			}
		}
		s.lo, s.hi = append(s.lo, lo), append(s.hi, hi)
		s.x, s.y, s.u = append(s.x, x.number[p.sample]), append(s.y, *p.v.Value), append(s.u, u)
		s.bound, s.noU = append(s.bound, bound), append(s.noU, (c.u || c.noise) && math.IsNaN(u) && bound == measured && math.IsNaN(lo))
	}
	slices.SortFunc(order, byNature)
	for k, word := range order {
		s := series[word]
		s.colour = k
		pl.series = append(pl.series, *s)
	}
	if len(order) == 1 {
		pl.series[0].label = ""
	}
	if slices.ContainsFunc(kept, func(p point) bool { return p.v.Bound == "lower" || p.v.Bound == "upper" }) {
		pl.notes = append(pl.notes, "Arrows: the value lies beyond.")
	}
	var unknown []string
	for _, p := range kept {
		for _, x := range p.v.Unknown {
			if !slices.Contains(unknown, x) {
				unknown = append(unknown, x)
			}
		}
	}
	switch {
	case len(unknown) > 0:
		slices.SortFunc(unknown, byNature)
		pl.notes = append(pl.notes, "Bars lack what is not known of u: "+lowered(partsOf(unknown))+".")
	case !c.u:
		pl.notes = append(pl.notes, "u unknown.")
	}
	if n := len(points) - len(kept); n > 0 {
		pl.notes = append(pl.notes, fmt.Sprintf("%s without %s.", counted(n, "sample"), x.name))
	}
	return pl
}

// groupField finds a text field that sorts the points into a few groups of some size: colours and marks tell them apart. -1: none.
func groupField(fields []sheetField, n int, words func(sheetField) []string) int {
	for k, f := range fields {
		if f.numeric || f.date || f.name == "also" {
			continue
		}
		seen := map[string]int{}
		for _, w := range words(f) {
			seen[w]++
		}
		if len(seen) >= 2 && len(seen) <= len(palette) && n >= 2*len(seen) {
			return k
		}
	}
	return -1
}
