package pipeline

import (
	"context"

	"fascicle/catalog"
)

// Kind declares one thing that a stage can do. Help, checks, the methods text and docs/kinds.md are derived from it.
type Kind struct {
	Name     string // family.word, as written in the study file: "scattering.guinier"
	Revision int    // part of the recipe key; goes up when the kind's numbers change
	Doc      string // one sentence, as it stands in `fascicle kinds`
	Formula  string // what is computed, in plain text
	Source   string // authors, title, year, equation; or "common practice, no source"
	Methods  string // a sentence for a paper's methods section; {setting} stands for a setting's value
	By       string // usual grouping: "item" (also when empty), "sample", "all", a field, or "list": the study must name fields
	Ports    []Port
	Outputs  []Output
	Figures  []Figure
	Parts    PartsMode  // how shared uncertainties pass through
	Checks   bool       // checks an instrument: it may find an item beyond notice or tolerance
	Settings func() any // a pointer to a new settings struct (see Setting tags in settings.go); nil: the kind has none
	Reads    bool       // the kind reads files (import): its groups are files, and it may give any number of items
	Names    bool       // its results name items: Input.Name may be asked, and names are part of its recipes
	// Run computes one group. It is a pure function of its call, starts no goroutine and returns its choices (ranges found,
	// number of terms, starting values), which later calls on shifted input get back in Call.Choices and must then reuse.
	Run func(ctx context.Context, call *Call) (Choices, error)
}

// PartsMode says how the shared parts of an uncertainty pass through a kind.
type PartsMode uint8

const (
	Shift   PartsMode = iota // the runner calls Run on shifted input: part = ½[f(+u) − f(−u)] (JCGM 100:2008, 5.1.4)
	Reads                    // the kind is given the joint covariance of its inputs and returns its Jacobian
	NoParts                  // parts are missing from the outputs, and they say so
)

// Choices is what a run function decided for itself; nil when there was nothing to decide.
type Choices any

// Form is the shape of an item's table.
type Form uint8

const (
	AnyForm   Form = iota // of an import, whose files decide
	Values                // exactly one row; the only form whose numbers enter values.json
	Curve                 // axis first, then values along it
	TableForm             // any rows
	Image                 // rows × columns of a detector or camera: one column, `width` and `height` in the header
)

// String gives the word used in messages and help.
func (f Form) String() string { return [...]string{"items", "values", "curve", "table", "image"}[f] }

// Pairing is the usual way in which a port's partner is found for each lead item; a study's reference may say otherwise.
type Pairing uint8

const (
	ByMatch  Pairing = iota // fields must be named, in the reference (match) or by the partner's stage (serves)
	BySample                // the item of the same sample
	ByOnly                  // the one item there is
	ByAll                   // every item that passes the reference's condition
)

// Port is an input of a kind.
type Port struct {
	Name     string
	Doc      string
	Lead     bool // the kind runs once for each group of its items; of several leading ports the first one fed leads
	Optional bool // may stay unfed
	Many     bool // a lead item may have several partners here
	Gather   bool // takes what succeeded, lists what failed or is blocked, and goes on
	Forms    []Form
	Pair     Pairing
	Columns  []Column // what its items must have
	Sheet    bool     // usually fed by the stage `samples`
}

// Names that stand for a column by its place: the axis of a curve is its first column, its value the next one that is not an
// uncertainty. Kinds that work on any curve use them, so that an import may call its columns as the file does.
const (
	AxisColumn  = "(axis)"
	ValueColumn = "(value)"
)

// Column declares a column of a port or an output.
type Column struct {
	Name string // AxisColumn, ValueColumn, an identifier, or one that ends in _i: a family numbered from 1
	// Unit is a unit ("1/nm", "1" for a pure number, "" for text), "*" for any, or "=PORT", "=PORT.axis", "=PORT.NAME": the
	// unit of that port's value, axis or column.
	Unit     string
	Doc      string
	Text     bool // holds words
	Optional bool // may be missing (port) or null (output)
	U        bool // an output column that comes with its own standard uncertainty u_NAME
}

// Per says what one output item is made for.
type Per uint8

const (
	PerLead  Per = iota // one for each lead item
	PerGroup            // one for each group
	PerAny              // any number, as a stream: imports only
)

// Output is a set of items that a kind gives.
type Output struct {
	Name    string
	Doc     string
	Per     Per
	Form    Form
	Like    string   // the output has the columns of this port's items, names and units; Columns then adds or replaces
	Columns []Column // declared columns
	// Shape works out columns that depend on settings or on what feeds the ports; nil: Columns say all.
	Shape func(ShapeCall) ([]Column, error)
	// Open: the columns are known only when the items are.
	Open bool
}

// ShapeCall is what an Output's Shape function may look at: settings, and the columns that arrive at each port.
type ShapeCall struct {
	Settings any
	Ports    map[string][]Arriving
}

// Arriving is what one stage sends to a port: its name, output and columns. Unknown: not known before its files are read.
type Arriving struct {
	Stage, Output string
	Form          Form
	Columns       []ColumnShape
	Unknown       bool
}

// ColumnShape is a column as the check knows it: its name, its unit, and whether it holds words.
type ColumnShape struct {
	Name string
	Unit catalog.Unit
	Text bool
	Any  bool // its unit is not known before the files are read
	// Optional: an item may lack it
	Optional bool
	U        bool // it has an uncertainty by its nature; without, a count, a choice or an axis
}

// Scale of an axis.
type Scale string

const (
	Linear Scale = "linear"
	Log    Scale = "log"
	Square Scale = "square" // drawn over the square of the quantity, labelled with it
)

// Axis of a figure: what it says, how it runs.
type Axis struct {
	Label string // the quantity's name, e.g. "scattering vector q", or "{setting}" for what a setting names; the unit is added from the data
	Scale Scale
}

// Role says how a series of a figure is drawn.
type Role string

const (
	Points Role = "points" // with bars of ±u where known
	Line   Role = "line"   // a model or a dense curve
)

// Series is one set of points of a figure. X, Y and Used name columns of the table that an output (or, with Port, an input) of the group holds.
type Series struct {
	Output, Port string
	X, Y         string // column names, AxisColumn or ValueColumn
	Role         Role
	Label        string
	Used         string // a column that is 1 for points that the fit used, 0 for the others: those are drawn faint
}

// Mark is a number of a `values` output shown as a line at its x, or, with To, as a span from one to the other.
type Mark struct {
	Output, At, To string
	Label          string
}

// Figure declares what a figure of a kind shows, one figure for each lead item (or group), without drawing it.
type Figure struct {
	Name, Title string
	X, Y        Axis
	Series      []Series
	Minor       bool    // shows a step on the way: left out of reports with many samples
	Residual    *Series // weighted residuals, drawn below
	Marks       []Mark
}
