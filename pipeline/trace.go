package pipeline

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"fascicle/catalog"
	"fascicle/catalog/fault"
)

// Lineage is where one number comes from: its item's recipe, what fed it, and so on back to raw files.
type Lineage struct {
	Value   Value  `json:"value"`
	Address string `json:"address"`
	Run     int    `json:"run"`
	Budget  Budget `json:"budget"`
	Root    *Node  `json:"made_from"`
	kinds   []*Kind
}

// Budget splits a number's uncertainty: each share is a fraction of u².
type Budget struct {
	U      *float64      `json:"u"`
	Nu     *float64      `json:"nu,omitempty"` // degrees of freedom of U, where they are finite
	Shares []BudgetShare `json:"shares"`
	Note   string        `json:"note,omitempty"`
	// SharedNoise names curves whose noise several results have in common: it counts in the own part of each.
	SharedNoise []string `json:"shared_noise,omitempty"`
}

// BudgetShare is the part of one source in u².
type BudgetShare struct {
	Source   string  `json:"source"`
	Part     float64 `json:"part"`
	Fraction float64 `json:"fraction"`
}

// Node is an item of a lineage.
type Node struct {
	Stage   string   `json:"stage"`
	Kind    string   `json:"kind,omitempty"`
	Item    string   `json:"item"`
	Port    string   `json:"port,omitempty"` // through which it came
	Key     string   `json:"recipe_key,omitempty"`
	Hash    string   `json:"content_hash,omitempty"`
	State   State    `json:"state"`
	Message string   `json:"message,omitempty"`
	Recipe  []string `json:"settings,omitempty"`
	File    string   `json:"file,omitempty"`
	SHA256  string   `json:"sha256,omitempty"`
	From    []*Node  `json:"from,omitempty"`
	Again   bool     `json:"again,omitempty"` // shown in full above
}

// findValue finds the one value that an address names. Any shorter form that is unique will do: its words must stand in the order
// SAMPLE, STAGE, NAME, ITEM, and may leave some out.
func findValue(values []Value, address string) (*Value, error) {
	var exact, hits []*Value
	for i := range values {
		v := &values[i]
		if v.Address() == address {
			exact = append(exact, v)
		}
		who := v.Sample
		if who == "" {
			who = v.Series
		}
		if addresses([]string{who, v.Stage, v.Name, v.Item}, address) {
			hits = append(hits, v)
		}
	}
	if len(exact) == 1 {
		return exact[0], nil
	}
	switch len(hits) {
	case 1:
		return hits[0], nil
	case 0:
		var all []string
		for i := range values {
			all = append(all, values[i].Address())
		}
		var short []string
		for i := range values {
			short = append(short, strings.TrimSuffix(values[i].Address(), "/"+values[i].Item))
		}
		hint := "`fascicle run` makes values; out/values.json lists them"
		if near := fault.Nearest(address, append(short, all...)); near != "" {
			hint = "did you mean " + near + "?"
		}
		return nil, fmt.Errorf("no value is called %q; SAMPLE/STAGE/NAME is expected; %s", address, hint)
	}
	var names []string
	for _, h := range hits {
		names = append(names, h.Address())
	}
	return nil, fmt.Errorf("%d values are called %q: %s; write more of the address", len(hits), address, shortList(names, 6))
}

// addresses tells whether an address names some of the words of full, in their order. Words may hold a slash themselves.
func addresses(full []string, address string) bool {
	for i, f := range full {
		if f == "" {
			continue
		}
		if f == address {
			return true
		}
		if rest, ok := strings.CutPrefix(address, f+"/"); ok && addresses(full[i+1:], rest) {
			return true
		}
	}
	return false
}

// Trace gives the lineage of a value in the last run.
func Trace(dir string, kinds []*Kind, address string) (*Lineage, error) {
	rec, err := LoadRecord(dir, "")
	if err != nil {
		return nil, err
	}
	v, err := findValue(rec.Values, address)
	if err != nil {
		return nil, err
	}
	l := &Lineage{Value: *v, Address: v.Address(), Run: rec.Run, kinds: kinds}
	l.Budget = budget(v)
	raw := map[string]string{}
	for _, f := range rec.Raw {
		raw[f.Path] = f.SHA256
	}
	l.Root = rec.node(v.Stage, "", v.Item, "", raw, map[*RecordGroup]bool{})
	if v.Own != nil && *v.Own > 0 {
		l.Budget.SharedNoise = rec.sharedCurves(v.Stage, v.Item, kinds)
	}
	return l, nil
}

