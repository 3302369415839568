package pipeline

import (
	"fmt"
	"math/rand/v2"

	"fascicle/pipeline/table"
)

// Input is an item as a run function sees it. Its table must not be changed.
type Input struct {
	Stage string // which stage it comes from; only at gathering ports, else ""
	Table *table.Table

	name   string
	names  bool
	fields *Fields
	from   *loaded
}

// Name is the item's name, for kinds whose tables list items (Kind.Names). Fields are read through settings of type Field and
// Expr alone.
func (in *Input) Name() string {
	if !in.names {
		panic("pipeline: a kind that does not declare Names asked for an item's name")
	}
	return in.name
}

// Missing is a partner that a gathering port did not get, and why.
type Missing struct {
	Port, Stage, Item, Sample string
	State                     State
	Reason                    string
}

// Call is one group's work: settings, lead items, their partners, and a place for what is made of them.
type Call struct {
	Settings any        // what Kind.Settings returned, filled in and validated
	Leads    []*Input   // at least one, in the order of the group
	Choices  Choices    // nil, or what an earlier call on the same group decided: reuse it
	Rand     *rand.Rand // seeded from the recipe key
	Missing  []Missing  // what gathering ports did not get
	File     *File      // the file of an import, else nil
	LeadPort string     // the leading port that is fed

	kind     *Kind
	project  *Project
	stages   map[string]bool        // that feed the gathering ports
	partners map[string][][]*Input  // port → lead → partners
	numbers  map[string][]Evaluated // setting path → lead → number
	gives    []given
	flags    []callFlag
	stream   func(given) error

	carrier   *carrier    // what moves the inputs
	shift     *fieldShift // in a shifted call, what expressions see of it
	jacobians []jacobian
	derived   map[int][]derivedColumn // by lead
}

// File is the raw file of an import.
type File struct {
	Path     string // relative to the study, for messages alone: never part of a result
	Data     []byte
	Captures map[string]string // fields captured from its name
}

// Evaluated is the number that a setting of type Field has for one lead item (or one of its partners).
type Evaluated struct {
	Value float64 // in the unit of the setting's tag
	Known bool    // false: a field or a key that it needs is empty for this item
	Text  string  // for a setting that is a text
}

type given struct {
	output string
	lead   int // −1: of the group
	number int // ordinal within the output, set when stored
	table  *table.Table
	fields []Captured
	flags  []callFlag
}

// Captured is a field that a file says of one of its items.
type Captured struct{ Name, Text string }

type callFlag struct {
	output string
	lead   int
	level  FlagLevel
	text   string
}

// FlagLevel grades a remark on an item.
type FlagLevel string

const (
	Note      FlagLevel = "note"      // worth reading
	Flagged   FlagLevel = "flag"      // a person must judge
	Notice    FlagLevel = "notice"    // an instrument's check is beyond its notice
	Tolerance FlagLevel = "tolerance" // beyond its tolerance: what trusts this item is blocked
	Bound     FlagLevel = "bound"     // a parameter ended at its bound: a person must judge, and a shared part found so is not known
)

// Fed tells whether anything feeds the port.
func (c *Call) Fed(port string) bool { _, ok := c.partners[port]; return ok }

// Partner gives the partner of a lead item at a port, nil when an optional port is unfed.
func (c *Call) Partner(port string, lead int) *Input {
	p := c.partners[port]
	if p == nil || len(p[lead]) == 0 {
		return nil
	}
	return p[lead][0]
}

// Partners gives all partners of a lead item at a `many` or gathering port.
func (c *Call) Partners(port string, lead int) []*Input {
	if p := c.partners[port]; p != nil {
		return p[lead]
	}
	return nil
}

// Number gives the value that a setting of type Field has for a lead item.
func (c *Call) Number(f Field, lead int) Evaluated {
	n := c.numbers[f.Path]
	if n == nil {
		panic("pipeline: setting " + f.Path + " was not evaluated")
	}
	return n[lead]
}

// PartnerNumber gives the value that a setting of type Field with the tag `also:"PORT"` has for the k-th partner of a lead item there, from
// that partner's own fields.
func (c *Call) PartnerNumber(f Field, port string, lead, k int) Evaluated {
	n := c.numbers[fmt.Sprintf("%s@%s.%d.%d", f.Path, port, lead, k)]
	if n == nil {
		panic("pipeline: setting " + f.Path + " was not evaluated at port " + port)
	}
	return n[0]
}

// Give hands over an output item: for lead item number `lead`, or for the group when lead is −1.
func (c *Call) Give(output string, lead int, t *table.Table) {
	c.gives = append(c.gives, given{output: output, lead: lead, table: t})
}

// Remark is what an import says of an item, and whether a person must judge it.
type Remark struct {
	Level FlagLevel
	Text  string
}

// Stream hands over one item of an import, with the fields that the file gives it. It may block until the item is stored. Each flag
// is one that a person must judge; see StreamRemarked.
func (c *Call) Stream(output string, fields []Captured, t *table.Table, flags ...string) error {
	remarks := make([]Remark, len(flags))
	for i, f := range flags {
		remarks[i] = Remark{Flagged, f}
	}
	return c.StreamRemarked(output, fields, t, remarks...)
}

// StreamRemarked is Stream with remarks of any level.
func (c *Call) StreamRemarked(output string, fields []Captured, t *table.Table, remarks ...Remark) error {
	g := given{output: output, lead: -1, table: t, fields: fields}
	for _, r := range remarks {
		g.flags = append(g.flags, callFlag{level: r.Level, text: r.Text})
	}
	return c.stream(g)
}

// Flag remarks on an output item; the report shows it beside the item's numbers. Do not name the item: the runner does.
func (c *Call) Flag(level FlagLevel, output string, lead int, format string, args ...any) {
	c.flags = append(c.flags, callFlag{output: output, lead: lead, level: level, text: fmt.Sprintf(format, args...)})
}
