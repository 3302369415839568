package pipeline

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"math/rand/v2"
	"runtime/debug"
	"slices"
	"time"

	"fascicle/pipeline/store"
	"fascicle/pipeline/table"
)

// Maker makes what a recipe says. It is the seam at which work may leave this process.
type Maker interface {
	Make(ctx context.Context, w *Work) (*Result, error)
}

// Work is one recipe with everything that making it takes.
type Work struct {
	Key  store.RecipeKey
	Kind *Kind

	carrier *carrier // inputs, settings, file, and what moves them
	// store keeps one output item; items of a stream that no source moves are kept as they are given, so that it never piles up.
	store func(g *given) (store.Object, error)
	check *outputCheck
	// longest is how long one item may take; 0: as long as it needs
	longest time.Duration
}

// Result is what a recipe gave.
type Result struct {
	Objects []store.Object
	Flags   []store.Flag
	Choices Choices
}

// grace is how long a kind may take to end once it was asked to.
const grace = 2 * time.Second

// errStuck says that a kind did not end when it was cancelled. Its goroutine is left behind.
var errStuck = errors.New("did not end within 2 s of being cancelled")

// local makes recipes in this process.
type local struct{}

// Make runs the kind's function, works out the shared parts of what it gave, holds that against its declaration, and stores it. A panic
// of the kind is an error of the item.
func (local) Make(ctx context.Context, w *Work) (*Result, error) {
	whole := ctx
	if w.longest > 0 {
		var cancel context.CancelFunc
		ctx, cancel = context.WithTimeout(ctx, w.longest)
		defer cancel()
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	res, err := w.make(ctx)
	if err != nil && w.longest > 0 && errors.Is(err, context.DeadlineExceeded) && whole.Err() == nil {
		return nil, fmt.Errorf("%s took longer than %s, the longest that this run allows an item", w.Kind.Name, w.longest)
	}
	return res, err
}

func (w *Work) make(ctx context.Context) (*Result, error) {
	res := &Result{}
	call, err := w.carrier.call("", 0)
	if err != nil {
		return nil, err
	}
	counts := map[string]int{}
	if len(w.carrier.sources) == 0 {
		call.stream = func(g given) error {
			g.number = counts[g.output]
			counts[g.output]++
			return w.keep(res, &g)
		}
	}
	if res.Choices, err = w.once(ctx, call); err != nil {
		return nil, err
	}
	if err := w.check.complete(call); err != nil {
		return nil, err
	}
	for i := range call.gives {
		for _, f := range call.flags {
			if f.concerns(call.gives[i]) {
				call.gives[i].flags = append(call.gives[i].flags, f)
			}
		}
	}
	if err := w.parts(ctx, call, res.Choices); err != nil {
		return nil, err
	}
	for i := range call.gives {
		g := &call.gives[i]
		g.number = counts[g.output]
		counts[g.output]++
		if err := w.keep(res, g); err != nil {
			return nil, err
		}
	}
	return res, nil
}

// parts adds the shared parts to what the central call gave.
func (w *Work) parts(ctx context.Context, call *Call, choices Choices) error {
	if len(w.carrier.sources) == 0 && len(call.jacobians) == 0 {
		return nil
	}
	for i := range call.gives {
		g := &call.gives[i]
		if err := w.check.item(g); err != nil { // a wrong table is found here, before anything is worked out from it
			return err
		}
		// columns are added to a table of its own: a kind may give what it was given
		g.table = &table.Table{Header: g.table.Header, Columns: slices.Clone(g.table.Columns)}
	}
	if w.Kind.Parts == Reads {
		return w.readParts(call)
	}
	if w.Kind.Parts == NoParts {
		w.withoutParts(call)
		return nil
	}
	return w.shiftParts(ctx, call, choices)
}

// once runs the kind's function on a call. Without a stream of its own, the call keeps what it is given.
func (w *Work) once(ctx context.Context, call *Call) (Choices, error) {
	call.Rand = rand.New(rand.NewPCG(binary.LittleEndian.Uint64(w.Key[:8]), binary.LittleEndian.Uint64(w.Key[8:16])))
	keep := call.stream
	if keep == nil {
		keep = func(g given) error {
			call.gives = append(call.gives, g)
			return nil
		}
	}
	var refused error // the first item of a stream that was not stored: a kind that does not listen must not pass for one that gave it
	call.stream = func(g given) error {
		if refused == nil {
			refused = ctx.Err()
		}
		if refused == nil {
			refused = keep(g)
		}
		return refused
	}
	type ended struct {
		choices Choices
		err     error
	}
	done := make(chan ended, 1)
	go func() {
		end := ended{err: &panicError{kind: w.Kind.Name, value: "it ended its goroutine"}}
		defer func() {
			if p := recover(); p != nil {
				end.err = &panicError{kind: w.Kind.Name, value: p, stack: debug.Stack()}
			}
			done <- end
		}()
		end.choices, end.err = w.Kind.Run(ctx, call)
	}()
	var end ended
	select {
	case end = <-done:
	case <-ctx.Done():
		select {
		case end = <-done:
		case <-time.After(grace):
			return nil, fmt.Errorf("%s %w", w.Kind.Name, errStuck)
		}
	}
	if refused != nil && !errors.Is(end.err, refused) {
		end.err = refused
	}
	return end.choices, end.err
}

// exact tells whether a column of an output has no uncertainty by its nature.
func (w *Work) exact(output, column string) bool { return w.carrier.g.stage.exact(output, column) }

// keep checks one output item and stores it.
func (w *Work) keep(res *Result, g *given) error {
	if err := w.check.item(g); err != nil {
		return err
	}
	o, err := w.store(g)
	if err != nil {
		return err
	}
	res.Objects = append(res.Objects, o)
	return nil
}

// panicError is a kind's panic, turned into the failure of one item.
type panicError struct {
	kind  string
	value any
	stack []byte
}

func (e *panicError) Error() string {
	return fmt.Sprintf("%s was stopped by an error of the program itself: %v; please report it with the raw file", e.kind, e.value)
}

// storeItem encodes and stores one output item.
func (r *runner) storeItem(g *given) (store.Object, error) {
	data, err := table.Encode(g.table)
	if err != nil {
		return store.Object{}, fmt.Errorf("output %s: %w", g.output, err)
	}
	h, err := r.store.Put(data)
	if err != nil {
		return store.Object{}, &diskError{err}
	}
	if err := r.verify(g, h, data); err != nil {
		return store.Object{}, err
	}
	o := store.Object{Output: g.output, N: g.number, Lead: g.lead, Hash: h, Size: int64(len(data))}
	for _, f := range g.fields {
		o.Fields = append(o.Fields, store.Field{Name: f.Name, Type: "text", Value: f.Text})
	}
	for _, f := range g.flags {
		o.Flags = append(o.Flags, store.Flag{Level: string(f.level), Text: f.text})
	}
	return o, nil
}

// verify looks at what the store holds of an item when all is made anew: Put leaves alone what is there already, and that may be damaged.
func (r *runner) verify(g *given, h store.ContentHash, data []byte) error {
	if !r.opt.Remake {
		return nil
	}
	var damaged *store.DamagedError
	if _, err := r.store.Get(h, int64(len(data))); !errors.As(err, &damaged) {
		return nil // what cannot be opened now is found when it is read
	}
	if _, err := r.store.Put(data); err != nil {
		return &diskError{err}
	}
	r.notice("an object of output %s was damaged (%v); it was made again", g.output, damaged)
	return nil
}

// diskError is a failure of the store, not of a kind.
type diskError struct{ error }

func (e *diskError) Unwrap() error { return e.error }