func budget(v *Value) Budget {
	b := Budget{U: v.U, Nu: v.Nu}
	switch {
	case len(v.Unknown) > 0:
		b.Note = "it is not known, because the part of " + shortList(v.Unknown, 4) + " is not"
	case v.Exact:
		b.Note = "none: a count or a choice"
	case v.U == nil:
		b.Note = "it is not known"
	case *v.U == 0:
		b.Note = "none: nothing that it is made from has an uncertainty"
	}
	if v.U == nil && v.Own != nil {
		b.Note += "; its own part is " + catalog.FormatPlain(*v.Own)
	}
	if v.U == nil || *v.U == 0 {
		return b
	}
	uu := *v.U * *v.U
	if v.Own != nil {
		b.Shares = append(b.Shares, BudgetShare{"own part", *v.Own, *v.Own * *v.Own / uu})
	}
	for _, s := range sortedSources(v.Parts) {
		b.Shares = append(b.Shares, BudgetShare{s, v.Parts[s], v.Parts[s] * v.Parts[s] / uu})
	}
	return b
}

// sharedCurves lists the curves that a value was made from and that serve several groups: a solvent, a response.
func (rec *Record) sharedCurves(stage, item string, kinds []*Kind) []string {
	type id struct{ stage, output, item string }
	serves := map[id]int{}
	for i := range rec.Stages {
		for j := range rec.Stages[i].Groups {
			if rec.Stages[i].Kind == "" {
				continue
			}
			for _, src := range rec.Stages[i].Groups[j].Sources {
				serves[id{src.Stage, src.Output, src.Item}]++
			}
		}
	}
	seen := map[id]bool{}
	var out []string
	var visit func(x id, led, many bool)
	visit = func(x id, led, many bool) {
		if seen[x] {
			return
		}
		seen[x] = true
		g := rec.groupOf(x.stage, x.output, x.item)
		if g == nil {
			return
		}
		many = many || serves[x] > 1
		if s := rec.stage(x.stage); s != nil && s.Kind == "" { // stages taken together: the item itself is further down
			for _, src := range g.Sources {
				if src.Item == x.item {
					visit(id{src.Stage, src.Output, src.Item}, led, many)
				}
			}
			return
		}
		curve := slices.ContainsFunc(g.Items, func(it RecordItem) bool {
			return it.Name == x.item && (x.output == "" || it.Output == x.output) && it.Form == Curve.String()
		})
		if !led && many && curve {
			out = append(out, x.stage+" "+x.item)
		}
		for _, src := range g.Sources {
			visit(id{src.Stage, src.Output, src.Item}, rec.leads(x.stage, src.Port, kinds), false)
		}
	}
	visit(id{stage: stage, item: item}, true, false)
	slices.Sort(out)
	return out
}

// leads tells whether a port of a stage's kind leads: what comes through it is the result's own.
func (rec *Record) leads(stage, port string, kinds []*Kind) bool {
	s := rec.stage(stage)
	for _, k := range kinds {
		for _, p := range k.Ports {
			if s != nil && k.Name == s.Kind && p.Name == port {
				return p.Lead
			}
		}
	}
	return true
}

func sortedSources(m map[string]float64) []string {
	var out []string
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}

