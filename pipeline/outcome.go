package pipeline

import (
	"fascicle/catalog"
	"fascicle/pipeline/store"
	"fascicle/pipeline/table"
)

// State is how an item ended.
type State string

const (
	Made    State = "made"    // computed now
	Kept    State = "kept"    // taken from the store
	Failed  State = "failed"  // tried, and refused or gone wrong
	Blocked State = "blocked" // not tried, because something it needs failed or is missing
)

// Good tells whether there is a table.
func (s State) Good() bool { return s == Made || s == Kept }

// Outcome is what a run found, for the report and for whatever else leaves. Everything in it is sorted: stages in the order in
// which they run, items by name.
type Outcome struct {
	Title   string
	Dir     string // the study's folder; never part of what is written to out/
	Study   []byte // the study file as read
	Against string
	Sheet   *catalog.Sheet
	Derived []DerivedColumn // columns that the study adds to the sheet
	Stages  []StageOutcome
	Raw     []RawFile
	Remarks []string // what concerns the study as a whole: files that no sample claims, rows that a condition could not judge
	Counts  Counts
	Notices []string    // what happened on the way and is no part of the results, such as damaged objects that were made again
	Objects store.Stats // how many objects the run opened and wrote
	Run     int         // number of the run's record; that of an earlier run when nothing has changed since
	// Digest is a hash of all that out/ depends on, states apart: made and kept are the same to it.
	Digest string
	// Load reads an item's table. It may be called from several goroutines.
	Load func(ItemOutcome) (*table.Table, error)

	Shown *Shown // what the study asks of the report; nil where an outcome was not made by a run

	values   []Value // once read
	fill     func()
	project  *Project
	fieldsOf func(ItemOutcome) *Fields // nil for what is no item of the run
}

// Complete fills in Stages, Derived and Raw, which a run that found nothing new leaves out until they are asked for.
func (o *Outcome) Complete() {
	if o.fill != nil {
		o.fill()
		o.fill = nil
	}
}

// Counts of items by state.
type Counts struct {
	Made    int `json:"made"`
	Kept    int `json:"kept"`
	Failed  int `json:"failed"`
	Blocked int `json:"blocked"`
}

// DerivedColumn is a column worked out from the sheet and constants.
type DerivedColumn struct {
	Name   string
	Unit   catalog.Unit
	Text   string // the expression
	Values map[string]FieldValue
}

// StageOutcome is a stage with its kind, settings as used, and items.
type StageOutcome struct {
	Name     string
	Kind     *Kind // nil for a stage that takes others together, and for `samples`
	From     []Feed
	By       []string
	Settings []SettingLine
	Items    []ItemOutcome
	// MissingParts names sources whose shared parts the values of this stage do not carry, because its kind, or one before it, does
	// not let them through.
	MissingParts []string

	exact func(output, column string) bool
}

// Feed tells which stages feed a port.
type Feed struct {
	Port   string
	Stages []string
}

// SettingLine is a setting as it was used: path, value with unit, and whether the study wrote it or it is the default.
type SettingLine struct {
	Path, Value string
	Default     bool
}

// ItemOutcome is an item and how it ended.
type ItemOutcome struct {
	Stage, Output string
	Form          Form
	Name          string
	Sample        string // "" for what belongs to no one sample
	Series        string // "salt=NaCl,chain=long" for what belongs to a series
	Fields        []NamedField
	State         State
	Message       string // why it failed or is blocked
	Flags         []store.Flag
	Key           store.RecipeKey
	Hash          store.ContentHash
	Size          int64
	Files         []string // raw files that it was read from (imports)
	Sources       []Source // items that it was made from
	Lead          int      // number of its lead item in the group, −1: of the whole group
}

// Source names an item that another was made from. Port is the port through which it came.
type Source struct {
	Port, Stage, Output, Item string
}

// NamedField is a field as text, for people.
type NamedField struct{ Name, Text string }

// RawFile is a file that the study reads.
type RawFile struct {
	Path   string // relative to the study
	SHA256 string
	Size   int64
	Stage  string
	Sample string
}

// Value is one number or text of a `values` item: a line of values.json.
type Value struct {
	Sample string             `json:"sample,omitempty"`
	Series string             `json:"series,omitempty"`
	Stage  string             `json:"stage"`
	Kind   string             `json:"kind"`
	Item   string             `json:"item"`
	Name   string             `json:"name"`
	Value  *float64           `json:"value"`
	Text   string             `json:"text,omitempty"`
	U      *float64           `json:"u"`
	Own    *float64           `json:"own"`
	Parts  map[string]float64 `json:"parts"`
	Nu     *float64           `json:"nu"`
	Unit   string             `json:"unit"`
	Bound  string             `json:"bound,omitempty"`
	Lo     *float64           `json:"lo,omitempty"`
	Hi     *float64           `json:"hi,omitempty"`
	Flags  []string           `json:"flags"`
	Exact  bool               `json:"exact,omitempty"` // a count or a choice, which has no uncertainty
	// Unknown names sources whose part is not known: U is null then
	Unknown []string `json:"unknown,omitempty"`
	Key     string   `json:"key"`
}

// Address is the value's full address, SAMPLE/STAGE/NAME/ITEM (or SERIES in place of SAMPLE).
func (v Value) Address() string {
	who := v.Sample
	if who == "" {
		who = v.Series
	}
	return who + "/" + v.Stage + "/" + v.Name + "/" + v.Item
}
