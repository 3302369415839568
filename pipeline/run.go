package pipeline

import (
	"container/heap"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"path/filepath"
	"runtime"
	"slices"
	"sync"
	"time"

	"fascicle/pipeline/store"
)

// Options of a run.
type Options struct {
	Jobs    int           // workers; 0: one for each processor
	Remake  bool          // make everything again, whatever the store holds
	Label   string        // keep the run's record under this name, below labels/
	Longest time.Duration // how long one item may take; 0: as long as it needs
	Why     bool          // find out which lines of a recipe are new
	// Report writes what leaves; it is called before the study's lock is given back. nil: nothing is written
	Report  func(ctx context.Context, o *Outcome) error
	Event   func(Event) // told of each item, from one goroutine
	Waiting func(holder string)
	Disk    store.FS // for tests; nil: the disk
	maker   Maker
}

// Event says that an item has ended.
type Event struct {
	Stage, Output, Item string
	State               State
	Message             string
	Why                 []string // with Options.Why, of made items: the lines of its recipe that are new
	Done, Total         int      // items ended, items known so far
}

// runner holds a run's state. The coordinator (run) alone changes it; workers see only their task and the store.
type runner struct {
	p       *Project
	opt     Options
	ctx     context.Context
	store   *store.Store
	hashes  *store.FileHashes
	listing *listing
	maker   Maker
	cache   tableCache

	items    map[*stage][]*item
	groups   map[*stage][]*group
	plans    map[*stage]*stagePlan
	waiting  map[*stage]int // inputs that have not ended
	open     map[*stage]int // groups that have not ended
	queue    taskQueue
	running  int
	results  chan *taskResult
	remarks  []string
	counts   Counts
	total    int
	previous *Record
	noticeMu sync.Mutex
	notices  []string
	remaking sync.Mutex // damaged objects are made again one at a time
}

// task is one group to be made by a worker.
type task struct {
	g *group
}

type taskResult struct {
	t     *task
	entry *store.Entry
	kept  bool
	err   error
}

// taskQueue hands out ready work in a fixed order: by stage, then by group. Late stages come first, so that what is begun is
// finished and memory stays small.
type taskQueue []*task

func (q taskQueue) Len() int { return len(q) }

func (q taskQueue) Less(i, j int) bool {
	a, b := q[i].g, q[j].g
	if a.stage != b.stage {
		return a.stage.rank > b.stage.rank
	}
	return a.index < b.index
}

func (q taskQueue) Swap(i, j int) { q[i], q[j] = q[j], q[i] }

func (q *taskQueue) Push(x any) { *q = append(*q, x.(*task)) }

func (q *taskQueue) Pop() any {
	old := *q
	x := old[len(old)-1]
	*q = old[:len(old)-1]
	return x
}

// StateDir is the folder of a study that may be deleted at any time.
const StateDir = ".fascicle"

