package pipeline

import (
	"container/list"
	"errors"
	"fmt"
	"slices"
	"sync"

	"fascicle/pipeline/store"
	"fascicle/pipeline/table"
)

// do is what a worker does with a task.
func (r *runner) do(t *task) *taskResult {
	res := &taskResult{t: t}
	g := t.g
	var data []byte
	if g.stage.kind.Reads {
		var sum [32]byte
		var err error
		if data, sum, err = r.readRaw(g); err != nil {
			res.err = err
			return res
		}
		g.fileSize = int64(len(data))
		if !r.fileRecipe(g, r.plans[g.stage], &sum) {
			return res // its group is blocked
		}
		if !r.opt.Remake {
			if e, ok := r.store.Lookup(g.key); ok {
				res.entry, res.kept = e, true
				return res
			}
		}
	}
	res.entry, res.err = r.makeGroup(g, data, false)
	return res
}

// makeGroup loads what a group needs, makes it, and appends its line to the index. repairing is true when it is called to replace a
// damaged object.
func (r *runner) makeGroup(g *group, data []byte, repairing bool) (*store.Entry, error) {
	s := g.stage
	c := &carrier{p: r.p, g: g, partners: map[string][][]*loaded{}, gathering: map[string]bool{}, nu: map[string]float64{}, reaches: r.plans[s].reaches}
	if s.kind.Reads {
		c.file = &File{Path: g.file, Data: data, Captures: map[string]string{}}
		for _, x := range g.captures {
			c.file.Captures[r.p.fields.names[x.id]] = x.value.Text
		}
	} else if err := r.loadInputs(c, repairing); err != nil {
		return nil, err
	}
	c.collect()
	w := &Work{Key: g.key, Kind: s.kind, carrier: c, store: r.storeItem, longest: r.opt.Longest,
		check: &outputCheck{kind: s.kind, leads: len(g.leads), shapes: s.shapes}}
	res, err := r.maker.Make(r.ctx, w)
	if err != nil {
		return nil, err
	}
	e := &store.Entry{Key: g.key, Kind: fmt.Sprintf("%s r%d", s.kind.Name, s.kind.Revision), Objects: res.Objects, Flags: res.Flags}
	if err := r.store.Append(e); err != nil {
		return nil, &diskError{err}
	}
	return e, nil
}

func (r *runner) loadInputs(c *carrier, repairing bool) error {
	g := c.g
	s := g.stage
	input := func(it *item, p *Port, share bool) (*loaded, error) {
		t, err := r.load(it, share, repairing)
		if err != nil {
			return nil, fmt.Errorf("reading %s: %w", it.who(), err)
		}
		l := r.p.take(it, t, c.nu)
		if p.Gather {
			l.stage = it.stage.name
		}
		return l, nil
	}
	for _, it := range g.leads {
		l, err := input(it, s.lead.decl, false)
		if err != nil {
			return err
		}
		c.leads = append(c.leads, l)
	}
	for i, b := range s.ports {
		if b == s.lead || !b.isFed {
			continue
		}
		if b.decl.Gather {
			for _, ref := range b.refs {
				for _, src := range ref.sources {
					c.gathering[src.stage.name] = true
				}
			}
		}
		all := make([][]*loaded, len(g.leads))
		for j := range g.leads {
			for _, it := range g.partners[i][j] {
				l, err := input(it, b.decl, true)
				if err != nil {
					return err
				}
				all[j] = append(all[j], l)
			}
		}
		c.partners[b.decl.Name] = all
	}
	return r.checkArrived(c)
}

// load reads an item's table. A damaged or lost object is made again from its recipe, and that is said. share keeps the table in
// memory for the next group: partners serve many.
func (r *runner) load(it *item, share, repairing bool) (*table.Table, error) {
	if it.stage.sheet || it.group == nil {
		return sheetTable(it.fields.sample()), nil
	}
	if t := r.cache.get(it.hash); t != nil {
		return t, nil
	}
	data, err := r.store.Get(it.hash, it.size)
	if err != nil {
		var damaged *store.DamagedError
		if !errors.As(err, &damaged) && !errors.Is(err, store.ErrMissing) {
			return nil, err
		}
		if data, err = r.repair(it, err, repairing); err != nil {
			return nil, err
		}
	}
	t, err := table.Decode(data)
	if err != nil {
		return nil, err
	}
	if share {
		r.cache.put(it.hash, t, len(data))
	}
	return t, nil
}

// repair makes the group of a damaged item again. What it depends on may be damaged as well, so it may call itself.
func (r *runner) repair(it *item, cause error, repairing bool) ([]byte, error) {
	if !repairing {
		r.remaking.Lock()
		defer r.remaking.Unlock()
		if data, err := r.store.Get(it.hash, it.size); err == nil {
			return data, nil // another worker was quicker
		}
	}
	g := it.group
	var data []byte
	if g.stage.kind.Reads {
		var sum [32]byte
		var err error
		if data, sum, err = r.readRaw(g); err != nil {
			return nil, fmt.Errorf("its object in the store is damaged (%v), and it cannot be made again: %w", cause, err)
		}
		if sum != g.fileHash {
			return nil, fmt.Errorf("its object in the store is damaged (%v), and %s has changed since this run began: run again", cause, g.file)
		}
	}
	r.store.Forget(g.key)
	e, err := r.makeGroup(g, data, true)
	if err != nil {
		return nil, fmt.Errorf("its object in the store is damaged (%v) and could not be made again: %w", cause, err)
	}
	if !slices.ContainsFunc(e.Objects, func(o store.Object) bool { return o.Hash == it.hash }) {
		return nil, fmt.Errorf("its object in the store is damaged (%v) and came out differently when made again: `fascicle run --remake` makes all anew", cause)
	}
	r.notice("the object of %s %s was damaged (%v); it was made again", it.stage.name, it.name, cause)
	return r.store.Get(it.hash, it.size)
}

// tableCache keeps tables that serve many groups, up to a bound in bytes. The oldest go first.
type tableCache struct {
	mu    sync.Mutex
	byID  map[store.ContentHash]*list.Element
	order list.List
	bytes int
}

type cached struct {
	hash  store.ContentHash
	table *table.Table
	size  int
}

const cacheBytes = 48 << 20

func (c *tableCache) get(h store.ContentHash) *table.Table {
	c.mu.Lock()
	defer c.mu.Unlock()
	if e := c.byID[h]; e != nil {
		c.order.MoveToBack(e)
		return e.Value.(*cached).table
	}
	return nil
}

func (c *tableCache) put(h store.ContentHash, t *table.Table, size int) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.byID == nil {
		c.byID = map[store.ContentHash]*list.Element{}
	}
	if c.byID[h] != nil || size > cacheBytes/4 {
		return
	}
	c.byID[h] = c.order.PushBack(&cached{h, t, size})
	c.bytes += size
	for c.bytes > cacheBytes {
		old := c.order.Remove(c.order.Front()).(*cached)
		delete(c.byID, old.hash)
		c.bytes -= old.size
	}
}

// sheetTable is the table of an item of `samples`: its name alone.
func sheetTable(sample string) *table.Table {
	t := &table.Table{}
	t.AddText("sample", []string{sample})
	return t
}

// sheetItem gives the hash that stands for a row of the sheet in recipes: that of its name, since kinds read the rest through settings,
// whose values recipes name.
func sheetItem(sample string) store.ContentHash {
	return store.HashBytes([]byte("row of the sheet: " + sample))
}