func (rec *Record) node(stage, output, item, port string, raw map[string]string, seen map[*RecordGroup]bool) *Node {
	n := &Node{Stage: stage, Item: item, Port: port}
	s := rec.stage(stage)
	g := rec.groupOf(stage, output, item)
	if s == nil || g == nil {
		return n
	}
	n.Kind, n.Key, n.State, n.Message, n.File = s.Kind, g.Key, g.State, g.Message, g.File
	for _, it := range g.Items {
		if it.Name == item && (output == "" || it.Output == output) {
			n.Hash, n.State, n.Message = it.Hash, it.State, it.Message
			break
		}
	}
	n.SHA256 = raw[g.File]
	if s.Kind == "" {
		// stages taken together: the item of that name goes on
		for _, src := range g.Sources {
			if src.Item == item {
				n.From = append(n.From, rec.node(src.Stage, src.Output, src.Item, src.Port, raw, seen))
			}
		}
		return n
	}
	if seen[g] && (len(g.Sources) > 0 || g.File != "") {
		n.Again = true
		return n
	}
	seen[g] = true
	for _, l := range slices.Concat(s.Common, g.Lines) {
		l = strings.TrimSpace(l)
		if !strings.HasPrefix(l, "lead ") && !strings.HasPrefix(l, "port ") && !strings.HasPrefix(l, "file =") && l != keyFormat && !strings.HasPrefix(l, "kind ") {
			n.Recipe = append(n.Recipe, l)
		}
	}
	for _, src := range g.Sources {
		n.From = append(n.From, rec.node(src.Stage, src.Output, src.Item, src.Port, raw, seen))
	}
	return n
}

// Text is the lineage for people.
func (l *Lineage) Text() string {
	var b strings.Builder
	v := &l.Value
	setLine(&b, "%s = %s", l.Address, v.Print())
	for _, f := range v.Flags {
		setLine(&b, "  ! %s", f)
	}
	if l.Budget.Note != "" {
		setLine(&b, "uncertainty: %s", l.Budget.Note)
	} else {
		b.WriteString("uncertainty, as fractions of u²:\n")
		shares := slices.Clone(l.Budget.Shares)
		slices.SortStableFunc(shares, func(x, y BudgetShare) int { return cmp.Compare(y.Fraction, x.Fraction) })
		for _, s := range shares {
			setLine(&b, "  %5.1f %%  %s (%s)", 100*s.Fraction, s.Source, catalog.Format(s.Part, 0, mustUnitOrOne(v.Unit)))
		}
		if l.Budget.Nu != nil {
			setLine(&b, "  with %.4g degrees of freedom", *l.Budget.Nu)
		}
	}
	if n := l.Budget.SharedNoise; len(n) > 0 {
		setLine(&b, "  the noise of %s, which serves others too, counts in its own part", shortList(n, 4))
	}
	setLine(&b, "made from (run %d):", l.Run)
	l.write(&b, l.Root, "  ")
	return b.String()
}

func mustUnitOrOne(code string) catalog.Unit {
	u, err := catalog.ParseUnit(code)
	if err != nil {
		return catalog.Unit{}
	}
	return u
}

// Print gives a value as text: value(u) unit, or the text.
func (v *Value) Print() string {
	switch {
	case v.Text != "":
		return v.Text
	case v.Value == nil:
		return "unknown"
	}
	u := 0.0
	if v.U != nil {
		u = *v.U
	}
	s := catalog.Format(*v.Value, u, mustUnitOrOne(v.Unit))
	if v.U == nil && !v.Exact {
		s += " (its uncertainty is not known)"
	}
	switch v.Bound {
	case "lower":
		s = "> " + s
	case "upper":
		s = "< " + s
	}
	return s
}

// setLine writes one line, whatever the names in it hold.
func setLine(b *strings.Builder, format string, args ...any) {
	b.WriteString(fault.Visible(fmt.Sprintf(format, args...)))
	b.WriteByte('\n')
}

func (l *Lineage) write(b *strings.Builder, n *Node, indent string) {
	head := indent
	if n.Port != "" {
		head += n.Port + ": "
	}
	head += n.Stage + " " + n.Item
	if n.Kind != "" {
		head += " (" + n.Kind + ")"
	}
	if n.Hash != "" {
		head += " " + n.Hash[:12]
	}
	if !n.State.Good() && n.State != "" {
		head += fmt.Sprintf(" %s: %s", n.State, n.Message)
	}
	if n.Again {
		head += ", as above"
	}
	setLine(b, "%s", head)
	if n.Again {
		return
	}
	in := indent + "    "
	if n.File != "" {
		setLine(b, "%sfile %s", in, n.File)
		setLine(b, "%sSHA-256 %s", in, n.SHA256)
	}
	for _, k := range l.kinds {
		if k.Name == n.Kind && k.Formula != "" {
			setLine(b, "%sformula %s [%s]", in, k.Formula, k.Source)
		}
	}
	for _, s := range n.Recipe {
		setLine(b, "%s%s", in, s)
	}
	for _, f := range n.From {
		l.write(b, f, in)
	}
}
