// Package kindtest holds kinds against the rules that the runner relies on and cannot see broken.
package kindtest

import (
	"context"
	"math"
	"reflect"
	"slices"
	"strings"
	"sync"

	"fascicle/pipeline"
	"fascicle/pipeline/table"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

// Choices watches whether kinds reuse the choices that they are handed. Shared parts are differences of calls that must differ in nothing but
// the source that was shifted: a kind that searches again (a range, a number of terms) jumps between them, and its parts are noise.
type Choices struct {
	mu     sync.Mutex
	chose  map[string]bool // kinds that returned choices
	held   map[string]bool // and returned the same ones when they were handed them on other input
	broken map[string]string
}

// Watch gives a kind that does the same, and after each call makes a second one on input that was bent out of shape, with the choices of
// the first. Kinds that read files are given as they are.
func (w *Choices) Watch(k *pipeline.Kind) *pipeline.Kind {
	if k.Reads {
		return k
	}
	watched := *k
	watched.Run = func(ctx context.Context, call *pipeline.Call) (pipeline.Choices, error) {
		first, err := k.Run(ctx, call)
		if err != nil || first == nil || call.Choices != nil {
			return first, err
		}
		again := *call
		again.Choices = first
		again.Leads = nil
		for _, in := range call.Leads {
			bent := *in
			bent.Table = bend(in.Table)
			again.Leads = append(again.Leads, &bent)
		}
		second, err := k.Run(ctx, &again)
		w.note(k.Name, first, second, err)
		return first, nil
	}
	return &watched
}

func (w *Choices) note(kind string, first, second pipeline.Choices, err error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.chose == nil {
		w.chose, w.held, w.broken = map[string]bool{}, map[string]bool{}, map[string]string{}
	}
	w.chose[kind] = true
	switch {
	case err != nil: // what was bent cannot be worked with: nothing is known
	case same(first, second):
		w.held[kind] = true
	default:
		w.broken[kind] = "it was handed choices and returned others"
	}
}

// same compares choices, whatever their types hide; NaN is as good as NaN.
func same(a, b pipeline.Choices) bool {
	return cmp.Equal(a, b, cmpopts.EquateNaNs(), cmp.Exporter(func(reflect.Type) bool { return true }))
}

// Problems lists the kinds that did not reuse their choices, and those that could not be tried because they failed on all bent input.
func (w *Choices) Problems() []string {
	w.mu.Lock()
	defer w.mu.Unlock()
	var out []string
	for kind := range w.chose {
		switch {
		case w.broken[kind] != "":
			out = append(out, kind+": "+w.broken[kind])
		case !w.held[kind]:
			out = append(out, kind+": it failed on all input that was bent; give the fixed input a stage on which it does not")
		}
	}
	slices.Sort(out)
	return out
}

// bend changes the numbers of a table by up to a quarter, smoothly along its rows; its first column, and what accompanies others, stay.
func bend(t *table.Table) *table.Table {
	out := &table.Table{Header: t.Header, Columns: slices.Clone(t.Columns)}
	for i := range out.Columns {
		c := &out.Columns[i]
		if c.Type != table.Float || i == 0 && c.Len() > 1 || strings.HasPrefix(c.Name, "u_") || strings.HasPrefix(c.Name, "cov_") || strings.HasPrefix(c.Name, "nu_") {
			continue
		}
		moved := make([]float64, len(c.Floats))
		for k, x := range c.Floats {
			moved[k] = x
			if !c.IsNull(k) {
				moved[k] = x * (1 + 0.25*math.Sin(5*float64(k+i)/float64(len(moved))+1))
				if x == math.Trunc(x) {
					moved[k] = math.Round(moved[k]) // counts stay whole
				}
			}
		}
		c.Floats = moved
	}
	return out
}
