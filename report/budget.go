package report

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/stat/distuv"

	"fascicle/catalog"
	"fascicle/pipeline"
)

const (
	tinyShare   = 0.001 // of u²: smaller ones are summed up
	fewFreedom  = 30    // degrees of freedom below which an interval by t is printed
	coverage    = 0.95
	mostBudgets = 4000 // on the page; the tables hold all parts
)

// share is what one source adds to u².
type share struct {
	source   string
	part     float64
	fraction float64 // NaN: u is not known
}

// knownU is u, or where parts of sources are not known what is known of it; NaN: nothing.
func knownU(v *pipeline.Value) float64 {
	switch {
	case v.U != nil:
		return *v.U
	case v.Own == nil || len(v.Unknown) == 0:
		return math.NaN()
	}
	uu := *v.Own * *v.Own
	for _, s := range parts(v) {
		uu += s.part * s.part
	}
	return math.Sqrt(uu)
}

// parts are a number's shared parts that are not zero, largest first: their fractions of u² are part²/u² (JCGM 100:2008, 5.1.3, where
// |part| is uᵢ(y)).
func parts(v *pipeline.Value) []share {
	list := make([]share, 0, len(v.Parts))
	for s, x := range v.Parts {
		if x != 0 {
			list = append(list, share{s, x, fraction(x, v.U)})
		}
	}
	slices.SortFunc(list, func(a, b share) int {
		return cmp.Or(cmp.Compare(math.Abs(b.part), math.Abs(a.part)), byNature(a.source, b.source))
	})
	return list
}

func fraction(x float64, u *float64) float64 {
	if u == nil || !(*u > 0) {
		return math.NaN()
	}
	r := x / *u
	return r * r
}

// unknownOf are the sources whose part in a number that there is is not known.
func unknownOf(v *pipeline.Value) []string {
	if v == nil || v.Value == nil {
		return nil
	}
	return v.Unknown
}

// shared tells whether a number has more behind its u than an own part.
func shared(v *pipeline.Value) bool {
	return v != nil && (len(v.Unknown) > 0 || v.U != nil && len(parts(v)) > 0)
}

// budgeted tells whether a number's budget is worth showing.
func budgeted(v *pipeline.Value) bool { return shared(v) || v != nil && v.U != nil && v.Nu != nil }

// budgetOf is a number of a card with the words that tell it from others.
type budgetOf struct {
	name, item string
	v          *pipeline.Value
}

func (b budgetOf) label() string {
	if b.item == "" {
		return b.name
	}
	return b.name + " · " + b.item
}

// budgets shows what the u of each number consists of, folded up.
func (p *page) budgets(list []budgetOf) {
	var alone []string
	shown := 0
	list = slices.DeleteFunc(list, func(b budgetOf) bool { return strings.Contains(b.name, ".") }) // a join repeats what stands at its stage
	for _, b := range list {
		switch {
		case budgeted(b.v):
			shown++
		case b.v != nil && b.v.U != nil && !b.v.Exact:
			alone = append(alone, b.label())
		}
	}
	if shown == 0 || !p.w.budgets {
		return
	}
	p.raw(`<details class="budgets"><summary>What u consists of <small>fractions of u², and parts</small></summary>`, "\n", `<div class="budgetgrid">`, "\n")
	for _, b := range list {
		if budgeted(b.v) {
			p.budget(b)
		}
	}
	p.raw("</div>\n")
	if len(alone) > 0 {
		p.raw(`<p class="small">Own part alone: `)
		p.text(someOf(alone, 12))
		p.raw(".</p>\n")
	}
	p.raw("</details>\n")
}

