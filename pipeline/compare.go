package pipeline

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"fascicle/catalog"
)

// Comparison says what moved between two runs, and because of what.
type Comparison struct {
	From   string    `json:"from"`
	To     string    `json:"to"`
	Moved  []Move    `json:"moved"`
	Same   int       `json:"same"`
	Causes []Cause   `json:"causes"`
	Labels [2]string `json:"-"`
}

// Move is one value that differs between two runs.
type Move struct {
	Address string   `json:"address"`
	Old     *Value   `json:"old"`  // nil: it is new
	New     *Value   `json:"new"`  // nil: it is gone
	ByU     *float64 `json:"by_u"` // the difference in units of the older u
	Why     []string `json:"why"`
}

// Cause is a changed input or setting, and how many values it moved.
type Cause struct {
	Text  string `json:"cause"`
	Moves int    `json:"values"`
}

// Compare holds two runs against each other: numbers or labels; "" and "" are the last two.
func Compare(dir, from, to string) (*Comparison, error) {
	if from == "" {
		numbers := recordNumbers(dir)
		if len(numbers) < 2 {
			return nil, fmt.Errorf("%w: two runs are needed to compare, and there are the runs %s", ErrNoRun, runList(dir))
		}
		from = fmt.Sprint(numbers[len(numbers)-2])
	}
	a, err := LoadRecord(dir, from)
	if err != nil {
		return nil, err
	}
	b, err := LoadRecord(dir, to)
	if err != nil {
		return nil, err
	}
	return compareRecords(a, b), nil
}

func (rec *Record) title() string {
	if rec.Label != "" {
		return rec.Label
	}
	return fmt.Sprintf("run %d", rec.Run)
}

func compareRecords(a, b *Record) *Comparison {
	c := &Comparison{From: a.title(), To: b.title(), Moved: []Move{}, Causes: []Cause{}}
	old := map[string]*Value{}
	for i := range a.Values {
		old[a.Values[i].Address()] = &a.Values[i]
	}
	w := &whyFinder{a: newLookup(a), b: newLookup(b), known: map[[3]string][]string{}}
	seen := map[string]bool{}
	for i := range b.Values {
		v := &b.Values[i]
		addr := v.Address()
		seen[addr] = true
		o := old[addr]
		if o != nil && sameValue(o, v) {
			c.Same++
			continue
		}
		m := Move{Address: addr, Old: o, New: v, Why: w.why(v.Stage, "", v.Item)}
		if o != nil && o.Value != nil && v.Value != nil && o.U != nil && *o.U > 0 {
			d := (*v.Value - *o.Value) / *o.U
			m.ByU = &d
		}
		c.Moved = append(c.Moved, m)
	}
	for i := range a.Values {
		v := &a.Values[i]
		if addr := v.Address(); !seen[addr] {
			c.Moved = append(c.Moved, Move{Address: addr, Old: v, Why: w.why(v.Stage, "", v.Item)})
		}
	}
	counts := map[string]int{}
	for _, m := range c.Moved {
		for _, y := range m.Why {
			counts[y]++
		}
	}
	for text, n := range counts {
		c.Causes = append(c.Causes, Cause{text, n})
	}
	slices.SortFunc(c.Causes, func(x, y Cause) int { return cmp.Or(cmp.Compare(y.Moves, x.Moves), cmp.Compare(x.Text, y.Text)) })
	return c
}

func sameValue(a, b *Value) bool {
	same := func(x, y *float64) bool { return x == nil && y == nil || x != nil && y != nil && *x == *y }
	return same(a.Value, b.Value) && same(a.U, b.U) && same(a.Own, b.Own) && a.Text == b.Text && a.Bound == b.Bound && a.Unit == b.Unit
}

// lookup finds the group of an item in a record quickly.
type lookup struct {
	rec    *Record
	groups map[[2]string]*RecordGroup // stage, item
}

func newLookup(rec *Record) *lookup {
	l := &lookup{rec: rec, groups: map[[2]string]*RecordGroup{}}
	for i := range rec.Stages {
		s := &rec.Stages[i]
		for j := range s.Groups {
			for _, it := range s.Groups[j].Items {
				l.groups[[2]string{s.Name, it.Name}] = &s.Groups[j]
			}
		}
	}
	return l
}

// whyFinder follows what changed back to the inputs and settings that began it.
type whyFinder struct {
	a, b  *lookup
	known map[[3]string][]string
}

// why lists the root causes behind an item: lines of recipes that differ, files that changed, items that came or went.
func (w *whyFinder) why(stage, output, item string) []string {
	id := [3]string{stage, output, item}
	if out, ok := w.known[id]; ok {
		return out
	}
	w.known[id] = nil // a ring cannot be, but a damaged record must not hang
	out := w.find(stage, item)
	slices.Sort(out)
	out = slices.Compact(out)
	w.known[id] = out
	return out
}

