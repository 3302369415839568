package report

import (
	"cmp"
	"slices"
	"strconv"
	"strings"
	"sync"

	"fascicle/catalog"
	"fascicle/pipeline"
	"fascicle/pipeline/store"
)

// model is an outcome put in order for writing. Read-only once built.
type model struct {
	*pipeline.Outcome
	values   []pipeline.Value // as in values.json
	stages   []*stage
	byStage  map[string]*stage
	samples  []*sample // those of the sheet in its order, then others that items name
	bySample map[string]*sample
	items    map[itemID]*pipeline.ItemOutcome
	flags    []flagNote
	units    map[string]catalog.Unit
	unitLock sync.Mutex     // of units: figures and tables are made at once
	sources  []*sourceNote  // of shared uncertainty
	sourceAt map[string]int // places in sources
}

type itemID struct{ stage, output, item string }

// stage is a stage with the rows that its values make.
type stage struct {
	*pipeline.StageOutcome
	columns []column
	rows    []*row
	byItem  map[string]*row
	fields  []string // names of fields that its values items have, in order of appearance; without sample
}

// column is a number or text that a stage's values items have.
type column struct {
	name, unit                string
	number                    bool
	u, anyValue               bool     // some number has u; is there at all
	noise                     bool     // some number has an own part
	own                       bool     // some own part is not all of u, or u is not known
	unknown                   bool     // the part of some source is not known
	parts                     []string // sources that occur, known or not
	exact                     bool     // its numbers are counts or choices, which have no u
	bound, limits             bool     // some number is censored; some has lo and hi
	family, rank, declaration int
}

// row is one item's numbers.
type row struct {
	item           string
	sample, series string
	source         *pipeline.ItemOutcome // nil if no item of that name is known
	values         []*pipeline.Value     // by column; nil: none
}

// sample is a row of the sheet, or a name that items bear.
type sample struct {
	name    string
	sheet   *catalog.Row // nil: not in the sheet
	items   []*pipeline.ItemOutcome
	rows    map[string][]*row // by stage
	figures []*figure
	number  int
}

// flagNote is what a run said of one or more items of a stage.
type flagNote struct {
	stage, level, text string
	items              []*pipeline.ItemOutcome
}

func newModel(o *pipeline.Outcome, values []pipeline.Value) *model {
	m := &model{
		Outcome: o, values: values, byStage: map[string]*stage{}, bySample: map[string]*sample{},
		items: map[itemID]*pipeline.ItemOutcome{}, units: map[string]catalog.Unit{},
	}
	m.addSamples()
	for i := range o.Stages {
		m.addStage(&o.Stages[i])
	}
	m.addRows()
	return m
}

func (m *model) addSamples() {
	if m.Sheet != nil {
		for i := range m.Sheet.Rows {
			m.sample(m.Sheet.Rows[i].Sample).sheet = &m.Sheet.Rows[i]
		}
	}
	known := len(m.samples)
	for _, s := range m.Outcome.Stages {
		for i := range s.Items {
			if s.Items[i].Sample != "" {
				m.sample(s.Items[i].Sample)
			}
		}
	}
	slices.SortStableFunc(m.samples[known:], func(a, b *sample) int { return cmp.Compare(a.name, b.name) })
	for i, s := range m.samples {
		s.number = i + 1
	}
}

func (m *model) sample(name string) *sample {
	s := m.bySample[name]
	if s == nil {
		s = &sample{name: name, rows: map[string][]*row{}}
		m.bySample[name] = s
		m.samples = append(m.samples, s)
	}
	return s
}