// budget is one number's table: a row a source.
func (p *page) budget(b budgetOf) {
	v := b.v
	unit := p.w.unit(v.Unit)
	p.raw(`<table class="budget"><caption><b>`)
	p.name(b.label())
	p.raw("</b> ")
	p.value(v)
	p.raw("</caption><tbody>\n")
	row := func(f float64, part string, name func()) {
		p.raw("<tr><th>")
		name()
		p.raw(`</th><td class="share"`)
		if !math.IsNaN(f) {
			p.raw(` style="--share:`, strconv.FormatFloat(100*f, 'f', 1, 64), `%"`)
		}
		p.raw(">", percent(f), "</td><td>")
		p.text(part)
		p.raw("</td></tr>\n")
	}
	list := parts(v)
	if v.Own != nil && *v.Own > 0 {
		own := share{part: *v.Own, fraction: fraction(*v.Own, v.U)}
		at, _ := slices.BinarySearchFunc(list, own.part, func(a share, x float64) int { return cmp.Compare(x, math.Abs(a.part)) })
		list = slices.Insert(list, at, own)
	}
	tiny, sum := 0, 0.0
	for _, s := range list {
		switch {
		case s.source == "":
			row(s.fraction, rough(s.part, unit), func() { p.raw("own part") })
		case s.fraction < tinyShare:
			tiny++
			sum += s.fraction
		default:
			row(s.fraction, signed(s.part, unit), func() { p.source(s.source) })
		}
	}
	if tiny > 0 {
		row(sum, "", func() { p.raw(strconv.Itoa(tiny), " more") })
	}
	if v.Own == nil && !v.Exact {
		row(math.NaN(), "not known", func() { p.raw("own part") })
	}
	for _, s := range v.Unknown {
		row(math.NaN(), "not known", func() { p.source(s) })
	}
	p.raw("</tbody>")
	if words := p.w.budgetWords(v); words != "" {
		p.raw(`<tfoot><tr><td colspan="3">`)
		p.text(words)
		p.raw("</td></tr></tfoot>")
	}
	p.raw("</table>\n")
}

// budgetWords are what a budget says below its rows: parts that are not known, degrees of freedom, and the interval that covers 95 %
// where they are few: U = t(ν)·u (JCGM 100:2008, G.3.2).
func (m *model) budgetWords(v *pipeline.Value) string {
	var words []string
	if len(v.Unknown) > 0 {
		words = append(words, "A part is not known, and so u is not.")
	}
	if v.U != nil && v.Nu != nil {
		text := digits(*v.Nu, 3) + " degrees of freedom"
		if *v.Nu < fewFreedom && v.Bound == "" {
			k := coverageFactor(*v.Nu)
			text += ": 95 % interval ±\u00a0" + rough(k**v.U, m.unit(v.Unit)) + ", k\u00a0=\u00a0" + digits(k, 3)
		}
		words = append(words, text+".")
	}
	return strings.Join(words, " ")
}

// coverageFactor is t for a two-sided coverage of 95 %; nu need not be whole (JCGM 100:2008, G.6.4, note to step 3, interpolates).
func coverageFactor(nu float64) float64 {
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: nu}.Quantile((1 + coverage) / 2)
}

// partsOf names sources in a sentence.
func partsOf(sources []string) string {
	if len(sources) == 1 {
		return "The part of " + sources[0]
	}
	if len(sources) > 4 {
		return "The parts of " + someOf(sources, 3)
	}
	return "The parts of " + strings.Join(sources[:len(sources)-1], ", ") + " and " + sources[len(sources)-1]
}

func lowered(s string) string { return strings.ToLower(s[:1]) + s[1:] }

func isAre(n int) string {
	if n == 1 {
		return " is "
	}
	return " are "
}

// percent writes a fraction; NaN is empty.
func percent(f float64) string {
	switch {
	case math.IsNaN(f):
		return ""
	case f < tinyShare:
		return "&lt; 0.1 %"
	case f > 1-1e-9: // rounding apart
		return "100 %"
	case f > 1-tinyShare/2:
		return "&gt; 99.9 %"
	}
	return strconv.FormatFloat(100*f, 'f', 1, 64) + " %"
}

// digits writes a number with n digits at most.
func digits(x float64, n int) string {
	if x >= math.Pow10(n) && x < 1e6 {
		return strconv.FormatFloat(x, 'f', 0, 64)
	}
	short, _ := strconv.ParseFloat(strconv.FormatFloat(x, 'g', n, 64), 64)
	return catalog.Format(short, 0, catalog.Unit{})
}

// rough writes a part with two digits, which is what an uncertainty is worth.
func rough(x float64, unit catalog.Unit) string {
	short, _ := strconv.ParseFloat(strconv.FormatFloat(x, 'g', 2, 64), 64)
	return catalog.Format(short, 0, unit)
}

func signed(x float64, unit catalog.Unit) string {
	if x > 0 {
		return "+" + rough(x, unit)
	}
	return rough(x, unit)
}

// source writes a source's name, with a link to what is said of it.
func (p *page) source(name string) {
	k, ok := p.w.sourceAt[name]
	if ok {
		p.raw(`<a href="#source-`)
		p.int(k + 1)
		p.raw(`">`)
	}
	p.raw("<code><bdi>")
	for name != "" { // it may be broken between its words
		n := strings.IndexAny(name, ".[,") + 1
		if n == 0 {
			n = len(name)
		}
		p.text(name[:n])
		if name = name[n:]; name != "" {
			p.raw("<wbr/>")
		}
	}
	p.raw("</bdi></code>")
	if ok {
		p.raw("</a>")
	}
}
