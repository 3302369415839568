package pipeline

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"fascicle/catalog"
	"fascicle/pipeline/table"
)

// Sides of a part that differ by more than a tenth of it, and by more than a hundredth of u, are flagged.
const (
	crookedFraction = 0.10
	crookedOfU      = 0.01
)

// noPart is the fraction of a value below which a difference of two shifted calls is rounding: the source does not move it.
const noPart = 1e-13

// sides are a source's two shifted calls; nil when the part is not known.
type sides struct {
	source      string
	plus, minus *Call
}

// shiftParts adds the parts of every source to what a call gave: part = ½[f(+u) − f(−u)] (JCGM 100:2008, 5.1.4), from calls with the
// central one's choices.
func (w *Work) shiftParts(ctx context.Context, central *Call, choices Choices) error {
	columns := make([]int, len(central.gives)) // of each item, before parts are added
	for i := range central.gives {
		columns[i] = len(central.gives[i].table.Columns)
	}
	var all []sides
	for _, src := range w.carrier.sources {
		pair, err := w.shiftedPair(ctx, central, src, choices)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err != nil {
			for i := range central.gives {
				g := &central.gives[i]
				if w.unknownPart(g, src, columns[i]) {
					g.flag("the part of %s is not known: %v", src, err)
				}
			}
			continue
		}
		for i := range central.gives {
			w.addParts(&central.gives[i], pair.plus.gives[i].table, pair.minus.gives[i].table, src, columns[i])
		}
		all = append(all, pair)
	}
	for i := range central.gives {
		for _, pair := range all {
			central.gives[i].flagCrooked(pair.plus.gives[i].table, pair.minus.gives[i].table, pair.source, columns[i])
		}
	}
	return nil
}

// shiftedPair calls the kind with a source moved up and down.
func (w *Work) shiftedPair(ctx context.Context, central *Call, src string, choices Choices) (sides, error) {
	pair := sides{source: src}
	for _, side := range [...]struct {
		sign float64
		to   **Call
	}{{1, &pair.plus}, {-1, &pair.minus}} {
		call, err := w.carrier.call(src, side.sign)
		if err != nil {
			return pair, err
		}
		call.Choices = choices
		if _, err := w.once(ctx, call); err != nil {
			return pair, fmt.Errorf("when it is shifted, %w", err)
		}
		if err := sameShape(central, call); err != nil {
			return pair, err
		}
		if slices.ContainsFunc(call.flags, func(f callFlag) bool { return f.level == Bound }) {
			return pair, errors.New("when it is shifted, a parameter is at its bound")
		}
		*side.to = call
	}
	return pair, nil
}

// sameShape makes sure that a shifted call gave the same outputs with the same columns and rows.
func sameShape(a, b *Call) error {
	if len(a.gives) != len(b.gives) {
		return fmt.Errorf("when it is shifted, the kind gives %d items instead of %d", len(b.gives), len(a.gives))
	}
	for i := range a.gives {
		x, y := &a.gives[i], &b.gives[i]
		if x.output != y.output || x.lead != y.lead || y.table == nil || x.table.Len() != y.table.Len() {
			return fmt.Errorf("when it is shifted, output %s has other rows", x.output)
		}
		for _, c := range x.table.Columns {
			if strings.Contains(c.Name, partMark) {
				continue
			}
			if d := y.table.Col(c.Name); d == nil || d.Type != c.Type || d.Unit != c.Unit || d.Len() != c.Len() {
				return fmt.Errorf("when it is shifted, output %s has another column %s", x.output, c.Name)
			}
		}
	}
	return nil
}

// moves tells whether a column can have parts: numbers that do not accompany another column, but for the ends of a bound.
func moves(t *table.Table, c *table.Column) bool {
	return c.Type == table.Float && !accompanies(t, c.Name)
}