func (m *model) addStage(so *pipeline.StageOutcome) {
	s := &stage{StageOutcome: so, byItem: map[string]*row{}}
	m.stages = append(m.stages, s)
	m.byStage[so.Name] = s
	notes := map[[2]string]int{}
	for i := range so.Items {
		it := &so.Items[i]
		id := itemID{it.Stage, it.Output, it.Name}
		if m.items[id] == nil {
			m.items[id] = it
		}
		if so.Kind == nil {
			continue // its items are those of other stages
		}
		if it.Sample != "" {
			sm := m.bySample[it.Sample]
			sm.items = append(sm.items, it)
		}
		for _, f := range it.Flags {
			k, seen := notes[[2]string{f.Level, f.Text}]
			if !seen {
				k = len(m.flags)
				notes[[2]string{f.Level, f.Text}] = k
				m.flags = append(m.flags, flagNote{stage: so.Name, level: f.Level, text: f.Text})
			}
			m.flags[k].items = append(m.flags[k].items, it)
		}
	}
}

// addRows joins numbers with the items that they are of, and orders the columns as their kind declares them.
func (m *model) addRows() {
	type cell struct {
		r *row
		v *pipeline.Value
	}
	cells := map[*stage]map[string][]cell{}
	at := map[*stage]map[string]int{}
	for _, s := range m.stages {
		if s.Kind == nil {
			continue
		}
		cells[s], at[s] = map[string][]cell{}, map[string]int{}
		for i := range s.Items {
			if it := &s.Items[i]; it.Form == pipeline.Values {
				s.row(it.Name, it)
			}
		}
	}
	for i := range m.values {
		v := &m.values[i]
		s := m.byStage[v.Stage]
		if s == nil || s.Kind == nil {
			continue
		}
		r := s.row(v.Item, nil)
		if r.sample == "" {
			r.sample = v.Sample
		}
		if r.series == "" {
			r.series = v.Series
		}
		k, ok := at[s][v.Name]
		if !ok {
			k = len(s.columns)
			at[s][v.Name] = k
			s.columns = append(s.columns, column{name: v.Name, unit: v.Unit, declaration: declared(s.Kind, v.Name)})
		}
		c := &s.columns[k]
		c.number = c.number || v.Value != nil || v.U != nil || v.Unit != "" && v.Text == ""
		c.anyValue = c.anyValue || v.Value != nil
		c.u = c.u || v.U != nil
		c.exact = c.exact || v.Exact
		c.noise = c.noise || v.Own != nil && *v.Own > 0
		c.own = c.own || v.Own != nil && (v.U == nil || *v.U != *v.Own)
		c.unknown = c.unknown || v.Value != nil && len(v.Unknown) > 0
		c.meet(v)
		c.bound = c.bound || v.Bound != ""
		c.limits = c.limits || v.Lo != nil || v.Hi != nil
		cells[s][v.Name] = append(cells[s][v.Name], cell{r, v})
	}
	for _, s := range m.stages {
		for k := range s.columns {
			s.columns[k].family, s.columns[k].rank = familyOf(s.columns[k].name)
			slices.SortFunc(s.columns[k].parts, byNature)
		}
		slices.SortStableFunc(s.columns, func(a, b column) int {
			return cmp.Or(cmp.Compare(a.declaration, b.declaration), cmp.Compare(a.rank, b.rank), cmp.Compare(a.name, b.name))
		})
		for _, r := range s.rows {
			r.values = make([]*pipeline.Value, len(s.columns))
		}
		for k, c := range s.columns {
			for _, x := range cells[s][c.name] {
				x.r.values[k] = x.v
			}
		}
		for _, r := range s.rows {
			if sm := m.bySample[r.sample]; r.sample != "" && sm != nil {
				sm.rows[s.Name] = append(sm.rows[s.Name], r)
			}
			if r.source == nil {
				continue
			}
			for _, f := range r.source.Fields {
				if f.Name != "sample" && !slices.Contains(s.fields, f.Name) {
					s.fields = append(s.fields, f.Name)
				}
			}
		}
	}
}