func (w *whyFinder) find(stage, item string) []string {
	ga, gb := w.a.groups[[2]string{stage, item}], w.b.groups[[2]string{stage, item}]
	switch {
	case ga == nil && gb == nil:
		return nil
	case ga == nil:
		if gb.File != "" {
			return []string{"new file " + gb.File}
		}
		if out := w.sources(gb, nil); len(out) > 0 {
			return out
		}
		return []string{fmt.Sprintf("%s %s is new", stage, item)}
	case gb == nil:
		if ga.File != "" {
			return []string{"file " + ga.File + " is gone"}
		}
		if out := w.sources(ga, nil); len(out) > 0 {
			return out
		}
		return []string{fmt.Sprintf("%s %s is gone", stage, item)}
	}
	if ga.Key == gb.Key && ga.Key != "" {
		return nil
	}
	var out []string
	if ga.File != "" || gb.File != "" {
		if fa, fb := fileLine(ga), fileLine(gb); fa != fb {
			out = append(out, "file "+gb.File+" changed")
		}
	}
	sa, sb := w.a.rec.stage(stage), w.b.rec.stage(stage)
	out = append(out, changedLines(stage, slices.Concat(sa.Common, ga.Lines), slices.Concat(sb.Common, gb.Lines))...)
	out = append(out, w.sources(ga, gb)...)
	if gb.State != ga.State && (gb.State == Failed || gb.State == Blocked) {
		out = append(out, fmt.Sprintf("%s %s %s: %s", stage, item, gb.State, gb.Message))
	}
	return out
}

func (w *whyFinder) sources(ga, gb *RecordGroup) []string {
	var out []string
	seen := map[Source]bool{}
	for _, g := range []*RecordGroup{ga, gb} {
		if g == nil {
			continue
		}
		for _, s := range g.Sources {
			if !seen[s] {
				seen[s] = true
				out = append(out, w.why(s.Stage, s.Output, s.Item)...)
			}
		}
	}
	return out
}

func fileLine(g *RecordGroup) string {
	for _, l := range g.Lines {
		if strings.HasPrefix(l, "file = ") {
			return l
		}
	}
	return ""
}

// changedLines tells which settings of a recipe differ; lines of content hashes are followed elsewhere.
func changedLines(stage string, a, b []string) []string {
	split := func(lines []string) (map[string]string, []string) {
		m := map[string]string{}
		var order []string
		for _, l := range lines {
			l = strings.TrimSpace(l)
			if strings.HasPrefix(l, "lead ") || strings.HasPrefix(l, "port ") || strings.HasPrefix(l, "file = ") || strings.HasPrefix(l, "missing ") {
				continue
			}
			name, value, ok := strings.Cut(l, " = ")
			if !ok {
				name, value, _ = strings.Cut(l, " ")
			}
			name = strings.TrimPrefix(name, "set ")
			if _, have := m[name]; !have {
				order = append(order, name)
				m[name] = value
			} else {
				m[name] += "; " + value
			}
		}
		return m, order
	}
	ma, oa := split(a)
	mb, ob := split(b)
	var out []string
	for _, n := range ob {
		old, ok := ma[n]
		switch {
		case !ok:
			out = append(out, fmt.Sprintf("%s.%s: now %s", stage, n, mb[n]))
		case old != mb[n]:
			out = append(out, fmt.Sprintf("%s.%s: %s → %s", stage, n, old, mb[n]))
		}
	}
	for _, n := range oa {
		if _, ok := mb[n]; !ok {
			out = append(out, fmt.Sprintf("%s.%s: was %s", stage, n, ma[n]))
		}
	}
	return out
}

// Text is the comparison for people.
func (c *Comparison) Text() string {
	var b strings.Builder
	if len(c.Moved) == 0 {
		setLine(&b, "From %s to %s nothing moved: %d values are the same.", c.From, c.To, c.Same)
		return b.String()
	}
	setLine(&b, "From %s to %s %d values moved, %d are the same.", c.From, c.To, len(c.Moved), c.Same)
	for _, cause := range c.Causes {
		setLine(&b, "because of %s (%d)", cause.Text, cause.Moves)
	}
	for _, m := range c.Moved {
		line := "  " + m.Address + ": "
		switch {
		case m.Old == nil:
			line += "new, " + m.New.Print()
		case m.New == nil:
			line += "gone, was " + m.Old.Print()
		default:
			line += m.Old.Print() + " → " + m.New.Print()
			if m.ByU != nil {
				line += fmt.Sprintf(" (by %s u)", catalog.FormatPlain(math.Round(*m.ByU*100)/100))
			}
		}
		setLine(&b, "%s", line)
		if len(c.Causes) > 1 {
			for _, y := range m.Why {
				setLine(&b, "      because of %s", y)
			}
		}
	}
	return b.String()
}