// addParts adds a column x@SOURCE for every column that the source moves.
func (w *Work) addParts(g *given, plus, minus *table.Table, src string, n int) {
	moved := false
	for i := range n {
		c := &g.table.Columns[i]
		if !moves(g.table, c) || w.exact(g.output, c.Name) && !w.axis(g, i) {
			continue
		}
		p, m := plus.Col(c.Name), minus.Col(c.Name)
		var values []float64
		var valid []bool
		for j := range c.Len() {
			if c.IsNull(j) {
				continue
			}
			if p.IsNull(j) || m.IsNull(j) {
				if valid == nil {
					valid = slices.Repeat([]bool{true}, c.Len())
				}
				valid[j] = false
				continue
			}
			x := 0.5 * (p.Floats[j] - m.Floats[j])
			if math.Abs(x) <= noPart*math.Abs(c.Floats[j]) {
				continue
			}
			if values == nil {
				values = make([]float64, c.Len())
			}
			values[j] = x
		}
		if values == nil && valid == nil {
			continue
		}
		if values == nil {
			values = make([]float64, c.Len())
		}
		moved = true
		g.table.AddFloatValid(c.Name+partMark+src, c.Unit, values, valid)
	}
	if nu := w.carrier.nu[src]; moved && nu > 0 {
		g.noteNu(src, nu)
	}
}

// axis tells whether a column is the axis of a curve: it has no uncertainty of its own, but a calibration may move it.
func (w *Work) axis(g *given, column int) bool {
	o := w.check.output(g.output)
	return column == 0 && o != nil && (o.Form == Curve || o.Form == AnyForm)
}

// noteNu keeps a source's degrees of freedom with the item that carries its parts.
func (g *given) noteNu(src string, nu float64) {
	head := make(map[string]string, len(g.table.Header)+1)
	for k, v := range g.table.Header {
		head[k] = v
	}
	head[nuMark+src] = catalog.FormatPlain(nu)
	g.table.Header = head
}

func (g *given) flag(format string, args ...any) {
	g.flags = append(g.flags, callFlag{output: g.output, lead: g.lead, level: Flagged, text: fmt.Sprintf(format, args...)})
}

// unknownPart adds null parts: what a source does to these columns is not known, and so their u is not. It says whether there were any.
func (w *Work) unknownPart(g *given, src string, n int) bool {
	added := false
	for i := range n {
		c := &g.table.Columns[i]
		if !moves(g.table, c) || w.exact(g.output, c.Name) {
			continue
		}
		g.table.AddFloatValid(c.Name+partMark+src, c.Unit, make([]float64, c.Len()), make([]bool, c.Len()))
		added = true
	}
	return added
}

// flagCrooked flags parts whose two sides differ: the first order is then not the whole of it.
func (g *given) flagCrooked(plus, minus *table.Table, src string, n int) {
	for i := range n {
		c := &g.table.Columns[i]
		if !moves(g.table, c) || g.table.Col(c.Name+partMark+src) == nil {
			continue
		}
		p, m := plus.Col(c.Name), minus.Col(c.Name)
		bad := 0
		for j := range c.Len() {
			if c.IsNull(j) || p.IsNull(j) || m.IsNull(j) {
				continue
			}
			up, down := p.Floats[j]-c.Floats[j], c.Floats[j]-m.Floats[j]
			d := math.Abs(up - down)
			if d > crookedFraction*math.Max(math.Abs(up), math.Abs(down)) && d > crookedOfU*wholeU(g.table, c.Name, j) {
				bad++
			}
		}
		of := ""
		if c.Len() > 1 {
			of = fmt.Sprintf(", at %d of %d points", bad, c.Len())
		}
		if bad > 0 {
			g.flag("%s does not follow %s in a straight line (the two sides of the part differ by more than a tenth%s): its u is a rough figure", c.Name, src, of)
		}
	}
}

// wholeU is the standard uncertainty of an entry from its own part and all parts, as far as they are known.
func wholeU(t *table.Table, column string, row int) float64 {
	sum := 0.0
	if u := t.Col("u_" + column); u != nil && u.Type == table.Float && !u.IsNull(row) {
		sum = u.Floats[row] * u.Floats[row]
	}
	for i := range t.Columns {
		c := &t.Columns[i]
		if rest, ok := strings.CutPrefix(c.Name, column+partMark); ok && rest != "" && !c.IsNull(row) {
			sum += c.Floats[row] * c.Floats[row]
		}
	}
	return math.Sqrt(sum)
}

// withoutParts marks all that a kind gives as lacking the parts of the sources that reach it.
func (w *Work) withoutParts(central *Call) {
	for i := range central.gives {
		g := &central.gives[i]
		n := len(g.table.Columns)
		added := false
		for _, src := range w.carrier.sources {
			added = w.unknownPart(g, src, n) || added
		}
		if added {
			g.flag("%s does not carry shared parts: those of %s are missing", w.Kind.Name, shortList(w.carrier.sources, 4))
		}
	}
}