// Run makes what is missing or out of date. When ctx is cancelled it stops handing out work, waits for what is under way, and
// returns what it has with ctx's error: everything that was finished is kept for the next run.
func Run(ctx context.Context, p *Project, opt Options) (*Outcome, error) {
	if opt.Jobs <= 0 {
		opt.Jobs = runtime.NumCPU()
	}
	if opt.Label != "" {
		if err := CheckLabel(opt.Label); err != nil {
			return nil, err
		}
	}
	disk := opt.Disk
	if disk == nil {
		disk = store.OS{}
	}
	state := filepath.Join(p.Dir, StateDir)
	if err := disk.MkdirAll(state, 0o777); err != nil {
		return nil, fmt.Errorf("the study's folder cannot be written to: %s; make it writable, or copy the study elsewhere", reason(err))
	}
	unlock, err := store.Lock(ctx, state, opt.Waiting)
	if err != nil {
		return nil, err
	}
	defer unlock()
	r := &runner{p: p, opt: opt, ctx: ctx, maker: opt.maker, listing: newListing(p.Dir),
		items: map[*stage][]*item{}, groups: map[*stage][]*group{}, plans: map[*stage]*stagePlan{}, waiting: map[*stage]int{}, open: map[*stage]int{}}
	if r.maker == nil {
		r.maker = local{}
	}
	if r.store, err = store.Open(filepath.Join(state, "store"), disk); err != nil {
		return nil, err
	}
	if r.hashes, err = store.OpenHashes(filepath.Join(state, "files"), disk); err != nil {
		return nil, err
	}
	r.listing.members = func(archive string) ([]string, error) { return r.hashes.Members(p.Dir, archive) }
	if opt.Why {
		r.previous = lastRecord(p.Dir)
	}
	runErr := r.run()
	if n := r.store.Stats().BadLines; n > 0 {
		r.notice("damaged lines in the store's index: %d; what they stood for was made again, or taken from an older line", n)
	}
	if err := r.hashes.Save(); err != nil && runErr == nil {
		runErr = fmt.Errorf("remembering the hashes of raw files: %w", err)
	}
	out := r.outcome()
	if r.counts.Failed+r.counts.Blocked > 0 {
		out.Complete() // what is missing is always told
	}
	defer func() { out.Notices, out.Objects = r.said(), r.store.Stats() }()
	if runErr != nil {
		return out, runErr
	}
	if err := r.keepRecord(out, disk); err != nil {
		return out, err
	}
	if opt.Report != nil {
		err = opt.Report(ctx, out)
	}
	return out, err
}

// notice remembers something about this run alone, which is no part of the results: a damaged object that was made again.
func (r *runner) notice(format string, args ...any) {
	r.noticeMu.Lock()
	defer r.noticeMu.Unlock()
	r.notices = append(r.notices, fmt.Sprintf(format, args...))
}

// said gives the notices so far, sorted.
func (r *runner) said() []string {
	r.noticeMu.Lock()
	defer r.noticeMu.Unlock()
	slices.Sort(r.notices)
	return slices.Clone(r.notices)
}

func (r *runner) remark(format string, args ...any) {
	r.remarks = append(r.remarks, fmt.Sprintf(format, args...))
}

// run is the coordinator: it forms groups as stages end, keeps workers busy, and takes their results.
func (r *runner) run() error {
	for _, s := range r.p.stages {
		if s.kind != nil {
			r.plans[s] = r.plan(s) // before there are workers, who read them
		}
	}
	r.results = make(chan *taskResult)
	work := make(chan *task)
	var workers sync.WaitGroup
	for range r.opt.Jobs {
		workers.Add(1)
		go func() {
			defer workers.Done()
			for t := range work {
				r.results <- r.do(t)
			}
		}()
	}
	defer workers.Wait()
	defer close(work)

	dependants := map[*stage][]*stage{}
	for _, s := range r.p.stages {
		r.waiting[s] = len(s.inputs)
		for _, in := range s.inputs {
			dependants[in] = append(dependants[in], s)
		}
	}
	var ended []*stage
	begin := func(s *stage) {
		if r.begin(s) {
			ended = append(ended, s)
		}
	}
	settle := func() {
		for len(ended) > 0 {
			s := ended[0]
			ended = ended[1:]
			r.endStage(s)
			for _, d := range dependants[s] {
				if r.waiting[d]--; r.waiting[d] == 0 {
					begin(d)
				}
			}
		}
	}
	for _, s := range r.p.stages {
		if r.waiting[s] == 0 && len(s.inputs) == 0 {
			begin(s)
		}
	}
	settle()
	var fatal error
	for {
		var send chan *task
		var next *task
		if len(r.queue) > 0 && fatal == nil && r.ctx.Err() == nil {
			send, next = work, r.queue[0]
		}
		if send == nil && r.running == 0 {
			break
		}
		select {
		case send <- next:
			heap.Pop(&r.queue)
			r.running++
		case res := <-r.results:
			r.running--
			if s := res.t.g.stage; r.finish(res) {
				ended = append(ended, s)
			}
			var disk *diskError
			if errors.As(res.err, &disk) && fatal == nil {
				fatal = fmt.Errorf("the store cannot be written to: %w; what was finished is kept", disk.error)
			}
			settle()
		}
	}
	if fatal != nil {
		return fatal
	}
	return r.ctx.Err()
}