// meet notes the sources of a number.
func (c *column) meet(v *pipeline.Value) {
	see := func(s string) {
		if !slices.Contains(c.parts, s) {
			c.parts = append(c.parts, s)
		}
	}
	for s := range v.Parts { // sorted when all are known
		see(s)
	}
	for _, s := range v.Unknown {
		see(s)
	}
}

// row finds or adds the row of an item. Two values outputs of one group whose items bear one name share a row.
func (s *stage) row(item string, source *pipeline.ItemOutcome) *row {
	r := s.byItem[item]
	if r == nil {
		r = &row{item: item}
		s.byItem[item] = r
		s.rows = append(s.rows, r)
	}
	if source != nil && r.source == nil {
		r.source, r.sample, r.series = source, source.Sample, source.Series
	}
	return r
}

// declared is the place of a column among those that a kind declares; those that it does not name come last.
func declared(k *pipeline.Kind, name string) int {
	n := 0
	for _, out := range k.Outputs {
		for _, c := range out.Columns {
			if c.Name == name || memberOf(name, c.Name) {
				return n
			}
			n++
		}
	}
	return n
}

// memberOf tells whether a column belongs to a family: Rg_2 to Rg_i.
func memberOf(name, family string) bool {
	stem, ok := strings.CutSuffix(family, "_i")
	if !ok {
		return false
	}
	digits, ok := strings.CutPrefix(name, stem+"_")
	return ok && isNumber(digits)
}

// familyOf splits off the number at the end of a name: 2 and its place for Rg_2.
func familyOf(name string) (family, rank int) {
	at := strings.LastIndexByte(name, '_')
	if at < 0 || !isNumber(name[at+1:]) {
		return 0, 0
	}
	n, _ := strconv.Atoi(name[at+1:])
	return at, n
}

func isNumber(s string) bool {
	if s == "" || len(s) > 6 {
		return false
	}
	for i := range len(s) {
		if s[i] < '0' || s[i] > '9' {
			return false
		}
	}
	return true
}

// unit reads a UCUM code; one that is not known stands as dimensionless, and its code is shown as it is.
func (m *model) unit(code string) catalog.Unit {
	m.unitLock.Lock()
	defer m.unitLock.Unlock()
	if u, ok := m.units[code]; ok {
		return u
	}
	u, err := catalog.ParseUnit(code)
	if err != nil {
		u = catalog.Unit{}
	}
	m.units[code] = u
	return u
}

// symbol is a unit as people write it.
func (m *model) symbol(code string) string {
	u := m.unit(code)
	if s := u.Symbol(); s != "" || code == "1" || u.IsOne() && code == "" {
		return s
	}
	return code
}

// rest is an item's name without the part that names its sample.
func rest(item, sample string) string {
	if sample == "" {
		return item
	}
	part := "sample=" + sample
	if item == part || item == sample {
		return ""
	}
	if after, ok := strings.CutPrefix(item, part); ok && (after[0] == ',' || after[0] == '#') {
		return strings.TrimPrefix(after, ",")
	}
	if i := strings.Index(item, ","+part); i >= 0 {
		if after := item[i+1+len(part):]; after == "" || after[0] == ',' || after[0] == '#' {
			return item[:i] + after
		}
	}
	return item
}

// raises tells whether a flag is shown as a mark beside numbers. Notes and choices are told in the sample's card alone.
func raises(level string) bool {
	switch pipeline.FlagLevel(level) {
	case pipeline.Flagged, pipeline.Notice, pipeline.Tolerance, pipeline.Bound:
		return true
	}
	return false
}

// remarks is what is said of an item in a table: why there is nothing, or its flags.
func remarks(it *pipeline.ItemOutcome) string {
	if it == nil {
		return ""
	}
	if !it.State.Good() {
		return string(it.State) + ": " + it.Message
	}
	var parts []string
	for _, f := range it.Flags {
		parts = append(parts, flagText(f))
	}
	return strings.Join(parts, "; ")
}

func flagText(f store.Flag) string { return f.Level + ": " + f.Text }
