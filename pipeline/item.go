package pipeline

import (
	"slices"
	"strconv"
	"strings"

	"fascicle/pipeline/store"
)

// item is one table of a stage while a run goes on, or the place where one should be.
type item struct {
	stage  *stage
	output string
	form   Form
	name   string
	fields Fields
	state  State
	// message says why it failed or is blocked; the coordinator alone writes it
	message string
	flags   []store.Flag
	hash    store.ContentHash
	size    int64
	group   *group
	lead    int // −1: of the group
	number  int // ordinal within its output and recipe
}

// outOfTolerance says why what trusts this item must not go on, "" when it may.
func (it *item) flagAt(level FlagLevel) string {
	for _, f := range it.flags {
		if f.Level == string(level) {
			return f.Text
		}
	}
	return ""
}

// sample is the sample that an item belongs to. What is made for a group of samples belongs to none, even where there is but one of them.
func (it *item) sample() string {
	if g := it.group; g != nil && it.lead < 0 && !g.stage.kind.Reads {
		if by := g.stage.by; by.mode == "all" || by.mode == "fields" && !slices.Contains(by.names, "sample") {
			return ""
		}
	}
	return it.fields.sample()
}

// who names an item for people: its sample where it has one, else its name.
func (it *item) who() string {
	if it.stage.sheet {
		return "sample " + it.fields.sample()
	}
	return it.stage.name + " " + it.name
}

// files lists the raw files that an item was read from, following its leads.
func (it *item) files() []string {
	for g := it.group; g != nil; {
		if g.file != "" {
			return []string{g.file}
		}
		if len(g.leads) == 0 {
			return nil
		}
		if len(g.leads) > 1 && it.lead < 0 {
			var out []string
			for _, l := range g.leads {
				out = append(out, l.files()...)
			}
			return out
		}
		lead := g.leads[max(it.lead, 0)]
		it, g = lead, lead.group
	}
	return nil
}

// group is what one call of a kind's run function works on.
type group struct {
	stage    *stage
	name     string
	index    int // place among the stage's groups
	fields   Fields
	leads    []*item
	partners [][][]*item // port (as in stage.ports) → lead → partners
	missing  []Missing
	state    State // Blocked before it is tried, else empty until done
	message  string

	file     string // of an import
	archive  string // that the file lies in, "" for none
	captures []ownField
	fileHash [32]byte
	fileSize int64
	known    bool // its hash and size were remembered, and stand

	numbers map[string][]Evaluated
	doubts  map[*item][]store.Flag // of lead items: checks that they trust are beyond their notice
	recipe  []byte
	key     store.RecipeKey
	outputs []*item
}

// itemName writes fields as field=value,…
func itemName(names []string, values []string, block int) string {
	var b strings.Builder
	for i, n := range names {
		if i > 0 {
			b.WriteByte(',')
		}
		b.WriteString(n)
		b.WriteByte('=')
		b.WriteString(values[i])
	}
	if len(names) == 0 {
		b.WriteString("all")
	}
	if block > 0 {
		b.WriteByte('#')
		b.WriteString(strconv.Itoa(block))
	}
	return b.String()
}