// begin forms a stage's groups and takes from the store what it has. It says whether the stage has ended with that.
func (r *runner) begin(s *stage) bool {
	switch {
	case s.sheet:
		r.sheetItems(s)
		return true
	case len(s.members) > 0:
		r.togetherItems(s)
		return true
	}
	var groups []*group
	if s.kind.Reads {
		var err error
		groups, err = r.p.filesOf(s, r.listing)
		if err != nil {
			r.remark("stage %s: %v", s.name, err)
		} else if len(groups) == 0 {
			r.remark("stage %s finds no file: nothing matches %s", s.name, s.settings.(FileSettings).FilesPattern())
		}
	} else {
		groups = r.formGroups(s)
	}
	r.groups[s] = groups
	r.open[s] = len(groups)
	plan := r.plans[s]
	for _, g := range groups {
		r.total += r.expected(g)
	}
	if s.kind.Reads { // one look at each file, which may take the disk its time
		parallel(len(groups), func(i int) {
			if g := groups[i]; g.state == "" {
				g.fileHash, g.fileSize, g.known = r.knownRaw(g)
			}
		})
	}
	for _, g := range groups {
		if g.state == "" && !s.kind.Reads {
			r.writeRecipe(g, plan)
		}
		if g.state == Blocked {
			r.close(g, nil, false, nil)
			continue
		}
		if s.kind.Reads && !r.fileRecipe(g, plan, nil) {
			if g.state == Blocked {
				r.close(g, nil, false, nil)
				continue
			}
			heap.Push(&r.queue, &task{g})
			continue
		}
		if !r.opt.Remake {
			if e, ok := r.store.Lookup(g.key); ok {
				r.close(g, e, true, nil)
				continue
			}
		}
		heap.Push(&r.queue, &task{g})
	}
	return r.open[s] == 0
}

// expected is how many items a group will give, as far as that is known: imports are counted as one.
func (r *runner) expected(g *group) int {
	n := 0
	for _, o := range g.stage.kind.Outputs {
		if o.Per == PerLead {
			n += len(g.leads)
		} else {
			n++
		}
	}
	return n
}

// fileRecipe writes the recipe of an import's file: its content and what the settings make of its captures. Without data it uses the
// remembered hash, and says false when the file must be read first (it is new, changed, or cannot be read: the worker says why).
func (r *runner) fileRecipe(g *group, p *stagePlan, sum *[32]byte) bool {
	if sum == nil {
		if !g.known {
			return false
		}
		sum = &g.fileHash
	}
	g.fileHash = *sum
	b := make([]byte, 0, len(p.common)+len("file = \n")+2*len(sum))
	b = append(b, p.common...)
	b = append(b, "file = "...)
	b = hex.AppendEncode(b, sum[:])
	b = append(b, '\n')
	if len(p.fields) > 0 {
		g.numbers = map[string][]Evaluated{}
	}
	file := &item{stage: g.stage, name: g.name, fields: g.fields, group: g, lead: -1}
	for _, f := range p.fields {
		n, line, err := r.number(f, &g.fields, p.reaches[f.Path])
		if r.badSetting(g, f, file, n, err) {
			return false
		}
		g.numbers[f.Path] = []Evaluated{n}
		b = append(b, "  "+f.Path+" = "+line+"\n"...)
	}
	g.recipe = b
	g.key = sha256.Sum256(b)
	return true
}

// finish takes a worker's result.
func (r *runner) finish(res *taskResult) (stageEnded bool) {
	g := res.t.g
	r.close(g, res.entry, res.kept, res.err)
	return r.open[g.stage] == 0
}
